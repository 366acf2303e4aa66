"""
Files of pictures: `pages` takes one apart, frame by frame. `scans` says what is kept to.
"""

from __future__ import annotations

import io
import math
import warnings
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import TYPE_CHECKING, cast

from PIL import Image, ImageOps, UnidentifiedImageError

from paperkey_alt.reading import kinds
from paperkey_alt.reading.image import bounds
from paperkey_alt.reading.image.bounds import LESS, MOST_NEEDED, Refused

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator

    from PIL.Image import Image as Picture
    from PIL.ImageFile import ImageFile
    from PIL.Jpeg2KImagePlugin import Jpeg2KImageFile

    from paperkey_alt.reading.image.scans import Decoded

_CUT_SHORT = "cut short"  # of a picture's `info`: the file ends too early
MOST_BYTES = 640 << 20  # of a file and one of its pages, decoded: all of it is in memory at once
# Bytes of a pixel in memory; of other modes 4.
_PIXEL = {"1": 1, "L": 1, "P": 1, "LA": 4, "I;16": 2, "I;16B": 2, "I;16L": 2}
_FORMAT_PIXEL = {"WEBP": 16, "AVIF": 10, "JPEG2000": 16}  # whatever the mode
_MOST_JPEG_2000 = 60_000_000  # samples: colour to 500 dpi; each takes four bytes and more
_STRIP = 8_000_000  # pixels that are brought to grey at a time
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "BMP", "GIF", "PPM", "JPEG2000", "AVIF")
_DEEP = {"I", "F", "I;16", "I;16B", "I;16L"}  # modes of grey that is deeper than 8 bits
_DEPTHS = (1023, 4095, 16383, 65535)  # white, of 10, 12, 14 and 16 bits
_PHOTOMETRIC, _WHITE_IS_ZERO = 262, 0  # a tag of TIFF, and its value (TIFF 6.0, section 8)
_JPEG = {"JPEG", "MPO"}
_END_OF_JPEG = b"\xff\xd9"  # the marker EOI (ISO/IEC 10918-1, table B.1)
_LEAST_THERE = 0.1  # of the height of a JPEG that is cut short
# Beyond those that Pillow loads first; MPO is what some JPEG files turn out to be.
_PICTURE_MODULES = (
    "PIL.MpoImagePlugin",
    "PIL.TiffImagePlugin",
    "PIL.WebPImagePlugin",
    "PIL.Jpeg2KImagePlugin",
)
_AVIF_MODULE = "PIL.AvifImagePlugin"  # not in each Pillow that will do


def load(data: bytes) -> None:
    """Load what decoding *data* needs, as `scans.load` does."""
    Image.preinit()
    for module in _PICTURE_MODULES:
        import_module(module)
    if kinds.is_avif(data):
        with suppress(ImportError):
            # The process that decodes may start no threads.
            vars(import_module(_AVIF_MODULE))["DEFAULT_MAX_THREADS"] = 1


def count(data: bytes) -> int:
    """Return how many pages a file has; raises Refused as `pages` does."""
    with _opened(data) as picture:
        # What telephones put behind the first picture of such a file is no page.
        frames = 1 if picture.format == "MPO" else getattr(picture, "n_frames", 1)
        return bounds.counted(frames)


def pages(data: bytes, wanted: Collection[int]) -> Iterator[Decoded]:
    """Yield the pages of a file that are *wanted*, as `scans.pages` does."""
    for picture in _frames(data, wanted):
        yield picture.width, picture.height, picture.tobytes(), _CUT_SHORT in picture.info


def _frames(data: bytes, wanted: Collection[int]) -> Iterator[Picture]:
    frames = count(data)
    with _opened(data) as picture:
        for number in bounds.numbers(frames, wanted):
            picture.seek(number - 1)
            bounds.require_size(*picture.size)
            format_ = picture.format or ""
            pixel = _FORMAT_PIXEL.get(format_, _PIXEL.get(picture.mode, 4))
            if (
                format_ not in _JPEG
                and len(data) + pixel * picture.width * picture.height > MOST_BYTES
            ):
                raise Refused("takes too much memory to decode", LESS)
            if frames == 1:
                _draft(picture)
            try:
                picture.load()
            except OSError:
                if format_ not in _JPEG:
                    raise
                yield _what_is_there(data)
                return
            upright = ImageOps.exif_transpose(_grey(picture))
            if frames == 1:
                # Colour takes many times the memory that the grey page does.
                picture.close()
            yield upright


