"""
The corner marks of a sheet on a picture: `find` gives the poses that they allow, likeliest
first.

A sheet has three solid squares and a hollow one, lower right (`layout.corner_marks`). A
dark spot is told to be a square by its second moments, which say so whatever the slant it is seen
at: for any parallelogram its area is 12 times the square root of the determinant of its covariance.
"""

from __future__ import annotations

import math
from itertools import combinations, permutations, zip_longest
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from PIL import Image, ImageFilter

from paperkey_alt.reading.image import pose
from paperkey_alt.sheet import layout

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.pose import Points, Pose
    from paperkey_alt.sheet.layout import Paper

_SIDE = 1200  # pixels of the longer side on which marks are looked for
# Standard deviation of a blur in pixels, and how dark a spot is, of the brightness of the paper
# around: good print, and pale print.
_LEVELS = ((0.0, 0.62), (2.5, 0.8))
_CELL = 24  # pixels over which the paper's brightness is taken to be even
_SOLID, _HOLLOW = (
    (0.88, 1.08),
    (0.45, 0.8),
)  # area over that of the parallelogram with the same moments
_LEAST, _MOST = (
    6.0,
    24.0,
)  # pixels of a mark's side: the sheet fills between a third and all of the picture
_MOST_SPOTS = 12
_MOST_POSES = 12
_SIZES_ALIKE = 1.6
_LOG_STRETCH = math.log(1.35)  # of the proportions of a sheet, as a slanted view gives them


class Spot(NamedTuple):
    """A dark spot: the middle, the side of the square of its area, whether it is solid."""

    x: float
    y: float
    side: float
    solid: bool


def find(picture: Picture, paper: Paper) -> Iterator[Pose]:
    """
    Yield poses of a sheet of *paper* by which its marks lie on spots of *picture*: for good print
    and for pale print in turn, by four marks, three and two, the likeliest of each first.
    """
    small = picture.copy()
    small.thumbnail((_SIDE, _SIDE), Image.Resampling.BOX)
    shrunk = np.array([picture.width / small.width, picture.height / small.height])
    middles = np.array(layout.corner_marks(paper)) + layout.CORNER_MARK / 2
    ranked = []
    for blur, dark in _LEVELS:
        spots = _spots(np.asarray(small.filter(ImageFilter.GaussianBlur(blur)), np.float32), dark)
        for count in (4, 3, 2):
            found = []
            for misfit, corners, seen in _assigned(spots, middles, count):
                fitted = pose.fit(middles[list(corners)], (seen + 0.5) * shrunk - 0.5)
                if fitted is not None:
                    found.append((misfit + _outside(fitted, paper, picture), fitted))
            ranked.append(
                [fitted for _, fitted in sorted(found, key=lambda pair: pair[0])[:_MOST_POSES]]
            )
    # The best by four marks, by three, by two, then the second best: none is so much likelier that
    # the others should wait.
    yield from (fitted for rank in zip_longest(*ranked) for fitted in rank if fitted is not None)


def _outside(fitted: Pose, paper: Paper, picture: Picture) -> float:
    """
    Return how far *paper* reaches beyond *picture*, in parts of its size: most pictures are of a
    whole sheet.
    """
    across, down = paper.width, paper.height
    corners = (
        fitted.project(np.array([(0, 0), (across, 0), (across, down), (0, down)], float))
        / picture.size
    )
    return float(max(0.0, -corners.min(), corners.max() - 1))


def _assigned(
    spots: Sequence[Spot], middles: Points, count: int
) -> Iterator[tuple[float, tuple[int, ...], Points]]:
    """
    Yield ways to take *count* of *spots* for corners: how ill they fit, which corners, and where
    they were seen.
    """
    solid, hollow = ([spot for spot in spots if spot.solid is kind] for kind in (True, False))
    for corners in _CORNERS[count]:
        has_hollow = _HOLLOW_CORNER in corners
        for chosen in permutations(solid, len(corners) - has_hollow):
            if _misfit(chosen, middles[list(corners[: len(chosen)])]) is None:
                continue
            for taken in ((*chosen, last) for last in hollow) if has_hollow else (chosen,):
                misfit = _misfit(taken, middles[list(corners)])
                if misfit is not None:
                    yield misfit, corners, np.array([(spot.x, spot.y) for spot in taken])


_HOLLOW_CORNER = 3
_CORNERS = {
    4: ((0, 1, 2, 3),),
    3: ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3)),
    2: ((0, 1), (0, 2), (1, 2), (0, 3), (1, 3), (2, 3)),
}


