"""
PDFs: `pages` renders one page after another. `scans` says what is kept to.
"""

from __future__ import annotations

import math
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pypdfium2
import pypdfium2.raw

from paperkey_alt.errors import SourceError
from paperkey_alt.reading.image import grey
from paperkey_alt.reading.image.grey import DPI, MOST_NEEDED, MOST_PIXELS_A_SIDE, Grey

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pypdfium2 import PdfBitmap, PdfDocument, PdfPage

_POINT_DPI = 72
_LEAST_RENDERED = 8_700_000  # pixels of A4 at 300 dpi, whatever size a PDF gives its page


def count(data: bytes, name: str) -> int:
    """Return how many pages the file *name* has; raises SourceError as `pages` does."""
    with _opened(data, name) as document:
        return grey.counted(len(document), name)


def pages(data: bytes, name: str) -> Iterator[Grey]:
    """Yield the pages of the file *name*, as `scans.pages` does."""
    pages_there = count(data, name)
    with _opened(data, name) as document:
        for number in range(pages_there):
            page = document[number]
            scale = _scale(page)
            grey.require_size(page.get_width() * scale, page.get_height() * scale, name)
            bitmap = page.render(scale=scale, grayscale=True)
            yield Grey(bitmap.width, bitmap.height, _pixels(bitmap))
            page.close()


def _pixels(bitmap: PdfBitmap) -> memoryview | bytes:
    """Return the pixels of a grey *bitmap*, without what may be behind each of its rows."""
    pixels = memoryview(bitmap.buffer).cast("B")
    if bitmap.stride == bitmap.width:
        return pixels
    starts = range(0, bitmap.stride * bitmap.height, bitmap.stride)
    return b"".join(pixels[start : start + bitmap.width] for start in starts)


def _scale(page: PdfPage) -> float:
    """
    Return how many pixels of *page* are rendered to a point: 300 dpi of what it claims to measure,
    but, for many scanners claim anything, no fewer pixels than A4 has then and no more than are
    needed; nor beyond that finer than the pictures on it.
    """
    wide, high = float(page.get_width()), float(page.get_height())
    area = max(wide * high, 1e-6)
    least, most = (math.sqrt(pixels / area) for pixels in (_LEAST_RENDERED, MOST_NEEDED))
    longest = MOST_PIXELS_A_SIDE / max(wide, high, 1)
    wanted = min(max(DPI / _POINT_DPI, least), most, longest)
    return min(wanted, max(least, _finest(page))) if wanted > least else wanted


def _finest(page: PdfPage) -> float:
    """Return how many pixels to a point the finest picture on *page* has; infinity with none."""
    finest = 0.0
    for picture in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE]):
        left, bottom, right, top = picture.get_bounds()
        wide, high = picture.get_px_size()
        area = max((right - left) * (top - bottom), 1e-6)
        finest = max(finest, math.sqrt(wide * high / area))
    return finest or math.inf


@contextmanager
def _opened(data: bytes, name: str) -> Iterator[PdfDocument]:
    try:
        with grey.reported(name), pypdfium2.PdfDocument(data) as document:
            yield document
    except pypdfium2.PdfiumError as error:
        is_locked = "password" in str(error).lower()
        advice = "Save it again without a password." if is_locked else SourceError.advice
        raise SourceError(f"{name} is a PDF that cannot be opened", advice=advice) from None
