"""
Pages made ready to look for QR symbols on them: smoothed, enlarged, turned and taken apart; and the
place of one symbol, straightened, in several ways (`AT_A_PLACE`).
"""

from __future__ import annotations

import cmath
import math
from typing import TYPE_CHECKING

from PIL import Image, ImageChops, ImageFilter, ImageOps, ImageStat

from paperkey_alt.reading.image.grey import Grey, Prepared
from paperkey_alt.sheet import qr

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.pose import Points

# Set with tests/bench/qr_matrix.py.
_SMALL = 2500  # pixels of the longer side up to which a picture is worth enlarging
_TILES, _OVERLAP = 3, 0.2
_TURN = 20  # degrees
# Pixels of the longer side that are left at the least when a picture is turned: Letter at 150 dpi.
_TURNED = 1650
# Standard deviations of brightness under which no symbol is at a place: of pixels, and of modules.
# Chosen by hand: of 106 symbols of both matrices that took effort or could not be read, those that
# could had 50 and more.
_FLAT, _EVEN = 12, 6
_MODULE = 8  # pixels to which a module is brought when a symbol is read at its place


def smoothed(picture: Picture) -> Iterator[Prepared]:
    """Yield *picture* without its specks."""
    yield Prepared(Grey.of(_median(picture)))


def enlarged(picture: Picture) -> Iterator[Prepared]:
    """Yield *picture* in twice its size, unless it is large."""
    if max(picture.size) <= _SMALL:
        larger = picture.resize((2 * picture.width, 2 * picture.height), Image.Resampling.BICUBIC)
        yield Prepared(Grey.of(larger), 0.5, complex(-0.25, -0.25))


