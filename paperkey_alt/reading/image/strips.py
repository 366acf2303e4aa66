"""
Rows of a sheet cut out of a picture, each straightened, at `glyphs.EM` pixels to the type size:
`cut` and `align`.

A sheet is not quite flat and a pose not quite true, so the rows are cut with room around them,
compared with what any row looks like, and cut again where they turned out to be.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from paperkey_alt.format.lines import CHARACTERS, GROUP, group
from paperkey_alt.reading.image.glyphs import ABOVE, EM, HIGH, SIDE, STEP, WIDE, ink, rendered
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.sheet.layout import NUMBER_CHARACTERS, ROW_CHARACTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.pose import Points
    from paperkey_alt.sheet.layout import Row

ROOM_X, ROOM_Y = 20, 9  # pixels around a row
_GROUPS = -(-CHARACTERS // GROUP) - 1
_FIRST = NUMBER_CHARACTERS + 2  # the cell of a row's first character
_CELLS = [at for at, character in enumerate(group("x" * CHARACTERS), _FIRST) if character == "x"]
_FAINT = 0.25  # likeness to a row under which a place says nothing
_ROUNDS = 3
_ENOUGH = 40  # rows that tell where the others are
_ASTRAY = 2.5  # pixels from the others at which a group has been found in a wrong place


@dataclass(frozen=True)
class Warp:
    """
    How far rows stand from where the pose puts them, in pixels of a strip: a polynomial of second
    degree over the sheet.
    """

    across: NDArray[np.float64]
    down: NDArray[np.float64]

    def at(self, sheet: Points) -> Points:
        """Return how far to the right and down things are at the places *sheet*, shape (n, 2)."""
        terms = _terms(sheet)
        return np.column_stack([terms @ self.across, terms @ self.down])


STRAIGHT = Warp(np.zeros(6), np.zeros(6))


@dataclass(frozen=True)
class View:
    """A picture as brightness, not much finer than strips are, and the pose of the sheet on it."""

    grey: NDArray[np.float32]
    pose: Pose


def view(picture: Picture, pose: Pose, type_size: float) -> View:
    """Return *picture*, made coarser where it is finer than strips of *type_size* need."""
    middle = pose.locate(np.array([(picture.width / 2, picture.height / 2)], float))[0]
    coarser = int(pose.scale((middle[0], middle[1])) * type_size / EM)
    if coarser < 2:
        return View(np.asarray(picture, np.float32), pose)
    # The middle of a coarse pixel is the middle of the fine ones in it.
    matrix = np.array(
        [(1 / coarser, 0, 0.5 / coarser - 0.5), (0, 1 / coarser, 0.5 / coarser - 0.5), (0, 0, 1)]
    )
    return View(np.asarray(picture.reduce(coarser), np.float32), Pose(matrix @ pose.matrix))


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
    above, below = (seen.pose.project(base + np.array((0, edge * pixel))) for edge in (-EM, EM))
    down = ((np.arange(HIGH + 2 * ROOM_Y) - ROOM_Y - ABOVE + 0.5) / EM + 1) / 2
    shape = (len(rows), 1, len(across), 2)
    placed = (
        above.reshape(shape) * (1 - down[:, None, None])
        + below.reshape(shape) * down[:, None, None]
    )
    return (
        (255 - _sampled(seen.grey, placed.reshape(-1, 2)))
        .reshape(placed.shape[:3])
        .astype(np.float32)
    )


def align(seen: View, rows: Sequence[Row], type_size: float) -> tuple[Warp, float]:
    """
    Return where *rows* stand, and how like rows they look there: a likeness from -1 to 1, the mean
    over the better half of their groups, for the others may be torn off.
    """
    warp, likeness = STRAIGHT, 0.0
    rows = rows[:: -(-len(rows) // _ENOUGH)]
    for _ in range(_ROUNDS):
        shift, peak = _shifts(cut(seen, rows, type_size, warp))
        places = _group_places(rows, type_size)
        step = _smooth(places, shift.reshape(-1, 2), peak.ravel())
        warp, likeness = (
            Warp(warp.across + step.across, warp.down + step.down),
            float(np.sort(peak, axis=None)[peak.size // 2 :].mean()),
        )
    return warp, likeness


def cells(strips: NDArray[np.float32], first: int | None = None) -> NDArray[np.float32]:
    """
    Return the cells of the characters, or of four from the cell *first* on, each with a pixel of
    room; shape (rows, characters, HIGH + 2, WIDE + 2).
    """
    at = _CELLS if first is None else range(first, first + NUMBER_CHARACTERS)
    top = ROOM_Y - 1
    return np.stack(
        [
            strips[
                :, top : top + HIGH + 2, (left := ROOM_X + one * STEP - SIDE - 1) : left + WIDE + 2
            ]
            for one in at
        ],
        axis=1,
    )


def settled(strips: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return *strips* with each moved up or down, left or right, by the pixel or two that it still is
    off.
    """
    shift, peak = _shifts(strips, room=3)
    moved = strips.copy()
    for at, (one, weight) in enumerate(zip(shift, peak, strict=True)):
        sure = weight > _FAINT
        if sure.any():
            across, down = np.median(one[sure], axis=0).round().astype(int)
            moved[at] = np.roll(strips[at], (-down, -across), axis=(0, 1))
    return moved


