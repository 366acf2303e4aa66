"""
The corner marks of a sheet on a picture: `CornerMarks.poses` gives the poses that they allow,
likeliest first.

A sheet has three solid squares and a hollow one, lower right (`layout.corner_marks`). The way to
them is the usual one of fiducial marks:

1. Dark pixels are those darker than a part of the paper around them (`_dark`), for paper is never
   lit evenly.
2. Their connected components are labelled, run by run, with union–find (`_labels`).
3. A component is told to be a square by its second moments (`_spots`), which say so whatever the
   slant it is seen at.
4. Spots are assigned to marks, four, three or two of them, and ranked by how far sizes, distances
   and directions differ from the sheet's (`_assigned`): a search of all assignments, which few
   spots allow.

Each threshold stands with the bench that it was set or tried by. ``tests/bench/scan_matrix.py`` is
that bench where no other is named: its pages with blacked-out symbols are found by these marks.
"""

from __future__ import annotations

import heapq
import math
from itertools import combinations, islice, permutations, zip_longest
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from paperkey_alt.reading.image import pose
from paperkey_alt.sheet import layout

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.pose import Points, Pose
    from paperkey_alt.sheet.layout import Paper

_SIDE = 1200  # pixels of the longer side on which marks are looked for
_CELL = 24  # pixels over which the paper's brightness is taken to be even
# Area over that of the parallelogram with the same moments: 1 for a square, 0.6 for one with the
# hollow of these marks (half of its side).
_SOLID, _HOLLOW = (0.88, 1.08), (0.45, 0.8)
_LEAST, _MOST = 6.0, 24.0  # pixels of a mark's side: the sheet fills a third of the picture to all
# Spots that may be solid marks: the largest, and after them the largest whose area is that of a
# square but for so much, which that of a disk is; blotches have ragged edges. Added for the row
# "augraphy DirtyDrum" of tests/bench/foreign_damage.py.
_MOST_SOLID, _MORE_SQUARES, _SQUARE = 12, 6, 0.05
# Bounds for hostile pictures: a page of print has some 1,200 hollow spots, and 17,000 ways.
_MOST_HOLLOW, _MOST_WAYS = 4000, 50_000
_MOST_POSES = 12  # by as many marks, of one paper
_SIZES_ALIKE = 1.6
_LOG_STRETCH = math.log(1.35)  # of the proportions of a sheet, as a slanted view gives them

Indices = NDArray[np.int64]


class Print(NamedTuple):
    """
    How spots are looked for: the standard deviation of a blur in pixels, and how dark a spot is, in
    parts of the brightness of the paper around. *filled*: what a spot encloses is part of it, and
    which of the marks is the hollow one cannot be told.
    """

    blur: float
    dark: float
    filled: bool = False


class Search(NamedTuple):
    """
    In which print how many marks are looked for; whether they are seen from behind; and whether
    the other marks are *beyond* the picture, which these, solid ones, then put them.
    """

    print_: Print
    marks: int
    mirrored: bool = False
    beyond: bool = False


# Of good print, and of pale or speckled print, which needs the blur to be of one piece. The second
# was added for the row "loss of ink". The third is what is left of it where a program made all of
# a mark white but its edge, for it compared each pixel with those close by.
_GOOD, _PALE, _EDGES = Print(0.0, 0.62), Print(2.5, 0.8), Print(0.0, 0.62, filled=True)
_SEARCHES = (
    Search(_GOOD, 4),
    # Of 28 pages of tests/bench/scan_matrix.py, none seen from behind, four marks fit so on two.
    Search(_GOOD, 4, mirrored=True),
    *(Search(_GOOD, marks) for marks in (3, 2)),
    *(Search(_PALE, marks) for marks in (4, 3, 2)),
    Search(_EDGES, 4),
    # Added for the row "turned up to 180°" of tests/bench/foreign_damage.py.
    Search(_GOOD, 2, beyond=True),
)
# What counts a paper that reaches beyond a picture, where the marks say that it does: it tells one
# of two ways round from the other.
_BEYOND = 0.05
# What counts a paper that is small on a picture where two marks put it: any two specks are some way
# apart. Added for the row "augraphy PageBorder" of tests/bench/foreign_damage.py.
_FEWEST, _SMALL = 2, 0.2
# Where the darkest print is within these, in parts of the paper, marks are looked for with less
# contrast, in proportion to that of print as dark as the third. Paler is the grain of the paper.
_PALE_PRINT, _USUAL_PRINT = (0.76, 0.9), 0.4
_DARKEST_PERCENTILE = 0.05  # of the pixels: less than the marks alone have


