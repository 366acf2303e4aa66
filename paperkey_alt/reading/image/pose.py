"""
Where a sheet lies on a picture: `Pose`, found by `fit` from points known on both.

A photo of a flat sheet is a projective map of it, a homography, which the direct linear
transformation (DLT) finds from four points or more (Hartley & Zisserman, Multiple View Geometry in
Computer Vision, 2nd ed., ch. 4). Points of the sheet are in points (1/72 inch), those of the
picture in pixels, both with y down; arrays have the shape (n, 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

_AFFINE, _PROJECTIVE = 3, 4  # points that settle such a map


@dataclass(frozen=True)
class Pose:
    """A map from the sheet to the picture, as a 3 × 3 matrix on homogeneous coordinates."""

    matrix: Points

    def __post_init__(self) -> None:
        if self.matrix.shape != (3, 3) or not np.isfinite(self.matrix).all():
            raise ValueError("a pose is a finite matrix of 3 × 3")

    def project(self, sheet: Points) -> Points:
        """Return where points of the sheet are on the picture."""
        return _apply(self.matrix, sheet)

    def locate(self, picture: Points) -> Points:
        """Return where points of the picture are on the sheet."""
        return _apply(np.asarray(np.linalg.inv(self.matrix), np.float64), picture)

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