def _draft(picture: ImageFile) -> None:
    """Make a decoder that can leave out what is not needed, before it costs memory."""
    if picture.format == "JPEG2000":
        pixels = picture.width * picture.height * len(picture.getbands())
        cast("Jpeg2KImageFile", picture).reduce = max(
            0, math.ceil(math.log(pixels / _MOST_JPEG_2000, 4))
        )
    elif _coarser(picture) > 1:
        coarser = _coarser(picture)
        picture.draft("L", (picture.width // coarser, picture.height // coarser))


def _what_is_there(data: bytes) -> Picture:
    """
    Return the picture of a JPEG that is cut short; what is missing has the brightness of the last
    block. Raises OSError where next to nothing is there.

    With an end behind it the decoder takes the file for whole, as it does itself where it reads
    from a file.
    """
    with _opened(data + _END_OF_JPEG) as picture:
        _draft(picture)
        grey = _grey(picture)
        there = next(
            row
            for row in range(grey.height, -1, -1)
            if row == 0 or len(set(grey.crop((0, row - 1, grey.width, row)).tobytes())) > 1
        )
        if there < _LEAST_THERE * grey.height:
            raise OSError("cut short")
        upright = ImageOps.exif_transpose(grey)
        upright.info[_CUT_SHORT] = True
        return upright


def _coarser(picture: Picture) -> int:
    """Return by what whole number *picture* is to be made coarser."""
    return math.ceil(math.sqrt(picture.width * picture.height / MOST_NEEDED))


def _grey(picture: Picture) -> Picture:
    """
    Return *picture* as brightness, not finer than is needed; strip by strip, for it may be large.
    """
    coarser = _coarser(picture)
    rows = max(1, _STRIP // picture.width // coarser) * coarser
    boxes = [
        (0, top, picture.width, min(top + rows, picture.height))
        for top in range(0, picture.height, rows)
    ]
    if picture.mode in _DEEP:
        lowest, highest = _depth(picture.crop(box) for box in boxes)
        white_is_zero = _is_white_zero(picture)
        strips = [
            _scaled(picture.crop(box), lowest, highest, inverted=white_is_zero) for box in boxes
        ]
    else:
        strips = [_grey_strip(picture.crop(box)) for box in boxes]
    if coarser > 1:
        strips = [strip.reduce(coarser) for strip in strips]
    joined = Image.new("L", (strips[0].width, sum(strip.height for strip in strips)))
    top = 0
    for strip in strips:
        joined.paste(strip, (0, top))
        top += strip.height
    joined.info["exif"] = picture.info.get("exif", b"")
    return joined


def _depth(strips: Iterable[Picture]) -> tuple[float, float]:
    """
    Return what is black and what is white in grey deeper than 8 bits: 0, unless there is less, and
    the full scale that the largest value is within; files do not say how many bits a scanner
    filled. Raises ValueError for what is no number.
    """
    lowest, highest = 0.0, 0.0
    scales: tuple[float, ...] = (255, *_DEPTHS)
    for strip in strips:
        plain = _plain(strip)
        low, high = cast("tuple[float, float]", plain.getextrema())
        if not (math.isfinite(low) and math.isfinite(high)):
            raise ValueError("grey without bounds")
        lowest, highest = min(lowest, low), max(highest, high)
        if plain.mode == "F":
            scales = (1, 255, *_DEPTHS)
    return lowest, next((scale for scale in scales if highest <= scale), highest)


def _scaled(strip: Picture, lowest: float, highest: float, *, inverted: bool) -> Picture:
    """Return *strip* with *lowest* as 0 and *highest* as 255, or if *inverted* the other way."""
    slope = 255 / (highest - lowest)
    offset = -lowest * slope
    if inverted:
        slope, offset = -slope, 255 - offset
    return _plain(strip).convert("F").point(lambda value: value * slope + offset).convert("L")


def _plain(strip: Picture) -> Picture:
    """Return *strip* with whole numbers of 32 bits, whose order of bytes is the machine's."""
    return strip if strip.mode in ("I", "F") else strip.convert("I")


def _is_white_zero(picture: Picture) -> bool:
    """Tell whether a TIFF has 0 for white: Pillow turns that over only where it has 8 bits."""
    return getattr(picture, "tag_v2", {}).get(_PHOTOMETRIC) == _WHITE_IS_ZERO


def _grey_strip(strip: Picture) -> Picture:
    if "A" in strip.getbands() or "transparency" in strip.info:
        # What is transparent is paper.
        strip = strip.convert("RGBA")
        strip = Image.alpha_composite(Image.new("RGBA", strip.size, "white"), strip)
    return strip.convert("L")


@contextmanager
def _opened(data: bytes) -> Iterator[ImageFile]:
    """Give the picture in *data*; raises Refused for none, and for a damaged one in use."""
    with _reported(data), Image.open(io.BytesIO(data), formats=_FORMATS) as picture:
        yield picture


@contextmanager
def _reported(data: bytes) -> Iterator[None]:
    """Raise Refused for what Pillow makes of *data* that are damaged."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except UnidentifiedImageError:
        raise kinds.not_readable(data) from None
    except Image.DecompressionBombError:
        raise Refused("has far too many pixels", LESS) from None
    except (OSError, ValueError, SyntaxError, EOFError, OverflowError, TypeError) as error:
        # The decoders of damaged pictures leave by any of these.
        what = f"is damaged or cut short ({type(error).__name__})"
        raise Refused(what, "Scan or copy it again.") from None