class Spot(NamedTuple):
    """A dark spot: the middle, and the side of the square of its area."""

    x: float
    y: float
    side: float


class Spots(NamedTuple):
    """The spots that may be solid marks, and those that may be the hollow one."""

    solid: tuple[Spot, ...]
    hollow: tuple[Spot, ...]


class CornerMarks:
    """What may be the corner marks of a sheet on *picture*; looked for when asked for, and once."""

    def __init__(self, picture: Picture) -> None:
        self._small = picture.copy()
        self._small.thumbnail((_SIDE, _SIDE), Image.Resampling.BOX)
        self._size = np.array(picture.size, float)
        self._contrast = _paler(self._small)
        self._spots: dict[Print, Spots] = {}

    def spots(self, print_: Print) -> Spots:
        """Return the spots that may be marks of such a print, in pixels of the small picture."""
        if print_ not in self._spots:
            blurred = self._small.filter(ImageFilter.GaussianBlur(print_.blur))
            dark = 1 - (1 - print_.dark) * self._contrast
            self._spots[print_] = _spots(
                np.asarray(blurred, np.float32), print_._replace(dark=dark)
            )
        return self._spots[print_]

    def poses(self, papers: Iterable[Paper]) -> Iterator[tuple[Paper, Pose]]:
        """
        Yield poses of a sheet, of each of *papers*, by which its marks lie on spots of the picture.

        In turn the likeliest by four marks, from before and from behind, by three and by two, of
        good print and of pale print, by edges, and beyond the picture, then the second likeliest:
        none is so much likelier that the others should wait.
        """
        papers = tuple(papers)
        ranks = [self._rank(papers, search) for search in _SEARCHES]
        while ranks:
            for rank in tuple(ranks):
                fitted = next(rank, None)
                if fitted is None:
                    ranks.remove(rank)
                else:
                    yield from fitted

    def _rank(self, papers: Sequence[Paper], search: Search) -> Iterator[list[tuple[Paper, Pose]]]:
        """Yield the likeliest pose of each of *papers*, the likelier paper first; and so on."""
        best = (self._best_poses(paper, search) for paper in papers)
        for fitted in zip_longest(*best):
            of_papers = [
                (paper, *misfit_and_pose)
                for paper, misfit_and_pose in zip(papers, fitted, strict=True)
                if misfit_and_pose is not None
            ]
            of_papers.sort(key=lambda one: one[1])
            yield [(paper, fitted_pose) for paper, _, fitted_pose in of_papers]

    def _best_poses(self, paper: Paper, search: Search) -> Iterator[tuple[float, Pose]]:
        """Yield the poses that fit best, with their misfit, the best first."""
        middles = np.array(layout.corner_marks(paper)) + layout.CORNER_MARK / 2
        return islice(self._by_misfit(paper, middles, search), _MOST_POSES)

    def _by_misfit(
        self, paper: Paper, middles: Points, search: Search
    ) -> Iterator[tuple[float, Pose]]:
        """
        Yield poses with their misfit: that of the spots, and how far the paper reaches beyond the
        picture, which counts little where it is taken to; by the fewest marks, also how little of
        the picture it takes.

        Best-first search: assignments come by the misfit of their spots, and the second summand
        only adds to it. So a pose whose sum is not above the next assignment's first summand is
        the best of all that are left, and most need never be fitted.
        """
        shrunk = self._size / self._small.size
        waiting: list[tuple[float, int, Pose]] = []
        spots, counts = self.spots(search.print_), 1.0
        if search.beyond:
            # Of two marks a hollow one would be any of the letters.
            spots, counts = spots._replace(hollow=()), _BEYOND
        ways = _assigned(spots, middles, search.marks, mirrored=search.mirrored)
        for at, (misfit, corners, seen) in enumerate(ways):
            while waiting and waiting[0][0] <= misfit:
                total, _, best = heapq.heappop(waiting)
                yield total, best
            fitted = pose.fit(middles[list(corners)], (seen + 0.5) * shrunk - 0.5)
            if fitted is not None:
                beside = counts * self._outside(fitted, paper)
                if search.marks == _FEWEST and not search.beyond:
                    beside += _SMALL * self._smaller(fitted, paper)
                heapq.heappush(waiting, (misfit + beside, at, fitted))
        while waiting:
            total, _, best = heapq.heappop(waiting)
            yield total, best

    def _smaller(self, fitted: Pose, paper: Paper) -> float:
        """Return how much smaller than the picture *paper* is seen: the logarithm of its scale."""
        across, down = self._size
        most = math.log(max(across, down) / max(paper.width, paper.height))
        return max(0.0, most - math.log(fitted.scale((paper.width / 2, paper.height / 2))))

    def _outside(self, fitted: Pose, paper: Paper) -> float:
        """
        Return how far *paper* reaches beyond the picture, in parts of its size: most pictures are
        of a whole sheet.
        """
        across, down = paper.width, paper.height
        corners = np.array([(0, 0), (across, 0), (across, down), (0, down)], float)
        seen = fitted.project(corners) / self._size
        return float(max(0.0, -seen.min(), seen.max() - 1))


