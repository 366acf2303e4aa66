"""
Files of pictures: `pages` takes one apart.

Every file is taken for hostile: what it claims is checked before it is decoded, and pages are held
one at a time.
"""

from __future__ import annotations

import io
import math
import warnings
from contextlib import contextmanager
from importlib import import_module
from typing import TYPE_CHECKING

from PIL import Image, ImageOps, UnidentifiedImageError

from paperkey_alt.errors import SourceError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from PIL.Image import Image as Picture
    from pypdfium2 import PdfDocument

DPI = 300
# Bounds set with tests/bench/large_pictures.py, so that no picture takes more than 1 GiB.
MOST_PIXELS = 150_000_000  # A4 at 1,200 dpi has 139 million
MOST_PIXELS_A_SIDE = 20_000
MOST_BYTES = 640 << 20  # of a file and one of its pages, decoded: all of it is in memory at once
MOST_PAGES = 500
_PIXEL = {"1": 1, "L": 1, "P": 1, "LA": 4, "I;16": 2}  # bytes in memory; of other modes 4
_WEBP_PIXEL = 16
_MOST_NEEDED = 36_000_000  # pixels of A4 at 600 dpi: more show nothing more
_STRIP = 8_000_000  # pixels that are brought to grey at a time
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "BMP", "GIF")
_PDF = b"%PDF"
_PDF_MODULES = ("pypdfium2", "PIL.ImageFile")
# Beyond those that Pillow loads first; MPO is what some JPEG files turn out to be.
_PICTURE_MODULES = ("PIL.MpoImagePlugin", "PIL.TiffImagePlugin", "PIL.WebPImagePlugin")


def load(data: bytes) -> None:
    """
    Load what decoding *data* needs, so that no file has to be opened for it later; raises
    ImportError.
    """
    is_pdf = data.startswith(_PDF)
    if not is_pdf:
        Image.preinit()
    for module in _PDF_MODULES if is_pdf else _PICTURE_MODULES:
        import_module(module)


def count(data: bytes, name: str) -> int:
    """Return how many pages the file *name* has; raises SourceError as `pages` does."""
    if data.startswith(_PDF):
        with _opened_pdf(data, name) as document:
            return _counted(len(document), name)
    with _reported(name), Image.open(io.BytesIO(data), formats=_FORMATS) as picture:
        return _counted(getattr(picture, "n_frames", 1), name)


def pages(data: bytes, name: str) -> Iterator[Picture]:
    """
    Yield the pages of the file *name* as grey pictures, upright by their EXIF orientation; PDF
    pages at 300 dpi. Pictures of more than 36 million pixels are made coarser.

    Raises SourceError for what is no picture, is damaged, encrypted, or has more than 150 million
    pixels, 20,000 a side, 640 MiB when decoded, or 500 pages.
    """
    yield from _pdf_pages(data, name) if data.startswith(_PDF) else _frames(data, name)


def _frames(data: bytes, name: str) -> Iterator[Picture]:
    frames = count(data, name)
    with _reported(name), Image.open(io.BytesIO(data), formats=_FORMATS) as picture:
        for frame in range(frames):
            picture.seek(frame)
            _require_size(*picture.size, name)
            pixel = _WEBP_PIXEL if picture.format == "WEBP" else _PIXEL.get(picture.mode, 4)
            if (
                picture.format != "JPEG"
                and len(data) + pixel * picture.width * picture.height > MOST_BYTES
            ):
                raise SourceError(f"{name} takes too much memory to decode", advice=_LESS)
            coarser = _coarser(picture)
            if coarser > 1 and frames == 1:
                # The decoder of JPEG can leave out what is not needed, before it costs memory.
                picture.draft("L", (picture.width // coarser, picture.height // coarser))
            yield ImageOps.exif_transpose(_grey(picture))


def _coarser(picture: Picture) -> int:
    """Return by what whole number *picture* is to be made coarser."""
    return math.ceil(math.sqrt(picture.width * picture.height / _MOST_NEEDED))


def _grey(picture: Picture) -> Picture:
    """
    Return *picture* as brightness, not finer than is needed; strip by strip, for it may be large.
    """
    coarser = _coarser(picture)
    rows = max(1, _STRIP // picture.width // coarser) * coarser
    strips = [
        _grey_strip(picture.crop((0, top, picture.width, min(top + rows, picture.height))))
        for top in range(0, picture.height, rows)
    ]
    if coarser > 1:
        strips = [strip.reduce(coarser) for strip in strips]
    joined = Image.new("L", (strips[0].width, sum(strip.height for strip in strips)))
    top = 0
    for strip in strips:
        joined.paste(strip, (0, top))
        top += strip.height
    joined.info["exif"] = picture.info.get("exif", b"")
    return joined


def _grey_strip(strip: Picture) -> Picture:
    if "A" in strip.getbands() or "transparency" in strip.info:
        # What is transparent is paper.
        strip = strip.convert("RGBA")
        strip = Image.alpha_composite(Image.new("RGBA", strip.size, "white"), strip)
    return strip.convert("L")


def _pdf_pages(data: bytes, name: str) -> Iterator[Picture]:
    pages_there = count(data, name)
    with _opened_pdf(data, name) as document:
        for number in range(pages_there):
            page = document[number]
            scale = DPI / 72
            _require_size(page.get_width() * scale, page.get_height() * scale, name)
            yield page.render(scale=scale, grayscale=True).to_pil().convert("L")
            page.close()


@contextmanager
def _opened_pdf(data: bytes, name: str) -> Iterator[PdfDocument]:
    import pypdfium2  # noqa: PLC0415 - slow to load, and pictures need none of it

    try:
        with _reported(name), pypdfium2.PdfDocument(data) as document:
            yield document
    except pypdfium2.PdfiumError as error:
        is_locked = "password" in str(error).lower()
        advice = "Save it again without a password." if is_locked else SourceError.advice
        raise SourceError(f"{name} is a PDF that cannot be opened", advice=advice) from None


@contextmanager
def _reported(name: str) -> Iterator[None]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except UnidentifiedImageError:
        raise SourceError(f"{name} is not a picture of a kind that Ragleaf can read") from None
    except Image.DecompressionBombError:
        raise SourceError(f"{name} has far too many pixels", advice=_LESS) from None
    except (OSError, ValueError, SyntaxError, EOFError, OverflowError, TypeError) as error:
        # The decoders of damaged pictures leave by any of these.
        raise SourceError(
            f"{name} is damaged or cut short ({type(error).__name__})",
            advice="Scan or copy it again.",
        ) from None


_LESS = f"Scan it again with {DPI} dpi in grey, or save it as a smaller PNG or JPEG."


def _require_size(width: float, height: float, name: str) -> None:
    if width * height > MOST_PIXELS or max(width, height) > MOST_PIXELS_A_SIDE:
        raise SourceError(
            f"{name} has {width:.0f} × {height:.0f} pixels, too many to read", advice=_LESS
        )
    if min(width, height) < 1:
        raise SourceError(f"{name} has a page without any pixels")


def _counted(pages: int, name: str) -> int:
    if not 1 <= pages <= MOST_PAGES:
        raise SourceError(
            f"{name} has {pages} pages; 1 to {MOST_PAGES} can be read at a time",
            advice="Split the file.",
        )
    return pages
