"""
Where a sheet lies on a picture: `Pose`, found by `fit` from points known on both.

A photo of a flat sheet is a projective map of it, a homography, which the direct linear
transformation (DLT) finds from four points or more (Hartley & Zisserman, Multiple View Geometry in
Computer Vision, 2nd ed., ch. 4). What a lens then does to it, barrel or pincushion, is a `Lens`.
Points of the sheet are in points (1/72 inch), those of the
picture in pixels, both with y down; arrays have the shape (n, 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

_AFFINE, _PROJECTIVE = 3, 4  # points that settle such a map
_STRONGEST = 0.25  # of a lens: from there on, the corners of a picture are at no straight place


@dataclass(frozen=True)
class Lens:
    """
    How a lens moves points of a picture towards or away from its middle: what is seen at the
    distance r from the *middle*, in parts of *radius*, would be seen at r / (1 + *strength* r²)
    without it. A strength below 0 is a barrel, above 0 a pincushion.

    The division model of Fitzgibbon, "Simultaneous Linear Estimation of Multiple View Geometry and
    Lens Distortion" (2001; from memory): one number, and an inverse in closed form.
    """

    middle: tuple[float, float]
    radius: float
    strength: float

    def __post_init__(self) -> None:
        if not (self.radius > 0 and abs(self.strength) <= _STRONGEST):
            raise ValueError("a lens has a radius above 0 and a strength of at most a quarter")

    def distort(self, straight: Points) -> Points:
        """Return where points are seen that would be seen at *straight* without the lens."""
        away = (straight - self.middle) / self.radius
        square = (away**2).sum(axis=1, keepdims=True)
        # Where no point of the picture is seen, the root is 0 or taken for it.
        root = np.sqrt(np.maximum(1 - 4 * self.strength * square, 0))
        seen: Points = away * (2 / (1 + root)) * self.radius + self.middle
        return seen

    def straighten(self, seen: Points) -> Points:
        """Return where points that are *seen* would be without the lens."""
        away = (seen - self.middle) / self.radius
        square = (away**2).sum(axis=1, keepdims=True)
        straight: Points = away / (1 + self.strength * square) * self.radius + self.middle
        return straight


@dataclass(frozen=True)
class Pose:
    """
    A map from the sheet to the picture: a 3 × 3 matrix on homogeneous coordinates, and what a
    *lens* does to what that gives.
    """

    matrix: Points
    lens: Lens | None = None

    def __post_init__(self) -> None:
        if self.matrix.shape != (3, 3) or not np.isfinite(self.matrix).all():
            raise ValueError("a pose is a finite matrix of 3 × 3")

    def project(self, sheet: Points) -> Points:
        """Return where points of the sheet are on the picture."""
        straight = _apply(self.matrix, sheet)
        return straight if self.lens is None else self.lens.distort(straight)

    def locate(self, picture: Points) -> Points:
        """Return where points of the picture are on the sheet."""
        straight = picture if self.lens is None else self.lens.straighten(picture)
        return _apply(np.asarray(np.linalg.inv(self.matrix), np.float64), straight)

    def coarser(self, by: int) -> Pose:
        """Return the pose on the picture of which *by* × *by* pixels are made one."""
        # The middle of a coarse pixel is the middle of the fine ones in it.
        shift = 0.5 / by - 0.5
        matrix = np.array([(1 / by, 0, shift), (0, 1 / by, shift), (0, 0, 1)]) @ self.matrix
        if self.lens is None:
            return Pose(matrix)
        x, y = self.lens.middle
        middle = (x / by + shift, y / by + shift)
        return Pose(matrix, Lens(middle, self.lens.radius / by, self.lens.strength))

    def scale(self, at: tuple[float, float]) -> float:
        """Return how many pixels a point of the sheet measures at the place *at*."""
        x, y = at
        corners = self.project(np.array([(x, y), (x + 1, y), (x, y + 1)], float))
        (across, down) = corners[1] - corners[0], corners[2] - corners[0]
        return float(np.sqrt(abs(across[0] * down[1] - across[1] * down[0])))


def fit(sheet: Points, picture: Points, *, slanted: bool = True) -> Pose | None:
    """
    Return the map that takes the points *sheet* to the points *picture*, or nearest to them: a
    similarity from two points, an affine map from three, a projective one from four or more, or an
    affine one if the view is not *slanted*. None where they settle none.
    """
    try:
        if len(sheet) < _AFFINE:
            return Pose(_similarity(sheet, picture))
        if len(sheet) < _PROJECTIVE or not slanted:
            return Pose(_affine(sheet, picture))
        return Pose(_homography(sheet, picture))
    except (np.linalg.LinAlgError, ValueError, ZeroDivisionError):
        return None


def through(lens: Lens, fitted: Pose, corners: Points) -> Pose | None:
    """
    Return the pose through *lens* that puts the four *corners* of the sheet where *fitted* does;
    None where there is none.
    """
    straight = fit(corners, lens.straighten(fitted.project(corners)))
    return None if straight is None else Pose(straight.matrix, lens)


def _similarity(sheet: Points, picture: Points) -> Points:
    """Return the turn, scale and shift that take two points to two: z → a z + b on complex z."""
    first, second = (complex(*point) for point in sheet)
    seen_first, seen_second = (complex(*point) for point in picture)
    turn = (seen_second - seen_first) / (second - first)
    move = seen_first - turn * first
    return np.array(
        [(turn.real, -turn.imag, move.real), (turn.imag, turn.real, move.imag), (0, 0, 1)]
    )


def _affine(sheet: Points, picture: Points) -> Points:
    """Return the affine map nearest to taking *sheet* to *picture*, by linear least squares."""
    solved = np.linalg.lstsq(np.column_stack([sheet, np.ones(len(sheet))]), picture, rcond=None)[0]
    return np.vstack([solved.T, (0, 0, 1)])


def _homography(sheet: Points, picture: Points) -> Points:
    """
    Return the projective map by the direct linear transformation on normalised points (Hartley &
    Zisserman, algorithm 4.2).

    That (u, v, 1) is a multiple of H (x, y, 1) makes two equations for each point, linear in the
    nine entries of H: h is the unit vector for which they come nearest to 0, the right singular
    vector of the least singular value.
    """
    to_sheet, sheet = _normalised(sheet)
    to_picture, picture = _normalised(picture)
    rows = []
    for (x, y), (u, v) in zip(sheet, picture, strict=True):
        rows.append((x, y, 1, 0, 0, 0, -u * x, -u * y, -u))
        rows.append((0, 0, 0, x, y, 1, -v * x, -v * y, -v))
    normalised = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    matrix: Points = np.linalg.inv(to_picture) @ normalised @ to_sheet
    matrix /= matrix[2, 2]
    return matrix


def _normalised(points: Points) -> tuple[Points, Points]:
    """
    Return the map that moves the middle of *points* to 0 and makes their spread 1, and the points
    so moved: without it, equations in pixels and pixels² are of very unlike weight.
    """
    middle, spread = points.mean(axis=0), points.std()
    matrix = np.array(
        [(1 / spread, 0, -middle[0] / spread), (0, 1 / spread, -middle[1] / spread), (0, 0, 1)]
    )
    return matrix, _apply(matrix, points)


def _apply(matrix: Points, points: Points) -> Points:
    mapped: Points = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return mapped[:, :2] / mapped[:, 2:]