_HOLLOW_CORNER = 3
_CORNERS = {
    4: ((0, 1, 2, 3),),
    3: ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3)),
    2: ((0, 1), (0, 2), (1, 2), (0, 3), (1, 3), (2, 3)),
}


def _assigned(
    spots: Spots, middles: Points, count: int, *, mirrored: bool = False
) -> Iterator[tuple[float, tuple[int, ...], Points]]:
    """
    Yield ways to take *count* of *spots* for marks at *middles*: how ill they fit, which corners,
    and where they were seen; the best first.
    """
    ways = (_assigned_to(corners, spots, middles, mirrored=mirrored) for corners in _CORNERS[count])
    return heapq.merge(*ways, key=lambda way: way[0])


def _assigned_to(
    corners: tuple[int, ...], spots: Spots, middles: Points, *, mirrored: bool
) -> Iterator[tuple[float, tuple[int, ...], Points]]:
    """Yield the ways to take spots for the marks at *corners*, as `_assigned` does."""
    kept, size = [], 0
    for ways in _combined(corners, spots, middles, mirrored=mirrored):
        misfit = _misfit(ways, middles[list(corners)], mirrored=mirrored)
        fits = np.isfinite(misfit)
        kept.append((misfit[fits], ways[fits, :, :2]))
        size += len(kept[-1][0])
        if size > 2 * _MOST_WAYS:
            kept, size = [_best(kept)], _MOST_WAYS
    for misfit, places in zip(*_best(kept), strict=True) if kept else ():
        yield float(misfit), corners, places


