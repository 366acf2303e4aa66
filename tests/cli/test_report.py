"""
What is said of what was read: every kind of finding in words and as JSON, and no secret in either.
"""

import json
import random

import pytest

from paperkey_alt.cli import report
from paperkey_alt.format import backup
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, group
from paperkey_alt.format.payload import File, pack
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.page import Page
from paperkey_alt.reading.text import typed

BODY = pack(File("log", b"the lamp of buoy 7 is out, and the keeper is away until Thursday"))
SET = lay_out(BODY, 4)
ROWS = (f"0 {SET.head_line}", *(f"{number} {text}" for number, text in enumerate(SET.lines, 1)))
DATA, MARK = SET.head.data_lines, SET.head.mark
LAST_YEAR = lay_out(pack(File("log", b"another body")), 4)


def other(character):
    """Another character of the alphabet."""
    return ALPHABET[ALPHABET.index(character) - 1]


def spoilt(row, *columns):
    """The row with other characters at these columns, counted from 1."""
    number, text = row.split()
    return f"{number} {''.join(other(one) if at in columns else one for at, one in enumerate(text, 1))}"


def findings(rows):
    """What is found in rows of text."""
    return recover(typed.read("\n".join(rows), "lines.txt"))


LINE = SET.lines[2]
EXCHANGED = next(at for at in range(5, 20) if LINE[at] != LINE[at + 1])

# What is done to the rows, and what is said of it then.
SAID = {
    "all is there": (
        lambda rows: rows,
        [
            (
                f"Set {MARK}, {DATA} data lines and 4 spare lines: complete, and in agreement with "
                "its digest."
            )
        ],
    ),
    "one character is wrong": (
        lambda rows: [*rows[:3], spoilt(rows[3], 7), *rows[4:]],
        [
            "  mended       1   3",
            f"  line 3: character 7: {other(LINE[6])} taken for {LINE[6]}  (lines.txt, row 4)",
        ],
    ),
    "one is missing": (
        lambda rows: [*rows[:3], rows[3][:-1], *rows[4:]],
        [f"  line 3: character 29, {LINE[-1]}, was missing  (lines.txt, row 4)"],
    ),
    "one is too many": (
        lambda rows: [*rows[:3], rows[3] + other(LINE[-1]), *rows[4:]],
        [f"  line 3: character 30, {other(LINE[-1])}, was one too many  (lines.txt, row 4)"],
    ),
    "two are exchanged": (
        lambda rows: [
            *rows[:3],
            f"3 {LINE[:EXCHANGED]}{LINE[EXCHANGED + 1]}{LINE[EXCHANGED]}{LINE[EXCHANGED + 2 :]}",
            *rows[4:],
        ],
        [
            (
                f"  line 3: characters {EXCHANGED + 1} and {EXCHANGED + 2}: "
                f"{LINE[EXCHANGED + 1]}{LINE[EXCHANGED]} taken for "
            )
        ],
    ),
    "a line cannot be read": (
        lambda rows: [*rows[:3], spoilt(rows[3], 1, 2, 3, 4), *rows[4:]],
        [
            "  wrong        1   3",
            "  line 3: characters 1–4 wrong",
            "  Spare lines stood in for line 3.",
        ],
    ),
    "two are not there": (
        lambda rows: [*rows[:2], *rows[4:]],
        ["  missing      2   2–3", "  Spare lines stood in for lines 2–3."],
    ),
    "no spare line was typed": (
        lambda rows: rows[: DATA + 1],
        [f"  not given    4   {DATA + 1}–{DATA + 4}  (spare)"],
    ),
    "too few are there": (
        lambda rows: [rows[0], *rows[6:]],
        [": not complete: 1 more line is needed (missing 1–5)."],
    ),
    "a line of last year's": (
        lambda rows: [rows[0], f"1 {LAST_YEAR.lines[0]}", *rows[2:]],
        [
            "  wrong        1   1",
            "; the check fails, and more than two characters are wrong  (lines.txt, row 2)",
        ],
    ),
    "a line that the set does not have": (
        lambda rows: [*rows, f"900 {LAST_YEAR.lines[0]}"],
        [
            "Not used:",
            (
                "  lines.txt, row 13: line 900, the check fails, and more than two characters are "
                "wrong"
            ),
        ],
    ),
}


@pytest.mark.parametrize("name", SAID)
def test_every_finding_in_words(name):
    """
    Set, counts, lines, characters and places; of the secret only characters that were given
    otherwise.
    """
    change, said = SAID[name]
    table = report.table(findings(change(list(ROWS))))
    for words in said:
        assert words in table
    assert not any(group(text[:24]).split()[0] in table for text in SET.lines)


def test_the_same_as_json():
    """Numbers, status and places; of a wrong line the columns alone."""
    rows = [
        *ROWS[:2],
        spoilt(ROWS[2], 7),
        spoilt(ROWS[3], 1, 2, 3, 4),
        *ROWS[5:],
        f"900 {LAST_YEAR.lines[0]}",
    ]
    told = json.loads(report.json_text(findings(rows)))
    (one,) = told["sets"]
    assert told["restorable"] is one["restorable"] is True
    assert (one["mark"], one["data_lines"], one["spare_lines"], one["share"], one["needed"]) == (
        MARK,
        DATA,
        4,
        None,
        0,
    )
    assert [line["status"] for line in one["lines"][:5]] == [
        "fine",
        "mended",
        "wrong",
        "missing",
        "fine",
    ]
    was, now = other(SET.lines[1][6]), SET.lines[1][6]
    assert one["lines"][1]["characters"] == [{"column": 7, "was": was, "now": now}]
    assert one["lines"][2]["characters"] == [{"column": column} for column in (1, 2, 3, 4)]
    assert [(stray["number"], stray["place"]) for stray in told["strays"]] == [
        (900, "lines.txt, row 12")
    ]


def test_what_to_type_is_named():
    """The lines that are not there, the sheet they stand on, and how many of them are enough."""
    (words,) = report.wanted(findings([ROWS[0], *ROWS[7:]]))
    assert (
        words
        == f"To complete set {MARK}: type lines 1–6 of sheet 1, or scan again; any 2 of these 6 will do."
    )
    assert report.wanted(findings(ROWS)) == []


def test_a_share_is_named():
    """Which share of which backup, in words and as JSON, and how the backup stands."""
    dealt = backup.deal(
        BODY, Terms(2, 3), sealed=False, spare=4, random_bytes=random.Random(2).randbytes
    )
    rows = [
        f"0 {dealt[0].head_line}",
        *(f"{number} {text}" for number, text in enumerate(dealt[0].lines, 1)),
    ]
    found = findings(rows)
    named = backup_characters(dealt[0].head.share.backup)
    assert f"(share 1 of 3, 2 needed, backup {named})" in report.table(found)
    assert json.loads(report.json_text(found))["sets"][0]["share"] == {
        "number": 1,
        "needed": 2,
        "of": 3,
        "backup": named,
    }
    (standing,) = backup.standings(found)
    expected = f"Backup {named}: share 1 of 3 can be read in full; 1 more would give the key back."
    assert report.standing(standing) == expected


@pytest.mark.parametrize(
    ("pages", "said"),
    [
        (1, "scan.png: no QR block and no printed line that can be read"),
        (3, "scan.png: page 2: no QR block and no printed line"),
    ],
)
def test_an_empty_page_is_named(pages, said):
    """The page of several, the file alone where it has one."""
    assert report.page(Page("scan.png", min(2, pages), pages, ())).startswith(said)
