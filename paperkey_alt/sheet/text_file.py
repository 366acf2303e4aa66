"""
A set of lines as plain text: `write`. What it writes, `paperkey_alt.reading.text.typed` reads.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.foreign_text import clean
from paperkey_alt.format.head_line import NUMBER
from paperkey_alt.format.lines import group

if TYPE_CHECKING:
    from collections.abc import Iterable

    from paperkey_alt.format.line_set import LineSet

COMMENT = "#"  # begins a row that is no line


def write(line_set: LineSet, notes: Iterable[str]) -> str:
    """
    Return *notes* as comment rows, then the head line and every line of the set, each behind its
    number.
    """
    head = line_set.head
    rows = [f"{COMMENT} {clean(note)}" for note in notes]
    rows += [row(NUMBER, line_set.head_line)]
    rows += [row(number, characters) for number, characters in enumerate(line_set.lines, 1)]
    if head.spare_lines:
        rows.insert(
            -head.spare_lines,
            f"{COMMENT} spare lines: needed only where a line above cannot be read",
        )
    return "\n".join(rows) + "\n"


def row(number: int, characters: str) -> str:
    """Return the row of a line."""
    return f"{number:4d}  {group(characters)}"
