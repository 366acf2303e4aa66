"""
The damage map: a picture of a sheet as it was scanned, with what became of each row and QR symbol
drawn over it: `examine`, `draw` and `encode`.

Each state has a pattern and a letter of its own, so that the map can be read in black and white. A
veiled map shows the brightness of the paper in coarse spots and nothing that was printed on it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFont, ImageStat
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.errors import LineError
from paperkey_alt.format import head_line, lines
from paperkey_alt.format.lines import NO_MARK, Line
from paperkey_alt.sheet import fonts

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.pose import Points
    from paperkey_alt.reading.image.printed import LocatedSheet, PrintedRow, PrintedSheet
    from paperkey_alt.reading.image.symbols import Symbol
    from paperkey_alt.reading.page import Page

SIDE = 2400  # pixels of the longer side of a map
_VEIL = 24  # parts of the longer side that a veil shows: of A4 some 12 mm each, as wide as four characters
_SPOT = 32  # pixels by which the brightness of a part is judged
_STEP = 24  # of brightness, that a veil shows
_GRAIN = 4  # pixels
_BLANK = 12  # standard deviation of brightness under which nothing stands at a place
_LEGEND, _LEAST_WIDTH = 120, 1600  # pixels
_TYPE = 22  # pixels
_HATCH = 16.0  # pixels
_POINTS = 0.35  # to a pixel: A4 comes out in about its size


class State(Enum):
    """
    What became of a row or symbol at its place on a picture: the word for it, its letter and the
    colour it is drawn in.
    """

    FINE = "fine", "", (0, 100, 50)
    MENDED = "mended", "m", (0, 60, 180)
    UNREADABLE = "unreadable", "u", (190, 70, 0)
    MISSING = "missing", "x", (170, 0, 40)

    def __init__(self, word: str, letter: str, colour: tuple[int, int, int]) -> None:
        self.word = word
        self.letter = letter
        self.colour = colour


@dataclass(frozen=True)
class Finding:
    """
    A row, or the symbol of rows *first* to *last*: its corners on the picture, clockwise from the
    upper left, and its state.
    """

    first: int
    last: int
    is_symbol: bool
    corners: Points
    state: State


def examine(
    picture: Picture, part: Page, exact: Mapping[Head, Sequence[str]]
) -> tuple[Finding, ...]:
    """
    Return what became of each row and symbol of the sheets of *part*, the page that *picture* is
    of. *exact* has the lines of each set that is known in full: what was read otherwise is not
    fine.
    """
    return tuple(
        finding for sheet in part.sheets for finding in _of_sheet(picture, part, sheet, exact)
    )


def _of_sheet(
    picture: Picture, part: Page, sheet: PrintedSheet, exact: Mapping[Head, Sequence[str]]
) -> Iterable[Finding]:
    found = sheet.found
    read = {row.number: row for row in sheet.rows}
    known = exact.get(found.head, ()) if found.head else ()
    for row in (found.sheet.head, *found.sheet.rows):
        corners = found.outline(row)
        true = known[row.number - 1] if row.number and known else None
        state = (
            _state(read[row.number], found, true)
            if row.number in read
            else _unread(picture, corners)
        )
        yield Finding(row.number, row.number, is_symbol=False, corners=corners, state=state)
    ours = [
        symbol
        for symbol in part.blocks
        if found.head is None or symbol.lines[0][1] == _head_line(found.head)
    ]
    for block in found.sheet.blocks:
        corners = found.block_outline(block)
        symbol = next((one for one in ours if one.first == block.first), None)
        state = _symbol_state(symbol) if symbol else _unread(picture, corners)
        yield Finding(block.first, block.last, is_symbol=True, corners=corners, state=state)


def _head_line(head: Head) -> str:
    return lines.encode(head_line.pack(head), NO_MARK)


def _state(row: PrintedRow, found: LocatedSheet, true: str | None) -> State:
    if row.fine and true in (None, row.texts[0]):
        return State.FINE
    mark = NO_MARK if row.number == head_line.NUMBER else found.head.mark if found.head else None
    if mark is None:
        return State.UNREADABLE
    for text in row.texts:
        try:
            line = lines.decode(text, row.number, mark).line
        except LineError:
            continue
        if line.number == row.number and true in (
            None,
            lines.encode(Line(row.number, line.data), mark),
        ):
            return State.MENDED
    return State.UNREADABLE


def _symbol_state(symbol: Symbol) -> State:
    return State.FINE if symbol.at_ease else State.MENDED


def _unread(picture: Picture, corners: Points) -> State:
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int)
    box = (
        max(0, int(left)),
        max(0, int(top)),
        min(picture.width, int(right)),
        min(picture.height, int(bottom)),
    )
    if box[0] >= box[2] or box[1] >= box[3]:
        return State.MISSING
    # The grain of a noisy scan is no print.
    shown = picture.crop(box).reduce(_GRAIN)
    return State.MISSING if ImageStat.Stat(shown).stddev[0] < _BLANK else State.UNREADABLE


def draw(picture: Picture, findings: Sequence[Finding], title: str, *, veil: bool) -> Picture:
    """Return the map of *picture*, coarser and in colour, with a legend and *title* below it."""
    scale = min(1.0, SIDE / max(picture.size))
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    ground = (
        _veiled(picture).resize(size, Image.Resampling.BICUBIC)
        if veil
        else picture.resize(size, Image.Resampling.BOX)
    )
    made = Image.new("RGB", (max(size[0], _LEAST_WIDTH), size[1] + _LEGEND), "white")
    # Paler than it was, so that what is drawn over it stands out.
    made.paste(ground.point(lambda value: 60 + value * 195 // 255), (0, 0))
    for finding in findings:
        _mark(made, finding, finding.corners * scale)
    _write_legend(made, findings, title, size[1])
    return made


def encode(maps: Iterable[Picture], *, pdf: bool) -> bytes:
    """Return *maps* as a PDF of a page each, or the only one as a PNG; neither has any metadata."""
    target = io.BytesIO()
    if not pdf:
        (one,) = maps
        one.save(target, "PNG")
        return target.getvalue()
    canvas = Canvas(target, invariant=True, pageCompression=1)
    for made in maps:
        canvas.setPageSize((made.width * _POINTS, made.height * _POINTS))
        canvas.drawInlineImage(made, 0, 0, made.width * _POINTS, made.height * _POINTS)
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


def _mark(made: Picture, finding: Finding, corners: Points) -> None:
    """Draw the pattern of a state over a place, and a tag with number and letter before it."""
    pen = ImageDraw.Draw(made)
    _draw_pattern(pen, corners, finding.state)
    font = _font(min(_TYPE, max(9, round(0.75 * float(np.linalg.norm(corners[3] - corners[0]))))))
    number = f"{finding.first}–{finding.last}" if finding.is_symbol else str(finding.first)
    # Behind the upper left corner: over the number that is printed there, or over a corner of the
    # symbol.
    at = (corners[0] + 2 if finding.is_symbol else (corners[0] + corners[3]) / 2).tolist()
    anchor = "lt" if finding.is_symbol else "lm"
    text = f"{number} {finding.state.letter}".rstrip()
    left, top, right, bottom = pen.textbbox(at, text, font=font, anchor=anchor)
    pen.rectangle((left - 3, top - 2, right + 3, bottom + 2), fill="white")
    pen.text(at, text, font=font, fill=finding.state.colour, anchor=anchor)


def _draw_pattern(pen: ImageDraw.ImageDraw, corners: Points, state: State) -> None:
    """
    Draw what is fine underlined, what is mended between dashes, what is unreadable hatched, and
    what is missing crossed out.
    """
    upper_left, upper_right, lower_right, lower_left = corners

    def line(start: Points, end: Points, width: int = 2) -> None:
        pen.line([*map(tuple, (start.tolist(), end.tolist()))], fill=state.colour, width=width)

    match state:
        case State.FINE:
            line(lower_left, lower_right)
        case State.MENDED:
            for start, end in ((upper_left, upper_right), (lower_left, lower_right)):
                for at in np.arange(0, 1, 1 / 20):
                    line(start + (end - start) * at, start + (end - start) * (at + 1 / 40), 3)
        case State.UNREADABLE:
            wide, high = (
                np.linalg.norm(upper_right - upper_left),
                np.linalg.norm(lower_left - upper_left),
            )
            # At 45 degrees, from the lower edge to the upper one as far as there is room.
            for at in np.arange(-high, wide, _HATCH):
                low, top = max(0.0, -at / high), min(1.0, (wide - at) / high)
                line(
                    _within(corners, (at + high * low) / wide, low),
                    _within(corners, (at + high * top) / wide, top),
                )
        case State.MISSING:
            line(upper_left, lower_right)
            line(lower_left, upper_right)
            for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
                line(start, end)


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


def _write_legend(made: Picture, findings: Sequence[Finding], title: str, top: int) -> None:
    pen = ImageDraw.Draw(made)
    pen.text((20, top + 14), title, font=_font(_TYPE), fill="black")
    step = (made.width - 40) / len(State)
    for at, state in enumerate(State):
        rows, symbols = (
            sum(one.state is state for one in findings if one.is_symbol is kind)
            for kind in (False, True)
        )
        left, middle = 20 + at * step, top + 84
        _draw_pattern(
            pen,
            np.array(
                [
                    (left, middle - 16),
                    (left + 60, middle - 16),
                    (left + 60, middle + 16),
                    (left, middle + 16),
                ]
            ),
            state,
        )
        words = (
            f"{state.word}{f' ({state.letter})' if state.letter else ''}: {rows} rows, {symbols} QR"
        )
        pen.text((left + 72, middle), words, font=_font(_TYPE - 4), fill=state.colour, anchor="lm")


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(fonts.VERA_BOLD, size)
