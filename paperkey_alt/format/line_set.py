"""
A set of lines: a body laid out as head line, data lines and spare lines: `lay_out`
(docs/format.md, "The body").

The way back, from what was read of a set to its body, is `paperkey_alt.format.recover`.
"""

from __future__ import annotations

from dataclasses import dataclass

from paperkey_alt.errors import TooLarge
from paperkey_alt.format import head_line, lines, spare_lines
from paperkey_alt.format.head_line import Head, Share
from paperkey_alt.format.lines import DATA_BYTES, LAST_NUMBER, NO_MARK, Line


@dataclass(frozen=True)
class LineSet:
    """
    A head and its lines, 1 to *head.total*, as 29 characters each: data lines first, spare lines
    behind.
    """

    head: Head
    lines: tuple[str, ...]

    def __post_init__(self) -> None:
        if len(self.lines) != self.head.total:
            raise ValueError("a set has as many lines as its head says")

    @property
    def head_line(self) -> str:
        """The 29 characters of line 0."""
        return lines.encode(head_line.pack(self.head), NO_MARK)


def lay_out(
    body: bytes, spare: int, *, sealed: bool = False, share: Share | None = None
) -> LineSet:
    """
    Lay *body* out as data lines and *spare* spare lines. The same body always gives the same set.

    Raises TooLarge where they are more than the line limit of 1,023.
    """
    if not body:
        raise ValueError("a body is not empty")
    padding = -len(body) % DATA_BYTES
    data = [(body + bytes(padding))[at : at + DATA_BYTES] for at in range(0, len(body), DATA_BYTES)]
    if len(data) + spare > LAST_NUMBER:
        raise TooLarge(
            f"{len(body):,} bytes make {len(data):,} lines and {spare:,} spare lines; the limit "
            f"is {LAST_NUMBER:,}"
        )
    head = Head(len(data), spare, padding, sealed, share).of(body)
    every = [*data, *spare_lines.add(data, spare)]
    return LineSet(
        head,
        tuple(lines.encode(Line(number, line), head.mark) for number, line in enumerate(every, 1)),
    )
