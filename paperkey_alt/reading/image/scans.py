"""
Files of pictures and PDFs: `pages` takes one apart.

Every file is taken for hostile: what it claims is checked before it is decoded, and pages are held
one at a time.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from paperkey_alt.reading import kinds

if TYPE_CHECKING:
    from collections.abc import Iterator

    from paperkey_alt.reading.image.grey import Grey


def load(data: bytes) -> None:
    """
    Load what decoding *data* needs, so that no file has to be opened for it later; raises
    ImportError.
    """
    if kinds.is_pdf(data):
        import_module("paperkey_alt.reading.image.pdfs")
    else:
        from paperkey_alt.reading.image import frames  # noqa: PLC0415 - PDFs need none of it

        frames.load(data)


def count(data: bytes, name: str) -> int:
    """Return how many pages the file *name* has; raises SourceError as `pages` does."""
    if kinds.is_pdf(data):
        from paperkey_alt.reading.image import pdfs  # noqa: PLC0415 - pictures need none of it

        return pdfs.count(data, name)
    from paperkey_alt.reading.image import frames  # noqa: PLC0415 - PDFs need none of it

    return frames.count(data, name)


def pages(data: bytes, name: str) -> Iterator[Grey]:
    """
    Yield the pages of the file *name*, grey, upright by their EXIF orientation; PDF pages at 300
    dpi, or finer where their nominal size is small. Pictures of more than 36 million pixels are
    made coarser. Of a JPEG that is cut short, what is there.

    Raises SourceError for what is no picture, is damaged, encrypted, or has more than 150 million
    pixels, 20,000 a side, 640 MiB when decoded, or 500 pages.
    """
    if kinds.is_pdf(data):
        from paperkey_alt.reading.image import pdfs  # noqa: PLC0415 - pictures need none of it

        yield from pdfs.pages(data, name)
    else:
        from paperkey_alt.reading.image import frames  # noqa: PLC0415 - PDFs need none of it

        yield from frames.pages(data, name)
