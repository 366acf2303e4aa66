"""What the register has: every field in words and as JSON, and what is due below it."""

import datetime as dt
import json
from dataclasses import replace

import pytest

from paperkey_alt.cli import register_report
from paperkey_alt.records.entry import Entry

TODAY = dt.date(2026, 11, 25)
BARE = Entry(("DXUQJ",), None, "file", 1, TODAY, number=1)
FULL = Entry(
    ("KQ7MB", "A2B3C", "PILOT"),
    "5A2B4966F259FA1ED461D1C422E9DF7411088C8E",
    "compact, sealed",
    6,
    TODAY,
    threshold=2,
    holders=("Zoë, harbour office", "lock keeper"),
    expires=dt.date(2027, 11, 25),
    drilled=TODAY,
    drill="gives the key back",
    destroyed={"A2B3C": TODAY},
    notes={"PILOT": "in the pilot's safe"},
    name="Saltmarrow Buoy Keepers",
    copies=(TODAY, dt.date(2026, 11, 26)),
    number=2,
)


def test_in_words():
    """A paragraph each; what is not known is not said."""
    told = register_report.table([BARE, FULL], {1: ("Rehearse it.",)}, {2: ("Old mail needs it.",)})
    bare, full = told.split("\n\n")
    assert bare == "DXUQJ: file, 1 sheet, printed 2026-11-25\n  DUE: Rehearse it."
    assert full.splitlines() == [
        (
            "KQ7MB, A2B3C, PILOT: compact, sealed, 6 sheets, 3 shares, any 2 give it back, "
            "printed 2026-11-25"
        ),
        "  printed again, a copy: 2026-11-25, 2026-11-26",
        "  of Saltmarrow Buoy Keepers",
        "  key 5A2B4966F259FA1ED461D1C422E9DF7411088C8E, expires 2027-11-25",
        "  held by Zoë, harbour office, lock keeper",
        "  PILOT kept at: in the pilot's safe",
        "  rehearsed 2026-11-25: gives the key back",
        "  A2B3C destroyed 2026-11-25",
        "  KEEP: Old mail needs it.",
    ]


@pytest.mark.parametrize(
    ("kind", "carried"),
    [
        ("file, sealed", "file"),
        ("revocation", "revocation"),
        ("certificate", "certificate"),
        ("private key, compact, sealed", "key"),
        ("private key", "key"),
    ],
)
def test_what_a_rehearsal_gave_back(kind, carried):
    """It is called what it is, though what is stored speaks of a key."""
    rehearsed = replace(BARE, kind=kind, drilled=TODAY, drill="gives the key back")
    row = register_report.table([rehearsed], {}, {}).splitlines()[1]
    assert row == f"  rehearsed 2026-11-25: gives the {carried} back"
    failed = replace(rehearsed, drill="does not give the key back")
    assert f"does not give the {carried} back" in register_report.table([failed], {}, {})


def test_a_key_without_an_end():
    """Its fingerprint stands alone."""
    entry = Entry(("DXUQJ",), "AB" * 20, "whole key", 2, TODAY, number=1)
    assert f"  key {'AB' * 20}" in register_report.table([entry], {}, {}).splitlines()


def test_what_is_noted_of_a_single_set():
    """Its mark is not said again."""
    entry = replace(BARE, destroyed={"DXUQJ": TODAY}, notes={"DXUQJ": "in the lamp room"})
    assert register_report.table([entry], {}, {}).splitlines()[1:] == [
        "  kept at: in the lamp room",
        "  destroyed 2026-11-25",
    ]


def test_an_empty_register():
    """It is said to be empty."""
    assert register_report.table([], {}, {}) == "No backup is in the register."


def test_as_json():
    """The day, and each backup with its fields and what is due."""
    due, keep = {1: ("Rehearse it.",)}, {2: ("Old mail needs it.",)}
    told = json.loads(register_report.json_text([BARE, FULL], due, keep, TODAY))
    assert told["today"] == "2026-11-25"
    assert [backup["due"] for backup in told["backups"]] == [["Rehearse it."], []]
    assert [backup["keep"] for backup in told["backups"]] == [[], ["Old mail needs it."]]
    assert told["backups"][1]["holders"] == ["Zoë, harbour office", "lock keeper"]
    assert told["backups"][1]["expires"] == "2027-11-25"
