"""
PDFs: `pages` renders one page after another. `scans` says what is kept to.
"""

from __future__ import annotations

import math

from paperkey_alt.reading.image import bounds, pdfium
from paperkey_alt.reading.image.bounds import DPI, MOST_NEEDED, MOST_PIXELS_A_SIDE, Refused

TYPE_CHECKING = False  # typing takes longer to load than all of this
if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from paperkey_alt.reading.image.pdfium import Page, PdfError
    from paperkey_alt.reading.image.scans import Decoded

_POINT_DPI = 72
_LEAST_RENDERED = 8_700_000  # pixels of A4 at 300 dpi, whatever size a PDF gives its page


def count(data: bytes) -> int:
    """Return how many pages a file has; raises Refused as `pages` does."""
    try:
        with pdfium.Document(data) as document:
            return bounds.counted(len(document))
    except pdfium.PdfError as error:
        raise _refused(error) from None


def pages(data: bytes, wanted: Collection[int]) -> Iterator[Decoded]:
    """Yield the pages of a file that are *wanted*, as `scans.pages` does."""
    try:
        with pdfium.Document(data) as document:
            for page in document.pages(bounds.numbers(len(document), wanted)):
                scale = _scale(page)
                bounds.require_size(page.width * scale, page.height * scale)
                width, height = math.ceil(page.width * scale), math.ceil(page.height * scale)
                yield width, height, page.rendered(width, height), False
    except pdfium.PdfError as error:
        raise _refused(error) from None


def _scale(page: Page) -> float:
    """
    Return how many pixels of *page* are rendered to a point: 300 dpi of what it claims to measure,
    but, for many scanners claim anything, no fewer pixels than A4 has then and no more than are
    needed; nor beyond that finer than the pictures on it.
    """
    area = max(page.width * page.height, 1e-6)
    least, most = (math.sqrt(pixels / area) for pixels in (_LEAST_RENDERED, MOST_NEEDED))
    longest = MOST_PIXELS_A_SIDE / max(page.width, page.height, 1)
    wanted = min(max(DPI / _POINT_DPI, least), most, longest)
    return min(wanted, max(least, _finest(page))) if wanted > least else wanted


def _finest(page: Page) -> float:
    """Return how many pixels to a point the finest picture on *page* has; infinity with none."""
    fine = (math.sqrt(pixels / max(area, 1e-6)) for area, pixels in page.pictures())
    return max(fine, default=0.0) or math.inf


def _refused(error: PdfError) -> Refused:
    advice = "Save it again without a password." if error.is_locked else ""
    return Refused("is a PDF that cannot be opened", advice)
