"""
A QR block: the head line and a run of lines as one symbol's text: `encode_block` and
`decode_block`, and `symbol`.

docs/format.md, "A sheet". The text is in the alphanumeric set of ISO/IEC 18004, so any reader of
symbols gives it as text.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from paperkey_alt.format.lines import ALPHABET, CHARACTERS, LAST_NUMBER

if TYPE_CHECKING:
    from collections.abc import Sequence

ERROR_LEVEL = "M"
QUIET_MODULES = 4

_LINE = rf"[{ALPHABET}]{{{CHARACTERS}}}"
_BLOCK = re.compile(rf"0 ({_LINE})/([1-9][0-9]{{0,3}}) ((?:{_LINE})+)")


def encode_block(head: str, first: int, lines: Sequence[str]) -> str:
    """
    Return the text of the block that carries the head line and *lines*, the first of which has the
    number *first*.
    """
    return f"0 {head}/{first} {''.join(lines)}"


def decode_block(text: str) -> list[tuple[int, str]] | None:
    """
    Return numbers and characters of the lines of a block, the head line first; None where *text* is
    not one.
    """
    match = _BLOCK.fullmatch(text)
    if match is None:
        return None
    head, first, run = match[1], int(match[2]), match[3]
    cut = [run[at : at + CHARACTERS] for at in range(0, len(run), CHARACTERS)]
    if first + len(cut) - 1 > LAST_NUMBER:
        return None
    return [(0, head), *enumerate(cut, first)]


def symbol(text: str, fewest: int = 0) -> tuple[tuple[bool, ...], ...]:
    """
    Return the modules of the QR symbol for *text*, row by row, dark is True; without the quiet
    zone.

    It has at least *fewest* modules a side, up to the 177 of the largest version, and as few as
    *text* and *fewest* allow.
    """
    import segno  # noqa: PLC0415 - slow to load

    made = segno.make(text, error=ERROR_LEVEL, mode="alphanumeric", micro=False, boost_error=False)
    if len(made.matrix) < fewest:
        # ISO/IEC 18004: a symbol of version v has 17 + 4 v modules a side.
        version = -(-(fewest - 17) // 4)
        made = segno.make(
            text, error=ERROR_LEVEL, mode="alphanumeric", version=version, boost_error=False
        )
    return tuple(tuple(map(bool, row)) for row in made.matrix)
