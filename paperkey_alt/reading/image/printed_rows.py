"""
What the printed rows of a sheet say, by the places at which they are set: `read`.

No program for reading text in general is needed: the font, the places and the check of every line
are known. The rows are cut out (`strips`), each cell is scored with each character (`glyphs`), and
the check of the line decides between likely characters (`soft_decision`). Rows that then agree with
their check show what this sheet's characters look like, and the others are scored once more with
those.

The thresholds were set with ``tests/bench/scan_matrix.py``.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from paperkey_alt.format import head_line, lines
from paperkey_alt.format.lines import ALPHABET, NO_MARK
from paperkey_alt.reading.image import glyphs, soft_decision, strips
from paperkey_alt.reading.image.glyphs import ROOM
from paperkey_alt.reading.image.soft_decision import LEGIBLE

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from paperkey_alt.reading.image.locate import LocatedSheet
    from paperkey_alt.reading.image.pyramid import Pyramid
    from paperkey_alt.reading.image.strips import View, Warp
    from paperkey_alt.sheet.layout import Row, Sheet

_LEGIBLE_ROW = 10  # characters without which a row is not worth mentioning
_MOST_ERASED = (0, 2, 4)  # characters given as unreadable, of a row that agrees with no check
_MOST_VOTES, _ENOUGH_VOTES = 40, 3  # rows that vote for a set mark, and votes that settle it
# Rows that agree, from which others are looked for, and as far from them, in type sizes: by the row
# "barrel" of tests/bench/foreign_damage.py.
_LEAST_SEEDS, _REACH = 3, 16.0
_BENDS = 2  # rounds of bending to such rows, which the next ones go on from
_UNSURE = 4  # characters by which it is judged how sure a row is: the least legible
_KNOWN_WELL = 3  # readings of a character from which the sheet's own print of it is a template


@dataclass(frozen=True)
class PrintedRow:
    """
    What a row says: its line number by its place, and ways to read it, likeliest first, none where
    it is the head line's and none makes a head. *seen* is what it looks like; the check agrees with
    *chosen*, None where it agrees with nothing likely. *at_foot* is that which repeats line 0.
    """

    number: int
    seen: str
    chosen: str | None
    texts: tuple[str, ...]
    at_foot: bool = False

    @property
    def fine(self) -> bool:
        """Whether the check agrees with what the row looks like."""
        return self.seen == self.chosen


@dataclass(frozen=True)
class PrintedSheet:
    """A sheet on a picture and what its rows say, those left out that show next to nothing."""

    located: LocatedSheet
    rows: tuple[PrintedRow, ...]


def read(
    pyramid: Pyramid,
    located: LocatedSheet,
    known: Collection[int] = (),
    *,
    least_growth: float = 0.0,
) -> PrintedSheet:
    """
    Return what the rows of *located* say, but those whose number is *known*. Where rows agree, the
    others are looked for from these, as long as that adds at least *least_growth* of what is left.
    """
    sheet = located.sheet
    rows = [row for row in _rows(sheet) if row.number not in known]
    if not rows:
        return PrintedSheet(located, ())
    type_size = located.preset.type_size
    seen = strips.view(pyramid, located.pose, type_size)
    cells = strips.cells(strips.settled(strips.cut(seen, rows, type_size, located.warp)))
    templates = glyphs.fitting_templates(cells)
    scores = glyphs.scores(cells, templates)
    mark = located.head.mark if located.head else None
    if not known:
        # The checks tell better than the numbers in front of the rows which sheet it is.
        sheet, mark = _voted(located, scores)
        located, rows = replace(located, sheet=sheet), [*_rows(sheet)]
    elif mark is None:
        mark = _votes(rows, _surest(scores), None)[0]
    cells, scores = cells[: len(rows)], scores[: len(rows)]
    texts = tuple(_decoded(rows, scores, mark))
    as_cut = _CutRows(tuple(rows), cells, scores, texts, templates, mark)
    warp, as_cut = _grown(seen, type_size, located.warp, as_cut, least_growth)
    located = replace(located, warp=warp)
    read_rows = _read(as_cut)
    at_foot = (replace(row, at_foot=True) if of is sheet.foot else row for of, row in read_rows)
    return PrintedSheet(located, tuple(at_foot))


def _rows(sheet: Sheet) -> tuple[Row, ...]:
    """Return the rows of *sheet* that say something: those of line 0 first."""
    return (sheet.head, sheet.foot, *sheet.rows)


@dataclass(frozen=True)
class _CutRows:
    """
    *rows* as they are cut out of a picture: the *cells* of each, the *scores* of these by the
    *templates*, and its characters in *texts* where its check agrees under *mark*, else None.
    """

    rows: tuple[Row, ...]
    cells: NDArray[np.float32]
    scores: NDArray[np.float32]
    texts: tuple[str | None, ...]
    templates: NDArray[np.float32]
    mark: str | None

    def cut_again(self, at: Sequence[int], cells: NDArray[np.float32]) -> _CutRows:
        """Return the rows with *cells* for those *at*, where their checks agree by these."""
        scores = glyphs.scores(cells, self.templates)
        texts = _decoded([self.rows[row] for row in at], scores, self.mark)
        all_cells, all_scores, all_texts = self.cells.copy(), self.scores.copy(), [*self.texts]
        for row, of_row, score, text in zip(at, cells, scores, texts, strict=True):
            if text is not None:
                all_cells[row], all_scores[row], all_texts[row] = of_row, score, text
        return replace(self, cells=all_cells, scores=all_scores, texts=tuple(all_texts))

    def agreeing(self) -> list[int]:
        """Return which rows agree with their checks."""
        return [at for at, text in enumerate(self.texts) if text is not None]


def _grown(
    seen: View, type_size: float, warp: Warp, cut: _CutRows, least_growth: float
) -> tuple[Warp, _CutRows]:
    """
    Return *warp* as those rows of *cut* say that agree with their checks, and the rows cut again
    by it near these that did not; and so on from what agrees then, as long as more does, by
    *least_growth* of what is left.

    Region growing from seeds (Adams & Bischof, "Seeded Region Growing", 1994; from memory): a
    smooth warp that was fitted to all rows at once, some of them found in their neighbours' places,
    is wrong everywhere; where checks agree it is known, and near there almost.
    """
    agreeing = cut.agreeing()
    while _LEAST_SEEDS <= len(agreeing) < len(cut.rows):
        seeds = [cut.rows[at] for at in agreeing]
        near = [
            at
            for at, row in enumerate(cut.rows)
            if cut.texts[at] is None
            and min(abs(row.baseline - seed.baseline) for seed in seeds) < _REACH * type_size
        ]
        if not near:
            break
        by_seeds = strips.follow(seen, seeds, cut.rows, type_size, warp)
        looked_at = [cut.rows[at] for at in sorted({*agreeing, *near})]
        bent = strips.bend(seen, looked_at, type_size, by_seeds, rounds=_BENDS)
        again = strips.settled(strips.cut(seen, [cut.rows[at] for at in near], type_size, bent))
        cut = cut.cut_again(near, strips.cells(again))
        grown = cut.agreeing()
        if len(grown) == len(agreeing):
            break
        left = len(cut.rows) - len(agreeing)
        is_slow = len(grown) - len(agreeing) < least_growth * left
        warp, agreeing = bent, grown
        if is_slow:
            break
    return warp, cut


def _read(cut: _CutRows) -> Iterator[tuple[Row, PrintedRow]]:
    """Yield what the rows of *cut* say, those left out that show next to nothing."""
    scores, texts = cut.scores, list(cut.texts)
    if any(texts) and not all(texts):
        own = _own_templates(cut.cells, texts, cut.templates)
        again = [at for at, text in enumerate(texts) if text is None]
        scores = scores.copy()
        scores[again] = np.maximum(scores[again], glyphs.scores(cut.cells[again], own))
        better = _decoded(cut.rows, scores, cut.mark)
        texts = [text or other for text, other in zip(texts, better, strict=True)]
    return _printed_rows(cut.rows, scores, texts)


def _own_templates(
    cells: NDArray[np.float32], texts: Sequence[str | None], templates: NDArray[np.float32]
) -> NDArray[np.float32]:
    """
    Return *templates*, with those of the characters that were often read for certain as this sheet
    shows them.
    """
    inner = glyphs.normalised(cells[..., ROOM:-ROOM, ROOM:-ROOM])
    shown: dict[str, list[NDArray[np.float32]]] = {character: [] for character in ALPHABET}
    for at, text in enumerate(texts):
        for place, character in enumerate(text or ""):
            shown[character].append(inner[at, place])
    own = templates.copy()
    for value, character in enumerate(ALPHABET):
        if len(shown[character]) >= _KNOWN_WELL:
            own[value] = np.mean(shown[character], axis=0).reshape(own.shape[1:])
    return own


def _voted(located: LocatedSheet, scores: NDArray[np.float32]) -> tuple[Sheet, str | None]:
    """
    Return which sheet it is, and the set mark: what most rows imply, where more than one does.
    """
    known = located.head.mark if located.head else None
    surest = _surest(scores)
    shown, *others = dict.fromkeys((located.sheet, *located.sheets))
    best, most = shown, _votes(_rows(shown), surest, known)
    for sheet in others if most[1] < _ENOUGH_VOTES else ():
        votes = _votes(_rows(sheet), surest, known)
        if votes[1] > max(most[1], 1):
            best, most = sheet, votes
    return best, most[0]


def _surest(scores: NDArray[np.float32]) -> list[tuple[int, str]]:
    """Return the rows that vote, those whose least legible characters are the most legible."""
    legible = np.sort(scores.max(axis=2), axis=1)[:, :_UNSURE].mean(axis=1)
    voting = np.argsort(-legible)[:_MOST_VOTES].tolist()
    return [(at, soft_decision.hard_decision(scores[at])) for at in voting]


def _votes(
    rows: Sequence[Row], surest: Iterable[tuple[int, str]], known: str | None
) -> tuple[str | None, int]:
    """
    Return the set mark that most of *rows* imply, by the *surest* of them, if more than one does,
    and how many do; or the mark that is *known*, and how many imply that.
    """
    votes: Counter[str] = Counter()
    for at, text in surest:
        if at < len(rows) and rows[at].number != head_line.NUMBER:
            mark = lines.implied_mark(text, rows[at].number)
            votes.update([mark] if mark else ())
    if known is not None:
        return known, votes[known]
    ((mark, count),) = votes.most_common(1) or ((None, 0),)
    return (mark, count) if count > 1 else (None, count)


def _decoded(
    rows: Sequence[Row], scores: NDArray[np.float32], mark: str | None
) -> list[str | None]:
    """Return for each row the characters that its check agrees with under *mark*, if there are."""
    marks = [NO_MARK if row.number == head_line.NUMBER else mark for row in rows]
    legible = (scores.max(axis=2) >= LEGIBLE).all(axis=1)
    return [
        soft_decision.decode(of_row, row.number, under) if under and is_legible else None
        for row, of_row, under, is_legible in zip(rows, scores, marks, legible, strict=True)
    ]


def _printed_rows(
    rows: Sequence[Row], scores: NDArray[np.float32], texts: Sequence[str | None]
) -> Iterator[tuple[Row, PrintedRow]]:
    for row, of_row, text in zip(rows, scores, texts, strict=True):
        seen = soft_decision.hard_decision(of_row)
        if text is not None:
            yield row, PrintedRow(row.number, seen, text, (text,))
        elif (of_row.max(axis=1) >= LEGIBLE).sum() >= _LEGIBLE_ROW:
            ways = dict.fromkeys(soft_decision.erased(of_row, most) for most in _MOST_ERASED)
            if row.number == head_line.NUMBER:
                # A blur would be told to be of a version yet to come.
                ways = {text: None for text in ways if head_line.read(text) is not None}
            yield row, PrintedRow(row.number, seen, None, tuple(ways))