def _best(
    ways: Sequence[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return misfits and places of *ways* in one array each, the best first and not too many."""
    misfit, places = (np.concatenate(arrays) for arrays in zip(*ways, strict=True))
    order = np.argsort(misfit, kind="stable")[:_MOST_WAYS]
    return misfit[order], places[order]


def _combined(
    corners: tuple[int, ...], spots: Spots, middles: Points, *, mirrored: bool
) -> Iterator[NDArray[np.float64]]:
    """
    Yield arrays of ways to take spots for the marks at *corners*, shape (ways, corners, 3); what
    does not fit without the hollow mark is left out, for it fits no better with it.
    """
    solid, hollow = (np.array(kind, float).reshape(-1, 3) for kind in spots)
    solid_corners = [corner for corner in corners if corner != _HOLLOW_CORNER]
    chosen = np.array(list(permutations(range(len(solid)), len(solid_corners))), np.int64)
    ways = solid[chosen.reshape(-1, len(solid_corners))]
    if len(solid_corners) == len(corners):
        yield ways
        return
    for way in ways[np.isfinite(_misfit(ways, middles[solid_corners], mirrored=mirrored))]:
        with_hollow = np.empty((len(hollow), len(corners), 3))
        with_hollow[:, :-1], with_hollow[:, -1] = way, hollow
        yield with_hollow


def _misfit(
    spots: NDArray[np.float64], middles: Points, *, mirrored: bool = False
) -> NDArray[np.float64]:
    """
    Return how far each row of *spots*, shape (ways, marks, 3), differs from marks at *middles*: in
    size among themselves, against their distances, and in proportion; infinite where too far, or
    where the sheet would be seen from behind, or if *mirrored* from before.
    """
    seen, sides = spots[..., 0] + 1j * spots[..., 1], spots[..., 2]
    true = middles[:, 0] + 1j * middles[:, 1]
    pairs = list(combinations(range(len(true)), 2))
    if not pairs:
        return np.zeros(len(spots))
    sizes = np.log(sides.max(axis=1) / sides.min(axis=1))
    with np.errstate(divide="ignore"):
        # A spot within another one has no distance from it, and no logarithm of that.
        distances = [
            np.log(abs(seen[:, a] - seen[:, b]) / abs(true[a] - true[b])) for a, b in pairs
        ]
    ratios = np.stack(distances) + np.log(layout.CORNER_MARK / sides.mean(axis=1))
    with np.errstate(invalid="ignore"):
        stretch = ratios.max(axis=0) - ratios.min(axis=0)
    fits = (
        (sizes <= math.log(_SIZES_ALIKE))
        & (abs(ratios).max(axis=0) <= _LOG_STRETCH)
        & (stretch <= _LOG_STRETCH)
    )
    for three in combinations(range(len(true)), 3):
        fits &= (_clockwise(seen[:, three]) == _clockwise(true[None, three])) != mirrored
    return np.where(fits, stretch + abs(ratios.mean(axis=0)) + sizes, np.inf)


def _clockwise(three: NDArray[np.complex128]) -> NDArray[np.bool_]:
    """Tell of each row of three points whether the way through them turns clockwise."""
    first, second, third = three.T
    clockwise: NDArray[np.bool_] = ((second - first).conj() * (third - first)).imag > 0
    return clockwise


def _spots(grey: NDArray[np.float32], print_: Print) -> Spots:
    """
    Return the dark spots that may be marks, not too many.

    For any parallelogram the area is 12 times the square root of the determinant of its covariance:
    that of the unit square is 1/12 in both directions, and a linear map multiplies area and root
    by the same determinant. Second moments as a description of shapes are Hu's ("Visual Pattern
    Recognition by Moment Invariants", 1962; from memory).
    """
    solid, squares, hollow = [], set(), []
    dark = _dark(grey, print_.dark)
    for area, x, y, spread in _components(_filled(dark) if print_.filled else dark):
        fill = area / (12 * spread) if spread > 0 else 0
        if _SOLID[0] <= fill <= _SOLID[1] and _LEAST <= area**0.5 <= _MOST:
            solid.append(spot := Spot(x, y, area**0.5))
            if abs(fill - 1) < _SQUARE:
                squares.add(spot)
        elif _HOLLOW[0] <= fill <= _HOLLOW[1]:
            # A hollow mark has lost a quarter of its area.
            hollow.append(Spot(x, y, (area / 0.75) ** 0.5))
    # The squares in the corners of QR symbols are smaller than the marks, blotches may be larger.
    solid.sort(key=lambda spot: -spot.side)
    smaller = [spot for spot in solid[_MOST_SOLID:] if spot in squares]
    largest = [*solid[:_MOST_SOLID], *smaller[:_MORE_SQUARES]]
    if print_.filled:
        return Spots(tuple(largest), tuple(largest))
    unlike = {
        spot: min((abs(math.log(spot.side / other.side)) for other in largest), default=math.inf)
        for spot in hollow
    }
    alike = [spot for spot in hollow if unlike[spot] < math.log(_SIZES_ALIKE)]
    return Spots(tuple(largest), tuple(sorted(alike, key=unlike.__getitem__)[:_MOST_HOLLOW]))


def _dark(grey: NDArray[np.float32], dark: float) -> NDArray[np.bool_]:
    """Tell which pixels are darker than *dark* of the paper around."""
    is_dark: NDArray[np.bool_] = grey < dark * _paper(grey)
    return is_dark


def _paler(picture: Picture) -> float:
    """
    Return by how much less contrast than that of usual print the print on *picture* has; 1 where
    it has as much, or no print is on it.
    """
    grey = np.asarray(picture, np.float32)
    darkest = float(np.percentile(grey / np.maximum(_paper(grey), 1), _DARKEST_PERCENTILE))
    is_pale = _PALE_PRINT[0] < darkest < _PALE_PRINT[1]
    return (1 - darkest) / (1 - _USUAL_PRINT) if is_pale else 1.0


def _paper(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the brightness of the paper around each pixel: the 90th percentile, smooth."""
    height, width = (-(-size // _CELL) * _CELL for size in grey.shape)
    padded = np.pad(grey, ((0, height - grey.shape[0]), (0, width - grey.shape[1])), mode="edge")
    cells = (
        padded.reshape(height // _CELL, _CELL, width // _CELL, _CELL)
        .swapaxes(1, 2)
        .reshape(height // _CELL, width // _CELL, -1)
    )
    bright = np.percentile(cells, 90, axis=2).astype(np.float32)
    smooth = Image.fromarray(bright).resize((width, height), Image.Resampling.BILINEAR)
    return np.asarray(smooth)[: grey.shape[0], : grey.shape[1]]


def _filled(dark: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return *dark* with what it encloses, as far as that is no larger than a mark."""
    rows, starts, ends = _runs(~dark)
    label = _labels(rows, starts, ends)
    area = np.bincount(label, ends - starts) if len(label) else np.zeros(0)
    filled = dark.copy()
    for run in np.flatnonzero(area[label] <= _MOST**2):
        filled[rows[run], starts[run] : ends[run]] = True
    return filled


def _components(dark: NDArray[np.bool_]) -> Iterator[tuple[float, float, float, float]]:
    """
    Yield for each connected component of *dark*: its area, its middle x and y, and the root of the
    determinant of its covariance.
    """
    rows, starts, ends = _runs(dark)
    label = _labels(rows, starts, ends)
    length = (ends - starts).astype(float)
    x = (starts + ends - 1) / 2
    components = label.max() + 1 if len(label) else 0
    area, sum_x, sum_y, xx, yy, xy = (
        np.bincount(label, weights, components)
        for weights in (
            length,
            length * x,
            length * rows,
            length * x * x + length * (length * length - 1) / 12,
            length * rows * rows,
            length * x * rows,
        )
    )
    for at in np.flatnonzero((area >= _LEAST**2 / 2) & (area <= _MOST**2)):
        size = area[at]
        mean_x, mean_y = sum_x[at] / size, sum_y[at] / size
        # A pixel is a square with a spread of its own, a twelfth.
        across, down = xx[at] / size - mean_x**2 + 1 / 12, yy[at] / size - mean_y**2 + 1 / 12
        together = xy[at] / size - mean_x * mean_y
        spread = max(0.0, across * down - together**2) ** 0.5
        yield float(size), float(mean_x), float(mean_y), float(spread)


def _runs(dark: NDArray[np.bool_]) -> tuple[Indices, Indices, Indices]:
    """Return the rows, starts and ends of the horizontal runs of *dark*, row by row."""
    framed = np.zeros((dark.shape[0], dark.shape[1] + 2), np.int8)
    framed[:, 1:-1] = dark
    edges = np.diff(framed, axis=1)
    rows, starts = np.nonzero(edges == 1)
    return rows, starts, np.nonzero(edges == -1)[1]


def _labels(rows: Indices, starts: Indices, ends: Indices) -> Indices:
    """
    Return for each run the number of the connected component it belongs to, neighbours across a
    corner included (8-connectivity).

    Two scans over the runs: the first unites each with those that it touches in the row above, the
    second gives each the number of its root. Labelling in two scans is Rosenfeld & Pfaltz's
    ("Sequential Operations in Digital Picture Processing", 1966), by runs He, Chao & Suzuki's ("A
    Run-Based Two-Scan Labeling Algorithm", 2008), union–find with path halving Tarjan & van
    Leeuwen's ("Worst-Case Analysis of Set Union Algorithms", 1984); all from memory.
    """
    if not len(rows):
        return np.zeros(0, np.int64)
    parent = list(range(len(rows)))

    def root(run: int) -> int:
        while parent[run] != run:
            parent[run] = run = parent[parent[run]]
        return run

    first, last = starts.tolist(), ends.tolist()
    bounds = np.searchsorted(rows, np.arange(rows.max() + 2)).tolist()
    for above, row, below in zip(bounds, bounds[1:], bounds[2:], strict=False):
        upper, lower = above, row
        while upper < row and lower < below:
            if first[upper] <= last[lower] and first[lower] <= last[upper]:
                parent[root(lower)] = root(upper)
            if last[upper] < last[lower]:
                upper += 1
            else:
                lower += 1
    return np.unique([root(run) for run in range(len(rows))], return_inverse=True)[1]
