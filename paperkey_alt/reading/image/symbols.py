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
from PIL import Image, ImageChops, ImageFilter, ImageOps, ImageStat

from paperkey_alt.format import head_line
from paperkey_alt.format.lines import ALPHABET, CHARACTERS
from paperkey_alt.sheet import layout, qr

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.pose import Points
    from paperkey_alt.sheet.layout import Plan

# Pixels of a side of a picture with a symbol: the smallest has 21 modules (ISO/IEC 18004).
LEAST_PIXELS = 21

# Set with tests/bench/qr_matrix.py.
_SMALL = 2500  # pixels of the longer side up to which a picture is worth enlarging
_TILES, _OVERLAP = 3, 0.2
_TURN = 20  # degrees
_TURNED = 1700  # pixels of the longer side that are left at the least when a picture is turned
# Standard deviations of brightness under which no symbol is at a place: of pixels, and of modules.
# Chosen by hand: of 106 symbols of both matrices that took effort or could not be read, those that
# could had 50 and more.
_FLAT, _EVEN = 12, 6
_MODULE = 8  # pixels to which a module is brought when a symbol is read at its place

# ISO/IEC 18004, table 7: how many characters of the alphanumeric set a symbol of level M holds, of
# version 1, 2, … 40.
_CAPACITIES = (
    *(20, 38, 61, 90, 122, 154, 178, 221, 262, 311),
    *(366, 419, 483, 528, 600, 656, 734, 816, 909, 970),
    *(1035, 1134, 1248, 1326, 1451, 1542, 1637, 1732, 1839, 1994),
    *(2113, 2238, 2369, 2506, 2632, 2780, 2894, 3054, 3220, 3391),
)

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
        lines_a_page = _plan(self.head, [self]).preset.lines_a_page
        return min(self.first - 1, self.head.total - 1) // lines_a_page

    @property
    def run(self) -> tuple[int, int]:
        """The numbers of the first line and the last."""
        return self.first, self.lines[-1][0]


def read(picture: Picture) -> tuple[Symbol, ...]:
    """
    Return the blocks on *picture*, each once.

    Tried in turn: as it is, with a threshold for the whole, smoothed, enlarged; another step is
    taken only where the ones before saw symbols that they could not read, or no block at all.
    """
    return _read(picture, _STEPS)


def read_at_once(picture: Picture) -> tuple[Symbol, ...]:
    """Return what `read` does, but none where its first steps, which are quick, see no block."""
    return _read(picture, _STEPS, give_up_after=_QUICK_STEPS)


def _read(
    picture: Picture, steps: Iterable[_Step], give_up_after: int | None = None
) -> tuple[Symbol, ...]:
    """Return the blocks on *picture*, by as many of *steps* as it takes."""
    blocks: dict[_Lines, Symbol] = {}
    for at, (prepare, binarizer) in enumerate(steps, 1):
        if _gathered(blocks, prepare(picture), binarizer) and blocks:
            break
        if at == give_up_after and not blocks:
            break
    return tuple(blocks.values())


def cover_sheets(read: Sequence[Symbol]) -> bool:
    """Tell whether the symbols *read* carry every line of the sheets that they stand on."""
    of_sheet: dict[tuple[Head, int], list[Symbol]] = {}
    for symbol in read:
        if symbol.head is not None:
            of_sheet.setdefault((symbol.head, symbol.sheet), []).append(symbol)
    return bool(of_sheet) and all(
        {(block.first, block.last) for block in _plan(head, ours).sheets[sheet].blocks}
        <= {symbol.run for symbol in ours}
        for (head, sheet), ours in of_sheet.items()
    )


def read_slowly(picture: Picture) -> tuple[Symbol, ...]:
    """Return what `read` does by the steps that `read_at_once` leaves out."""
    return _read(picture, _STEPS[_QUICK_STEPS:])


def read_harder(picture: Picture) -> tuple[Symbol, ...]:
    """
    Return the blocks on *picture* that are found when it is turned, or else when it is taken apart.
    """
    blocks: dict[_Lines, Symbol] = {}
    for prepare in (_turned, _tiles):
        if not blocks:
            _gathered(blocks, prepare(picture), zxingcpp.Binarizer.LocalAverage)
    return tuple(blocks.values())


def read_at(picture: Picture, corners: Points, modules: int) -> Symbol | None:
    """
    Return the block that stands at *corners* of *picture*, clockwise from its own upper left, in a
    symbol of *modules* a side; None where it cannot be read there either. Straightened, smoothed,
    and with each module taken for the mean of its middle.
    """
    straight = _straightened(picture, corners, modules)
    if _is_even(straight):
        return None
    for prepare in _STEPS_AT_A_PLACE:
        prepared = prepare(straight, modules)
        for binarizer in (zxingcpp.Binarizer.LocalAverage, zxingcpp.Binarizer.GlobalHistogram):
            blocks: dict[_Lines, Symbol] = {}
            _gathered(blocks, _as_it_is(prepared), binarizer)
            for lines in blocks:
                return Symbol(lines, tuple((float(x), float(y)) for x, y in corners), at_ease=False)
    return None


