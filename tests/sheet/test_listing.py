"""A program on paper: every row of it, numbered, and the digest of the file."""

import hashlib

import pypdfium2
import pytest

from paperkey_alt.sheet import listing
from paperkey_alt.sheet.layout import PAPERS


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
def test_every_row_can_be_read_back(paper):
    """
    In order, over as many pages as it takes, each with its part and the SHA-256 of the whole file.
    """
    source = "".join(f"print({number!r})  # {'x' * (number % 90)}\n" for number in range(300))
    pages = [
        page.get_textpage().get_text_bounded()
        for page in pypdfium2.PdfDocument(listing.draw(source, "p.py", paper=paper))
    ]
    rows = []
    for number, page in enumerate(pages, 1):
        head, digest, *body = page.splitlines()
        assert head == f"p.py, page {number} of {len(pages)}"
        assert digest == f"SHA-256 of the file: {hashlib.sha256(source.encode()).hexdigest()}"
        rows += body
    assert len(pages) > 1
    assert [row.split() for row in rows] == [
        [str(at), *row.split()] for at, row in enumerate(source.splitlines(), 1)
    ]
