"""
Where a sheet lies on a picture by its printed rows alone: `places`, for a picture on which its
corner marks are cut off or dirty.

1. Dark pixels are those darker than a part of the paper around them; what is dark over a wide area
   is a symbol or the table, and no print (`_ink`).
2. The direction of the rows is that in which the projection profile changes most from pixel to
   pixel: Postl, "Detection of Linear Oblique Structures and Skew Scan in Digitized Documents"
   (1986; from memory). See `_direction`.
3. In that direction a sheet of each paper and size of type has known profiles, down its rows and
   across its groups of characters. They are compared at every shift and a range of scales by
   normalised cross-correlation, through FFT (Lewis, "Fast Normalized Cross-Correlation", 1995; from
   memory). See `_fitted`.
4. A smear down the picture is as dark between the rows as in them. Where these are known, the
   profile across is taken again of what is darker in them. See `_Way.fit_without_smears`.

What comes of it is a proposal: whether rows are there, their checks tell.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from PIL import Image

from paperkey_alt.format.lines import CHARACTERS, group
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.sheet import layout
from paperkey_alt.sheet.layout import ADVANCE, CAPITALS, NUMBER_CHARACTERS, PAPERS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.sheet.layout import Paper, Preset, Sheet

_SIDE = 1000  # pixels of the longer side on which rows are looked for
_CELL = 16  # pixels over which the paper's brightness is taken to be even
_DARK = 0.7  # of the paper's brightness
_COVERED = 0.6  # of a cell: where so much is dark, it is no print
_LEAST_INK = 2000  # pixels without which there are no rows
_MOST_INK = 40_000  # pixels that are looked at
_STEEPEST, _STEP = 15.0, 0.25  # degrees from upright or from on its side, and between two tries
# How striped the profile is in the direction of rows, from which there may be rows: it is 0.18 and
# more on the row "augraphy DirtyDrum" of tests/bench/foreign_damage.py.
_STRIPED = 0.15
# What is seen of a paper is this much wider at the most: scales that are tried go on from there up,
# in steps like this, so many; and then as many on either side of the best, finer.
_WIDER, _COARSE, _SCALES = 0.9, 1.012, 50
_FINE, _FINER = 0.002, 4
_ROOM = 1.0  # of a profile, at either end, that is taken for cut off: a half of a sheet
_LEAST_FIT = 0.9  # correlation of the profiles under which a sheet is not proposed
_MOST_PLACES = 3


class Place(NamedTuple):
    """Where a sheet of *paper* and *preset* may lie, and how well its profiles fit there."""

    paper: Paper
    preset: Preset
    pose: Pose
    fit: float


def places(picture: Picture) -> tuple[Place, ...]:
    """Return where sheets may lie on *picture* by their rows, those that fit best first."""
    small = picture.copy()
    small.thumbnail((_SIDE, _SIDE), Image.Resampling.BOX)
    x, y = _ink(np.asarray(small, np.float32))
    if len(x) < _LEAST_INK:
        return ()
    angle, striped = _direction(x, y)
    if striped < _STRIPED:
        return ()
    every = _fitted(x, y, angle, picture.width / small.width)
    found = [place for place in every if place.fit > _LEAST_FIT]
    return tuple(sorted(found, key=lambda place: -place.fit)[:_MOST_PLACES])


def _ink(grey: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the places of dark pixels that may be print."""
    height, width = (size - size % _CELL for size in grey.shape)
    cells = (
        grey[:height, :width]
        .reshape(height // _CELL, _CELL, width // _CELL, _CELL)
        .swapaxes(1, 2)
        .reshape(height // _CELL, width // _CELL, -1)
    )
    paper = np.percentile(cells, 90, axis=2)[..., None]
    # A cell that is dark all over has no paper: that of the brightest half of the picture has.
    paper = np.maximum(paper, _DARK * np.median(paper))
    dark = cells < _DARK * paper
    dark[dark.mean(axis=2) > _COVERED] = False
    dark = dark.reshape(height // _CELL, width // _CELL, _CELL, _CELL).swapaxes(1, 2)
    y, x = np.nonzero(dark.reshape(height, width))
    thin = max(1, -(-len(x) // _MOST_INK))
    return x[::thin].astype(float), y[::thin].astype(float)


def _profile(
    along: NDArray[np.float64], weights: NDArray[np.float64] | None = None
) -> tuple[NDArray[np.float64], float]:
    """Return how much ink is at each whole step of *along*, and where the first one is."""
    start = float(np.floor(along.min()))
    return np.bincount((along - start).astype(np.intp), weights).astype(float), start


def _direction(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Return the direction of rows in radians, and how striped the profile across them is."""
    best = (0.0, 0.0)
    around = np.arange(-_STEEPEST, _STEEPEST + _STEP, _STEP)
    for angle in np.radians([*around, *(around + 90)]).tolist():
        profile, _ = _profile(y * np.cos(angle) - x * np.sin(angle))
        striped = float((np.diff(profile) ** 2).sum() / max((profile**2).sum(), 1))
        best = max(best, (striped, angle))
    return best[1], best[0]


def _fitted(
    x: NDArray[np.float64], y: NDArray[np.float64], angle: float, larger: float
) -> Iterator[Place]:
    """
    Yield for each paper and size of type where a sheet of it fits the profiles best when its rows
    run at *angle*, or the other way round; the picture is *larger* than that of the places *x* and
    *y*.
    """
    ways = [_Way(x, y, way) for way in (angle, angle + np.pi)]
    for paper in PAPERS.values():
        least = max(way.extent(paper) for way in ways) * _WIDER
        coarse = least * _COARSE ** np.arange(_SCALES)
        for preset in layout.presets(paper):
            bars = _bars(layout.sheet(1, preset.lines_a_page, paper, preset), preset)
            for way in ways:
                best = max(way.fit(bars, scale) for scale in coarse.tolist())
                fine = best.scale * (1 + _FINE * np.arange(-_FINER, _FINER + 1))
                best = max(way.fit(bars, scale) for scale in fine.tolist())
                best = max(best, way.fit_without_smears(bars, best))
                pose = _pose(way.angle, best.scale, best.across, best.down, larger)
                yield Place(paper, preset, pose, best.fit)


class _Fit(NamedTuple):
    """
    How well profiles fit at a scale, the shifts across and down at which they do, and how well
    that down does by itself.
    """

    fit: float
    scale: float
    across: float
    down: float
    fit_down: float


class _Bars(NamedTuple):
    """What of a sheet is dark, in points: its characters across, and its rows down."""

    across: NDArray[np.float64]
    down: NDArray[np.float64]


def _bars(sheet: Sheet, preset: Preset) -> _Bars:
    step = ADVANCE * preset.type_size
    cells = [
        (x + at * step, x + (at + 1) * step)
        for x in sorted({row.x for row in sheet.rows})
        for at, character in enumerate(group("x" * CHARACTERS), NUMBER_CHARACTERS + 2)
        if character != " "
    ]
    baselines = np.array([row.baseline for row in (sheet.head, *sheet.rows)])
    rows = np.column_stack([baselines - CAPITALS * preset.type_size, baselines])
    return _Bars(np.array(cells), rows)


class _Way:
    """What is dark on a picture as seen with rows running at *angle*, and its two profiles."""

    def __init__(self, x: NDArray[np.float64], y: NDArray[np.float64], angle: float) -> None:
        self.angle = angle
        cos, sin = np.cos(angle), np.sin(angle)
        self._along, self._beneath = x * cos + y * sin, y * cos - x * sin
        self._across, self._down = _Profile(self._along), _Profile(self._beneath)

    def extent(self, paper: Paper) -> float:
        """Return the scale at which what is dark is as large as *paper* in one direction."""
        return max(self._across.extent / paper.width, self._down.extent / paper.height)

    def fit(self, bars: _Bars, scale: float) -> _Fit:
        """Return how well *bars* fit at *scale*."""
        fit_across, across = self._across.fit(bars.across, scale)
        fit_down, down = self._down.fit(bars.down, scale)
        return _Fit(fit_across + fit_down, scale, across, down, fit_down)

    def fit_without_smears(self, bars: _Bars, best: _Fit) -> _Fit:
        """
        Return how well *bars* fit at the scale of *best* and as far down, if what is dark in the
        rows there counts less what is dark between them: a smear down the picture is in both.
        """
        edges = (bars.down * best.scale + best.down).ravel()
        at = np.searchsorted(edges, self._beneath)
        among = (at > 0) & (at < len(edges))
        if not among.any():
            return best
        in_row = at % 2 == 1
        rows = (edges[1::2] - edges[::2]).sum()
        between = (edges[2::2] - edges[1:-1:2]).sum()
        weights = np.where(in_row, 1.0, -rows / between)[among]
        fit_across, across = _Profile(self._along[among], weights).fit(bars.across, best.scale)
        return best._replace(fit=fit_across + best.fit_down, across=across)


class _Profile:
    """
    A profile of places *along* a direction with room around it, and what of it is the same for all
    that it is compared to.
    """

    def __init__(
        self, along: NDArray[np.float64], weights: NDArray[np.float64] | None = None
    ) -> None:
        profile, self._start = _profile(along, weights)
        self.extent = len(profile)
        self._room = int(len(profile) * _ROOM)
        padded = np.pad(profile, self._room)
        self._length = len(padded)
        self._size = 1 << (2 * self._length - 1).bit_length() - 1
        self._spectrum = np.fft.rfft(padded, self._size)
        self._sums = np.concatenate([(0,), np.cumsum(padded)])
        self._squares = np.concatenate([(0,), np.cumsum(padded**2)])

    def fit(self, bars: NDArray[np.float64], scale: float) -> tuple[float, float]:
        """
        Return how well *bars* fit at *scale* where they do best, and where their origin is then.
        """
        first = float(bars.min())
        edges = ((bars - first) * scale).round().astype(int)
        length = int(edges.max()) + 1
        if length > self._length:
            return -1.0, 0.0
        template = np.zeros(length)
        np.add.at(template, edges[:, 0], 1)
        np.subtract.at(template, edges[:, 1], 1)
        template = template.cumsum().clip(0, 1)
        template -= template.mean()
        # What a transform of this size wraps around falls beyond the places looked at.
        spectrum = np.conj(np.fft.rfft(template, self._size))
        product = np.fft.irfft(self._spectrum * spectrum, self._size)
        product = product[: self._length - length + 1]
        total = self._sums[length:] - self._sums[:-length]
        square = self._squares[length:] - self._squares[:-length]
        spread = np.sqrt(np.maximum(square - total**2 / length, 1))
        correlation = product / (spread * np.linalg.norm(template))
        at = int(correlation.argmax())
        return float(correlation[at]), self._start + at - self._room - first * scale


def _pose(angle: float, scale: float, u: float, v: float, larger: float) -> Pose:
    """
    Return the pose of a sheet of *scale* whose corner is at *u* along its rows, which run at
    *angle*, and *v* down them, on a picture that is so much *larger*.
    """
    cos, sin = np.cos(angle), np.sin(angle)
    turned = [
        (scale * cos, -scale * sin, u * cos - v * sin + 0.5),
        (scale * sin, scale * cos, u * sin + v * cos + 0.5),
    ]
    return Pose(np.vstack([larger * np.array(turned), (0, 0, 1)]))
