"""
Where everything stands on a sheet: pure geometry, the same for drawing a sheet and for finding a
character on a picture of one.

All lengths are in points (1/72 inch); x runs to the right and y down from the upper left corner of
the paper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from paperkey_alt.format.lines import CHARACTERS, DATA_BYTES, DATA_CHARACTERS, GROUP
from paperkey_alt.format.spare_lines import groups, spare_count
from paperkey_alt.sheet.qr import QUIET_MODULES

MM = 72 / 25.4
ADVANCE = 0.6  # of the type size: a Courier character's width
CAPITALS = 0.58  # and the height of its capitals
NUMBER_CHARACTERS = 4
ROW_CHARACTERS = NUMBER_CHARACTERS + 2 + CHARACTERS + DATA_CHARACTERS // GROUP

EDGE = 8 * MM  # between the paper's edge and the corner marks
CORNER_MARK = 4 * MM  # the side of a corner mark
MARGIN = 14 * MM  # left and right of everything else
MARGIN_ENDS = 10 * MM  # above and below
HEAD_ROW = 6.0  # from the head line's baseline to the first band
FOOT_ROW = 8 * MM  # from the foot row's baseline to the paper's edge: below all else
FOOT_WORDS = MARGIN_ENDS + 5.0  # from the lowest words to the paper's edge: above the foot row
LEGEND_DEPTH = 2.0  # how far the words beside the head line reach below its baseline
HEAD_HEIGHT = 70.0
FOOT_HEIGHT = 180.0
TOGETHER = 5  # rows of two columns that stand together, so that the eye keeps its row
GAP = 0.45  # of the row pitch: between those and the next
LOOSEST = 1.45  # of the type size: the widest row pitch

MOST_SPARE_PERCENT = 400


class Paper(NamedTuple):
    """A sheet of paper: name, width and height."""

    name: str
    width: float
    height: float


PAPERS = {
    "a4": Paper("A4", 210 * MM, 297 * MM),  # ISO 216
    "letter": Paper("Letter", 8.5 * 72, 11 * 72),  # ANSI/ASME Y14.1
}


class Preset(NamedTuple):
    """
    A type size and what fits with it: columns of *rows* lines make a band, with the QR symbol
    beside it; *bands* make a page.
    """

    type_size: float
    columns: int
    rows: int
    bands: int
    symbol: float

    @property
    def lines_a_band(self) -> int:
        """Lines beside one QR symbol, and in it."""
        return self.columns * self.rows

    @property
    def lines_a_page(self) -> int:
        """Lines a page holds."""
        return self.lines_a_band * self.bands


# Columns, rows and bands; then type size and symbol on each paper. Fewest lines first: the type is
# as large as the page allows, and the symbols are as large as the type then allows, up to 60 mm.
_SIZES = (
    (1, 12, 2, {"A4": (13.2, 60 * MM), "Letter": (13.5, 60 * MM)}),
    (1, 12, 3, {"A4": (13.0, 58 * MM), "Letter": (11.9, 53 * MM)}),
    (1, 16, 3, {"A4": (11.0, 58 * MM), "Letter": (10.0, 53 * MM)}),
    (1, 19, 3, {"A4": (10.4, 58 * MM), "Letter": (9.7, 53 * MM)}),
    (1, 21, 3, {"A4": (9.6, 58 * MM), "Letter": (9.4, 53 * MM)}),
    (2, 12, 4, {"A4": (7.9, 39 * MM), "Letter": (8.0, 39 * MM)}),
    (2, 15, 4, {"A4": (7.7, 41 * MM), "Letter": (7.8, 39 * MM)}),
)
_LARGE = 1  # the place among these of the one that --large takes


def presets(paper: Paper) -> tuple[Preset, ...]:
    """Return the presets for *paper*, those for fewest lines a page, in the largest type, first."""
    return tuple(
        Preset(type_size, columns, rows, bands, symbol)
        for columns, rows, bands, by_paper in _SIZES
        for type_size, symbol in (by_paper[paper.name],)
    )


class Row(NamedTuple):
    """The line *number*: its number begins at *x*, its characters stand on *baseline*."""

    number: int
    x: float
    baseline: float


class Block(NamedTuple):
    """
    The QR symbol that carries lines *first* to *last*: its upper left corner, the quiet zone not
    counted.
    """

    first: int
    last: int
    x: float
    y: float


class Sheet(NamedTuple):
    """
    One sheet: the head line's row, and the row at the foot that repeats it; the rows of the other
    lines, and the QR symbols beside them.
    """

    head: Row
    foot: Row
    rows: tuple[Row, ...]
    blocks: tuple[Block, ...]


class Plan(NamedTuple):
    """A set of lines laid out on *paper* by *preset*."""

    paper: Paper
    preset: Preset
    sheets: tuple[Sheet, ...]


def plan(total: int, paper: Paper, *, large: bool = False) -> Plan:
    """
    Return the layout for the lines 1 to *total*: as few sheets as can be, in the largest type that
    does with so few; or *large*, in large type on as many sheets as that takes.
    """
    choices = presets(paper)
    if large:
        choices = choices[: _LARGE + 1]
    fewest = min(-(-total // preset.lines_a_page) for preset in choices)
    preset = next(preset for preset in choices if -(-total // preset.lines_a_page) == fewest)
    starts = range(1, total + 1, preset.lines_a_page)
    sheets = (
        sheet(first, min(first + preset.lines_a_page - 1, total), paper, preset) for first in starts
    )
    return Plan(paper, preset, tuple(sheets))


# A picture is asked for them by each of its symbols.
@lru_cache(maxsize=16)
def plans(total: int, paper: Paper) -> tuple[Plan, ...]:
    """Return the layouts in which the lines 1 to *total* may have been printed, the usual first."""
    usual, large = plan(total, paper), plan(total, paper, large=True)
    return (usual,) if usual.preset == large.preset else (usual, large)


@dataclass(frozen=True)
class Spare:
    """
    How many spare lines are wanted: *percent* of the data lines, 0 to 400, and at least four for
    each codeword; None for as many as the loss of any one sheet costs.
    """

    percent: int | None

    def __post_init__(self) -> None:
        if self.percent is not None and not 0 <= self.percent <= MOST_SPARE_PERCENT:
            raise ValueError(f"spare lines are 0 to {MOST_SPARE_PERCENT} percent of the data lines")

    def lines_for(self, length: int, paper: Paper, *, large: bool = False) -> int:
        """Return the number of spare lines for a body of *length* bytes printed on *paper*."""
        data = -(-length // DATA_BYTES)
        if self.percent is None:
            return spare_for_a_sheet(data, paper, large=large)
        return spare_count(data, self.percent)


def spare_for_a_sheet(data: int, paper: Paper, *, large: bool = False) -> int:
    """Return the fewest spare lines with which *data* lines survive the loss of any one sheet."""
    spare = 0
    while not _survives(data, spare, plan(data + spare, paper, large=large).sheets):
        spare += 1
    return spare


def _survives(data: int, spare: int, sheets: tuple[Sheet, ...]) -> bool:
    """Tell whether each group of lines has enough spare ones, whichever of *sheets* is lost."""
    # Where data lines end and spare lines begin, a sheet may have one more line of a group.
    if max(len(sheet.rows) for sheet in sheets) > spare:
        return False
    return all(
        sum(row.number in ours or row.number in spares for row in sheet.rows) <= len(spares)
        for sheet in sheets
        for ours, spares in groups(data, spare)
    )


def character_x(row: Row, column: int, preset: Preset) -> float:
    """Return where the character at *column* (from 1) of a row begins."""
    before = (
        NUMBER_CHARACTERS + 2 + (column - 1) + min((column - 1) // GROUP, DATA_CHARACTERS // GROUP)
    )
    return row.x + before * ADVANCE * preset.type_size


def row_width(preset: Preset) -> float:
    """Return the width of a printed row, its number included."""
    return ROW_CHARACTERS * ADVANCE * preset.type_size


def corner_marks(paper: Paper) -> tuple[tuple[float, float], ...]:
    """
    Return the upper left corners of the corner marks; the last, lower right on the sheet, is
    hollow.
    """
    left, right = EDGE, paper.width - EDGE - CORNER_MARK
    top, bottom = EDGE, paper.height - EDGE - CORNER_MARK
    return ((left, top), (right, top), (left, bottom), (right, bottom))


def band_height(paper: Paper, preset: Preset) -> float:
    """Return the distance from one band to the next."""
    return (paper.height - 2 * MARGIN_ENDS - HEAD_HEIGHT - FOOT_HEIGHT) / preset.bands


def row_pitch(paper: Paper, preset: Preset) -> float:
    """Return the distance from one row of a band to the next, but for the gaps."""
    return min(LOOSEST * preset.type_size, (band_height(paper, preset) - 4) / _pitches(preset))


def column_gap(paper: Paper, preset: Preset) -> float:
    """Return the width between one column and the next, or the symbols."""
    used = preset.symbol + preset.columns * row_width(preset)
    return (paper.width - 2 * MARGIN - used) / preset.columns


def _pitches(preset: Preset) -> float:
    """Return the height of the rows of a band in row pitches."""
    return preset.rows + _before(preset.rows - 1, preset)


def _before(row: int, preset: Preset) -> float:
    """Return the height of the gaps before the *row* of a column, from 0, in row pitches."""
    return GAP * (row // TOGETHER) if preset.columns > 1 else 0.0


def fewest_modules(paper: Paper, preset: Preset) -> int:
    """
    Return how many modules a side a symbol has at the least: with fewer of them, larger ones, a
    short block would need a wider quiet zone than there is between two symbols, between the first
    one and the words above it, or beside the rows.
    """
    between = band_height(paper, preset) - preset.symbol
    above = between / 2 + HEAD_ROW - LEGEND_DEPTH
    beside = column_gap(paper, preset)
    return math.ceil(QUIET_MODULES * preset.symbol / min(between, above, beside))


def sheet(first: int, last: int, paper: Paper, preset: Preset) -> Sheet:
    """Return the sheet that lines *first* to *last* make."""
    top = MARGIN_ENDS + HEAD_HEIGHT
    height = band_height(paper, preset)
    rows: list[Row] = []
    blocks: list[Block] = []
    for band, start in enumerate(range(first, last + 1, preset.lines_a_band)):
        numbers = range(start, min(start + preset.lines_a_band, last + 1))
        y = top + band * height
        rows.extend(_row(number, number - start, y, paper, preset) for number in numbers)
        inset = (height - preset.symbol) / 2
        blocks.append(
            Block(numbers[0], numbers[-1], paper.width - MARGIN - preset.symbol, y + inset)
        )
    return Sheet(
        Row(0, MARGIN, top - HEAD_ROW),
        Row(0, MARGIN, paper.height - FOOT_ROW),
        tuple(rows),
        tuple(blocks),
    )


def _row(number: int, at: int, y: float, paper: Paper, preset: Preset) -> Row:
    pitch = row_pitch(paper, preset)
    column, row = divmod(at, preset.rows)
    inset = (band_height(paper, preset) - _pitches(preset) * pitch) / 2
    return Row(
        number,
        MARGIN + column * (row_width(preset) + column_gap(paper, preset)),
        y + inset + (row + _before(row, preset)) * pitch + 0.8 * pitch,
    )
