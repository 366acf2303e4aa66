"""
Typed text: rows as people type them, or as a QR reader or text program saved them: `read`.

A row is a line number and 28 to 30 characters, in any grouping; the number may be left out. Rows
that begin with ``#`` are passed over. In rows of other lengths lines are looked for in pieces
(`paperkey_alt.reading.text.pieces`).
"""

from __future__ import annotations

import re
from itertools import groupby
from typing import TYPE_CHECKING

from paperkey_alt.errors import Place
from paperkey_alt.format.lines import CHARACTERS, LAST_NUMBER, normalise
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.reading.text import handheld, pieces
from paperkey_alt.reading.text.pieces import LENGTHS
from paperkey_alt.sheet import qr
from paperkey_alt.sheet.text_file import COMMENT

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_NUMBERED = re.compile(r"\s*([0-9]{1,4})(?:\s*[.:,;)\]|]\s*|\s+)(\S.*)", re.ASCII)
_MOST_DIGITS = 4
_SHORTEST_NUMBERED = 4
_LONGEST_NUMBERED = 2 * CHARACTERS


def read(text: str, source: str) -> tuple[RawLine, ...]:
    """
    Return what of *text* may be lines, in order; *source* is the name they are reported under.
    """
    raw_lines: list[RawLine] = []
    rows = [
        (Place(source=source, row=row), content)
        for row, content in enumerate(text.splitlines(), 1)
        if content.strip()
    ]
    for complete, run in groupby(rows, key=lambda row: _is_complete(row[1])):
        if complete:
            raw_lines += (raw_line for place, content in run for raw_line in _row(content, place))
        else:
            raw_lines += _torn(list(run))
    return tuple(raw_lines)


def _is_complete(content: str) -> bool:
    """
    Tell whether a row is a line by itself, a block or a remark: nothing has to be looked for in it.
    """
    return (
        content.lstrip().startswith(COMMENT)
        or _block(content) is not None
        or any(len(normalise(characters)) in LENGTHS for _, characters in _cuts(content))
    )


def _row(content: str, place: Place) -> Iterator[RawLine]:
    block = _block(content)
    if block is not None:
        yield from (RawLine(place, ((number, characters),)) for number, characters in block)
    elif not content.lstrip().startswith(COMMENT):
        cuts = tuple(dict.fromkeys(_cuts(content)))
        if cuts:
            yield RawLine(place, cuts)


def _block(content: str) -> Sequence[tuple[int, str]] | None:
    """Return the lines of the symbol whose text a row is, also as a scanner typed it."""
    scan = handheld.read(content)
    if scan is not None and scan.complete:
        return scan.block
    return qr.decode_block(content.strip())


def _torn(rows: Sequence[tuple[Place, str]]) -> Iterator[RawLine]:
    """
    Yield the lines found in pieces among *rows*; and rows that begin like a line and are none, to
    be named as wrong.
    """
    pieced = list(pieces.read(rows))
    used = {row for made_of, _ in pieced for row in made_of}
    yield from (raw_line for _, raw_line in pieced)
    for at, (place, content) in enumerate(rows):
        if at not in used:
            yield from _row(content, place)


def _cuts(content: str) -> Iterator[tuple[int | None, str]]:
    match = _NUMBERED.fullmatch(content)
    if match and int(match[1]) <= LAST_NUMBER:
        size = len(normalise(match[2]))
        if _SHORTEST_NUMBERED <= size <= _LONGEST_NUMBERED:
            yield int(match[1]), match[2]
        if size in LENGTHS:
            return
    compact = "".join(content.split())
    digits = len(compact) - len(compact.lstrip("0123456789"))
    for length in LENGTHS:
        width = len(normalise(compact)) - length
        if 1 <= width <= min(digits, _MOST_DIGITS) and int(compact[:width]) <= LAST_NUMBER:
            yield int(compact[:width]), compact[width:]
        if width == 0:
            yield None, compact