def turned(picture: Picture) -> Iterator[Prepared]:
    """Yield *picture* turned by several angles."""
    coarser = max(1, max(picture.size) // _TURNED)
    smaller = picture.reduce(coarser) if coarser > 1 else picture
    for angle in (_TURN, -_TURN, 2 * _TURN):
        turned = smaller.rotate(angle, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
        back = cmath.rect(coarser, math.radians(angle))
        move = coarser * complex(*smaller.size) / 2 - back * complex(*turned.size) / 2
        yield Prepared(Grey.of(turned), back, move)


def tiles(picture: Picture) -> Iterator[Prepared]:
    """Yield the parts of *picture*, each with its own black and white."""
    wide, high = (round(size / _TILES * (1 + _OVERLAP)) for size in picture.size)
    for row in range(_TILES):
        for column in range(_TILES):
            left, top = (
                column * (picture.width - wide) // (_TILES - 1),
                row * (picture.height - high) // (_TILES - 1),
            )
            tile = picture.crop((left, top, left + wide, top + high))
            yield Prepared(Grey.of(ImageOps.autocontrast(tile, cutoff=1)), 1, complex(left, top))


def is_even(straight: Picture) -> bool:
    """Tell whether the place of a symbol shows nothing, or no modules within its quiet zone."""
    quiet = qr.QUIET_MODULES * _MODULE
    inner = straight.crop((quiet, quiet, straight.width - quiet, straight.height - quiet))
    spreads = (ImageStat.Stat(one).stddev[0] for one in (straight, inner.reduce(_MODULE)))
    return any(spread < least for spread, least in zip(spreads, (_FLAT, _EVEN), strict=True))


def _median(picture: Picture) -> Picture:
    """
    Return the median of each pixel and its eight neighbours, the edge continued outwards.

    A selection network on whole pictures (Paeth, "Median Finding on a 3 × 3 Grid", Graphics Gems,
    1990; from memory): once the columns are sorted, the median of nine is the median of the
    greatest of the least, the median of the middle and the least of the greatest. The same as
    `ImageFilter.MedianFilter(3)`, in a seventh of the time.
    """
    wide, high = picture.size
    framed = Image.new("L", (wide + 2, high + 2))
    for x, y in ((0, 0), (2, 0), (0, 2), (2, 2), (0, 1), (2, 1), (1, 0), (1, 2), (1, 1)):
        framed.paste(picture, (x, y))
    above, here, below = (framed.crop((0, top, wide + 2, top + high)) for top in range(3))
    least, here = ImageChops.darker(above, here), ImageChops.lighter(above, here)
    here, most = ImageChops.darker(here, below), ImageChops.lighter(here, below)
    least, here = ImageChops.darker(least, here), ImageChops.lighter(least, here)
    low, middle, high_ = (
        [rows.crop((left, 0, left + wide, high)) for left in range(3)]
        for rows in (least, here, most)
    )
    return _median_of_three(
        ImageChops.lighter(ImageChops.lighter(low[0], low[1]), low[2]),
        _median_of_three(*middle),
        ImageChops.darker(ImageChops.darker(high_[0], high_[1]), high_[2]),
    )


def _median_of_three(one: Picture, other: Picture, third: Picture) -> Picture:
    return ImageChops.lighter(
        ImageChops.darker(one, other), ImageChops.darker(ImageChops.lighter(one, other), third)
    )


def straightened(picture: Picture, corners: Points, count: int) -> Picture:
    """Return the symbol at *corners* with its quiet zone, upright and flat."""
    import numpy as np  # noqa: PLC0415 - slow to load

    size, quiet = count * _MODULE, qr.QUIET_MODULES * _MODULE
    # Pillow wants the corners upper left, lower left, lower right, upper right, and no more of the
    # picture than they span.
    span = (1 + 2 * qr.QUIET_MODULES / count, -qr.QUIET_MODULES / count)
    across, along = np.meshgrid(
        np.array([0, 1]) * span[0] + span[1], np.array([0, 1]) * span[0] + span[1]
    )
    upper_left, upper_right, lower_right, lower_left = corners
    # Bilinear extension of the symbol's own corners: over a quiet zone of a few modules a slant
    # bends it by far less than one.
    wide = [
        (1 - x) * (1 - y) * upper_left
        + x * (1 - y) * upper_right
        + x * y * lower_right
        + (1 - x) * y * lower_left
        for x, y in zip(across.ravel(), along.ravel(), strict=True)
    ]
    # Pillow counts from the corner of the first pixel, a pose from its middle.
    quad = tuple(float(value) + 0.5 for at in (0, 2, 3, 1) for value in wide[at])
    side = size + 2 * quiet
    return picture.transform(
        (side, side), Image.Transform.QUAD, quad, Image.Resampling.BILINEAR, fillcolor=255
    )


def _by_modules(straight: Picture, count: int) -> Picture:
    """
    Return *straight* with each module black or white, by the mean of its middle against the mean
    around it.
    """
    import numpy as np  # noqa: PLC0415 - slow to load

    side = count + 2 * qr.QUIET_MODULES
    grey = np.asarray(straight, np.float32).reshape(side, _MODULE, side, _MODULE)
    inner = grey[:, 2:-2, :, 2:-2].mean(axis=(1, 3))
    around = np.asarray(
        Image.fromarray(inner.astype(np.uint8)).filter(ImageFilter.BoxBlur(4)), np.float32
    )
    clean = Image.fromarray(np.where(inner < around, 0, 255).astype(np.uint8))
    return clean.resize(straight.size, Image.Resampling.NEAREST)


def _unchanged(straight: Picture, _: int) -> Picture:
    return straight


def _blurred(straight: Picture, _: int) -> Picture:
    return straight.filter(ImageFilter.GaussianBlur(_MODULE / 3))


def _despeckled(straight: Picture, _: int) -> Picture:
    return ImageOps.autocontrast(straight.filter(ImageFilter.MedianFilter(5)))


AT_A_PLACE: tuple[Callable[[Picture, int], Picture], ...] = (
    _unchanged,
    _blurred,
    _by_modules,
    _despeckled,
)
