"""How many spare lines a print has: by percentage, or for a lost sheet."""

import pytest

from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.sheet import layout
from paperkey_alt.sheet.layout import PAPERS, Spare


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
@pytest.mark.parametrize(("length", "data"), [(1, 1), (15, 1), (16, 2), (2760, 184)])
def test_of_the_data_lines(length, data, paper):
    """A data line for each 15 bytes, the last one begun; spare lines by these."""
    assert Spare(25).lines_for(length, paper) == spare_count(data, 25)
    assert Spare(0).lines_for(length, paper) == spare_count(data, 0)
    assert Spare(None).lines_for(length, paper) == layout.spare_for_a_sheet(data, paper)


def test_the_usual_key():
    """184 data lines have 46 spare ones; for a lost sheet of three it is 96."""
    assert Spare(25).lines_for(184 * 15, PAPERS["a4"]) == 46
    assert Spare(None).lines_for(184 * 15, PAPERS["letter"]) == 96


@pytest.mark.parametrize("percent", [-1, layout.MOST_SPARE_PERCENT + 1])
def test_no_more_than_can_be_meant(percent):
    """A percentage out of bounds cannot be held."""
    with pytest.raises(ValueError, match="0 to 400 percent"):
        Spare(percent)
