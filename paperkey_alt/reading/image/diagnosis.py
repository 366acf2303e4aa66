"""
What is the matter with a picture on which little or nothing was read: `hints`.

Each hint is a sentence about what was measured on the picture, and one about what to do. What is
measured is not shown to be why nothing was read; it is what most often is.

The thresholds were set with the conditions of ``tests/bench/scan_matrix.py``, made worse until
nothing was read: see ``tests/reading/image/test_diagnosis.py``.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from PIL import ImageFilter

from paperkey_alt.sheet.layout import PAPERS
from paperkey_alt.wording import ranges

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.locate import LocatedSheet

_POINT_DPI = 72
_SIDE = 1200  # pixels of the longer side of a picture whose brightness is judged
_LIKE_PAPER = 0.15  # by which the proportions of a picture of a whole sheet may differ from it
_BLANK = 24  # of brightness: print and paper do not differ by more
_PALE = 0.3  # of the paper's brightness: so much darker print is at the least
_COARSE_DPI = 130  # under which rows are not read
_STROKE = 0.5  # points: the standard deviation of a blur that leaves strokes
_BLURRED = 0.62  # of the coarse detail: so much fine detail print has that is read
# And under which nothing is looked for with more effort: of pages blurred by a Gaussian, those with
# 0.53 were read at once, where the type is large, and those of 0.49 not at all.
_LOST = 0.5
_LEAST_DETAIL = 2.0  # of brightness: with less, nothing is printed there
_TILE, _TILES = 512, 4  # pixels of a tile, and tiles across and down, on which detail is measured


def hints(picture: Picture, located: Sequence[LocatedSheet], *, legible: bool) -> tuple[str, ...]:
    """
    Return what is to be said of *picture*: of the *located* sheets, which rows are beyond its
    edges; and unless something on it was *legible*, the first of the other things that applies.
    """
    cut_off = tuple(_cut_off(picture, located))
    return cut_off if legible else (*cut_off, *_first(_faults(picture, located)))


def is_blurred(picture: Picture) -> bool:
    """Tell whether *picture*, on which no sheet was found, is too blurred for one to be read."""
    return _detail(picture, _dpi(picture, ())) < _LOST


def _first(faults: Iterator[str]) -> tuple[str, ...]:
    fault = next(faults, None)
    return () if fault is None else (fault,)


def _cut_off(picture: Picture, located: Sequence[LocatedSheet]) -> Iterator[str]:
    for sheet in located:
        beyond = sorted(
            row.number
            for row in sheet.sheet.rows
            if sheet.head is not None and not _is_inside(sheet.outline(row), picture.size)
        )
        if beyond:
            yield (
                f"The sheet is cut off: the rows of lines {ranges(beyond)} reach beyond the "
                "picture. Take all of the sheet, with a margin around it."
            )


def _is_inside(corners: NDArray[np.float64], size: tuple[int, int]) -> bool:
    return bool((corners >= 0).all() and (corners <= np.array(size)).all())


def _faults(picture: Picture, located: Sequence[LocatedSheet]) -> Iterator[str]:
    """Yield what is the matter with *picture*, what hides other things first."""
    dpi = _dpi(picture, located)
    paper, ink = _brightness(picture)
    if paper - ink < _BLANK:
        yield (
            "Next to nothing can be seen on it: paper and print are of the same brightness. Look "
            "whether the sheet lay the right way round, and scan it again."
        )
    if dpi < _COARSE_DPI:
        yield (
            f"It is coarse: {picture.width} × {picture.height} pixels, about {dpi:.0f} dpi. "
            "Scan it with 300 dpi, or go nearer with the camera."
        )
    if paper - ink < _PALE * paper:
        yield (
            f"It is pale: print is only {100 * (paper - ink) / paper:.0f} % darker than the paper. "
            "Scan it in grey with more contrast or darker, or copy it darker first."
        )
    if _detail(picture, dpi) < _BLURRED:
        yield (
            "It is blurred: what is as fine as the strokes of the print is lost. Hold the camera "
            "still with more light, or press the sheet flat onto the scanner."
        )
    if not located:
        yield (
            "No sheet was found by its corner marks, the squares near the corners of the paper. If "
            "this is a sheet with lines, take all of it, flat and with its edges."
        )


def _dpi(picture: Picture, located: Sequence[LocatedSheet]) -> float:
    """
    Return the resolution of the *located* sheets, or what it is at the most if *picture* shows a
    sheet or a part of one.
    """
    middles = [(sheet.paper.width / 2, sheet.paper.height / 2) for sheet in located]
    if located:
        return max(
            _POINT_DPI * sheet.pose.scale(middle)
            for sheet, middle in zip(located, middles, strict=True)
        )
    across, along = sorted(picture.size)
    sides = [sorted((paper.width, paper.height)) for paper in PAPERS.values()]
    if any(abs(along / across * short / long - 1) < _LIKE_PAPER for short, long in sides):
        return _POINT_DPI * along / max(long for _, long in sides)
    # A part of a sheet may be as wide as a sheet.
    return _POINT_DPI * along / min(short for short, _ in sides)


def _brightness(picture: Picture) -> tuple[float, float]:
    """Return how bright the paper is and how bright the darkest print, of good parts of both."""
    small = picture.reduce(max(1, max(picture.size) // _SIDE))
    paper, ink = np.percentile(np.asarray(small), (90, 2))
    return float(paper), float(ink)


def _detail(picture: Picture, dpi: float) -> float:
    """
    Return how much of what is as fine as strokes the sharpest part of *picture* has, against what
    is as coarse as characters; 1 where nothing is on it at all.

    Each is the standard deviation of a difference of Gaussians, an octave apart (Marr & Hildreth,
    "Theory of Edge Detection", 1980; from memory).
    """
    fine = _STROKE * dpi / _POINT_DPI
    sharpest = 0.0
    for row in range(_TILES):
        for column in range(_TILES):
            left, top = (
                at * max(0, side - _TILE) // (_TILES - 1)
                for at, side in zip((column, row), picture.size, strict=True)
            )
            right, lower = min(left + _TILE, picture.width), min(top + _TILE, picture.height)
            tile = picture.crop((left, top, right, lower))
            levels = [
                np.asarray(tile.filter(ImageFilter.GaussianBlur(fine * 2**octave)), np.float32)
                for octave in range(3)
            ]
            strokes, characters = (
                float((finer - coarser).std()) for finer, coarser in pairwise(levels)
            )
            if characters > _LEAST_DETAIL:
                sharpest = max(sharpest, strokes / characters)
    return sharpest or 1.0
