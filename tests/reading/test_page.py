"""What a source's page is: a text, or one of so many pages of pictures."""

from dataclasses import FrozenInstanceError

import pytest

from paperkey_alt.errors import Place
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.reading.image.symbols import Symbol
from paperkey_alt.reading.page import Page

LINE = RawLine(Place(), ((1, "A" * 29),))
BLOCK = Symbol(((0, "A" * 29), (1, "A" * 29)), ((0.0, 0.0),) * 4)


def test_a_text_and_a_page():
    """A text is page 0 of 0 and has lines alone; of pages, the first is 1 and the last is all."""
    assert Page("typed", 0, 0, (LINE,)).blocks == ()
    assert Page("scan", 1, 1, (LINE,), (BLOCK,)).sheets == ()
    assert Page("scan", 3, 3, ()).raw_lines == ()


@pytest.mark.parametrize(
    ("page", "pages", "blocks"),
    [(1, 0, ()), (0, 1, ()), (3, 2, ()), (-1, 2, ()), (0, -1, ()), (0, 0, (BLOCK,))],
)
def test_no_page_is_beyond_its_source(page, pages, blocks):
    """A page 3 of 2, a page 0 of 1, or a text with symbols cannot be made."""
    with pytest.raises(ValueError, match="page"):
        Page("scan", page, pages, (), blocks)


def test_a_page_does_not_change():
    """What was read is kept as it was read."""
    with pytest.raises(FrozenInstanceError):
        Page("typed", 0, 0, ()).raw_lines = (LINE,)
