"""What may be a line, and where it was seen."""

import pytest

from paperkey_alt.errors import Place
from paperkey_alt.format.raw_line import RawLine


def test_the_likeliest_cut_is_the_first():
    """Its number, none where none was given, and its characters stand for the whole."""
    raw_line = RawLine(Place(row=3), ((7, "AAAA"), (None, "7AAAA")))
    assert (raw_line.number, raw_line.text) == (7, "AAAA")
    assert RawLine(Place(row=3), ((None, "AAAA"),)).number is None


def test_what_can_be_cut_in_no_way_is_none():
    """A RawLine without a candidate cannot exist."""
    with pytest.raises(ValueError, match=r"^a raw line can be cut in at least one way$"):
        RawLine(Place(row=3), ())
