"""A page of a source: what one text, or one page of pictures, gave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from paperkey_alt.format.raw_line import RawLine
    from paperkey_alt.reading.image.printed_rows import PrintedSheet
    from paperkey_alt.reading.image.symbols import Symbol


@dataclass(frozen=True)
class Page:
    """
    What a text or one page of pictures gave: its raw lines, in order.

    Of a text also: how many rows of it are the text of a QR symbol, and what to say of the scanner
    that typed them. Of a page also: which it is, from 1, of how many; the QR blocks that were read;
    the sheets whose printed rows were looked at; whether its file ends too early; what is to be
    said of the picture, in sentences. A text is page 0 of 0.
    """

    source: str
    page: int
    pages: int
    raw_lines: tuple[RawLine, ...]
    blocks: tuple[Symbol, ...] = ()
    sheets: tuple[PrintedSheet, ...] = ()
    typed_symbols: int = 0
    advice: tuple[str, ...] = ()
    is_cut_short: bool = False
    hints: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        is_text = self.page == self.pages == 0
        if not (is_text or 1 <= self.page <= self.pages):
            raise ValueError("a page is one of its source's; a text is page 0 of 0")
        if is_text and (self.blocks or self.sheets):
            raise ValueError("a text is no page with symbols or printed rows")

    @property
    def lacks_head(self) -> bool:
        """Whether it is of a picture on which neither a line 0 nor a symbol was read."""
        is_picture = self.pages > 0 and not self.blocks
        return is_picture and all(shown.located.head is None for shown in self.sheets)
