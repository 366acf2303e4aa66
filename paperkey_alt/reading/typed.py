"""
Typed text: rows as people type them, or as a QR reader or text program saved them: `read`.

A row is a line number and 28 to 30 characters, in any grouping; the number may be left out. Empty rows, rows that begin with
``#``, and rows that are too short or too long for a line are passed over.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from paperkey_alt.errors import Place
from paperkey_alt.lines import CHARACTERS, LAST_NUMBER, normalise
from paperkey_alt.reading.sighting import Sighting
from paperkey_alt.sheet import qr

if TYPE_CHECKING:
    from collections.abc import Iterator

COMMENT = "#"
_NUMBERED = re.compile(r"\s*([0-9]{1,4})(?:\s*[.:,;)\]|]\s*|\s+)(\S.*)", re.ASCII)
_LENGTHS = (CHARACTERS, CHARACTERS - 1, CHARACTERS + 1)
_MOST_DIGITS = 4
_SHORTEST_NUMBERED = 4
_LONGEST_NUMBERED = 2 * CHARACTERS


def read(text: str, source: str) -> tuple[Sighting, ...]:
    """Return the rows of *text* that may be lines, in order; *source* is the name they are reported under."""
    return tuple(sighting for row, content in enumerate(text.splitlines(), 1) for sighting in _row(content, source, row))


def _row(content: str, source: str, row: int) -> Iterator[Sighting]:
    place = Place(source=source, row=row)
    block = qr.decode_block(content.strip())
    if block is not None:
        yield from (Sighting(place, ((number, characters),)) for number, characters in block)
    elif not content.lstrip().startswith(COMMENT):
        cuts = tuple(dict.fromkeys(_cuts(content)))
        if cuts:
            yield Sighting(place, cuts)


def _cuts(content: str) -> Iterator[tuple[int | None, str]]:
    match = _NUMBERED.fullmatch(content)
    if match and int(match[1]) <= LAST_NUMBER:
        size = len(normalise(match[2]))
        if _SHORTEST_NUMBERED <= size <= _LONGEST_NUMBERED:
            yield int(match[1]), match[2]
        if size in _LENGTHS:
            return
    compact = "".join(content.split())
    digits = len(compact) - len(compact.lstrip("0123456789"))
    for length in _LENGTHS:
        width = len(normalise(compact)) - length
        if 1 <= width <= min(digits, _MOST_DIGITS) and int(compact[:width]) <= LAST_NUMBER:
            yield int(compact[:width]), compact[width:]
        if width == 0:
            yield None, compact