def _shifts(
    strips: NDArray[np.float32], room: int = ROOM_X
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Return for each group of each strip how far right and down it is, shape (rows, groups, 2), and
    how like a group it looks.
    """
    found = [_shift(strips, at, room) for at in range(_GROUPS)]
    return np.stack([shift for shift, _ in found], axis=1), np.stack(
        [peak for _, peak in found], axis=1
    )


def _shift(
    strips: NDArray[np.float32], at: int, room: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    size = GROUP if at < _GROUPS - 1 else CHARACTERS - GROUP * (_GROUPS - 1)
    template = _usual(size)
    high, wide = template.shape
    left = ROOM_X + (_FIRST + at * (GROUP + 1) - 1) * STEP
    room_y = min(room, ROOM_Y)
    window = strips[:, ROOM_Y - room_y : ROOM_Y + high + room_y, left - room : left + wide + room]
    window = np.pad(window, ((0, 0), (0, 0), (0, wide + 2 * room - window.shape[2])))
    like = _correlation(window, template)
    best = like.reshape(len(like), -1).argmax(axis=1)
    down, across = np.unravel_index(best, like.shape[1:])
    return np.column_stack([across - room, down - room_y]).astype(float), like.reshape(
        len(like), -1
    ).max(axis=1)


def _usual(size: int) -> NDArray[np.float32]:
    """Return what a group of *size* characters looks like on the whole, between two blanks."""
    mean = rendered(blur=1.2).mean(axis=0, keepdims=True)
    return ink(f" {'x' * size} ", "x", mean)


def _correlation(
    windows: NDArray[np.float32], template: NDArray[np.float32]
) -> NDArray[np.float64]:
    """
    Return the normalised cross-correlation of *template* with every place of each of *windows*.
    """
    high, wide = template.shape
    shape = windows.shape[1:]
    rows, columns = shape[0] - high + 1, shape[1] - wide + 1
    even = template - template.mean()
    spectrum = np.conj(np.fft.rfft2(even, shape))
    product = np.fft.irfft2(np.fft.rfft2(windows) * spectrum, shape)[:, :rows, :columns]
    total, squares = (
        _box_sums(values, high, wide)
        for values in (windows.astype(float), windows.astype(float) ** 2)
    )
    spread = np.sqrt(np.maximum(squares - total**2 / template.size, template.size))
    correlation: NDArray[np.float64] = product / (spread * np.linalg.norm(even))
    return correlation


def _box_sums(values: NDArray[np.float64], high: int, wide: int) -> NDArray[np.float64]:
    sums: NDArray[np.float64] = (
        np.pad(values, ((0, 0), (1, 0), (1, 0))).cumsum(axis=1).cumsum(axis=2)
    )
    return (
        sums[:, high:, wide:]
        - sums[:, :-high, wide:]
        - sums[:, high:, :-wide]
        + sums[:, :-high, :-wide]
    )


def _group_places(rows: Sequence[Row], type_size: float) -> Points:
    step = STEP / EM * type_size
    middles = [(_FIRST + at * (GROUP + 1) + GROUP / 2) * step for at in range(_GROUPS)]
    return np.array([(row.x + middle, row.baseline) for row in rows for middle in middles])


def _smooth(places: Points, shift: Points, peak: NDArray[np.float64]) -> Warp:
    """
    Return the warp nearest to the shifts found at *places*; what is faint or astray counts little
    or nothing.
    """
    weight = np.maximum(peak - _FAINT, 0) ** 2
    known = np.count_nonzero(weight)
    degree = next(degree for degree, least in ((6, 60), (3, 12), (1, 0)) if known >= least)
    terms = _terms(places)[:, :degree]
    for _ in range(4):
        root = np.sqrt(weight)[:, None]
        solved = np.linalg.lstsq(
            np.vstack([terms * root, 1e-3 * np.eye(degree)]),
            np.vstack([shift * root, np.zeros((degree, 2))]),
            rcond=None,
        )[0]
        off = np.linalg.norm(shift - terms @ solved, axis=1)
        weight = np.maximum(peak - _FAINT, 0) ** 2 / (1 + (off / _ASTRAY) ** 4)
    padded = np.vstack([solved, np.zeros((6 - degree, 2))])
    return Warp(padded[:, 0], padded[:, 1])


def _terms(sheet: Points) -> Points:
    # Centred and scaled, so that no term is much larger than another.
    x, y = sheet[:, 0] / 300 - 1, sheet[:, 1] / 400 - 1
    return np.column_stack([np.ones(len(x)), x, y, x * y, x * x, y * y])


def _sampled(grey: NDArray[np.float32], points: Points) -> NDArray[np.float32]:
    """Return the brightness at *points* of a picture, bilinear between pixels; white outside."""
    height, width = grey.shape
    inside = (points >= 0).all(axis=1) & (points[:, 0] <= width - 1) & (points[:, 1] <= height - 1)
    at = np.clip(points, 0, (width - 1.001, height - 1.001))
    low = at.astype(np.int64)
    part = (at - low).astype(np.float32)
    index = low[:, 1] * width + low[:, 0]
    flat = grey.ravel()
    upper = flat[index] * (1 - part[:, 0]) + flat[index + 1] * part[:, 0]
    lower = flat[index + width] * (1 - part[:, 0]) + flat[index + width + 1] * part[:, 0]
    return np.where(inside, upper * (1 - part[:, 1]) + lower * part[:, 1], 255).astype(np.float32)