def _misfit(taken: Sequence[Spot], middles: Points) -> float | None:
    """
    Return how far spots differ from marks at *middles*: in size among themselves, against their
    distances, and in proportion; None where too far, or where the sheet would be seen from behind.
    """
    sides = [spot.side for spot in taken]
    if max(sides) > _SIZES_ALIKE * min(sides):
        return None
    seen, true = (
        [complex(spot.x, spot.y) for spot in taken],
        [complex(*middle) for middle in middles],
    )
    per_pixel = layout.CORNER_MARK * len(sides) / sum(sides)
    ratios = [
        math.log(abs(seen[one] - seen[other]) * per_pixel / abs(true[one] - true[other]))
        for one, other in combinations(range(len(taken)), 2)
    ]
    if not ratios:
        return 0.0
    if max(map(abs, ratios)) > _LOG_STRETCH or max(ratios) - min(ratios) > _LOG_STRETCH:
        return None
    if any(
        _turns(seen, three) != _turns(true, three) for three in combinations(range(len(taken)), 3)
    ):
        return None
    return (
        max(ratios)
        - min(ratios)
        + abs(sum(ratios)) / len(ratios)
        + math.log(max(sides) / min(sides))
    )


def _turns(points: Sequence[complex], three: tuple[int, ...]) -> bool:
    """Tell whether the way through *three* of *points* turns clockwise."""
    first, second, third = (points[at] for at in three)
    return ((second - first).conjugate() * (third - first)).imag > 0


def _spots(grey: NDArray[np.float32], dark: float) -> list[Spot]:
    """Return the dark spots that may be marks, not too many."""
    solid, hollow = [], []
    for area, x, y, spread in _components(grey < dark * _paper(grey)):
        fill = area / (12 * spread) if spread > 0 else 0
        if _SOLID[0] <= fill <= _SOLID[1]:
            solid.append(Spot(x, y, area**0.5, solid=True))
        elif _HOLLOW[0] <= fill <= _HOLLOW[1]:
            # A hollow mark has lost a quarter of its area.
            hollow.append(Spot(x, y, (area / 0.75) ** 0.5, solid=False))
    # The squares in the corners of QR symbols are smaller than the marks.
    largest = sorted(
        (spot for spot in solid if _LEAST <= spot.side <= _MOST), key=lambda spot: -spot.side
    )[:_MOST_SPOTS]
    alike = (
        spot
        for spot in hollow
        if any(1 / _SIZES_ALIKE < spot.side / one.side < _SIZES_ALIKE for one in largest)
    )
    return [*largest, *alike]


def _paper(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the brightness of the paper around each pixel."""
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


def _components(dark: NDArray[np.bool_]) -> Iterator[tuple[float, float, float, float]]:
    """
    Yield for each connected part of *dark*: its area, its middle x and y, and the root of the
    determinant of its covariance.
    """
    rows, starts, ends = _runs(dark)
    label = _labels(rows, starts, ends)
    length = (ends - starts).astype(float)
    x = (starts + ends - 1) / 2
    parts = label.max() + 1 if len(label) else 0
    area, sum_x, sum_y, xx, yy, xy = (
        np.bincount(label, weights, parts)
        for weights in (
            length,
            length * x,
            length * rows,
            length * x * x + length * (length * length - 1) / 12,
            length * rows * rows,
            length * x * rows,
        )
    )
    for part in np.flatnonzero((area >= _LEAST**2 / 2) & (area <= _MOST**2)):
        size = area[part]
        mean_x, mean_y = sum_x[part] / size, sum_y[part] / size
        # A pixel is a square with a spread of its own, a twelfth.
        across, down = xx[part] / size - mean_x**2 + 1 / 12, yy[part] / size - mean_y**2 + 1 / 12
        together = xy[part] / size - mean_x * mean_y
        yield (
            float(size),
            float(mean_x),
            float(mean_y),
            float(max(0.0, across * down - together**2) ** 0.5),
        )


def _runs(
    dark: NDArray[np.bool_],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return the rows, starts and ends of the horizontal runs of *dark*."""
    framed = np.zeros((dark.shape[0], dark.shape[1] + 2), np.int8)
    framed[:, 1:-1] = dark
    edges = np.diff(framed, axis=1)
    rows, starts = np.nonzero(edges == 1)
    return rows, starts, np.nonzero(edges == -1)[1]


def _labels(
    rows: NDArray[np.int64], starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return for each run the number of the connected part it belongs to."""
    parent = list(range(len(rows)))

    def root(one: int) -> int:
        while parent[one] != one:
            parent[one] = one = parent[parent[one]]
        return one

    first, last = starts.tolist(), ends.tolist()
    bounds = np.searchsorted(rows, np.arange(rows.max() + 2)).tolist() if len(rows) else [0]
    for above, row, below in zip(bounds, bounds[1:], bounds[2:], strict=False):
        upper, lower = above, row
        while upper < row and lower < below:
            if first[upper] <= last[lower] and first[lower] <= last[upper]:
                parent[root(lower)] = root(upper)
            if last[upper] < last[lower]:
                upper += 1
            else:
                lower += 1
    return (
        np.unique([root(one) for one in range(len(rows))], return_inverse=True)[1]
        if len(rows)
        else np.zeros(0, np.int64)
    )
