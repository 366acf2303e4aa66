"""Numbers in sentences."""

import pytest

from paperkey_alt.wording import counted, noun, ranges


@pytest.mark.parametrize(
    ("count", "said"), [(0, "0 lines"), (1, "1 line"), (2, "2 lines"), (1023, "1,023 lines")]
)
def test_a_noun_after_its_number(count, said):
    """One line, any other count of lines; thousands are set off."""
    assert counted(count, "line") == said


def test_a_plural_that_is_no_s_is_given():
    """Words, or a verb with them."""
    assert counted(2, "copy", "copies") == "2 copies"
    assert counted(1, "more line is", "more lines are") == "1 more line is"
    assert counted(3, "more line is", "more lines are") == "3 more lines are"


def test_a_noun_without_its_number():
    """Of a count, or of the things themselves."""
    assert (noun(1, "sheet"), noun(2, "sheet"), noun(0, "sheet")) == ("sheet", "sheets", "sheets")
    assert (noun(["a"], "sheet"), noun([], "sheet")) == ("sheet", "sheets")
    assert noun({1, 2}, "copy", "copies") == "copies"


RANGES = {
    "none": ([], ""),
    "one": ([7], "7"),
    "two neighbours": ([1, 2], "1–2"),
    "two that are none": ([1, 3], "1, 3"),
    "runs and others": ([1, 2, 3, 5, 7, 8, 38], "1–3, 5, 7–8, 38"),
}


@pytest.mark.parametrize("name", RANGES)
def test_runs_are_drawn_together(name):
    """Neighbours become a run, whatever the runs' lengths; nothing is left out."""
    numbers, said = RANGES[name]
    assert ranges(numbers) == ranges(iter(numbers)) == said
