"""
A raw line: something that may be a line, and where it was seen (docs/format.md, "Leniency").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from paperkey_alt.errors import Place


@dataclass(frozen=True)
class RawLine:
    """
    One row of text or one line of a QR block, as it was read.

    *candidates* are the ways to cut it into a line number (None where none is given) and the
    characters of a line, likeliest first; there is at least one. *seen* is what the row looks like
    where these are chosen from likely characters by the check: its agreement is weaker evidence
    then.
    """

    place: Place
    candidates: tuple[tuple[int | None, str], ...]
    seen: str | None = None

    def __post_init__(self) -> None:
        if not self.candidates:
            raise ValueError("a raw line can be cut in at least one way")

    @property
    def number(self) -> int | None:
        """The line number that was given, if one was."""
        return self.candidates[0][0]

    @property
    def text(self) -> str:
        """The characters by the likeliest cut."""
        return self.candidates[0][1]
