"""
Rows of a sheet cut out of a picture, each straightened, at `glyphs.EM` pixels to the type size:
`cut`, and `align`, which tells where they are.

A sheet is not quite flat and a pose not quite true. So the rows are cut with room around them;
each group of characters is looked for in that room by what any group looks like (`_offsets`:
template matching by normalised cross-correlation); a smooth warp is fitted to where the groups
turned out to be (`_fitted`: iteratively reweighted least squares); and the rows are cut again where
the warp puts them. Where that is not enough, as with a fold or a book that lies open, `bend` lets
the warp bend from place to place.

The thresholds were set with ``tests/bench/scan_matrix.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from paperkey_alt.format.lines import CHARACTERS, GROUP, group
from paperkey_alt.reading.image import glyphs
from paperkey_alt.reading.image.glyphs import ABOVE, EM, HIGH, ROOM, SIDE, STEP, WIDE, ink, rendered
from paperkey_alt.sheet.layout import NUMBER_CHARACTERS, ROW_CHARACTERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from paperkey_alt.reading.image.pose import Points, Pose
    from paperkey_alt.reading.image.pyramid import Pyramid
    from paperkey_alt.sheet.layout import Row

ROOM_X, ROOM_Y = 20, 9  # pixels around a row
_GROUPS = -(-CHARACTERS // GROUP) - 1
_LAST_GROUP = CHARACTERS - GROUP * (_GROUPS - 1)  # characters of the last group, which is longer
_FIRST = NUMBER_CHARACTERS + 2  # the cell of a row's first character
_CELLS = [at for at, character in enumerate(group("x" * CHARACTERS), _FIRST) if character == "x"]
_USUAL_BLUR = 1.2  # pixels, of the template of a group
_FAINT = 0.25  # score of a group under which its place says nothing
_ROUNDS = 3
_ENOUGH = 40  # rows that tell where the others are
_ASTRAY = 2.5  # pixels from the others at which a group has been found in a wrong place
_REWEIGHTINGS = 4
_RIDGE = 1e-3
# Terms of a warp by the groups that are found: all six of a polynomial of second degree, the three
# of an affine one, or a shift.
_TERMS = ((60, 6), (12, 3), (0, 1))
_NODE = np.full(2, 48.0)  # points from a node of a bend to the next: two groups of small type
_STIFF = 0.02  # of a bend, against displacements found; and towards none at all:
_STIFFER = 1e-3
_BENT = 0.7  # pixels: the mean that groups are off by, from which a warp is bent
_LESS_OFF = 0.9  # of that: where a round brings no more, it is the last
_BENDS, _MOST_BENT = 5, 48  # rounds of that, and rows by which it is done
_TOGETHER = 8  # strips that are worked on at once
_SETTLED = 3  # pixels by which a strip may still be off


@dataclass(frozen=True)
class Bend:
    """
    Displacements at the nodes of a grid over the sheet, in pixels of a strip, shape (rows, columns,
    2), bilinear between them; the first node is at *corner*, and they are *step* apart, across and
    down.
    """

    corner: NDArray[np.float64]
    step: NDArray[np.float64]
    nodes: NDArray[np.float64]

    def at(self, sheet: Points) -> Points:
        """Return the displacements at the places *sheet*, shape (n, 2)."""
        indices, weights = _near_nodes(sheet, self.corner, self.step, self.nodes.shape[:2])
        bent: Points = (self.nodes.reshape(-1, 2)[indices] * weights[..., None]).sum(axis=1)
        return bent


@dataclass(frozen=True)
class Warp:
    """
    How far rows stand from where the pose puts them, in pixels of a strip: a polynomial of second
    degree over the sheet, and a bend where that is not enough.
    """

    across: NDArray[np.float64]
    down: NDArray[np.float64]
    bend: Bend | None = None

    def at(self, sheet: Points) -> Points:
        """Return how far to the right and down things are at the places *sheet*, shape (n, 2)."""
        terms = _terms(sheet)
        smooth = np.column_stack([terms @ self.across, terms @ self.down])
        return smooth if self.bend is None else smooth + self.bend.at(sheet)


STRAIGHT = Warp(np.zeros(6), np.zeros(6))


@dataclass(frozen=True)
class View:
    """A picture as brightness, not much finer than strips are, and the pose of the sheet on it."""

    grey: NDArray[np.uint8]
    pose: Pose


def view(pyramid: Pyramid, pose: Pose, type_size: float) -> View:
    """Return the level of *pyramid* that is just fine enough for strips of *type_size*."""
    picture = pyramid.picture
    middle = pose.locate(np.array([(picture.width / 2, picture.height / 2)], float))[0]
    coarser = int(pose.scale((middle[0], middle[1])) * type_size / EM)
    # Two pixels are left, between which there is something to interpolate.
    coarser = min(coarser, min(picture.size) // 2)
    if coarser < 2:
        return View(pyramid.level(1), pose)
    return View(pyramid.level(coarser), pose.coarser(coarser))


def cut(
    seen: View, rows: Sequence[Row], type_size: float, warp: Warp = STRAIGHT
) -> NDArray[np.float32]:
    """
    Return *rows* as strips of ink with room around them; shape (rows, HIGH + 2 ROOM_Y, row + 2
    ROOM_X). What is outside is 0.
    """
    pixel = type_size / EM
    across = (np.arange(ROW_CHARACTERS * STEP + 2 * ROOM_X) - ROOM_X + 0.5) * pixel
    start = np.array([(row.x, row.baseline) for row in rows])
    base = np.stack(
        np.broadcast_arrays(start[:, 0, None] + across, start[:, 1, None]), axis=-1
    ).reshape(-1, 2)
    base = base + warp.at(base) * pixel
    # Over the height of a row a view is straight, whatever its slant: two rows of points are
    # enough.
    heights = (np.arange(HIGH + 2 * ROOM_Y) - ROOM_Y - ABOVE + 0.5) / EM
    down = ((heights + 1) / 2)[:, None].astype(np.float32)
    above, below = (
        seen.pose.project(base + np.array((0, edge * pixel)))
        .astype(np.float32)
        .reshape(len(rows), 1, len(across), 2)
        for edge in (-EM, EM)
    )
    steps, strips = below - above, np.empty((len(rows), len(down), len(across)), np.float32)
    for part in _parts(len(rows)):
        x, y = (above[part, ..., axis] + steps[part, ..., axis] * down for axis in (0, 1))
        np.subtract(255, sampled(seen.grey, x, y), out=strips[part])
    return strips


def _parts(rows: int) -> Iterator[slice]:
    """Yield in which parts so many *rows* are worked on: few enough for a processor's cache."""
    for first in range(0, rows, _TOGETHER):
        yield slice(first, first + _TOGETHER)