def modules(first: int, last: int, fewest: int) -> int:
    """
    Return how many modules a side the symbol of lines *first* to *last* has where none has less
    than *fewest*; what `qr.symbol` makes, told from ISO/IEC 18004's table of capacities.

    Raises ValueError where no symbol holds so many lines.
    """
    line = ALPHABET[0] * CHARACTERS
    characters = len(qr.encode_block(line, first, [line] * (last - first + 1)))
    for version, capacity in enumerate(_CAPACITIES, 1):
        side = 17 + 4 * version
        if characters <= capacity and side >= min(fewest, _MOST_MODULES):
            return side
    raise ValueError(f"no QR symbol holds {characters} characters")


def _is_even(straight: Picture) -> bool:
    """Tell whether the place of a symbol shows nothing, or no modules within its quiet zone."""
    quiet = qr.QUIET_MODULES * _MODULE
    inner = straight.crop((quiet, quiet, straight.width - quiet, straight.height - quiet))
    spreads = (ImageStat.Stat(one).stddev[0] for one in (straight, inner.reduce(_MODULE)))
    return any(spread < least for spread, least in zip(spreads, (_FLAT, _EVEN), strict=True))


_MOST_MODULES = 17 + 4 * len(_CAPACITIES)


class _Prepared(NamedTuple):
    """
    A picture made ready, and how to get back from it: a place z of it is at turn · z + move of the
    one it was made from.
    """

    picture: Picture
    turn: complex = 1
    move: complex = 0


def _gathered(
    blocks: dict[_Lines, Symbol], prepared: Iterable[_Prepared], binarizer: zxingcpp.Binarizer
) -> bool:
    """Add the blocks on *prepared* to *blocks*; return whether every symbol there could be read."""
    all_legible = True
    for picture, turn, move in prepared:
        for code in _codes(picture, binarizer):
            block = qr.decode_block(code.text) if code.valid else None
            all_legible = all_legible and code.valid
            if block is not None:
                places = (turn * complex(*corner) + move for corner in _corners(code))
                blocks.setdefault(
                    tuple(block), Symbol(tuple(block), tuple((at.real, at.imag) for at in places))
                )
    return all_legible


def _as_it_is(picture: Picture) -> Iterator[_Prepared]:
    yield _Prepared(picture)


def _smoothed(picture: Picture) -> Iterator[_Prepared]:
    yield _Prepared(_median(picture))


def _enlarged(picture: Picture) -> Iterator[_Prepared]:
    if max(picture.size) <= _SMALL:
        larger = picture.resize((2 * picture.width, 2 * picture.height), Image.Resampling.BICUBIC)
        yield _Prepared(larger, 0.5, complex(-0.25, -0.25))


def _turned(picture: Picture) -> Iterator[_Prepared]:
    coarser = max(1, max(picture.size) // _TURNED)
    smaller = picture.reduce(coarser) if coarser > 1 else picture
    for angle in (_TURN, -_TURN, 2 * _TURN):
        turned = smaller.rotate(angle, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
        back = cmath.rect(coarser, math.radians(angle))
        move = coarser * complex(*smaller.size) / 2 - back * complex(*turned.size) / 2
        yield _Prepared(turned, back, move)


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


class _Step(NamedTuple):
    """How a picture is made ready to look for symbols, and how black is told from white."""

    prepare: Callable[[Picture], Iterator[_Prepared]]
    binarizer: zxingcpp.Binarizer


_QUICK_STEPS = 2
_STEPS = (
    _Step(_as_it_is, zxingcpp.Binarizer.LocalAverage),
    _Step(_as_it_is, zxingcpp.Binarizer.GlobalHistogram),
    _Step(_smoothed, zxingcpp.Binarizer.LocalAverage),
    _Step(_enlarged, zxingcpp.Binarizer.LocalAverage),
)


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


def _plan(head: Head, ours: Sequence[Symbol]) -> Plan:
    """Return the layout for *head* that has the runs of lines of *ours*, else the usual one."""
    plans = layout.plans(head.total, layout.PAPERS["a4"])
    runs = {symbol.run for symbol in ours}
    fitting = (
        plan
        for plan in plans
        if runs <= {(block.first, block.last) for sheet in plan.sheets for block in sheet.blocks}
    )
    return next(fitting, plans[0])


def _codes(picture: Picture, binarizer: zxingcpp.Binarizer) -> list[zxingcpp.Barcode]:
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    # Of a picture the library asks for its bytes by a call of Python, and hides what is raised
    # there: the end of a limit, or of the program, would become an error of types.
    pixels = memoryview(picture.tobytes()).cast("B", (picture.height, picture.width))
    return zxingcpp.read_barcodes(pixels, formats=formats, binarizer=binarizer, return_errors=True)


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


_STEPS_AT_A_PLACE: tuple[Callable[[Picture, int], Picture], ...] = (
    _unchanged,
    _blurred,
    _by_modules,
    _despeckled,
)
