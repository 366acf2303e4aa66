"""
Where sheets lie on a picture: `find`.

There are three ways to find a sheet, tried in turn: by the QR symbols that were read; by the head
line, where it is legible at a place that the corner marks allow (`_FINDERS`); by how like the
characters of a sheet the picture looks at such a place (`find_likely`), or at one that the printed
rows alone tell (`find_by_rows`). The first two yield candidates, and one chooser takes the best of
those that would be the same sheet (`_chosen`); of the third, whoever reads the rows takes that
whose rows agree with their checks. Where head lines are known from other pages, these say which
sheets there may be (`find_again`).

A picture taken through a lens that bends straight lines is looked at through a few such lenses
(`find_through_lens`).

The thresholds were set with ``tests/bench/scan_matrix.py``, where no other bench is named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import islice
from typing import TYPE_CHECKING, Self

import numpy as np

from paperkey_alt.format import head_line
from paperkey_alt.format.lines import LAST_NUMBER, NO_MARK
from paperkey_alt.reading.image import by_rows, courses, glyphs, pose, soft_decision, strips
from paperkey_alt.reading.image.corner_marks import CornerMarks
from paperkey_alt.reading.image.pyramid import Pyramid
from paperkey_alt.sheet import layout
from paperkey_alt.sheet.layout import NUMBER_CHARACTERS, PAPERS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.pose import Points, Pose
    from paperkey_alt.reading.image.strips import View, Warp
    from paperkey_alt.reading.image.symbols import Symbol
    from paperkey_alt.sheet.layout import Block, Paper, Plan, Preset, Row, Sheet

    # A paper, a size of type and a place, by the bytes of its matrix and the strength of its lens.
    _Try = tuple[Paper, Preset, bytes, float]

_LEAST_SCORE = 0.45  # from which rows are believed to lie where a pose puts them
# Score of a first look at rows under which no more looks are taken: on 30 pages no first score of
# less than 0.25 grew by more than 0.09.
_HOPELESS = 0.25
# Likeness to rows from which they are followed: on the rows "augraphy Folding" and "waves of 25" of
# tests/bench/foreign_damage.py sheets of the true size had 0.7 and more, others 0.3 at the most.
_LEAST_FOLLOWED, _FOLLOWED_ROUNDS = 0.4, 2
_TAKEN_OFF = 0.005  # of the score, for each pixel of warp
_SAMPLE, _FIRST_SAMPLE = 9, 3  # rows by which a pose is judged, and by which many poses are
_FIRST_ROUNDS = 2  # of looks at these
_LEAST_THERE = 0.3  # of the rows of a sheet that must be on the picture: a half of one is read
_MOST_TRIED, _MOST_COMPARED = 6, 4  # poses of each paper that are judged, and that are returned
_AT_ONCE = (2, 2)  # of these before other things are tried
# Mean score of the characters of a sheet from which it may be one: of scenes and of the letters of
# other programs they have up to 0.66, of print that is barely legible 0.7.
_LEAST_LEGIBLE = 0.68
_NUMBERS = 12  # rows whose line numbers are looked at
# Poses at which a head line is looked for: on 36 pages where it was legible the fourth at the most,
# but for one; and so many more where something of print can be seen.
_MOST_HEADS, _MORE_HEADS = 10, 30
_TRIED_FOR_MORE = 2  # poses of each paper by which that is told
# Strengths of lenses that are tried, and sheets through them that are compared: tried by the rows
# "barrel" and "pincushion" of tests/bench/foreign_damage.py, which are of some 0.11 and -0.09.
# On 16 pages of these and of the row "optical distortion" that a lens reads, 2 gave no row without
# it, and on both the print looked more like it through the lens.
_LENSES, _LENSES_COMPARED = (0.04, -0.04, 0.08, -0.08, 0.12, -0.12), 2
# Print whose size is told by places that look like print nearly as much as the likeliest does, by
# so much of the score, and as far as sizes may differ from it. On 15 pages of the rows "barrel",
# "pincushion", "optical distortion" and "augraphy Folding" of tests/bench/foreign_damage.py the
# likeliest was within 8 % of what was then read.
_NEARLY, _SIZES_ALIKE = 0.1, 1.2
# Poses of each paper at which a sheet of a known set is looked for, and sheets that are compared.
_AGAIN, _AGAIN_COMPARED = 2, 2
# Fit of a sheet by its rows alone from which that is tried: on 15 cropped pages
# the right place had 1.41 and more, those of rows that are elsewhere 1.24 at the most.
_SURE_OF_ROWS = 1.3
# And that of the best place, where dirt spoils the fit or half of the sheet is not there: added for
# the row "augraphy DirtyDrum" of tests/bench/foreign_damage.py, and for halves of such pages.
_FIT_OF_ROWS = 0.95
_LIKELIEST = 4  # poses by marks at which a head line is looked for before anything else
_ALIKE = 2.0  # points by which two poses may differ that need not both be tried: rows have room
_NEAR = 0.35  # of a symbol's side: as far as marks may put symbols from where they were read


@dataclass(frozen=True)
class LocatedSheet:
    """
    A sheet on a picture: its paper and preset, its rows and blocks, where it lies, how it is
    warped; *head* where it is known. *sheets* are those that it may be, laid out alike;
    *is_followed* where its warp is that of `follow_rows`.
    """

    paper: Paper
    preset: Preset
    sheet: Sheet
    pose: Pose
    warp: Warp
    head: Head | None
    sheets: tuple[Sheet, ...] = ()
    is_followed: bool = False

    def outline(self, row: Row) -> Points:
        """Return the corners of *row* on the picture, clockwise from the upper left."""
        size = self.preset.type_size
        right = row.x + layout.row_width(self.preset)
        return self._on_picture(row.x, row.baseline - 0.75 * size, right, row.baseline + size / 4)

    def block_outline(self, block: Block) -> Points:
        """
        Return the corners of the QR symbol of *block* on the picture, clockwise from the upper
        left.
        """
        side = self.preset.symbol
        return self._on_picture(block.x, block.y, block.x + side, block.y + side)

    def paper_outline(self) -> Points:
        """Return the corners of the paper on the picture, clockwise from the upper left."""
        across, down = self.paper.width, self.paper.height
        return self.pose.project(np.array([(0, 0), (across, 0), (across, down), (0, down)], float))

    def _on_picture(self, left: float, top: float, right: float, bottom: float) -> Points:
        corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
        pixel = self.preset.type_size / glyphs.EM
        return self.pose.project(corners + self.warp.at(corners) * pixel)


@dataclass(frozen=True)
class Candidate:
    """
    A sheet that may lie on a picture: where, and by what score its rows look like rows there.
    *sheets* are those that it may be, laid out alike; *head* is known or not.
    """

    paper: Paper
    preset: Preset
    sheets: tuple[Sheet, ...]
    pose: Pose
    head: Head | None
    score: float


@dataclass(frozen=True)
class Scan:
    """
    What the finders look at: a picture, its corner marks, and the symbols read from it. What was
    tried on it is kept, and not tried again; whoever reads the rows adds the sheets of which none
    agrees with its check, *in_vain*.
    """

    pyramid: Pyramid
    marks: CornerMarks
    symbols: Sequence[Symbol] = ()
    tried: dict[_Try, Candidate] = field(default_factory=dict, compare=False)
    located: dict[_Try, LocatedSheet] = field(default_factory=dict, compare=False)
    headless: set[tuple[Paper, bytes]] = field(default_factory=set, compare=False)
    in_vain: list[LocatedSheet] = field(default_factory=list, compare=False)

    @classmethod
    def of(cls, picture: Picture, symbols: Sequence[Symbol] = ()) -> Self:
        """Return what there is to look at on *picture*, of which these *symbols* were read."""
        return cls(Pyramid(picture), CornerMarks(picture), symbols)


Finder = Callable[[Scan], Iterator[Candidate]]


def find(pyramid: Pyramid, symbols: Sequence[Symbol]) -> tuple[LocatedSheet, ...]:
    """
    Return the sheets on the picture of *pyramid*: those that the *symbols* read from it are of, or
    where none was read, the one whose head line is legible where its corner marks put it.
    """
    return find_on(Scan(pyramid, CornerMarks(pyramid.picture), symbols))


def find_on(scan: Scan) -> tuple[LocatedSheet, ...]:
    """Return the sheets on the picture of *scan*, as `find` does."""
    for finder in _FINDERS:
        located = tuple(_located(scan, candidate) for candidate in _chosen(finder(scan)))
        if located:
            return located
    return ()


def find_likely(scan: Scan, *, at_once: bool = False) -> Iterator[LocatedSheet]:
    """
    Yield what may be a sheet where the corner marks put it, or if *at_once* most likely put it, the
    likeliest first: only what its rows say can tell which it is. What is yielded again is the same
    object.
    """
    tried, compared = _AT_ONCE if at_once else (_MOST_TRIED, _MOST_COMPARED)
    candidates = _by_legibility(scan, _likeliest_poses(scan, tried), _print_sizes(scan))
    yield from _likeliest(scan, candidates, compared)


def find_by_rows(scan: Scan) -> Iterator[LocatedSheet]:
    """As `find_likely`, where its rows alone put a sheet: its corner marks may be cut off."""
    yield from _likeliest(scan, _by_rows_alone(scan), _MOST_COMPARED)


def find_through_lens(scan: Scan, *, is_straight_read: bool) -> Iterator[LocatedSheet]:
    """
    Yield what may be a sheet where the corner marks most likely put it, if the picture was taken
    through a lens that bends straight lines: the likeliest first, as `find_likely` does. Nothing
    where nothing that `find_likely` tried looks like print: so it would through a lens, in places.
    Where nothing could be read of that, only what looks more like print than it does.
    """
    sizes = _print_sizes(scan)
    if not sizes:
        return
    picture = scan.pyramid.picture
    middle = ((picture.width - 1) / 2, (picture.height - 1) / 2)
    radius = math.hypot(picture.width, picture.height) / 2
    poses = (
        (paper, bent)
        for paper, fitted in islice(_poses_by_marks(scan, PAPERS.values()), 1)
        for strength in _LENSES
        if (bent := _through_lens(paper, fitted, pose.Lens(middle, radius, strength))) is not None
    )
    least = 0.0 if is_straight_read else max(tried.score for tried in _straight(scan))
    through_lens = [*_by_legibility(scan, poses, sizes)]
    clearer = (candidate for candidate in through_lens if candidate.score > least)
    yield from _likeliest(scan, clearer, _LENSES_COMPARED)


def follow_rows(pyramid: Pyramid, located: LocatedSheet) -> LocatedSheet | None:
    """
    Return *located* with its rows where they run on the picture, however folded or waved the paper
    is; None where nothing there looks like rows, or they are there already.
    """
    if located.is_followed:
        return None
    type_size = located.preset.type_size
    seen = strips.view(pyramid, located.pose, type_size)
    rows = (located.sheet.head, *located.sheet.rows)
    warp, score = courses.traced(seen, rows, type_size)
    if score < _LEAST_FOLLOWED:
        return None
    for _ in range(_FOLLOWED_ROUNDS):
        warp, _ = strips.align_more(seen, rows, type_size, warp)
    return replace(located, warp=warp, is_followed=True)


def find_again(
    scan: Scan, heads: Sequence[Head], located: LocatedSheet | None = None
) -> Iterator[LocatedSheet]:
    """
    Yield what may be a sheet of a set of *heads*, which are known, where *located* is, or where the
    corner marks most likely put one: of any paper, size of type and number of rows, those that look
    most like print, if they do at all. A last sheet that is short is told by its own rows.
    """
    poses = _likeliest_poses(scan, _AGAIN) if located is None else _same_place(located)
    likely = [
        Candidate(paper, plan.preset, sheets, fitted, head, score)
        for paper, fitted in poses
        for head in heads
        for plan in layout.plans(head.total, paper)
        for sheets in _alike(plan.sheets)
        for score in (_legibility(scan, sheets[0], fitted, plan.preset),)
    ]
    for candidate in sorted(likely, key=lambda candidate: -candidate.score)[:_AGAIN_COMPARED]:
        if candidate.score > _LEAST_LEGIBLE:
            yield _located(scan, candidate)


def _same_place(located: LocatedSheet) -> Iterator[tuple[Paper, Pose]]:
    """Yield each paper, its corner marks where those of *located* are."""
    marks = located.pose.project(np.array(layout.corner_marks(located.paper)))
    for paper in PAPERS.values():
        fitted = pose.fit(np.array(layout.corner_marks(paper)), marks)
        if paper == located.paper:
            fitted = located.pose  # with its lens
        if fitted is not None:
            yield paper, fitted


def _alike(sheets: Sequence[Sheet]) -> list[tuple[Sheet, ...]]:
    """Return *sheets* by how many rows they have: the last one may have fewer."""
    by_rows: dict[int, list[Sheet]] = {}
    for sheet in sheets:
        by_rows.setdefault(len(sheet.rows), []).append(sheet)
    return [tuple(alike) for alike in by_rows.values()]


def _likeliest(
    scan: Scan, candidates: Iterable[Candidate], compared: int
) -> Iterator[LocatedSheet]:
    """Yield of *candidates* so many that look most like print, if they look like it at all."""
    for candidate in sorted(candidates, key=lambda candidate: -candidate.score)[:compared]:
        if candidate.score > _LEAST_LEGIBLE:
            key = _key(candidate.paper, candidate.preset, candidate.pose)
            if key not in scan.located:
                scan.located[key] = _in_vain_near(scan, candidate) or _located(scan, candidate)
            yield scan.located[key]


def _in_vain_near(scan: Scan, candidate: Candidate) -> LocatedSheet | None:
    """Return the sheet whose rows were read in vain where those of *candidate* are, if any was."""
    paper, preset = candidate.paper, candidate.preset
    corners = _corners_of_rows(candidate.sheets[0].rows, preset)
    near = _ALIKE * candidate.pose.scale((paper.width / 2, paper.height / 2))
    for located in scan.in_vain:
        if (located.paper, located.preset) == (paper, preset):
            apart = candidate.pose.project(corners) - located.pose.project(corners)
            if np.abs(apart).max() < near:
                return located
    return None


def _corners_of_rows(rows: Sequence[Row], preset: Preset) -> Points:
    """Return the corners of the area on paper that *rows* take."""
    left, right = min(row.x for row in rows), max(row.x for row in rows) + layout.row_width(preset)
    top, bottom = min(row.baseline for row in rows), max(row.baseline for row in rows)
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _through_lens(paper: Paper, fitted: Pose, lens: pose.Lens) -> Pose | None:
    """Return the pose through *lens* that puts the corner marks where *fitted* does."""
    return pose.through(lens, fitted, np.array(layout.corner_marks(paper)))


def find_at_once(scan: Scan) -> tuple[LocatedSheet, ...]:
    """Return the sheet whose head line is legible where the corner marks most likely put it."""
    candidates = _by_head_line_at(scan, islice(_poses_by_marks(scan, PAPERS.values()), _LIKELIEST))
    return tuple(_located(scan, candidate) for candidate in _chosen(candidates))


def _chosen(candidates: Iterable[Candidate]) -> Iterable[Candidate]:
    """
    Return of *candidates* that would be the same sheet the one of the highest score, if that is
    enough to be believed.
    """
    best: dict[tuple[Head | None, int], Candidate] = {}
    for candidate in candidates:
        same = (candidate.head, candidate.sheets[0].rows[0].number)
        others = best.get(same)
        least = _LEAST_SCORE if others is None else others.score
        if candidate.score > least:
            best[same] = candidate
    return best.values()


def _by_symbols(scan: Scan) -> Iterator[Candidate]:
    """Yield for each sheet that symbols were read of the places where these put it."""
    of_sheet: dict[tuple[Head, int], list[Symbol]] = {}
    for symbol in scan.symbols:
        if symbol.head is not None:
            of_sheet.setdefault((symbol.head, symbol.sheet), []).append(symbol)
    for (head, number), ours in of_sheet.items():
        for paper in PAPERS.values():
            for plan in layout.plans(head.total, paper):
                if number < len(plan.sheets):
                    sheet = plan.sheets[number]
                    for fitted in _poses_by_symbols(scan, ours, sheet, plan):
                        score = _sheet_score(scan, sheet, fitted, plan.preset, _HOPELESS)
                        yield Candidate(paper, plan.preset, (sheet,), fitted, head, score)


def _by_head_line(scan: Scan) -> Iterator[Candidate]:
    """Yield the sheet whose head line is legible where the corner marks may put it, if one is."""
    poses = _poses_by_marks(scan, PAPERS.values())
    for most in (_MOST_HEADS, _MORE_HEADS):
        sizes = _print_sizes(scan)
        yield from (candidates := tuple(_by_head_line_at(scan, islice(poses, most), sizes)))
        looked_at = _by_legibility(scan, _likeliest_poses(scan, _TRIED_FOR_MORE))
        if candidates or all(candidate.score < _LEAST_LEGIBLE for candidate in looked_at):
            return


def _by_head_line_at(
    scan: Scan, poses: Iterable[tuple[Paper, Pose]], sizes: Sequence[float] = ()
) -> Iterator[Candidate]:
    """
    Yield the sheet whose head line is legible at one of *poses*, in print like one of *sizes*: one,
    for a head line whose check agrees is hardly ever read by chance.
    """
    for paper, fitted in poses:
        if (paper, fitted.matrix.tobytes()) in scan.headless:
            continue
        for (row, type_size), presets in _head_rows(paper).items():
            if not _is_of_size(_type_pixels(paper, type_size, fitted), sizes):
                continue
            seen = strips.view(scan.pyramid, fitted, type_size)
            warp, score = strips.align(seen, [row], type_size, _HOPELESS)
            if score <= _LEAST_SCORE:
                continue
            head = _head_read(seen, row, presets[0], warp)
            for preset in presets:
                plan = _plan(head, paper, preset)
                if plan is not None:
                    yield Candidate(paper, preset, plan.sheets, fitted, head, score)
                    return
        scan.headless.add((paper, fitted.matrix.tobytes()))


@cache
def _head_rows(paper: Paper) -> dict[tuple[Row, float], list[Preset]]:
    """Return where on *paper* a head line may be, and in which type size, by which presets."""
    rows: dict[tuple[Row, float], list[Preset]] = {}
    for preset in layout.presets(paper):
        row = layout.sheet(1, 1, paper, preset).head
        rows.setdefault((row, preset.type_size), []).append(preset)
    return rows


def _likeliest_poses(scan: Scan, tried: int) -> Iterator[tuple[Paper, Pose]]:
    """Yield so many places of each paper where the corner marks put a sheet."""
    for paper in PAPERS.values():
        yield from islice(_poses_by_marks(scan, [paper]), tried)


def _by_legibility(
    scan: Scan, poses: Iterable[tuple[Paper, Pose]], sizes: Sequence[float] = ()
) -> Iterator[Candidate]:
    """
    Yield at each of *poses* a sheet, whichever it is, in each size of type that is there like one
    of *sizes*, with how legible a few of its rows are.
    """
    for paper, fitted in poses:
        for preset in layout.presets(paper):
            is_known = _key(paper, preset, fitted) in scan.tried
            pixels = _type_pixels(paper, preset.type_size, fitted)
            if is_known or _is_of_size(pixels, sizes):
                yield _tried(scan, paper, preset, fitted)


def _tried(scan: Scan, paper: Paper, preset: Preset, fitted: Pose) -> Candidate:
    """Return a sheet, whichever it is, at a place, which is looked at once only."""
    key = _key(paper, preset, fitted)
    if key not in scan.tried:
        sheets = _all_sheets(paper, preset)
        score = _legibility(scan, sheets[0], fitted, preset)
        scan.tried[key] = Candidate(paper, preset, sheets, fitted, None, score)
    return scan.tried[key]


def _print_sizes(scan: Scan) -> tuple[float, ...]:
    """
    Return which sizes of type, in pixels, the print on *scan* has where it looks most like print,
    of what was tried without a lens; none where nothing looks like print, for then it has any.
    """
    straight = _straight(scan)
    best = max((tried.score for tried in straight), default=0.0)
    if best <= _LEAST_LEGIBLE:
        return ()
    return tuple(
        _type_pixels(tried.paper, tried.preset.type_size, tried.pose)
        for tried in straight
        if tried.score > best - _NEARLY
    )


def _straight(scan: Scan) -> list[Candidate]:
    """Return what was tried without a lens."""
    return [tried for tried in scan.tried.values() if tried.pose.lens is None]


def _type_pixels(paper: Paper, type_size: float, fitted: Pose) -> float:
    """Return how many pixels the type measures in the middle of *paper*."""
    return type_size * fitted.scale((paper.width / 2, paper.height / 2))


def _is_of_size(pixels: float, sizes: Sequence[float]) -> bool:
    """Tell whether print of so many *pixels* is like one of *sizes*, or there are none."""
    return not sizes or any(
        size < _SIZES_ALIKE * pixels and pixels < _SIZES_ALIKE * size for size in sizes
    )


def _by_rows_alone(scan: Scan) -> Iterator[Candidate]:
    """
    Yield what surely is a sheet by its rows, as if there were no corner marks on the picture: what
    only may be one keeps others from being tried that are. Where nothing surely is one, the place
    that fits best.
    """
    for at, (paper, preset, fitted, fit) in enumerate(by_rows.places(scan.pyramid.picture)):
        if fit >= (_SURE_OF_ROWS if at else _FIT_OF_ROWS):
            yield _tried(scan, paper, preset, fitted)


def _legibility(scan: Scan, sheet: Sheet, fitted: Pose, preset: Preset) -> float:
    """
    Return how legible a few rows of *sheet* are at a place, or that no rows are seen there. Of a
    sheet that is cut off, these are rows of what is there.
    """
    size = np.array(scan.pyramid.picture.size)
    middles = np.array([(row.x + layout.row_width(preset) / 2, row.baseline) for row in sheet.rows])
    seen_at = fitted.project(middles)
    is_there = ((seen_at >= 0) & (seen_at < size)).all(axis=1)
    there = [sheet.rows[at] for at in np.flatnonzero(is_there)]
    if len(there) < _LEAST_THERE * len(sheet.rows):
        return 0.0
    rows = there[:: -(-len(there) // _FIRST_SAMPLE)]
    seen = strips.view(scan.pyramid, fitted, preset.type_size)
    warp, score = strips.align(seen, rows, preset.type_size, _HOPELESS, rounds=_FIRST_ROUNDS)
    return score if score < _HOPELESS else strips.legibility(seen, rows, preset.type_size, warp)


def _key(paper: Paper, preset: Preset, fitted: Pose) -> _Try:
    """Return by what a sheet that was tried at a place is known again."""
    lens = fitted.lens.strength if fitted.lens else 0.0
    return paper, preset, fitted.matrix.tobytes(), lens


_FINDERS: tuple[Finder, ...] = (_by_symbols, _by_head_line)


def _poses_by_symbols(
    scan: Scan, symbols: Iterable[Symbol], sheet: Sheet, plan: Plan
) -> Iterator[Pose]:
    """
    Yield poses by the corners of *symbols*, slanted and not, and the likeliest by corner marks that
    puts the symbols where they were read.
    """
    blocks = {(block.first, block.last): block for block in sheet.blocks}
    pairs = [(blocks[symbol.run], symbol) for symbol in symbols if symbol.run in blocks]
    if not pairs:
        return
    side = plan.preset.symbol
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * side
    on_sheet = np.concatenate([np.array((block.x, block.y)) + unit for block, _ in pairs])
    on_picture = np.array([corner for _, symbol in pairs for corner in symbol.corners], float)
    for slanted in (True, False):
        fitted = pose.fit(on_sheet, on_picture, slanted=slanted)
        if fitted is not None:
            yield fitted
    middle = on_sheet.mean(axis=0)
    for _, by_marks in scan.marks.poses([plan.paper]):
        if np.linalg.norm(by_marks.locate(on_picture).mean(axis=0) - middle) < _NEAR * side:
            yield by_marks
            return


def _poses_by_marks(scan: Scan, papers: Iterable[Paper]) -> Iterator[tuple[Paper, Pose]]:
    """Yield the poses that the corner marks allow, but those that hardly differ from others."""
    if scan.symbols:
        # Where a symbol was read, it says better than any mark where the sheet lies.
        return
    tried: dict[Paper, list[Points]] = {}
    for paper, fitted in scan.marks.poses(papers):
        corners = np.array(layout.corner_marks(paper))
        seen = fitted.project(corners)
        others = tried.setdefault(paper, [])
        near = _ALIKE * fitted.scale((paper.width / 2, paper.height / 2))
        if all(np.abs(seen - other).max() > near for other in others):
            others.append(seen)
            yield paper, fitted


def _sheet_score(scan: Scan, sheet: Sheet, fitted: Pose, preset: Preset, hopeless: float) -> float:
    """Return how like rows the rows of *sheet* look, of which some are tried; see `align`."""
    rows = [sheet.head, *sheet.rows[:: max(1, len(sheet.rows) // _SAMPLE)]]
    seen = strips.view(scan.pyramid, fitted, preset.type_size)
    warp, score = strips.align(seen, rows, preset.type_size, hopeless)
    # A warp can bend a wrong sheet to look right: the less of it, the likelier.
    bent = np.abs(warp.at(np.array([(row.x, row.baseline) for row in rows]))).max()
    return score - _TAKEN_OFF * float(bent)


def _located(scan: Scan, candidate: Candidate) -> LocatedSheet:
    """Return *candidate* with its warp measured by all rows, and which of its sheets it is."""
    paper, preset, sheets = candidate.paper, candidate.preset, candidate.sheets
    seen = strips.view(scan.pyramid, candidate.pose, preset.type_size)
    rows = (sheets[0].head, *sheets[0].rows, sheets[0].foot)
    warp, _ = strips.align(seen, rows, preset.type_size)
    warp = strips.bend(seen, rows, preset.type_size, warp)
    head = candidate.head
    if head is None:
        # The rows have told better where the head line is than its own seven groups did.
        at = (sheets[0].head, sheets[0].foot)
        head = next(filter(None, (_head_read(seen, row, preset, warp) for row in at)), None)
        plan = _plan(head, paper, preset)
        head, sheets = (head, plan.sheets) if plan else (None, sheets)
    sheet = _sheet_shown(seen, sheets, preset, warp)
    return LocatedSheet(paper, preset, sheet, candidate.pose, warp, head, sheets)


def _plan(head: Head | None, paper: Paper, preset: Preset) -> Plan | None:
    """Return the plan for the lines that *head* tells of, None where none has this *preset*."""
    if head is None:
        return None
    plans = layout.plans(head.total, paper)
    return next((plan for plan in plans if plan.preset == preset), None)


@cache
def _all_sheets(paper: Paper, preset: Preset) -> tuple[Sheet, ...]:
    """Return all sheets that *preset* allows, however many lines there are in all."""
    size = preset.lines_a_page
    return tuple(
        layout.sheet(first, min(first + size - 1, LAST_NUMBER), paper, preset)
        for first in range(1, LAST_NUMBER + 1, size)
    )


def _head_read(seen: View, row: Row, preset: Preset, warp: Warp) -> Head | None:
    cells = strips.cells(strips.settled(strips.cut(seen, [row], preset.type_size, warp)))
    scores = glyphs.scores(cells, glyphs.fitting_templates(cells))
    text = soft_decision.decode(scores[0], head_line.NUMBER, NO_MARK)
    return head_line.read(text) if text else None


def _sheet_shown(seen: View, sheets: Sequence[Sheet], preset: Preset, warp: Warp) -> Sheet:
    """Return which of *sheets*, laid out alike, has the line numbers that are printed."""
    if len(sheets) == 1:
        return sheets[0]
    at = range(0, len(sheets[0].rows), -(-len(sheets[0].rows) // _NUMBERS))
    rows = [sheets[0].rows[row] for row in at]
    straight = strips.settled(strips.cut(seen, rows, preset.type_size, warp))
    cells = strips.cells(straight, first=0)
    scores = glyphs.scores(cells, glyphs.rendered(glyphs.DIGITS, glyphs.BLURS[1]))
    # The last sheet may be shorter.
    numbers = {
        sheet: [sheet.rows[row].number for row in at if row < len(sheet.rows)] for sheet in sheets
    }
    return max(sheets, key=lambda sheet: _score_of_numbers(scores, numbers[sheet]))


def _score_of_numbers(scores: NDArray[np.float32], expected: Iterable[int]) -> float:
    """
    Return how like the line numbers *expected* the cells before the rows look, the mean over the
    digits.
    """
    numbers = (f"{number:{NUMBER_CHARACTERS}d}" for number in expected)
    digits = [
        (at, place, int(digit))
        for at, number in enumerate(numbers)
        for place, digit in enumerate(number)
        if digit != " "
    ]
    return float(scores[tuple(np.array(digits).T)].mean())
