"""
Pages of pictures: `read` finds what may be lines on each, first by the QR symbols, then by the
printed rows.

Needs the extra ``scan``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.errors import Place
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.reading.image import scans, symbols
from paperkey_alt.reading.page import Page

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.printed import PrintedRow, PrintedSheet
    from paperkey_alt.reading.image.symbols import Symbol


def read(data: bytes, name: str, *, thorough: bool) -> Iterator[Page]:
    """
    Yield what each page of the file *name* gives; of its rows those that no QR symbol carries, or
    if *thorough* all.

    Raises SourceError as `scans.pages` does.
    """
    count = scans.count(data, name)
    for number, picture in enumerate(scans.pages(data, name), 1):
        yield _page(picture, Place(source=name, sheet=number), count, thorough=thorough)


def _page(picture: Picture, place: Place, count: int, *, thorough: bool) -> Page:
    if min(picture.size) < symbols.LEAST_PIXELS:
        return Page(str(place.source), place.sheet or 0, count, ())
    read = symbols.read(picture)
    sheets: tuple[PrintedSheet, ...] = ()
    if thorough or not symbols.cover_sheets(read):
        read, sheets = _with_rows(picture, read, thorough=thorough)
    return Page(
        str(place.source),
        place.sheet or 0,
        count,
        tuple(_sightings(read, sheets, place)),
        read,
        sheets,
    )


def _with_rows(
    picture: Picture, read: Iterable[Symbol], *, thorough: bool
) -> tuple[tuple[Symbol, ...], tuple[PrintedSheet, ...]]:
    """
    Return the symbols *read*, with those that are found with more effort, and what the rows say
    that none of them carries.
    """
    # It takes longer to load than most pages to read, and pages whose symbols are legible do
    # without.
    from paperkey_alt.reading.image import printed  # noqa: PLC0415 - slow to load, and often not needed

    read = list(read)
    found = printed.find(picture, read)
    if not (read or found):
        read = list(symbols.read_harder(picture))
        found = printed.find(picture, read) if read else ()
    for sheet in found:
        read += printed.read_blocks(picture, sheet, {symbol.first for symbol in read})
    carried = () if thorough else {number for symbol in read for number, _ in symbol.lines}
    return tuple(read), tuple(printed.read(picture, sheet, carried) for sheet in found)


def _sightings(
    read: Iterable[Symbol], sheets: Iterable[PrintedSheet], place: Place
) -> Iterator[RawLine]:
    for symbol in read:
        yield from (RawLine(place, ((number, characters),)) for number, characters in symbol.lines)
    for sheet in sheets:
        yield from (_row(row, place) for row in sheet.rows)


def _row(row: PrintedRow, place: Place) -> RawLine:
    seen = row.seen if row.chosen and not row.fine else None
    return RawLine(place, tuple((row.number, text) for text in row.texts), seen)
