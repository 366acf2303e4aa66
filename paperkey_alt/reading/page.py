"""A part of a source: what one text, or one page of pictures, gave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from paperkey_alt.reading.printed import SheetReading
    from paperkey_alt.reading.sighting import Sighting
    from paperkey_alt.reading.symbols import Symbol


@dataclass(frozen=True)
class Part:
    """
    What a text or one page of pictures gave: its sightings, in order.

    Of a page also: which it is, from 1, of how many; the QR blocks that were read; the sheets whose printed rows were looked at. A
    text is page 0 of 0.
    """

    source: str
    page: int
    pages: int
    sightings: tuple[Sighting, ...]
    blocks: tuple[Symbol, ...] = ()
    sheets: tuple[SheetReading, ...] = ()
