"""
Files of pictures and PDFs: `pages` takes one apart.

Every file is taken for hostile: what it claims is checked before it is decoded, and pages are held
one at a time.
"""

from __future__ import annotations

TYPE_CHECKING = False  # typing takes longer to load than all of this
if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

_PDF = b"%PDF-"
_BEFORE_PDF = 1024  # bytes that may be before its first ones, of printers and of mail (PDFium too)

# Width and height of a grey page, its pixels row by row, a byte each, 0 is black, and whether its
# file ends too early.
Decoded = tuple[int, int, bytes | memoryview, bool]


def is_pdf(data: bytes) -> bool:
    """Tell whether these bytes are taken for a PDF."""
    return _PDF in data[:_BEFORE_PDF]


def load(data: bytes) -> None:
    """
    Load what decoding *data* needs, so that no file has to be opened for it later; raises
    ImportError.
    """
    if is_pdf(data):
        from paperkey_alt.reading.image import pdfs  # noqa: F401, PLC0415 - pictures need none
    else:
        from paperkey_alt.reading.image import frames  # noqa: PLC0415 - PDFs need none of it

        frames.load(data)


def count(data: bytes) -> int:
    """Return how many pages a file has; raises Refused as `pages` does."""
    if is_pdf(data):
        from paperkey_alt.reading.image import pdfs  # noqa: PLC0415 - pictures need none of it

        return pdfs.count(data)
    from paperkey_alt.reading.image import frames  # noqa: PLC0415 - PDFs need none of it

    return frames.count(data)


def pages(data: bytes, wanted: Collection[int] = ()) -> Iterator[Decoded]:
    """
    Yield the pages of a file, or those with the numbers *wanted*, from 1 and in order; grey,
    upright by their EXIF orientation; PDF pages at 300 dpi, or finer where their nominal size is
    small. Pictures of more than 36 million pixels are made coarser. Of a JPEG that is cut short,
    what is there.

    Raises Refused for what is no picture, is damaged, encrypted, or has more than 150 million
    pixels, 20,000 a side, 640 MiB when decoded, or 500 pages.
    """
    if is_pdf(data):
        from paperkey_alt.reading.image import pdfs  # noqa: PLC0415 - pictures need none of it

        yield from pdfs.pages(data, wanted)
    else:
        from paperkey_alt.reading.image import frames  # noqa: PLC0415 - PDFs need none of it

        yield from frames.pages(data, wanted)
