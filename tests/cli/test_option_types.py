"""What the text of an option stands for, and what is said where it stands for nothing."""

import datetime as dt

import click
import pytest

from paperkey_alt.cli import option_types
from paperkey_alt.sheet.layout import Spare


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("25%", Spare(25)),
        ("0%", Spare(0)),
        ("400%", Spare(400)),
        ("50", Spare(50)),
        ("sheet", Spare(None)),
    ],
)
def test_spare_lines(text, meant):
    """A percentage, with or without its sign, or as many as a lost sheet costs."""
    assert option_types.spare(text) == meant


@pytest.mark.parametrize("text", ["401%", "many", "", "%", "-1%", "25.5%", "sheets"])
def test_wrong_spare_lines(text):
    """The bounds are named."""
    with pytest.raises(click.BadParameter, match="give 0% to 400%, or sheet"):
        option_types.spare(text)


@pytest.mark.parametrize(("text", "meant"), [("2", 2), ("16", 16), ("05", 5)])
def test_numbers_of_shares(text, meant):
    """From the fewest to the most that a secret is split into."""
    assert option_types.share_count(text) == meant


@pytest.mark.parametrize("text", ["1", "17", "0", "-2", "two", "", "2.5", "9" * 5000])
def test_wrong_numbers_of_shares(text):
    """The bounds are named."""
    with pytest.raises(click.BadParameter, match="give a number from 2 to 16"):
        option_types.share_count(text)


def test_a_mark_and_names():
    """The mark in capitals; names without the blanks around them, whatever else is in them."""
    assert option_types.mark_and_names("kq7mb=pilot, lock keeper = mate") == (
        "KQ7MB",
        ("pilot", "lock keeper = mate"),
    )


def test_a_mark_and_a_date():
    """The date as ISO 8601 has it."""
    assert option_types.mark_and_date(" kq7mb =2027-11-25") == ("KQ7MB", dt.date(2027, 11, 25))


@pytest.mark.parametrize("text", ["kq7mb=soon", "kq7mb=2027-02-30", "kq7mb=", "kq7mb=25.11.2027"])
def test_a_wrong_date(text):
    """It is named, with one that would do for this mark."""
    with pytest.raises(click.BadParameter, match="is not a date; write KQ7MB=2027-11-25"):
        option_types.mark_and_date(text)


@pytest.mark.parametrize(
    "split",
    [option_types.mark_and_names, option_types.mark_and_date, option_types.mark_and_note],
)
def test_no_mark(split):
    """What is missing is named."""
    with pytest.raises(click.BadParameter, match="write the set mark, = and the rest"):
        split("pilot")


def test_a_mark_alone():
    """In capitals, as it is printed."""
    assert option_types.mark(" kq7mb ") == "KQ7MB"


def test_a_mark_and_a_note():
    """The text without the blanks around it, up to 200 characters; it may be empty."""
    assert option_types.mark_and_note("kq7mb= in the lamp room ") == ("KQ7MB", "in the lamp room")
    assert option_types.mark_and_note("kq7mb=") == ("KQ7MB", "")
    assert option_types.mark_and_note(f"kq7mb={'x' * 200}") == ("KQ7MB", "x" * 200)
    with pytest.raises(click.BadParameter, match="up to 200 characters"):
        option_types.mark_and_note(f"kq7mb={'x' * 201}")
