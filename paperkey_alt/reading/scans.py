"""
Pictures of sheets: `read_pages` takes a file apart into pages, `read_blocks` finds the QR blocks on one.

Needs the extra ``scan``. Every file is taken for hostile: what it claims is checked before it is decoded, and pages are held
one at a time. A symbol counts only when its text is a block of ours (`paperkey_alt.sheet.qr.decode_block`).
"""

from __future__ import annotations

import io
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING

from paperkey_alt.errors import MissingExtra, SourceError
from paperkey_alt.sheet import qr

try:
    import pypdfium2
    import zxingcpp
    from PIL import Image, ImageFilter, ImageOps, UnidentifiedImageError
except ImportError as error:
    raise MissingExtra(f"reading pictures needs the library {error.name}, which is not installed") from None

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from PIL.Image import Image as Picture

DPI = 300
MOST_PIXELS = 150_000_000
MOST_PAGES = 500
_SMALL = 2500  # pixels of the longer side up to which a picture is worth enlarging
_MOST_SYMBOLS = 255
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "BMP", "GIF")
_PDF = b"%PDF"


def read_pages(data: bytes, name: str) -> Iterator[Picture]:
    """
    Yield the pages of the file *name* as grey pictures, upright by their EXIF orientation; PDF pages at 300 dpi.

    Raises SourceError for what is no picture, is damaged, encrypted, or has more than 150 million pixels or 500 pages.
    """
    yield from _pdf_pages(data, name) if data.startswith(_PDF) else _frames(data, name)


def read_blocks(picture: Picture) -> tuple[str, ...]:
    """
    Return the texts of the QR blocks on *picture*, each once.

    Tried in turn: as it is, with a local threshold, smoothed, enlarged; another step is taken only where the ones before
    saw symbols that they could not read, or no block at all.
    """
    found: dict[str, None] = {}
    for prepare, binarizer in _STEPS:
        prepared = prepare(picture)
        if prepared is None:
            continue
        unread = False
        for symbol in _symbols(prepared, binarizer):
            if symbol.valid and qr.decode_block(symbol.text) is not None:
                found[symbol.text] = None
            else:
                unread = unread or not symbol.valid
        if found and not unread:
            break
    return tuple(found)


def _as_it_is(picture: Picture) -> Picture:
    return picture


def _smoothed(picture: Picture) -> Picture:
    return picture.filter(ImageFilter.MedianFilter(3))


def _enlarged(picture: Picture) -> Picture | None:
    if max(picture.size) > _SMALL:
        return None
    return picture.resize((2 * picture.width, 2 * picture.height), Image.Resampling.BICUBIC)


_STEPS: tuple[tuple[Callable[[Picture], Picture | None], zxingcpp.Binarizer], ...] = (
    (_as_it_is, zxingcpp.Binarizer.LocalAverage),
    (_as_it_is, zxingcpp.Binarizer.GlobalHistogram),
    (_smoothed, zxingcpp.Binarizer.LocalAverage),
    (_enlarged, zxingcpp.Binarizer.LocalAverage),
)


def _symbols(picture: Picture, binarizer: zxingcpp.Binarizer) -> list[zxingcpp.Barcode]:
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    return zxingcpp.read_barcodes(picture, formats=formats, binarizer=binarizer, return_errors=True)


def _frames(data: bytes, name: str) -> Iterator[Picture]:
    with _reported(name), Image.open(io.BytesIO(data), formats=_FORMATS) as picture:
        for frame in range(_counted(getattr(picture, "n_frames", 1), name)):
            picture.seek(frame)
            _require_size(*picture.size, name)
            yield _grey(ImageOps.exif_transpose(picture))


def _grey(picture: Picture) -> Picture:
    if "A" in picture.getbands() or "transparency" in picture.info:
        # What is transparent is paper.
        picture = picture.convert("RGBA")
        paper = Image.new("RGBA", picture.size, "white")
        picture = Image.alpha_composite(paper, picture)
    return picture.convert("L")


def _pdf_pages(data: bytes, name: str) -> Iterator[Picture]:
    with _reported(name):
        document = pypdfium2.PdfDocument(data)
        try:
            for number in range(_counted(len(document), name)):
                page = document[number]
                scale = DPI / 72
                _require_size(page.get_width() * scale, page.get_height() * scale, name)
                yield page.render(scale=scale, grayscale=True).to_pil().convert("L")
                page.close()
        finally:
            document.close()


@contextmanager
def _reported(name: str) -> Iterator[None]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except UnidentifiedImageError:
        raise SourceError(f"{name} is not a picture of a kind that can be read here") from None
    except pypdfium2.PdfiumError as error:
        advice = "Save it again without a password." if "password" in str(error).lower() else SourceError.advice
        raise SourceError(f"{name} is a PDF that cannot be opened", advice=advice) from None
    except Image.DecompressionBombError:
        raise SourceError(f"{name} has far too many pixels", advice=_LESS) from None
    except (OSError, ValueError, SyntaxError, EOFError, OverflowError, TypeError) as error:
        # The decoders of damaged pictures leave by any of these.
        raise SourceError(f"{name} is damaged or cut short ({type(error).__name__})", advice="Scan or copy it again.") from None


_LESS = f"Scan it again with {DPI} dpi."


def _require_size(width: float, height: float, name: str) -> None:
    if width * height > MOST_PIXELS:
        raise SourceError(f"{name} has {width:.0f} × {height:.0f} pixels, too many to read", advice=_LESS)
    if min(width, height) < 1:
        raise SourceError(f"{name} has a page without any pixels")


def _counted(pages: int, name: str) -> int:
    if not 1 <= pages <= MOST_PAGES:
        raise SourceError(f"{name} has {pages} pages; 1 to {MOST_PAGES} can be read at a time", advice="Split the file.")
    return pages
