"""
What is said of what was read: every kind of finding in words and as JSON, and no secret in either.
"""

import json
import random
from dataclasses import replace
from types import SimpleNamespace

import pytest

from paperkey_alt.cli import report
from paperkey_alt.errors import Place
from paperkey_alt.format import backup
from paperkey_alt.format.backup import Joined, Standing, Terms
from paperkey_alt.format.body import PlainBody
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, group
from paperkey_alt.format.payload import File, pack
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.page import Page
from paperkey_alt.reading.text import typed

BODY = pack(
    File("log", b"the lamp of buoy 7 is out, and the keeper is away until Thursday", bytes(16))
)
SET = lay_out(BODY, 4)
ROWS = (f"0 {SET.head_line}", *(f"{number} {text}" for number, text in enumerate(SET.lines, 1)))
DATA, MARK = SET.head.data_lines, SET.head.mark
LAST_YEAR = lay_out(pack(File("log", b"another body", bytes(16))), 4)


def other(character):
    """Another character of the alphabet."""
    return ALPHABET[ALPHABET.index(character) - 1]


def spoilt(row, *columns):
    """The row with other characters at these columns, counted from 1."""
    number, text = row.split()
    changed = "".join(other(one) if at in columns else one for at, one in enumerate(text, 1))
    return f"{number} {changed}"


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
                f"Set {MARK}, {DATA} data lines and 4 spare lines: complete, and it agrees with "
                "its digest."
            )
        ],
    ),
    "one character is wrong": (
        lambda rows: [*rows[:3], spoilt(rows[3], 7), *rows[4:]],
        [
            "  mended       1   3",
            (
                f"  line 3: character 7: read as {other(LINE[6])}, corrected to {LINE[6]}  "
                "(lines.txt, row 4)"
            ),
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
                f"read as {LINE[EXCHANGED + 1]}{LINE[EXCHANGED]}, corrected to "
            )
        ],
    ),
    "a line cannot be read": (
        lambda rows: [*rows[:3], spoilt(rows[3], 1, 2, 3, 4), *rows[4:]],
        [
            "  wrong        1   3",
            "  line 3: characters 1–4 wrong",
            "  Spare lines replaced line 3.",
        ],
    ),
    "two are not there": (
        lambda rows: [*rows[:2], *rows[4:]],
        ["  missing      2   2–3", "  Spare lines replaced lines 2–3."],
    ),
    "no spare line was typed": (
        lambda rows: rows[: DATA + 1],
        [f"  not read     4   {DATA + 1}–{DATA + 4}  (spare)"],
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
                "  lines.txt, row 14: line 900, the check fails, and more than two characters are "
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
    table = report.table(findings(change(list(ROWS))), characters=True)
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
    told = json.loads(report.json_text(findings(rows), characters=True))
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
        (900, "lines.txt, row 13")
    ]


PLACES = {
    "one character is wrong": "  line 3: character 7 mended  (lines.txt, row 4)",
    "one is missing": "  line 3: character 29 was missing  (lines.txt, row 4)",
    "one is too many": "  line 3: character 30 was one too many  (lines.txt, row 4)",
    "two are exchanged": f"  line 3: characters {EXCHANGED + 1} and {EXCHANGED + 2} were swapped",
}


@pytest.mark.parametrize("name", PLACES)
def test_unless_asked_for_no_character_is_shown(name):
    """Mended characters are named by place, in words and as JSON: nothing of the secret is told."""
    found = findings(SAID[name][0](list(ROWS)))
    assert PLACES[name] in report.table(found)
    assert " corrected to " not in report.table(found)
    (told,) = json.loads(report.json_text(found))["sets"]
    mended = [line["characters"] for line in told["lines"] if line["status"] == "mended"]
    assert mended
    assert all(set(character) == {"column"} for line in mended for character in line)


def test_characters_through_the_command(tmp_path, desk):
    """`check` shows mended characters with --characters alone."""
    desk.write("l.txt", "\n".join([*ROWS[:3], spoilt(ROWS[3], 7), *ROWS[4:]]))
    words = f"character 7: read as {other(LINE[6])}, corrected to {LINE[6]}"
    for extra in ((), ("--json",)):
        assert "corrected to" not in desk.ok("check", "l.txt", *extra).out
        assert '"now"' not in desk.ok("check", "l.txt", *extra).out
    assert words in desk.ok("check", "l.txt", "--characters").out
    assert f'"now": "{LINE[6]}"' in desk.ok("check", "l.txt", "--characters", "--json").out


def test_a_computed_head_line_is_said():
    """In the table, and in JSON of every set."""
    table = report.table(findings(ROWS[1:]))
    assert "  Line 0 was not read; it was computed from the other lines." in table.splitlines()
    assert "Line 0" not in report.table(findings(ROWS))
    for rows, computed in ((ROWS, False), (ROWS[1:], True)):
        (one,) = json.loads(report.json_text(findings(rows)))["sets"]
        assert one["computed"] is computed


def test_sets_that_were_not_used_are_said():
    """Each with its set mark and the reason, and none called a forgery."""
    joined = Joined(PlainBody(b"x"), ("AAAAA",), ("BBBBB",), ("CCCCC",))
    apart, left_out, strange = report.not_joined(joined)
    assert apart == (
        "Set AAAAA was not used: it does not fit the sets that the secret was joined from. "
        "Ragleaf cannot tell which of them somebody altered."
    )
    assert left_out == "Set BBBBB was left out: it contradicts the set that you named."
    assert strange == "Set CCCCC was left out: it is not a share as Ragleaf prints them."
    standing = Standing("KMJUB", (1, 2), 2, 3, ("BBBBB",), ("CCCCC",))
    assert report.not_joined(standing) == [left_out, strange]
    assert report.not_joined(Joined(PlainBody(b"x"))) == []


