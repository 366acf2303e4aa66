"""
Where a sheet lies on a picture by its printed rows alone: `places`, for a picture on which its
corner marks are cut off.

1. Dark pixels are those darker than a part of the paper around them; what is dark over a wide area
   is a symbol or the table, and no print (`_ink`).
2. The direction of the rows is that in which the projection profile changes most from pixel to
   pixel: Postl, "Detection of Linear Oblique Structures and Skew Scan in Digitized Documents"
   (1986; from memory). See `_direction`.
3. In that direction a sheet of each paper and size of type has known profiles, down its rows and
   across its groups of characters. They are compared at every shift and a range of scales by
   normalised cross-correlation, through FFT (Lewis, "Fast Normalized Cross-Correlation", 1995; from
   memory). See `_fitted`.

What comes of it is a proposal: whether rows are there, their checks tell.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from PIL import Image

from paperkey_alt.format.lines import CHARACTERS, GROUP, group
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.sheet import layout
from paperkey_alt.sheet.layout import ADVANCE, NUMBER_CHARACTERS, PAPERS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.sheet.layout import Paper, Preset, Sheet

_SIDE = 1200  # pixels of the longer side on which rows are looked for
_CELL = 16  # pixels over which the paper's brightness is taken to be even
_DARK = 0.7  # of the paper's brightness
_COVERED = 0.6  # of a cell: where so much is dark, it is no print
_LEAST_INK = 2000  # pixels without which there are no rows
_MOST_INK = 120_000  # pixels that are looked at
_STEEPEST, _STEP = 15.0, 0.25  # degrees from upright or from on its side, and between two tries
_STRIPED = 0.25  # how striped the profile is in the direction of rows, from which there are rows
_CROPPED = 0.25  # of a paper's width and height: as much may be cut off
_SCALES = 60  # that are tried of each sheet, and as many around the best
_FINE = 0.002  # between two of these
_LEAST_FIT = 0.3  # correlation of the profiles under which a sheet is not proposed
_MOST_PLACES = 4


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
    found = [
        place
        for turn in (angle, angle + np.pi)
        for place in _fitted(x, y, turn, picture.width / small.width)
        if place.fit > _LEAST_FIT
    ]
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


def _profile(along: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Return how much ink is at each whole step of *along*, and where the first one is."""
    start = float(np.floor(along.min()))
    return np.bincount((along - start).astype(np.intp)).astype(float), start


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
    run at *angle*; the picture is *larger* than that of the places *x* and *y*.
    """
    cos, sin = np.cos(angle), np.sin(angle)
    across, left = _profile(x * cos + y * sin)
    down, top = _profile(y * cos - x * sin)
    for paper in PAPERS.values():
        # A picture may lack some of the paper, and hardly shows more than half as much again.
        least = max(len(across) / paper.width, len(down) / paper.height) * 0.9
        for preset in layout.presets(paper):
            sheet = layout.sheet(1, preset.lines_a_page, paper, preset)
            coarse = np.geomspace(least, least / (1 - 2 * _CROPPED), _SCALES)
            best = max(_fit(sheet, preset, scale, across, down) for scale in coarse.tolist())
            fine = best[1] * (1 + _FINE * np.arange(-4, 5))
            fit, scale, shift_x, shift_y = max(
                _fit(sheet, preset, scale, across, down) for scale in fine.tolist()
            )
            u, v = left + shift_x, top + shift_y
            matrix = larger * np.array(
                [
                    (scale * cos, -scale * sin, u * cos - v * sin + 0.5),
                    (scale * sin, scale * cos, u * sin + v * cos + 0.5),
                    (0, 0, 1 / larger),
                ]
            )
            yield Place(paper, preset, Pose(matrix), fit)


def _fit(
    sheet: Sheet,
    preset: Preset,
    scale: float,
    across: NDArray[np.float64],
    down: NDArray[np.float64],
) -> tuple[float, float, float, float]:
    """
    Return how well the profiles of *sheet* at *scale* fit, that scale, and the shifts across and
    down at which they do.
    """
    size = preset.type_size
    rows = [(row.baseline - 0.58 * size, row.baseline) for row in (sheet.head, *sheet.rows)]
    lefts = sorted({row.x for row in sheet.rows})
    step = ADVANCE * size
    cells = [
        (x + at * step, x + (at + 1) * step)
        for x in lefts
        for at, character in enumerate(group("x" * CHARACTERS), NUMBER_CHARACTERS + 2)
        if character != " "
    ]
    fit_down, shift_down = _shifted(down, rows, scale)
    fit_across, shift_across = _shifted(across, cells, scale)
    return fit_down + fit_across, scale, shift_across, shift_down


def _shifted(
    profile: NDArray[np.float64], bars: list[tuple[float, float]], scale: float
) -> tuple[float, float]:
    """Return how well *bars* fit *profile* at *scale* where they do best, and the shift of that."""
    first = min(start for start, _ in bars)
    edges = np.array(bars) - first
    length = int(edges.max() * scale) + 1
    template = np.zeros(length)
    for start, end in (edges * scale).round().astype(int).tolist():
        template[start:end] = 1
    template -= template.mean()
    # What is cut off at either end is blank.
    room = length // 3
    padded = np.pad(profile, room)
    if len(padded) < length:
        padded = np.pad(padded, (0, length - len(padded)))
    shape = len(padded) + length
    product = np.fft.irfft(
        np.fft.rfft(padded, shape) * np.conj(np.fft.rfft(template, shape)), shape
    )[: len(padded) - length + 1]
    sums = np.concatenate([(0,), np.cumsum(padded)])
    squares = np.concatenate([(0,), np.cumsum(padded**2)])
    total, square = sums[length:] - sums[:-length], squares[length:] - squares[:-length]
    spread = np.sqrt(np.maximum(square - total**2 / length, 1))
    correlation = product / (spread * np.linalg.norm(template))
    at = int(correlation.argmax())
    return float(correlation[at]), at - room - first * scale
