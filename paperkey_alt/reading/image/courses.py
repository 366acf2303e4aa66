"""
How the rows of a sheet run up and down across a picture when its paper is folded or waved:
`traced`.

On such paper all rows run alike, one below the other, so they are followed together:

1. A strip down the sheet, as wide as a character, is compared at every shift up and down with the
   bars that its rows are there: normalised cross-correlation of projection profiles (`_likeness`).
2. From strip to strip the shift is chosen that is most like rows and changes least: dynamic
   programming (Viterbi, "Error Bounds for Convolutional Codes and an Asymptotically Optimum
   Decoding Algorithm", 1967; from memory). See `_course`. From one character to the next a fold
   moves the rows by less than half of their distance, so that none is taken for its neighbour.

The thresholds were set with the rows "augraphy Folding" and "waves of 25" of
``tests/bench/foreign_damage.py``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from paperkey_alt.reading.image import strips
from paperkey_alt.reading.image.glyphs import EM
from paperkey_alt.reading.image.strips import Bend, Warp
from paperkey_alt.sheet.layout import ADVANCE, CAPITALS, ROW_CHARACTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from paperkey_alt.reading.image.strips import View
    from paperkey_alt.sheet.layout import Row

# Steps of a profile to the type size; steps up and down that are looked at, some three rows of the
# smallest type; and by how many the shift may change from strip to strip, a slope of 34°.
_STEPS, _MOST, _STEEPEST = 10, 40, 4
_CHANGED = 0.024  # off the likeness of a strip for each step by which its shift differs
_COLUMNS = (-0.2, -0.05, 0.1, 0.25)  # of the type size: where a strip is looked at


def traced(seen: View, rows: Sequence[Row], type_size: float) -> tuple[Warp, float]:
    """
    Return the warp by which *rows* run as they do on a picture, and how like rows they look then: a
    score from -1 to 1, the mean over the better half of the strips.
    """
    wide, high = ADVANCE * type_size, type_size / _STEPS
    left, right = min(row.x for row in rows), max(row.x for row in rows) + ROW_CHARACTERS * wide
    middles = np.arange(left + wide / 2, right, wide)
    top = min(row.baseline for row in rows) - type_size
    bars = _bars(rows, middles, top, high)
    around = top + (np.arange(bars.shape[1] + 2 * _MOST) - _MOST) * high
    likeness = _likeness(bars, _profiles(seen, middles, around, type_size))
    course = _course(likeness)
    scores = np.sort(likeness[np.arange(len(course)), course])
    # The same at any height: both rows of nodes are alike.
    down = np.broadcast_to((course - _MOST) * (EM / _STEPS), (2, len(course)))
    corner, step = np.array((middles[0], top)), np.array((wide, type_size))
    bend = Bend(corner, step, np.stack([np.zeros_like(down), down], axis=-1))
    return Warp(np.zeros(6), np.zeros(6), bend), float(scores[len(scores) // 2 :].mean())


def _bars(
    rows: Sequence[Row], middles: NDArray[np.float64], top: float, high: float
) -> NDArray[np.float32]:
    """
    Return what *rows* are in the strips at *middles*, in steps of *high* from *top* down: 1 within
    a row, 0 elsewhere, less the mean of the strip; shape (strips, heights).
    """
    lowest = max(row.baseline for row in rows)
    bars = np.zeros((len(middles), round((lowest - top) / high) + _STEPS // 2), np.float32)
    for row in rows:
        first, end = np.searchsorted(
            middles, (row.x, row.x + ROW_CHARACTERS * (middles[1] - middles[0]))
        )
        below = round((row.baseline - top) / high)
        bars[first:end, below - round(CAPITALS * _STEPS) : below] = 1
    bars -= bars.mean(axis=1, keepdims=True)
    return bars


def _profiles(
    seen: View, middles: NDArray[np.float64], down: NDArray[np.float64], type_size: float
) -> NDArray[np.float32]:
    """Return how much ink the strips at *middles* have at heights *down*: (strips, heights)."""
    across = (middles[:, None] + np.array(_COLUMNS) * type_size).ravel()
    places = np.stack(np.meshgrid(across, down, indexing="ij"), axis=-1)
    x, y = seen.pose.project(places.reshape(-1, 2)).astype(np.float32).T
    ink = 255 - strips.sampled(seen.grey, x, y)
    profiles: NDArray[np.float32] = ink.reshape(len(middles), len(_COLUMNS), -1).mean(axis=1)
    return profiles


def _likeness(bars: NDArray[np.float32], profiles: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return how like *bars* the *profiles* are at each shift; shape (strips, 2 _MOST + 1)."""
    length = bars.shape[1]
    windows = np.lib.stride_tricks.sliding_window_view(profiles, length, axis=1)
    product = np.einsum("sn,swn->sw", bars, windows)
    total, squares = strips.box_sums(profiles[:, None], 1, length)[:, :, 0]
    spread = np.sqrt(np.maximum(squares - total**2 / length, 1))
    likeness: NDArray[np.float64] = product / (
        spread * np.maximum(np.linalg.norm(bars, axis=1), 1)[:, None]
    )
    return likeness


def _course(likeness: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the shift of each strip, as an index, by which all together look most like rows."""
    count, shifts = likeness.shape
    changes = np.arange(-_STEEPEST, _STEEPEST + 1)[:, None]
    before = np.arange(shifts) + changes
    off = np.where((before >= 0) & (before < shifts), _CHANGED * abs(changes), np.inf)
    before = before.clip(0, shifts - 1)
    best, came_from = likeness[0], np.zeros((count, shifts), np.intp)
    for strip in range(1, count):
        ways = best[before] - off
        way = ways.argmax(axis=0)
        came_from[strip] = before[way, np.arange(shifts)]
        best = ways.max(axis=0) + likeness[strip]
    course = np.empty(count, np.intp)
    course[-1] = best.argmax()
    for strip in range(count - 1, 0, -1):
        course[strip - 1] = came_from[strip, course[strip]]
    return course
