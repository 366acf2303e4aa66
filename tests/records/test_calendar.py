"""
The calendar of what is due, by RFC 5545: held against its rules on lines here, and read by
icalendar, which knows nothing of us.
"""

import datetime as dt
from dataclasses import replace

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.records import calendar
from paperkey_alt.records.calendar import fold
from paperkey_alt.records.entry import GIVES, GIVES_NOT, Entry

NOW = dt.datetime(2026, 11, 25, 23, 30, tzinfo=dt.timezone(dt.timedelta(hours=-5)))
TODAY = NOW.date()
KEY = "5A2B4966F259FA1ED461D1C422E9DF7411088C8E"
NAME = "Saltmarrow Buoy Keepers; bell, gong & light <notices@saltmarrow.example>"


def entry(number=1, mark="KQ7MB", **others):
    """An entry printed and rehearsed today."""
    known = {"fingerprint": KEY, "kind": "secret part", "sheets": 2, "printed": TODAY}
    return Entry(
        marks=(mark,),
        number=number,
        **(known | {"drilled": TODAY, "drill": GIVES, "name": NAME} | others),
    )


def events(*entries, now=NOW):
    """The events of the calendar, as icalendar reads them."""
    read = icalendar.Calendar.from_ical(calendar.calendar(entries, now))
    assert read["VERSION"] == "2.0"
    assert read["PRODID"]
    assert not read.errors
    assert not any(event.errors for event in read.walk("VEVENT"))
    return list(read.walk("VEVENT"))


def test_a_rehearsal():
    """A whole day a year after the last one, yearly from then; the name comes back as it was."""
    (event,) = events(entry())
    assert event["DTSTART"].dt == dt.date(2027, 11, 25)
    assert event["RRULE"] == {"FREQ": ["YEARLY"]}
    assert event["SUMMARY"] == f"Rehearse the sheets: {NAME} (KQ7MB)"
    assert event["DTSTAMP"].dt == dt.datetime(2026, 11, 26, 4, 30, tzinfo=dt.UTC)


def test_a_rehearsal_that_never_was():
    """It is due from the day of the print on."""
    (event,) = events(entry(drilled=None, drill=None))
    assert event["DTSTART"].dt == TODAY


def test_a_rehearsal_on_the_29th_of_february():
    """That day comes every four years; the one before it comes every year."""
    (event,) = events(entry(printed=dt.date(2028, 2, 29), drilled=None, drill=None))
    assert event["DTSTART"].dt == dt.date(2028, 2, 28)


def test_the_end_of_a_key():
    """60 days before it, once."""
    renewal, _ = events(entry(expires=dt.date(2027, 11, 25)))
    assert renewal["DTSTART"].dt == dt.date(2027, 9, 26)
    assert "RRULE" not in renewal
    assert "expires on 2027-11-25" in renewal["DESCRIPTION"]


def test_a_rehearsal_that_failed():
    """To print anew is due on that day, once."""
    (event,) = events(entry(drill=GIVES_NOT))
    assert (event["DTSTART"].dt, event["SUMMARY"][:10]) == (TODAY, "Print new ")
    assert "RRULE" not in event


def test_old_sheets():
    """To destroy them is due since what replaces them was rehearsed; a rehearsal of them is not."""
    old = entry(contents={KEY: "aa"})
    new = entry(2, "DXUQJ", contents={KEY: "bb"}, drilled=TODAY)
    destroy, rehearse = events(old, new)
    assert destroy["SUMMARY"] == f"Destroy old sheets: {NAME} (KQ7MB)"
    assert rehearse["SUMMARY"].endswith("(DXUQJ)")
    first, _ = events(old, replace(new, drilled=None, drill=None))
    assert first["SUMMARY"].startswith("Rehearse")


def test_an_event_is_known_again():
    """
    What is noted later changes no UID; another day, another kind of task or other sheets have
    their own.
    """
    one = entry(expires=dt.date(2027, 11, 25))
    later = replace(
        one, drilled=dt.date(2027, 11, 20), notes={"KQ7MB": "chest"}, holders=("pilot",)
    )
    uids = [event["UID"] for event in events(one)]
    assert [event["UID"] for event in events(later, now=NOW + dt.timedelta(days=360))] == uids
    assert len({*uids, *(event["UID"] for event in events(replace(one, marks=("DXUQJ",))))}) == 4


def test_holders_and_places_are_not_in_it():
    """A calendar is copied to telephones and servers."""
    data = calendar.calendar([entry(holders=("pilot",), notes={"KQ7MB": "oak chest"})], NOW)
    assert b"pilot" not in data
    assert b"chest" not in data


def test_nothing_to_do():
    """There is no empty calendar (RFC 5545 §3.6)."""
    assert calendar.calendar([], NOW) is None
    assert calendar.calendar([entry(destroyed={"KQ7MB": TODAY})], NOW) is None


def unfolded(data):
    """What RFC 5545 §3.1 says of lines, undone."""
    return data.replace(b"\r\n ", b"").removesuffix(b"\r\n").decode()


@given(st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=300))
def test_lines_are_folded(row):
    """CRLF at the end, 75 octets at most, each whole in UTF-8; unfolded they are the row."""
    lines = fold(row).split(b"\r\n")
    assert lines[-1] == b""
    assert all(len(line) <= 75 and line.decode() is not None for line in lines)
    assert all(line.startswith(b" ") for line in lines[1:-1])
    assert unfolded(fold(row)) == row


@pytest.mark.long
@given(st.text(max_size=120))
def test_any_name(name):
    """It is read as it is, but for what no text may have: each such character is a blank."""
    data = calendar.calendar([entry(name=name)], NOW)
    assert b"\n" not in data.replace(b"\r\n", b"")
    (event,) = events(entry(name=name))
    whole = f"Rehearse the sheets: {name or 'secret part'} (KQ7MB)"
    rows = whole.splitlines()
    shown = ("".join(c if c.isprintable() else " " for c in row) for row in rows)
    assert event["SUMMARY"] == "\n".join(shown)


@pytest.mark.parametrize(
    ("content", "value"),
    [("a,b;c\\d", "a\\,b\\;c\\\\d"), ("a\r\nb\u2028c", "a\\nb\\nc"), ("\x1b[2J\t\u202e", " [2J  ")],
)
def test_text_is_escaped(content, value):
    """RFC 5545 §3.3.11; a control character or a change of direction is a blank."""
    assert calendar.text(content) == value
