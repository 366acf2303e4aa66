"""
Printed sheets on a picture: `find` tells which sheet lies where, `read` what its rows say, by the
places at which they are set.

No program for reading text in general is needed: the font, the places and the check of every line
are known.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from paperkey_alt.format import head_line, lines
from paperkey_alt.format.lines import ALPHABET, CHARACTERS, LAST_NUMBER, NO_MARK
from paperkey_alt.reading.image import corner_marks, glyphs, pose, soft_decision, strips, symbols
from paperkey_alt.reading.image.strips import STRAIGHT, Warp
from paperkey_alt.sheet import layout
from paperkey_alt.sheet.layout import NUMBER_CHARACTERS, PAPERS, PRESETS

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.pose import Points, Pose
    from paperkey_alt.reading.image.strips import View
    from paperkey_alt.reading.image.symbols import Symbol
    from paperkey_alt.sheet.layout import Block, Paper, Preset, Row, Sheet

_LIKE_A_SHEET = 0.45  # likeness from which rows are believed to stand where a pose puts them
_WARPED = 0.005  # that a pixel of warp takes from a likeness
_SAMPLE = 9  # rows by which a pose is judged
_MOST_TRIED = 6  # poses by marks that are tried for their likeness where no head line is legible
_LEGIBLE_ROW = 10  # characters without which a row is not worth mentioning
_MOST_UNSURE = (0, 2, 4)
_KNOWN_WELL = (
    3  # raw_lines of a character from which the sheet's own print of it serves as a pattern
)


@dataclass(frozen=True)
class LocatedSheet:
    """
    A sheet on a picture: its paper and preset, its rows and blocks, where it lies, how it is
    warped; *head* where it is known.
    """

    paper: Paper
    preset: Preset
    sheet: Sheet
    pose: Pose
    warp: Warp
    head: Head | None

    def outline(self, row: Row) -> Points:
        """Return the corners of *row* on the picture, clockwise from the upper left."""
        size, width = self.preset.type_size, layout.row_width(self.preset)
        left, right, top, bottom = (
            row.x,
            row.x + width,
            row.baseline - 0.75 * size,
            row.baseline + 0.25 * size,
        )
        return self._on_picture(left, top, right, bottom)

    def block_outline(self, block: Block) -> Points:
        """
        Return the corners of the QR symbol of *block* on the picture, clockwise from the upper
        left.
        """
        side = self.preset.symbol
        return self._on_picture(block.x, block.y, block.x + side, block.y + side)

    def _on_picture(self, left: float, top: float, right: float, bottom: float) -> Points:
        corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
        return self.pose.project(
            corners + self.warp.at(corners) * self.preset.type_size / glyphs.EM
        )


@dataclass(frozen=True)
class PrintedRow:
    """
    What a row says: its line number by its place, and ways to read it, likeliest first. *seen* is
    what it looks like; the check agrees with *chosen*, None where it agrees with nothing likely.
    """

    number: int
    seen: str
    chosen: str | None
    texts: tuple[str, ...]

    @property
    def fine(self) -> bool:
        """Whether the check agrees with what the row looks like."""
        return self.seen == self.chosen


@dataclass(frozen=True)
class PrintedSheet:
    """A sheet on a picture and what its rows say, those left out that show next to nothing."""

    found: LocatedSheet
    rows: tuple[PrintedRow, ...]


def find(picture: Picture, read: Sequence[Symbol]) -> tuple[LocatedSheet, ...]:
    """
    Return the sheets on *picture*: those that the symbols *read* are of, or else one that lies as
    its corner marks say.
    """
    found = tuple(_by_symbols(picture, read))
    if found or read:
        return found
    by_marks = _by_head_line(picture) or _by_likeness(picture)
    return (by_marks,) if by_marks else ()


def read_blocks(picture: Picture, found: LocatedSheet, known: Collection[int]) -> Iterator[Symbol]:
    """
    Yield the symbols of *found* that can be read at their places, but those whose first line is
    *known*.
    """
    fewest = layout.fewest_modules(found.paper, found.preset)
    for block in found.sheet.blocks:
        if block.first not in known and found.head is not None:
            one = symbols.read_at(
                picture,
                found.block_outline(block),
                symbols.modules(block.first, block.last, fewest),
            )
            if one is not None:
                yield one


def read(picture: Picture, found: LocatedSheet, known: Collection[int] = ()) -> PrintedSheet:
    """Return what the rows of *found* say, but those whose number is *known*."""
    rows = [row for row in (found.sheet.head, *found.sheet.rows) if row.number not in known]
    return PrintedSheet(found, _read(picture, found, rows) if rows else ())


def _read(picture: Picture, found: LocatedSheet, rows: Sequence[Row]) -> tuple[PrintedRow, ...]:
    seen = strips.view(picture, found.pose, found.preset.type_size)
    cells = strips.cells(strips.settled(strips.cut(seen, rows, found.preset.type_size, found.warp)))
    likeness, patterns = _likeness(cells)
    mark = found.head.mark if found.head else _voted_mark(rows, likeness)
    texts = _agreed(rows, likeness, mark)
    if any(texts) and not all(texts):
        own = _own_patterns(cells, texts, patterns)
        again = [at for at, text in enumerate(texts) if text is None]
        likeness[again] = np.maximum(likeness[again], _shifted_likeness(cells[again], own))
        texts = [
            text or other for text, other in zip(texts, _agreed(rows, likeness, mark), strict=True)
        ]
    return tuple(_readings(rows, likeness, texts))


def _by_symbols(picture: Picture, read: Iterable[Symbol]) -> Iterator[LocatedSheet]:
    """Yield for each sheet that some of the symbols *read* are of the likeliest place."""
    sheets: dict[tuple[Head, int], list[Symbol]] = {}
    for symbol in read:
        if symbol.head is not None:
            sheets.setdefault((symbol.head, symbol.sheet), []).append(symbol)
    for (head, number), ours in sheets.items():
        found = (
            LocatedSheet(paper, plan.preset, plan.sheets[number], one, STRAIGHT, head)
            for paper in PAPERS.values()
            if number < len((plan := layout.plan(head.total, paper)).sheets)
            for one in _poses(picture, ours, plan.sheets[number], plan.preset, paper)
        )
        best = _likeliest(picture, found)
        if best is not None:
            yield best


def _poses(
    picture: Picture, read: Iterable[Symbol], sheet: Sheet, preset: Preset, paper: Paper
) -> Iterator[Pose]:
    blocks = {block.first: block for block in sheet.blocks}
    pairs = [(blocks[symbol.first], symbol) for symbol in read if symbol.first in blocks]
    if not pairs:
        return
    side = preset.symbol
    on_sheet = np.array(
        [
            (b.x + x * side, b.y + y * side)
            for b, _ in pairs
            for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))
        ]
    )
    on_picture = np.array([corner for _, symbol in pairs for corner in symbol.corners], float)
    for slanted in (True, False):
        fitted = pose.fit(on_sheet, on_picture, slanted=slanted)
        if fitted is not None:
            yield fitted
    middle = on_sheet.mean(axis=0, keepdims=True)
    near = side / 72 * 25.4
    for by_marks in corner_marks.find(picture, paper):
        # Of the poses by marks, those that put the symbols where they were read.
        if np.linalg.norm(by_marks.locate(on_picture).mean(axis=0) - middle) < near:
            yield by_marks
            return


def _likeliest(picture: Picture, candidates: Iterable[LocatedSheet]) -> LocatedSheet | None:
    """
    Return the one of *candidates* whose rows look most like rows, its warp measured; None where
    none does.
    """
    best, most = None, _LIKE_A_SHEET
    for one in candidates:
        rows = [one.sheet.head, *one.sheet.rows[:: max(1, len(one.sheet.rows) // _SAMPLE)]]
        warp, likeness = strips.align(
            strips.view(picture, one.pose, one.preset.type_size), rows, one.preset.type_size
        )
        # A warp can bend a wrong sheet to look right: the less of it, the likelier.
        likeness -= _WARPED * float(
            np.abs(warp.at(np.array([(row.x, row.baseline) for row in rows]))).max()
        )
        if likeness > most:
            best, most = one, likeness
    return _warped(picture, best) if best else None


def _warped(picture: Picture, found: LocatedSheet) -> LocatedSheet:
    seen = strips.view(picture, found.pose, found.preset.type_size)
    warp, _ = strips.align(seen, (found.sheet.head, *found.sheet.rows), found.preset.type_size)
    return replace(found, warp=warp)


def _by_head_line(picture: Picture) -> LocatedSheet | None:
    """Return the sheet whose head line is legible where the marks of *picture* put it."""
    for paper in PAPERS.values():
        for one in corner_marks.find(picture, paper):
            for preset in PRESETS:
                head = _head_at(picture, one, paper, preset)
                if head is None or (plan := layout.plan(head.total, paper)).preset != preset:
                    continue
                first = _warped(
                    picture, LocatedSheet(paper, preset, plan.sheets[0], one, STRAIGHT, head)
                )
                return replace(first, sheet=_sheet_shown(picture, first, plan.sheets))
    return None


def _head_at(picture: Picture, one: Pose, paper: Paper, preset: Preset) -> Head | None:
    row = layout.sheet(1, 1, paper, preset).head
    seen = strips.view(picture, one, preset.type_size)
    warp, likeness = strips.align(seen, [row], preset.type_size)
    return _head_read(seen, row, preset, warp) if likeness >= _LIKE_A_SHEET else None


def _head_read(seen: View, row: Row, preset: Preset, warp: Warp) -> Head | None:
    cells = strips.cells(strips.settled(strips.cut(seen, [row], preset.type_size, warp)))
    text = soft_decision.agreed(_likeness(cells)[0][0], head_line.NUMBER, NO_MARK)
    return head_line.read(text) if text else None


def _by_likeness(picture: Picture) -> LocatedSheet | None:
    """
    Return the sheet that *picture* looks most like, though its head line is not legible; its number
    is told from its rows.
    """
    candidates = (
        LocatedSheet(
            paper, preset, layout.sheet(1, preset.lines_a_page, paper, preset), one, STRAIGHT, None
        )
        for paper in PAPERS.values()
        for _, one in zip(range(_MOST_TRIED), corner_marks.find(picture, paper), strict=False)
        for preset in PRESETS
    )
    best = _likeliest(picture, candidates)
    if best is None:
        return None
    seen = strips.view(picture, best.pose, best.preset.type_size)
    # The rows have told better where the head line stands than its own seven groups do.
    head = _head_read(seen, best.sheet.head, best.preset, best.warp)
    if head is not None and (plan := layout.plan(head.total, best.paper)).preset == best.preset:
        return replace(best, head=head, sheet=_sheet_shown(picture, best, plan.sheets))
    size = best.preset.lines_a_page
    firsts = range(1, LAST_NUMBER + 1, size)
    sheets = [
        layout.sheet(first, min(first + size - 1, LAST_NUMBER), best.paper, best.preset)
        for first in firsts
    ]
    return replace(best, sheet=_sheet_shown(picture, best, sheets))


def _sheet_shown(picture: Picture, found: LocatedSheet, sheets: Sequence[Sheet]) -> Sheet:
    """
    Return which of *sheets*, laid out like that of *found*, has the line numbers that are printed
    on *picture*.
    """
    if len(sheets) == 1:
        return sheets[0]
    seen = strips.view(picture, found.pose, found.preset.type_size)
    straight = strips.settled(
        strips.cut(seen, found.sheet.rows, found.preset.type_size, found.warp)
    )
    likeness = _shifted_likeness(
        strips.cells(straight, first=0), glyphs.rendered(glyphs.DIGITS, glyphs.BLURS[1])
    )
    return max(sheets, key=lambda sheet: _likeness_of_numbers(likeness, sheet))


def _likeness_of_numbers(likeness: NDArray[np.float32], sheet: Sheet) -> float:
    """
    Return how like the line numbers of *sheet* the cells before the rows look, the mean over the
    digits.
    """
    numbers = (f"{row.number:{NUMBER_CHARACTERS}d}" for row in sheet.rows)
    cells = [
        (at, place, int(digit))
        for at, number in enumerate(numbers)
        for place, digit in enumerate(number)
        if digit != " "
    ]
    return float(likeness[tuple(np.array(cells).T)].mean())


def _likeness(cells: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """
    Return how like each character *cells* are, by the sharpness that suits them best, and the
    patterns of that sharpness.
    """
    sample = cells[:: max(1, len(cells) // _SAMPLE)]
    patterns = max(
        (glyphs.rendered(blur=blur) for blur in glyphs.BLURS),
        key=lambda one: _shifted_likeness(sample, one).max(axis=2).mean(),
    )
    return _shifted_likeness(cells, patterns), patterns


def _shifted_likeness(
    cells: NDArray[np.float32], patterns: NDArray[np.float32]
) -> NDArray[np.float32]:
    """
    Return the likeness of *cells*, which have a pixel of room, to *patterns* where each fits best.
    """
    best: NDArray[np.float32] | None = None
    for down in range(3):
        for across in range(3):
            one = glyphs.likeness(
                cells[..., down : down + glyphs.HIGH, across : across + glyphs.WIDE], patterns
            )
            best = one if best is None else np.maximum(best, one)
    return np.zeros((0, CHARACTERS, len(patterns)), np.float32) if best is None else best


def _own_patterns(
    cells: NDArray[np.float32], texts: Sequence[str | None], patterns: NDArray[np.float32]
) -> NDArray[np.float32]:
    """
    Return *patterns*, with those of the characters that were often read for certain as this sheet
    shows them.
    """
    inner = glyphs.normalised(cells[..., 1:-1, 1:-1])
    own = patterns.copy()
    for value, character in enumerate(ALPHABET):
        shown = [
            inner[at, place]
            for at, text in enumerate(texts)
            if text
            for place, one in enumerate(text)
            if one == character
        ]
        if len(shown) >= _KNOWN_WELL:
            own[value] = np.mean(shown, axis=0).reshape(own.shape[1:])
    return own


def _voted_mark(rows: Sequence[Row], likeness: NDArray[np.float32]) -> str | None:
    """Return the set mark that most rows imply, if more than one does."""
    implied = (
        lines.implied_mark(soft_decision.best(one), row.number)
        for row, one in zip(rows, likeness, strict=True)
        if row.number
    )
    votes = Counter(mark for mark in implied if mark).most_common(1)
    return votes[0][0] if votes and votes[0][1] > 1 else None


def _agreed(
    rows: Sequence[Row], likeness: NDArray[np.float32], mark: str | None
) -> list[str | None]:
    known = [NO_MARK if row.number == head_line.NUMBER else mark for row in rows]
    legible = (likeness.max(axis=2) >= soft_decision.LEGIBLE).all(axis=1)
    return [
        soft_decision.agreed(one, row.number, under) if under and whole else None
        for row, one, under, whole in zip(rows, likeness, known, legible, strict=True)
    ]


def _readings(
    rows: Sequence[Row], likeness: NDArray[np.float32], texts: Sequence[str | None]
) -> Iterator[PrintedRow]:
    for row, one, text in zip(rows, likeness, texts, strict=True):
        if text is not None:
            yield PrintedRow(row.number, soft_decision.best(one), text, (text,))
        elif (one.max(axis=1) >= soft_decision.LEGIBLE).sum() >= _LEGIBLE_ROW:
            ways = tuple(dict.fromkeys(soft_decision.doubtful(one, most) for most in _MOST_UNSURE))
            yield PrintedRow(row.number, soft_decision.best(one), None, ways)