def test_what_to_type_is_named():
    """The lines that are not there, the sheet they stand on, and how many of them are enough."""
    (words,) = report.wanted(findings([ROWS[0], *ROWS[7:]]))
    enough = "type lines 1–6 of sheet 1, or scan again; any 2 of these 6 will do."
    assert words == f"To complete set {MARK}: {enough}"
    assert report.wanted(findings(ROWS)) == []


def test_a_share_is_named():
    """Which share of which backup, in words and as JSON, and how the backup stands."""
    line_sets = backup.split(
        PlainBody(BODY), Terms(2, 3), spare=4, random_bytes=random.Random(2).randbytes
    )
    rows = [
        f"0 {line_sets[0].head_line}",
        *(f"{number} {text}" for number, text in enumerate(line_sets[0].lines, 1)),
    ]
    found = findings(rows)
    named = backup_characters(line_sets[0].head.share.backup)
    assert f"(share 1 of 3, 2 needed, backup {named})" in report.table(found)
    assert json.loads(report.json_text(found))["sets"][0]["share"] == {
        "number": 1,
        "needed": 2,
        "of": 3,
        "backup": named,
    }
    (standing,) = backup.standings(found)
    expected = f"Backup {named}: share 1 of 3 can be read in full; you need 1 more."
    assert report.standing(standing) == expected


@pytest.mark.parametrize(
    ("pages", "said"),
    [
        (1, "scan.png: no lines found on this page; a letter, or a page of another kind, has none"),
        (3, "scan.png: page 2: no lines found on this page"),
    ],
)
def test_an_empty_page_is_named(pages, said):
    """The page of several, the file alone where it has one."""
    assert report.page(Page("scan.png", min(2, pages), pages, ())).startswith(said)


def read_page(blocks, rows, pages=1, unclear=(), **said):
    """A page with QR blocks and printed rows that carry these lines, and rows that are unclear."""
    shown = [(number, "A" * 29) for number in rows] + [(number, None) for number in unclear]
    return Page(
        "scan.png",
        1,
        pages,
        (),
        tuple(
            SimpleNamespace(lines=[(0, ""), *((number, "") for number in block)])
            for block in blocks
        ),
        (SimpleNamespace(rows=[SimpleNamespace(number=at, chosen=text) for at, text in shown]),),
        **said,
    )


PAGES = {
    "blocks alone": (read_page([range(1, 13), range(13, 25)], []), "2 QR blocks with lines 1–24"),
    "one block": (read_page([range(1, 13)], [5]), "1 QR block with lines 1–12"),
    "rows alone": (read_page([], [0, 1, 2, 4]), "printed lines 0–2, 4"),
    "one row beside a block": (
        read_page([range(1, 13)], [12, 13]),
        "1 QR block with lines 1–12 and printed line 13",
    ),
}


PAGES["rows that the check agrees with, and others"] = (
    read_page([], [0, 1, 2], unclear=[3, 4, 7]),
    "printed lines 0–2 and 3 printed rows not clear (3–4, 7)",
)
PAGES["rows of which none is clear"] = (
    read_page([], [], unclear=range(54)),
    "no lines found on this page; a letter, or a page of another kind, has none",
)


@pytest.mark.parametrize("name", PAGES)
def test_what_was_read_of_a_page(name):
    """Blocks and the lines in them; printed rows that no block carries."""
    page, said = PAGES[name]
    assert report.page(page) == f"scan.png: {said}"


def test_what_is_said_of_a_picture():
    """That its file ends too early, and what was measured; nothing of a picture without fault."""
    assert report.hints(read_page([], [7])) == []
    told = report.hints(read_page([], [7], is_cut_short=True, hints=("It is blurred.",)))
    assert told[0].startswith("  The file ends too early")
    assert told[1:] == ["  It is blurred."]


def test_the_verdict_on_a_page():
    """Of each set that lines of the page are of: enough, or how many more; of others nothing."""
    page = Page("lines.txt", 0, 0, ())
    found = findings(ROWS).sets
    mark = found[0].head.mark
    at_page = Page("lines.txt", 1, 1, ())
    assert report.verdict(found, page) == ""
    places = (Place("lines.txt", 1),)
    (one,) = found
    placed = [replace(one, lines=tuple(replace(line, places=places) for line in one.lines))]
    assert report.verdict(placed, at_page) == f"set {mark}: enough was read"
    short = [replace(one, body=None, needed=12) for one in placed]
    assert report.verdict(short, at_page) == f"set {mark}: 12 more lines needed"


def test_a_page_of_several_is_numbered():
    """Which of the file's pages it is."""
    page = read_page([], [7], pages=3)
    assert report.page(page) == "scan.png: page 1: printed line 7"


def test_a_wrong_number_is_named():
    """The line is the one that its check says."""
    rows = [*ROWS[:3], f"30 {LINE}", *ROWS[4:]]
    assert "  line 3: number: read as 30, corrected to 3  (lines.txt, row 4)" in report.table(
        findings(rows)
    )


def test_lines_to_type_are_named_for_each_sheet():
    """Where the lines that are not there stand on more than one sheet."""
    large = lay_out(random.Random(3).randbytes(184 * 15), 46)
    rows = [f"0 {large.head_line}", *(f"{at} {text}" for at, text in enumerate(large.lines, 1))]
    (words,) = report.wanted(findings(rows[:100]))
    assert ": type lines 100–120 of sheet 1, lines 121–184 of sheet 2, or scan again" in words
