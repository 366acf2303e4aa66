"""
Pages of pictures: `read` finds what may be lines on each, first by the QR symbols, then by the
printed rows.

Needs the extra ``scan``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from paperkey_alt.errors import Place
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.reading.image import decoder, symbols
from paperkey_alt.reading.page import Page
from paperkey_alt.sheet import layout

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.decoder import DecodedPage
    from paperkey_alt.reading.image.locate import LocatedSheet, Scan
    from paperkey_alt.reading.image.printed_rows import PrintedRow, PrintedSheet
    from paperkey_alt.reading.image.pyramid import Pyramid
    from paperkey_alt.reading.image.symbols import Symbol

_MOST_SHEETS = 4  # that are looked for on a picture without symbols
_COVERED = 0.6  # of a picture: when sheets cover so much of it, there is no room for another
_TRIED_IN_VAIN = 2  # of what may be a sheet without a row that agrees, after which no more is
NEARLY_ALL = 0.8  # of the rows of a sheet: when so many agree with their checks, it is that
# Of the rows left, so many as a round must add for another one while sheets are compared: on the
# rows "barrel", "optical distortion" and "waves of 25" of tests/bench/foreign_damage.py it added a
# quarter and more where the place was true, and soon less than this where a lens was not seen
# through.
_LEAST_GROWTH = 0.1
_SURELY = 3  # rows that agree by which a sheet is one: by chance none does
_COARSE, _DARK = 8, 100  # pixels in one, and the brightness of a page in light ink on dark


def read(data: bytes, name: str, *, thorough: bool) -> Iterator[Page]:
    """
    Yield what each page of the file *name* gives; of its rows those that no QR symbol carries, or
    if *thorough* all.

    Raises SourceError as `decoder.decoded` does.
    """
    with decoder.decoded(data, name) as (count, decoded):
        for number, page in enumerate(decoded, 1):
            seen = _read(page, thorough=thorough)
            place = Place(source=name, sheet=number)
            yield Page(
                name,
                number,
                count,
                tuple(raw_lines(seen.blocks, seen.sheets, place)),
                seen.blocks,
                seen.sheets,
                is_cut_short=page.is_cut_short,
                hints=seen.hints,
            )


class _Seen(NamedTuple):
    """What is on a picture: blocks, printed sheets, and what is to be said of it."""

    blocks: tuple[Symbol, ...] = ()
    sheets: tuple[PrintedSheet, ...] = ()
    hints: tuple[str, ...] = ()


def _read(page: DecodedPage, *, thorough: bool) -> _Seen:
    """Return what is on *page*."""
    if min(page.width, page.height) < symbols.LEAST_PIXELS:
        return _Seen()
    blocks = symbols.read_at_once(page)
    if symbols.cover_sheets(blocks) and not thorough:
        return _Seen(blocks)
    return _with_rows(page.picture(), blocks, thorough=thorough)


def _with_rows(picture: Picture, blocks: Sequence[Symbol], *, thorough: bool) -> _Seen:
    """
    Return *blocks*, with those that are found with more effort, and what the rows say that none of
    them carries; or else what the picture lacks.
    """
    # They take longer to load than most pages to read, and pages whose symbols are legible do
    # without.
    from PIL import ImageOps  # noqa: PLC0415 - as said above

    from paperkey_alt.reading.image import diagnosis, locate  # noqa: PLC0415 - as said above

    scan, inverted = locate.Scan.of(picture, blocks), None
    if _may_be_negative(picture):
        inverted = locate.Scan.of(ImageOps.invert(picture), blocks)
        if not blocks and locate.find_at_once(inverted):
            scan, inverted = inverted, None
    blocks, located, read = _located(scan)
    if not located and inverted is not None:
        scan = replace(inverted, symbols=blocks)
        blocks, located, read = _located(scan, is_inverted=True)
    pyramid = scan.pyramid
    for sheet in located:
        blocks = (*blocks, *_blocks_at_places(pyramid.picture, sheet, blocks))
    carried = () if thorough else {number for block in blocks for number, _ in block.lines}
    sheets = tuple(
        (None if carried else _read_of(sheet, read)) or _read_whole(pyramid, sheet, carried)
        for sheet in located
    )
    is_legible = bool(blocks) or any(row.chosen for sheet in sheets for row in sheet.rows)
    said = diagnosis.hints(pyramid.picture, located, legible=is_legible)
    return _Seen(tuple(blocks), sheets, said)


def _located(
    scan: Scan, *, is_inverted: bool = False
) -> tuple[Sequence[Symbol], Sequence[LocatedSheet], Sequence[PrintedSheet]]:
    """
    Return the symbols of *scan*, or those that are found with more effort where there are none; the
    sheets on it; and what was read to find them. On one that *is_inverted*, where nothing looks
    like print at once, no rows are looked for with more effort.
    """
    from paperkey_alt.reading.image import diagnosis, locate  # noqa: PLC0415 - as said above

    picture, blocks = scan.pyramid.picture, scan.symbols
    read_before: dict[int, PrintedSheet] = {}
    whole: tuple[PrintedSheet, ...] = ()
    through_lens: PrintedSheet | None = None
    if not blocks:
        # Of a page of text alone that takes less than all that may be done to find a symbol.
        located, whole, is_settled = _located_at_once(scan, read_before)
        if located:
            others, read = _with_others(picture, located)
            return blocks, others, (*whole, *read, *_read_enough(read_before.values()))
        blocks = symbols.read_slowly(picture)
        is_vain = is_settled or (is_inverted and not read_before) or diagnosis.is_blurred(picture)
        if not blocks and is_vain:
            # What was read at once is all that will be, but for symbols.
            blocks = symbols.read_harder(picture)
            located = locate.find_on(replace(scan, symbols=blocks)) if blocks else ()
            return blocks, located or _best(read_before.values()), ()
        if not blocks:
            through_lens = _through_lens(
                scan, is_straight_read=any(map(_agreeing_rows, read_before.values()))
            )
            if through_lens is not None and _nearly_all_agree(through_lens):
                return blocks, (through_lens.located,), (through_lens,)
    # A head line that misled once would again.
    located = locate.find_on(replace(scan, symbols=blocks)) if blocks or not whole else ()
    if not (blocks or located):
        blocks = symbols.read_harder(picture)
        located = locate.find_on(replace(scan, symbols=blocks)) if blocks else ()
    is_lost = not (blocks or located)
    if is_lost:
        _read_likely(scan, locate.find_likely(scan), read_before, through_lens)
    read = (*read_before.values(), *filter(None, [through_lens]))
    return blocks, _best(read) if is_lost else located, _read_enough(read)


def _located_at_once(
    scan: Scan, read_before: dict[int, PrintedSheet]
) -> tuple[tuple[LocatedSheet, ...], tuple[PrintedSheet, ...], bool]:
    """
    Return the sheet of which the head line and another row, or nearly all rows, agree with their
    checks where the corner marks most likely put it, or where its rows alone do; what was read in
    full because of its head line; and where there is no sheet, whether the same rows were read at
    both places: then no other place would give more.

    Head lines of several papers are close to each other: where no other row agrees, one that is
    legible may have been taken for that of another paper.
    """
    from paperkey_alt.reading.image import locate  # noqa: PLC0415 - as said above

    whole = tuple(_read_whole(scan.pyramid, sheet, ()) for sheet in locate.find_at_once(scan))
    if any(row.number and row.chosen for shown in whole for row in shown.rows):
        return tuple(shown.located for shown in whole), whole, False
    read_before.update({id(shown.located): shown for shown in whole})
    read: list[PrintedSheet] = []
    for way in (locate.find_likely(scan, at_once=True), locate.find_by_rows(scan)):
        best = _read_likely(scan, way, read_before)
        if best is not None and _nearly_all_agree(best):
            return (best.located,), (), False
        read += filter(None, [best])
    return (), whole, len(read) > 1 and _say_the_same(*read)


def _with_others(
    picture: Picture, located: tuple[LocatedSheet, ...]
) -> tuple[tuple[LocatedSheet, ...], tuple[PrintedSheet, ...]]:
    """
    Return the sheets *located* on *picture*, and others for which there is room beside them; and
    what was read of these, where nearly all rows agreed.
    """
    from PIL import Image, ImageDraw  # noqa: PLC0415 - as said above

    from paperkey_alt.reading.image import locate  # noqa: PLC0415 - as said above

    rest, covered = picture.copy(), Image.new("1", picture.size)
    latest = located
    read: tuple[PrintedSheet, ...] = ()
    while latest and len(located) < _MOST_SHEETS:
        for sheet in latest:
            outline = [(float(x), float(y)) for x, y in sheet.paper_outline()]
            ImageDraw.Draw(rest).polygon(outline, fill=255)
            ImageDraw.Draw(covered).polygon(outline, fill=1)
        if covered.histogram()[-1] > _COVERED * picture.width * picture.height:
            break
        scan = locate.Scan.of(rest)
        latest, whole, _ = _located_at_once(scan, {})
        # Of what is covered here rows may be missing that the whole picture shows.
        located, read = (*located, *latest), (*read, *filter(_nearly_all_agree, whole))
    return located, read


def _read_likely(
    scan: Scan,
    likely: Iterable[LocatedSheet],
    read_before: dict[int, PrintedSheet],
    best: PrintedSheet | None = None,
) -> PrintedSheet | None:
    """
    Return what was read of what is *likely* a sheet: the first of which nearly all rows agree with
    their checks, or that of which most do, if more than of *best*. What was *read_before* is not
    read again.
    """
    for tried, sheet in enumerate(likely, 1):
        if id(sheet) not in read_before:
            read_before[id(sheet)] = _read_to_compare(scan, sheet)
        shown = read_before[id(sheet)]
        if best is None or _agreeing_rows(shown) > _agreeing_rows(best):
            best = shown
        if _nearly_all_agree(shown):
            break
        if tried == _TRIED_IN_VAIN and _agreeing_rows(best) == 0:
            break
    return best


def _through_lens(scan: Scan, *, is_straight_read: bool) -> PrintedSheet | None:
    """
    Return what is a sheet seen through a lens, the first of which nearly all rows agree, or that of
    which most do; more is asked of what it looks like if nothing *is_straight_read*.
    """
    from paperkey_alt.reading.image import locate  # noqa: PLC0415 - as said above

    best: PrintedSheet | None = None
    for likely in locate.find_through_lens(scan, is_straight_read=is_straight_read):
        shown = _read_to_compare(scan, likely)
        if _agreeing_rows(shown) >= max(_SURELY, 0 if best is None else _agreeing_rows(best) + 1):
            best = shown
        if _nearly_all_agree(shown):
            break
    return best


def _read_to_compare(scan: Scan, likely: LocatedSheet) -> PrintedSheet:
    """
    Return what a sheet says with little effort, where its rows run on the picture or where its
    place puts them, whichever gives more; with more effort, it is read from there.
    """
    from paperkey_alt.reading.image import locate, printed_rows  # noqa: PLC0415 - as said above

    read: list[PrintedSheet] = []
    for sheet in filter(None, (locate.follow_rows(scan.pyramid, likely), likely)):
        shown = printed_rows.read(scan.pyramid, sheet, least_growth=_LEAST_GROWTH)
        read.append(shown if _is_enough(shown) else replace(shown, located=sheet))
        if _nearly_all_agree(shown):
            break
    best = max(reversed(read), key=_agreeing_rows)
    if _agreeing_rows(best) == 0:
        scan.in_vain.append(likely)
    return best


def _read_whole(pyramid: Pyramid, sheet: LocatedSheet, carried: Collection[int]) -> PrintedSheet:
    """
    Return what the rows of *sheet* say that are not *carried* elsewhere, where it was found or,
    where they do not agree there, where they run on the picture.
    """
    from paperkey_alt.reading.image import locate, printed_rows  # noqa: PLC0415 - as said above

    shown = printed_rows.read(pyramid, sheet, carried)
    followed = None if _nearly_all_agree(shown) else locate.follow_rows(pyramid, sheet)
    if followed is None:
        return shown
    return max(shown, printed_rows.read(pyramid, followed, carried), key=_agreeing_rows)


def _best(read: Iterable[PrintedSheet]) -> tuple[LocatedSheet, ...]:
    """Return the sheet of those *read* of which most rows agree, the first such one; if any is."""
    best = max(read, key=_agreeing_rows, default=None)
    return () if best is None else (best.located,)


def _read_enough(read: Iterable[PrintedSheet]) -> tuple[PrintedSheet, ...]:
    """Return of what was *read* that which need not be read again with more effort."""
    return tuple(shown for shown in read if _is_enough(shown))


def _is_enough(shown: PrintedSheet) -> bool:
    """Tell whether nearly all rows agree, or so few that no others are looked for from them."""
    return _nearly_all_agree(shown) or _agreeing_rows(shown) < _SURELY


def _read_of(sheet: LocatedSheet, read: Iterable[PrintedSheet]) -> PrintedSheet | None:
    """Return what was *read* of *sheet*, None where nothing was."""
    return next((shown for shown in read if shown.located is sheet), None)


def _agreeing_rows(shown: PrintedSheet) -> int:
    """Return how many rows of a sheet agree with their checks."""
    return sum(row.chosen is not None for row in shown.rows)


def _nearly_all_agree(shown: PrintedSheet) -> bool:
    """Tell whether so many rows agree that no other sheet need be tried."""
    return _agreeing_rows(shown) > NEARLY_ALL * len(shown.rows)


def _say_the_same(one: PrintedSheet, other: PrintedSheet) -> bool:
    """Tell whether nearly the same rows agree with their checks, enough to be sure of the place."""
    first, second = ({row.number for row in shown.rows if row.chosen} for shown in (one, other))
    return len(first & second) >= max(_SURELY, NEARLY_ALL * len(first | second))


def _may_be_negative(picture: Picture) -> bool:
    """Tell whether most of *picture* is dark: light ink on dark paper, or a small sheet in it."""
    from PIL import ImageStat  # noqa: PLC0415 - as said above

    return ImageStat.Stat(picture.reduce(_COARSE)).median[0] < _DARK


def _blocks_at_places(
    picture: Picture, located: LocatedSheet, known: Iterable[Symbol]
) -> Iterator[Symbol]:
    """Yield the blocks of *located* that are not *known* and can be read at their places."""
    if located.head is None:
        return
    firsts = {symbol.first for symbol in known}
    fewest = layout.fewest_modules(located.paper, located.preset)
    for block in located.sheet.blocks:
        if block.first not in firsts:
            modules = symbols.modules(block.first, block.last, fewest)
            symbol = symbols.read_at(picture, located.block_outline(block), modules)
            if symbol is not None:
                yield symbol


def raw_lines(
    blocks: Iterable[Symbol], sheets: Iterable[PrintedSheet], place: Place
) -> Iterator[RawLine]:
    """Yield what *blocks* and the rows of *sheets* say, read at *place*."""
    for block in blocks:
        yield from (RawLine(place, ((number, characters),)) for number, characters in block.lines)
    for sheet in sheets:
        yield from (_raw_line(row, place) for row in sheet.rows if row.texts)


def _raw_line(row: PrintedRow, place: Place) -> RawLine:
    seen = row.seen if row.chosen and not row.fine else None
    return RawLine(place, tuple((row.number, text) for text in row.texts), seen)