def align(
    seen: View,
    rows: Sequence[Row],
    type_size: float,
    hopeless: float = -1,
    *,
    rounds: int = _ROUNDS,
) -> tuple[Warp, float]:
    """
    Return where *rows* are, and how like rows they look there: a score from -1 to 1, the mean over
    the better half of their groups, for the others may be torn off. Where the first round scores
    less than *hopeless*, it is the last.
    """
    warp, score = STRAIGHT, 0.0
    rows = rows[:: -(-len(rows) // _ENOUGH)]
    for _ in range(rounds):
        warp, score = align_more(seen, rows, type_size, warp)
        if score < hopeless:
            break
    return warp, score


def align_more(seen: View, rows: Sequence[Row], type_size: float, warp: Warp) -> tuple[Warp, float]:
    """Return *warp*, its polynomial moved to where *rows* are, and how like rows they looked."""
    offsets, scores = _offsets(cut(seen, rows, type_size, warp))
    step = _fitted(_group_places(rows, type_size), offsets.reshape(-1, 2), scores.ravel())
    score = float(np.sort(scores, axis=None)[scores.size // 2 :].mean())
    return Warp(warp.across + step.across, warp.down + step.down, warp.bend), score


def legibility(seen: View, rows: Sequence[Row], type_size: float, warp: Warp) -> float:
    """
    Return how like characters of the type size what stands on *rows* looks, each group taken where
    it is found by itself: a score from -1 to 1, the mean over the better half of the groups.
    """
    straight = cut(seen, rows, type_size, warp)
    room = np.array((ROOM_X - ROOM - SIDE, ROOM_Y - ROOM))
    offsets = np.clip(_offsets(straight)[0], -room, room).astype(int)
    found = np.stack(
        [
            straight[
                row,
                ROOM_Y - ROOM + down : ROOM_Y + HIGH + ROOM + down,
                left + across : left + across + WIDE + 2 * ROOM,
            ]
            for row, of_row in enumerate(offsets.tolist())
            for at, (across, down) in enumerate(of_row)
            for left in _lefts(at)
        ]
    )
    best = glyphs.scores(found, rendered(blur=_USUAL_BLUR)).max(axis=1)
    groups = best.reshape(-1, GROUP).mean(axis=1)
    return float(np.sort(groups)[len(groups) // 2 :].mean())


def _lefts(at: int) -> list[int]:
    """Return where on a strip the cells of the first four characters of a group begin."""
    first = _FIRST + at * (GROUP + 1)
    return [ROOM_X + cell * STEP - SIDE - ROOM for cell in range(first, first + GROUP)]


def bend(
    seen: View, rows: Sequence[Row], type_size: float, warp: Warp, *, rounds: int = _BENDS
) -> Warp:
    """
    Return *warp* bent to where the groups of *rows* are found, if as it is they are off.

    Displacements at the nodes of a grid, nearest to those found and with least second differences
    (a smoothing spline on a grid; Eilers & Marx, "Flexible Smoothing with B-splines and Penalties",
    1996; from memory), by iteratively reweighted least squares as in `_fitted`.
    """
    rows = rows[:: -(-len(rows) // _MOST_BENT)]
    places = _group_places(rows, type_size)
    corner, (down, across) = _grid(places)
    indices, weights = _near_nodes(places, corner, _NODE, (down, across))
    design = np.zeros((len(places), down * across))
    np.put_along_axis(design, indices, weights, axis=1)
    stiffness, smooth = _stiffness(down, across), Warp(warp.across, warp.down)
    bent, before = warp, math.inf
    for _ in range(rounds):
        offsets, scores = _offsets(cut(seen, rows, type_size, bent))
        found = offsets.reshape(-1, 2)
        weight = np.maximum(scores.ravel() - _FAINT, 0) ** 2
        off = (
            float(np.average(np.linalg.norm(found, axis=1), weights=weight)) if weight.any() else 0
        )
        if not _BENT < off < _LESS_OFF * before:
            break
        before = off
        displaced = found + bent.at(places) - smooth.at(places)
        nodes = _smoothed(design, displaced, weight, stiffness)
        bent = Warp(warp.across, warp.down, Bend(corner, _NODE, nodes.reshape(down, across, 2)))
    return bent


def follow(
    seen: View, seeds: Sequence[Row], rows: Sequence[Row], type_size: float, warp: Warp
) -> Warp:
    """
    Return the warp over all *rows* that follows from where the groups of the *seeds* are found near
    where *warp* puts them: a polynomial as in `align`, bent as in `bend`, by no other rows.
    """
    places = _group_places(seeds, type_size)
    offsets, scores = _offsets(cut(seen, seeds, type_size, warp))
    displaced = offsets.reshape(-1, 2) + warp.at(places)
    smooth = _fitted(places, displaced, scores.ravel())
    corner, shape = _grid(_group_places(rows, type_size))
    indices, weights = _near_nodes(places, corner, _NODE, shape)
    design = np.zeros((len(places), shape[0] * shape[1]))
    np.put_along_axis(design, indices, weights, axis=1)
    weight = np.maximum(scores.ravel() - _FAINT, 0) ** 2
    nodes = _smoothed(design, displaced - smooth.at(places), weight, _stiffness(*shape))
    return Warp(smooth.across, smooth.down, Bend(corner, _NODE, nodes.reshape(*shape, 2)))


def _grid(places: Points) -> tuple[NDArray[np.float64], tuple[int, int]]:
    """Return the first node of a grid over *places*, and its rows and columns of nodes."""
    corner = places.min(axis=0) - _NODE / 2
    across, down = (np.ceil((places.max(axis=0) - corner) / _NODE).astype(int) + 1).tolist()
    return corner, (down, across)


def _smoothed(
    design: NDArray[np.float64], displaced: Points, weight: NDArray[np.float64], stiffness: Points
) -> Points:
    """Return the displacements at nodes nearest to *displaced* by *weight*, what is astray less."""
    robust = weight
    for _ in range(_REWEIGHTINGS // 2):
        weighted = design * robust[:, None]
        solved = np.linalg.solve(design.T @ weighted + stiffness, weighted.T @ displaced)
        nodes = np.asarray(solved, np.float64)
        residual = np.linalg.norm(displaced - design @ nodes, axis=1)
        robust = weight / (1 + (residual / _ASTRAY) ** 4)
    return nodes


def cells(strips: NDArray[np.float32], first: int | None = None) -> NDArray[np.float32]:
    """
    Return the cells of the characters, or of four from the cell *first* on, each with room around
    it; shape (rows, characters, HIGH + 2 ROOM, WIDE + 2 ROOM).
    """
    at = _CELLS if first is None else range(first, first + NUMBER_CHARACTERS)
    top, high, wide = ROOM_Y - ROOM, HIGH + 2 * ROOM, WIDE + 2 * ROOM
    lefts = [ROOM_X + cell * STEP - SIDE - ROOM for cell in at]
    return np.stack([strips[:, top : top + high, left : left + wide] for left in lefts], axis=1)


def settled(strips: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return *strips* with each moved up or down, left or right, by the pixel or two that it still is
    off.
    """
    offsets, scores = _offsets(strips, room=_SETTLED)
    moved = strips.copy()
    for at, sure in enumerate(scores > _FAINT):
        if sure.any():
            across, down = np.median(offsets[at, sure], axis=0).round().astype(int)
            moved[at] = np.roll(strips[at], (-down, -across), axis=(0, 1))
    return moved


def _offsets(
    strips: NDArray[np.float32], room: int = ROOM_X
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Return for each group of each strip how far right and down it is, up to *room* pixels, shape
    (rows, groups, 2), and how like a group it looks there.
    """
    parts = [_offsets_of(strips[part], room) for part in _parts(len(strips))]
    offsets, scores = (np.concatenate(of_parts) for of_parts in zip(*parts, strict=True))
    return offsets, scores


def _offsets_of(
    strips: NDArray[np.float32], room: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return for a few strips what `_offsets` returns for all."""
    room_y = min(room, ROOM_Y)
    rows = strips[:, ROOM_Y - room_y : ROOM_Y + HIGH + room_y]
    # The last group's template has a blank behind it, for which a strip has too little room.
    rows = np.pad(rows, ((0, 0), (0, 0), (0, STEP)))
    lefts = [ROOM_X + (_FIRST + at * (GROUP + 1) - 1) * STEP - room for at in range(_GROUPS)]
    offsets, scores = [], []
    for size, of_size in ((GROUP, lefts[:-1]), (_LAST_GROUP, lefts[-1:])):
        wide = (size + 2) * STEP
        windows = rows[..., of_size[0] : of_size[-1] + wide + 2 * room]
        correlation = _correlation(windows, size)
        for left in of_size:
            near = correlation[..., left - of_size[0] :][..., : 2 * room + 1]
            flat = near.reshape(len(near), -1)
            down, across = np.unravel_index(flat.argmax(axis=1), near.shape[1:])
            offsets.append(np.column_stack([across - room, down - room_y]).astype(float))
            scores.append(flat.max(axis=1))
    return np.stack(offsets, axis=1), np.stack(scores, axis=1)


@cache
def _usual_group(size: int) -> NDArray[np.float32]:
    """Return what a group of *size* characters looks like on the whole, between two blanks."""
    mean = rendered(blur=_USUAL_BLUR).mean(axis=0, keepdims=True)
    return ink(f" {'x' * size} ", "x", mean)


def _correlation(windows: NDArray[np.float32], size: int) -> NDArray[np.float64]:
    """
    Return the normalised cross-correlation of the usual group of *size* characters with every place
    of each of *windows*.

    Lewis, "Fast Normalized Cross-Correlation" (1995): products by FFT, and the spread under the
    template by running sums.
    """
    template = _usual_group(size)
    high, wide = template.shape
    rows, columns = windows.shape[1] - high + 1, windows.shape[2] - wide + 1
    # What a transform of this size wraps around falls beyond *rows* and *columns*.
    shape = (_quick(windows.shape[1]), _quick(windows.shape[2]))
    product = np.fft.irfft2(np.fft.rfft2(windows, shape) * _spectrum(size, shape), shape)
    total, squares = box_sums(windows, high, wide)
    spread = np.sqrt(np.maximum(squares - total**2 / template.size, template.size))
    even = template - template.mean()
    correlation: NDArray[np.float64] = product[:, :rows, :columns] / (spread * np.linalg.norm(even))
    return correlation


@cache
def _spectrum(size: int, shape: tuple[int, int]) -> NDArray[np.complex64]:
    """Return what a transform of *shape* is multiplied by to correlate with the usual group."""
    template = _usual_group(size)
    spectrum: NDArray[np.complex64] = np.conj(np.fft.rfft2(template - template.mean(), shape))
    return spectrum


@cache
def _quick(size: int) -> int:
    """Return the least number from *size* on whose only factors are 2, 3 and 5: an FFT is quick."""
    rest = size
    for factor in (2, 3, 5):
        while rest % factor == 0:
            rest //= factor
    return size if rest == 1 else _quick(size + 1)


def box_sums(values: NDArray[np.float32], high: int, wide: int) -> NDArray[np.float64]:
    """
    Return the sums of *values* and of their squares over *high* × *wide* of them at every place, by
    running sums down and then across (a summed-area table, Crow 1984, without the table; from
    memory).
    """
    sums = np.stack([values, values * values]).astype(float)
    for size in (high, wide):
        # Each time along the axis before the last, along which running sums are quickest.
        running = sums.cumsum(axis=2)
        ends = running[:, :, size - 1 :].copy()
        ends[:, :, 1:] -= running[:, :, :-size]
        sums = ends.swapaxes(2, 3)
    return sums


def _group_places(rows: Sequence[Row], type_size: float) -> Points:
    """Return the middles of the groups of *rows* on the sheet, shape (rows × groups, 2)."""
    step = STEP / EM * type_size
    middles = [(_FIRST + at * (GROUP + 1) + GROUP / 2) * step for at in range(_GROUPS)]
    return np.array([(row.x + middle, row.baseline) for row in rows for middle in middles])


def _fitted(places: Points, offsets: Points, scores: NDArray[np.float64]) -> Warp:
    """
    Return the warp nearest to the *offsets* found at *places*; what is faint or astray counts
    little or nothing.

    Iteratively reweighted least squares (Holland & Welsch, "Robust Regression Using Iteratively
    Reweighted Least-Squares", 1977) with a ridge (Hoerl & Kennard, "Ridge Regression", 1970); both
    from memory. The ridge keeps terms small that the places do not settle. A weight is the square
    of the score above `_FAINT`, times 1 / (1 + (r / `_ASTRAY`)⁴) for a residual r: it falls faster
    than Cauchy's 1 / (1 + r²), so that a group that was found in its neighbour's place counts for
    nothing.
    """
    seen = np.maximum(scores - _FAINT, 0) ** 2
    known = np.count_nonzero(seen)
    count = next(terms for least, terms in _TERMS if known >= least)
    terms = _terms(places)[:, :count]
    weight = seen
    for _ in range(_REWEIGHTINGS):
        weighted = terms * weight[:, None]
        solved = np.linalg.solve(
            terms.T @ weighted + _RIDGE**2 * np.eye(count), weighted.T @ offsets
        )
        residual = np.linalg.norm(offsets - terms @ solved, axis=1)
        weight = seen / (1 + (residual / _ASTRAY) ** 4)
    coefficients = np.vstack([solved, np.zeros((6 - count, 2))])
    return Warp(coefficients[:, 0], coefficients[:, 1])


def _near_nodes(
    sheet: Points, corner: NDArray[np.float64], step: NDArray[np.float64], shape: tuple[int, ...]
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """
    Return for each of the places *sheet* the four nodes around it, of a grid of *shape* row by row,
    and what each counts for in between; both of shape (n, 4).
    """
    rows, columns = shape
    place = (sheet - corner) / step
    x, y = (np.clip(place[:, axis], 0, size - 1) for axis, size in ((0, columns), (1, rows)))
    left, top = np.minimum(x.astype(np.intp), columns - 2), np.minimum(y.astype(np.intp), rows - 2)
    x, y = x - left, y - top
    at = top * columns + left
    indices = np.column_stack([at, at + 1, at + columns, at + columns + 1])
    return indices, np.column_stack([(1 - x) * (1 - y), x * (1 - y), (1 - x) * y, x * y])


@cache
def _stiffness(rows: int, columns: int) -> NDArray[np.float64]:
    """Return the form that takes the nodes of a grid to the squares of their second differences."""
    along, down = (np.diff(np.eye(size), 2, axis=0) for size in (columns, rows))
    differences = np.vstack([np.kron(np.eye(rows), along), np.kron(down, np.eye(columns))])
    stiffness: NDArray[np.float64] = _STIFF * differences.T @ differences
    return stiffness + _STIFFER * np.eye(rows * columns)


def _terms(sheet: Points) -> Points:
    # Centred and scaled, so that no term is much larger than another.
    x, y = sheet[:, 0] / 300 - 1, sheet[:, 1] / 400 - 1
    return np.column_stack([np.ones(len(x)), x, y, x * y, x * x, y * y])


def sampled(
    grey: NDArray[np.uint8], x: NDArray[np.float32], y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """
    Return the brightness at the places *x*, *y* of a picture, bilinear between pixels; white
    outside.
    """
    height, width = grey.shape
    inside: NDArray[np.bool_] | None = None
    if x.min() < 0 or y.min() < 0 or x.max() > width - 1 or y.max() > height - 1:
        inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
        x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    left = np.minimum(x.astype(np.int32), width - 2)
    top = np.minimum(y.astype(np.int32), height - 2)
    x = x - left.astype(np.float32)
    y = y - top.astype(np.float32)
    at, flat, rest = top.astype(np.intp) * width + left, grey.ravel(), 1 - x
    upper = flat.take(at) * rest + flat.take(at + 1) * x
    at += width
    lower = flat.take(at) * rest + flat.take(at + 1) * x
    brightness: NDArray[np.float32] = upper + (lower - upper) * y
    return brightness if inside is None else np.where(inside, brightness, np.float32(255))
