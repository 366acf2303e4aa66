"""
QR symbols on a picture: `read` finds them anywhere, `read_at` reads one more carefully where it
must stand.

A symbol counts only when its text is a block of ours (`paperkey_alt.sheet.qr.decode_block`); other
codes are passed over.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import zxingcpp
from PIL import Image, ImageFilter, ImageOps, ImageStat

from paperkey_alt.format import head_line
from paperkey_alt.format.lines import ALPHABET, CHARACTERS
from paperkey_alt.sheet import layout, qr

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.pose import Points
    from paperkey_alt.sheet.layout import Plan

LEAST_PIXELS = (
    21  # of a side of a picture with a symbol: the smallest has 21 modules (ISO/IEC 18004)
)
_SMALL = 2500  # pixels of the longer side up to which a picture is worth enlarging
_TILES, _OVERLAP = 3, 0.2
_TURN = 20  # degrees
_FLAT = 12  # standard deviation of brightness under which no symbol is there
_MODULE = 8  # pixels to which a module is brought when a symbol is read at its place


_Lines = tuple[tuple[int, str], ...]
_Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Symbol:
    """
    A block of ours: its lines, the head line first; the corners of the symbol on the picture,
    clockwise from its own upper left; whether it was read with ease.
    """

    lines: _Lines
    corners: _Corners
    at_ease: bool = True

    @property
    def first(self) -> int:
        """The number of the first line that it carries, the head line left aside."""
        return self.lines[1][0]

    @cached_property
    def head(self) -> Head | None:
        """The head line that it carries, if that is one."""
        return head_line.read(self.lines[0][1])

    @property
    def sheet(self) -> int:
        """
        On which sheet of its set, from 0, it stands: on paper of any size the same. 0 where it has
        no head.
        """
        if self.head is None:
            return 0
        return min(self.first - 1, self.head.total - 1) // _plan(self.head).preset.lines_a_page


def read(picture: Picture) -> tuple[Symbol, ...]:
    """
    Return the blocks on *picture*, each once.

    Tried in turn: as it is, with a threshold for the whole, smoothed, enlarged; another step is
    taken only where the ones before saw symbols that they could not read, or no block at all.
    """
    found: dict[_Lines, Symbol] = {}
    for prepare, binarizer in _STEPS:
        if _gathered(found, prepare(picture), binarizer) and found:
            break
    return tuple(found.values())


def cover_sheets(found: Sequence[Symbol]) -> bool:
    """Tell whether the symbols carry every line of the sheets that they stand on."""
    firsts = {symbol.first for symbol in found}
    sheets = {(symbol.head, symbol.sheet) for symbol in found if symbol.head is not None}
    return bool(sheets) and all(
        {block.first for block in _plan(head).sheets[sheet].blocks} <= firsts
        for head, sheet in sheets
    )


def read_harder(picture: Picture) -> tuple[Symbol, ...]:
    """
    Return the blocks on *picture* that are found when it is turned, or else when it is taken apart.
    """
    found: dict[_Lines, Symbol] = {}
    for prepare in (_turned, _tiles):
        if not found:
            _gathered(found, prepare(picture), zxingcpp.Binarizer.LocalAverage)
    return tuple(found.values())


def read_at(picture: Picture, corners: Points, modules: int) -> Symbol | None:
    """
    Return the block that stands at *corners* of *picture*, clockwise from its own upper left, in a
    symbol of *modules* a side; None where it cannot be read there either. Straightened, smoothed,
    and with each module taken for the mean of its middle.
    """
    straight = _straightened(picture, corners, modules)
    if ImageStat.Stat(straight).stddev[0] < _FLAT:
        return None
    smooth = straight.filter(ImageFilter.GaussianBlur(_MODULE / 3))
    for prepared in (
        straight,
        smooth,
        ImageOps.autocontrast(straight.filter(ImageFilter.MedianFilter(5))),
        _by_modules(straight, modules),
    ):
        for binarizer in (zxingcpp.Binarizer.LocalAverage, zxingcpp.Binarizer.GlobalHistogram):
            found: dict[_Lines, Symbol] = {}
            _gathered(found, _as_it_is(prepared), binarizer)
            for lines in found:
                return Symbol(lines, tuple((float(x), float(y)) for x, y in corners), at_ease=False)
    return None


def modules(first: int, last: int, fewest: int) -> int:
    """Return how many modules a side the symbol of lines *first* to *last* has."""
    line = ALPHABET[0] * CHARACTERS
    return len(qr.symbol(qr.encode_block(line, first, [line] * (last - first + 1)), fewest))


class _Prepared(NamedTuple):
    """
    A picture made ready, and how to get back from it: a place z of it is at turn · z + move of the
    one it was made from.
    """

    picture: Picture
    turn: complex = 1
    move: complex = 0


def _gathered(
    found: dict[_Lines, Symbol], prepared: Iterable[_Prepared], binarizer: zxingcpp.Binarizer
) -> bool:
    """Add the blocks on *prepared* to *found*; return whether every symbol there could be read."""
    whole = True
    for picture, turn, move in prepared:
        for code in _codes(picture, binarizer):
            block = qr.decode_block(code.text) if code.valid else None
            whole = whole and code.valid
            if block is not None:
                places = (turn * complex(*corner) + move for corner in _corners(code))
                found.setdefault(
                    tuple(block), Symbol(tuple(block), tuple((at.real, at.imag) for at in places))
                )
    return whole


def _as_it_is(picture: Picture) -> Iterator[_Prepared]:
    yield _Prepared(picture)


def _smoothed(picture: Picture) -> Iterator[_Prepared]:
    yield _Prepared(picture.filter(ImageFilter.MedianFilter(3)))


def _enlarged(picture: Picture) -> Iterator[_Prepared]:
    if max(picture.size) <= _SMALL:
        larger = picture.resize((2 * picture.width, 2 * picture.height), Image.Resampling.BICUBIC)
        yield _Prepared(larger, 0.5, complex(-0.25, -0.25))


def _turned(picture: Picture) -> Iterator[_Prepared]:
    for angle in (_TURN, -_TURN, 2 * _TURN):
        turned = picture.rotate(angle, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
        back = cmath.rect(1, math.radians(angle))
        yield _Prepared(turned, back, complex(*picture.size) / 2 - back * complex(*turned.size) / 2)


def _tiles(picture: Picture) -> Iterator[_Prepared]:
    wide, high = (round(size / _TILES * (1 + _OVERLAP)) for size in picture.size)
    for row in range(_TILES):
        for column in range(_TILES):
            left, top = (
                column * (picture.width - wide) // (_TILES - 1),
                row * (picture.height - high) // (_TILES - 1),
            )
            tile = picture.crop((left, top, left + wide, top + high))
            yield _Prepared(ImageOps.autocontrast(tile, cutoff=1), 1, complex(left, top))


_STEPS: tuple[tuple[Callable[[Picture], Iterator[_Prepared]], zxingcpp.Binarizer], ...] = (
    (_as_it_is, zxingcpp.Binarizer.LocalAverage),
    (_as_it_is, zxingcpp.Binarizer.GlobalHistogram),
    (_smoothed, zxingcpp.Binarizer.LocalAverage),
    (_enlarged, zxingcpp.Binarizer.LocalAverage),
)


def _plan(head: Head) -> Plan:
    return layout.plan(head.total, layout.PAPERS["a4"])


def _codes(picture: Picture, binarizer: zxingcpp.Binarizer) -> list[zxingcpp.Barcode]:
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    return zxingcpp.read_barcodes(picture, formats=formats, binarizer=binarizer, return_errors=True)


def _corners(code: zxingcpp.Barcode) -> _Corners:
    where = code.position
    return tuple(
        (float(at.x), float(at.y))
        for at in (where.top_left, where.top_right, where.bottom_right, where.bottom_left)
    )


def _straightened(picture: Picture, corners: Points, count: int) -> Picture:
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
    quad = tuple(float(value) for at in (0, 2, 3, 1) for value in wide[at])
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
