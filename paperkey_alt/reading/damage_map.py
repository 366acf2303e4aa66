"""
The damage map: a picture of a sheet as it was scanned, with what became of each row and QR symbol
drawn over it: `examine`, `draw` and `encode`.

Each status has a pattern and a letter of its own, so that the map can be read in black and white. A
veiled map shows the brightness of the paper in coarse spots and nothing that was printed on it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from PIL import Image, ImageDraw, ImageFont, ImageStat
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.errors import LineError
from paperkey_alt.format import head_line, lines
from paperkey_alt.format.lines import NO_MARK, Line
from paperkey_alt.format.recover import Status
from paperkey_alt.sheet import fonts
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.locate import LocatedSheet
    from paperkey_alt.reading.image.pose import Points
    from paperkey_alt.reading.image.printed_rows import PrintedRow, PrintedSheet
    from paperkey_alt.reading.image.symbols import Symbol
    from paperkey_alt.reading.page import Page

SIDE = 2400  # pixels of the longer side of a map
_VEIL = 24  # parts of the longer side that a veil shows: of A4 some 12 mm each, four characters
_SPOT = 32  # pixels by which the brightness of a part is judged
_STEP = 24  # of brightness, that a veil shows
_GRAIN = 4  # pixels
# Standard deviation of brightness under which nothing is printed at a place. On the pages of
# tests/bench/scan_matrix.py blank paper has up to 6, printed rows have 22 and more; a stain or fold
# is between, and counts as something.
_BLANK = 12
_LEGEND, _LEAST_WIDTH = 120, 1600  # pixels
_TYPE = 22  # pixels
_HATCH = 16.0  # pixels
_DASHES = 20
_POINTS = 0.35  # to a pixel: A4 comes out in about its size


@dataclass(frozen=True)
class MappedPlace:
    """
    A row, or the symbol of rows *first* to *last*: its corners on the picture, clockwise from the
    upper left, and what became of it.
    """

    first: int
    last: int
    is_symbol: bool
    corners: Points
    status: Status


def examine(
    picture: Picture, page: Page, exact: Mapping[Head, Sequence[str]]
) -> tuple[MappedPlace, ...]:
    """
    Return what became of each row and symbol of the sheets of *page*, which *picture* shows; of the
    symbols that were read alone where no sheet was found. *exact* has the lines of each set that is
    known in full: what was read otherwise is not fine.
    """
    if not page.sheets:
        return tuple(_read_symbol(block) for block in page.blocks)
    return tuple(
        place
        for sheet in page.sheets
        for place in (*_rows(picture, sheet, exact), *_symbols(picture, sheet, page.blocks))
    )


def _rows(
    picture: Picture, sheet: PrintedSheet, exact: Mapping[Head, Sequence[str]]
) -> Iterator[MappedPlace]:
    located = sheet.located
    read = {(row.number, row.at_foot): row for row in sheet.rows}
    known = exact.get(located.head, ()) if located.head else ()
    for row in (located.sheet.head, *located.sheet.rows, located.sheet.foot):
        corners = located.outline(row)
        said = read.get((row.number, row is located.sheet.foot))
        if said is not None:
            true = known[row.number - 1] if row.number != head_line.NUMBER and known else None
            status = _row_status(said, located, true)
        else:
            status = _status_of_unread(picture, corners)
        yield MappedPlace(row.number, row.number, is_symbol=False, corners=corners, status=status)


def _symbols(
    picture: Picture, sheet: PrintedSheet, symbols: Iterable[Symbol]
) -> Iterator[MappedPlace]:
    located = sheet.located
    read = {
        symbol.first: symbol for symbol in reversed(tuple(symbols)) if _is_of(symbol, located.head)
    }
    for block in located.sheet.blocks:
        corners = located.block_outline(block)
        if block.first in read:
            status = Status.FINE if read[block.first].at_ease else Status.MENDED
        else:
            status = _status_of_unread(picture, corners)
        yield MappedPlace(block.first, block.last, is_symbol=True, corners=corners, status=status)


def _read_symbol(symbol: Symbol) -> MappedPlace:
    """Return the place of a symbol that was read, where it was seen."""
    return MappedPlace(
        symbol.first,
        symbol.lines[-1][0],
        is_symbol=True,
        corners=np.array(symbol.corners, float),
        status=Status.FINE if symbol.at_ease else Status.MENDED,
    )


def _is_of(symbol: Symbol, head: Head | None) -> bool:
    """Tell whether *symbol* is of the set of *head*, as far as that is known."""
    return head is None or symbol.lines[0][1] == lines.encode(head_line.pack(head), NO_MARK)


def _row_status(row: PrintedRow, located: LocatedSheet, true: str | None) -> Status:
    if row.fine and true in (None, row.texts[0]):
        return Status.FINE
    if row.number == head_line.NUMBER:
        mark = NO_MARK
    elif located.head is not None:
        mark = located.head.mark
    else:
        return Status.WRONG
    is_mended = any(_says(text, row.number, mark, true) for text in row.texts)
    return Status.MENDED if is_mended else Status.WRONG


def _says(text: str, number: int, mark: str, true: str | None) -> bool:
    """Tell whether *text* can be taken for line *number*, and that for *true* where it is known."""
    try:
        line = lines.decode(text, number, mark).line
    except LineError:
        return False
    return line.number == number and true in (None, lines.encode(Line(number, line.data), mark))


def _status_of_unread(picture: Picture, corners: Points) -> Status:
    """Return whether at *corners* something is that was not read, or nothing."""
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int)
    box = (
        max(0, int(left)),
        max(0, int(top)),
        min(picture.width, int(right)),
        min(picture.height, int(bottom)),
    )
    if box[0] >= box[2] or box[1] >= box[3]:
        return Status.MISSING
    # The grain of a noisy scan is no print.
    shown = picture.crop(box).reduce(_GRAIN)
    return Status.MISSING if ImageStat.Stat(shown).stddev[0] < _BLANK else Status.WRONG


def draw(
    picture: Picture, places: Sequence[MappedPlace], title: str, *, veil: bool, verdict: str = ""
) -> Picture:
    """
    Return the map of *picture*, coarser and in colour; below it *title* and *verdict*, in a row
    each, and a legend. Where there are no *places* it says so instead of the verdict.
    """
    scale = min(1.0, SIDE / max(picture.size))
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    if veil:
        ground = _veiled(picture).resize(size, Image.Resampling.BICUBIC)
    else:
        ground = picture.resize(size, Image.Resampling.BOX)
    made = Image.new("RGB", (max(size[0], _LEAST_WIDTH), size[1] + _LEGEND), "white")
    # Paler than it was, so that what is drawn over it stands out.
    made.paste(ground.point(lambda value: 60 + value * 195 // 255), (0, 0))
    for place in places:
        _draw_place(made, place, place.corners * scale)
    _write_legend(made, places, (title, verdict if places else _NOT_FOUND), size[1])
    return made


def encode(maps: Iterable[Picture], *, pdf: bool) -> bytes:
    """Return *maps* as a PDF of a page each, or the only one as a PNG; neither has any metadata."""
    target = io.BytesIO()
    if not pdf:
        (only_map,) = maps
        only_map.save(target, "PNG")
        return target.getvalue()
    canvas = Canvas(target, invariant=True, pageCompression=1)
    for made in maps:
        canvas.setPageSize((made.width * _POINTS, made.height * _POINTS))
        # An inline image is not drawn where pages are written as bytes, as those of sheets are.
        size = made.width * _POINTS, made.height * _POINTS
        canvas.drawImage(ImageReader(made), 0, 0, *size)
        canvas.showPage()
    canvas.save()
    return target.getvalue()


def _veiled(picture: Picture) -> Picture:
    """
    Return the brightness of the paper in coarse spots and coarse steps: stains and tears are left,
    print is not.
    """
    small = picture.copy()
    small.thumbnail((_VEIL * _SPOT, _VEIL * _SPOT), Image.Resampling.BOX)
    grey = np.asarray(small, np.uint8)
    rows, columns = (max(1, -(-side // _SPOT)) for side in grey.shape)
    padded = np.pad(
        grey, ((0, rows * _SPOT - grey.shape[0]), (0, columns * _SPOT - grey.shape[1])), mode="edge"
    )
    spots = padded.reshape(rows, _SPOT, columns, _SPOT).swapaxes(1, 2).reshape(rows, columns, -1)
    # Of paper with print on it, the brightest part is the paper.
    bright = np.percentile(spots, 97, axis=2)
    return Image.fromarray((bright // _STEP * _STEP).astype(np.uint8))


def _draw_place(made: Picture, place: MappedPlace, corners: Points) -> None:
    """Draw the pattern of its status over a place, and a tag with number and letter before it."""
    pen, look = ImageDraw.Draw(made), _LOOKS[place.status]
    _draw_pattern(pen, corners, look)
    font = _font(min(_TYPE, max(9, round(0.75 * float(np.linalg.norm(corners[3] - corners[0]))))))
    # Behind the upper left corner: over a corner of the symbol, or over the number that is printed
    # there.
    if place.is_symbol:
        number, at, anchor = f"{place.first}–{place.last}", corners[0] + 2, "lt"
    else:
        number, at, anchor = str(place.first), (corners[0] + corners[3]) / 2, "lm"
    text, where = f"{number} {look.letter}".rstrip(), tuple(at.tolist())
    left, top, right, bottom = pen.textbbox(where, text, font=font, anchor=anchor)
    pen.rectangle((left - 3, top - 2, right + 3, bottom + 2), fill="white")
    pen.text(where, text, font=font, fill=look.colour, anchor=anchor)


class _Stroke(NamedTuple):
    """A straight line of a pattern, in pixels."""

    start: Points
    end: Points
    width: int = 2


def _underlined(corners: Points) -> Iterator[_Stroke]:
    _, _, lower_right, lower_left = corners
    yield _Stroke(lower_left, lower_right)


def _between_dashes(corners: Points) -> Iterator[_Stroke]:
    upper_left, upper_right, lower_right, lower_left = corners
    for start, end in ((upper_left, upper_right), (lower_left, lower_right)):
        dash = (end - start) / (2 * _DASHES)
        for at in range(_DASHES):
            yield _Stroke(start + 2 * at * dash, start + (2 * at + 1) * dash, 3)


def _hatched(corners: Points) -> Iterator[_Stroke]:
    upper_left, upper_right, _, lower_left = corners
    wide, high = np.linalg.norm(upper_right - upper_left), np.linalg.norm(lower_left - upper_left)
    # At 45 degrees, from the lower edge to the upper one as far as there is room.
    for at in np.arange(-high, wide, _HATCH):
        low, top = max(0.0, -at / high), min(1.0, (wide - at) / high)
        yield _Stroke(
            _within(corners, (at + high * low) / wide, low),
            _within(corners, (at + high * top) / wide, top),
        )


def _crossed_out(corners: Points) -> Iterator[_Stroke]:
    upper_left, upper_right, lower_right, lower_left = corners
    yield _Stroke(upper_left, lower_right)
    yield _Stroke(lower_left, upper_right)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        yield _Stroke(start, end)


class _Look(NamedTuple):
    """How a status is drawn: its letter, its colour, and its pattern within four corners."""

    letter: str
    colour: tuple[int, int, int]
    pattern: Callable[[Points], Iterator[_Stroke]]


_LOOKS = {
    Status.FINE: _Look("", (0, 100, 50), _underlined),
    Status.MENDED: _Look("m", (0, 60, 180), _between_dashes),
    Status.WRONG: _Look("w", (190, 70, 0), _hatched),
    Status.MISSING: _Look("x", (170, 0, 40), _crossed_out),
}


def _draw_pattern(pen: ImageDraw.ImageDraw, corners: Points, look: _Look) -> None:
    for start, end, width in look.pattern(corners):
        pen.line((*start.tolist(), *end.tolist()), fill=look.colour, width=width)


def _within(corners: Points, across: float, up: float) -> Points:
    """
    Return the place in a quadrangle at so much of its width and of its height from the lower left
    corner.
    """
    upper_left, upper_right, lower_right, lower_left = corners
    upper, lower = (
        upper_left + (upper_right - upper_left) * across,
        lower_left + (lower_right - lower_left) * across,
    )
    place: Points = lower + (upper - lower) * up
    return place


_NOT_FOUND = "Where the sheet lies on this picture was not found, so no row and no symbol is drawn."


def _write_legend(
    made: Picture, places: Sequence[MappedPlace], titles: Sequence[str], top: int
) -> None:
    pen = ImageDraw.Draw(made)
    for at, title in enumerate(titles):
        pen.text((20, top + 8 + at * (_TYPE + 8)), title, font=_font(_TYPE), fill="black")
    step, middle = (made.width - 40) / len(_LOOKS), top + 92
    for at, (status, look) in enumerate(_LOOKS.items()):
        of_status = [place for place in places if place.status is status]
        symbols = sum(place.is_symbol for place in of_status)
        name = f"{status.value} ({look.letter})" if look.letter else status.value
        words = f"{name}: {counted(len(of_status) - symbols, 'row')}, {symbols} QR"
        left = 20 + at * step
        sample = np.array([(0, -16), (60, -16), (60, 16), (0, 16)])
        _draw_pattern(pen, sample + np.array((left, middle)), look)
        pen.text((left + 72, middle), words, font=_font(_TYPE - 4), fill=look.colour, anchor="lm")


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(fonts.VERA_BOLD, size)
