"""
The words on a sheet: true for every kind of print, within their room, and with the cautions that
belong to it.
"""

import datetime as dt
import random
from functools import cache
from itertools import product

import pytest

from paperkey_alt.format import backup
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import flagged
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import Compact, File, Lean, ReducedPart, RsaFile, SecretPart, Whole
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys import Extract
from paperkey_alt.sheet import draw, layout, letter, words

NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
CREATED = dt.datetime(2026, 11, 25, 8, tzinfo=dt.UTC)
PAYLOADS = {
    "lean": Lean((SecretPart(bytes(20), b"x"),)),
    "whole": Whole(b"x"),
    "compact": Compact((ReducedPart(1, b"x", b"\0", bytes(8)),)),
    "file": File("a file", b"x", bytes(16)),
    "RSA file": RsaFile("k.pem", 1, 2, 65537, 3, 5),
}


def subject(
    payload,
    *,
    protected=True,
    created=CREATED,
    name="Saltmarrow Buoy Keepers <notices@saltmarrow.example>",
):
    """Something to print."""
    return Extract(payload, "OpenPGP key", name, "AB" * 20, created, protected)


@cache
def line_sets(length, *, sealed=False, shared=False):
    """One set, or those of a backup."""
    body, choose = random.Random(1).randbytes(length), random.Random(2)
    spare = spare_count(-(-length // 15))
    if shared:
        return backup.split(
            flagged(body, sealed=sealed), Terms(16, 16), spare=spare, random_bytes=choose.randbytes
        )
    return (lay_out(body, spare, sealed=sealed),)


@pytest.mark.usefixtures("symbols_blank")
@pytest.mark.parametrize("paper", layout.PAPERS)
@pytest.mark.parametrize(
    ("kind", "sealed", "shared"), list(product(PAYLOADS, [False, True], [False, True]))
)
def test_every_foot_and_letter_fits(kind, sealed, shared, paper):
    """
    Recipe, cautions and letter have room on every paper, for the longest numbers too; nothing is
    cut.
    """
    longest = 12_000 if kind in ("whole", "file") and not shared else 9_000
    line_set = line_sets(longest, sealed=sealed, shared=shared)[-1]
    caption = words.caption(
        subject(PAYLOADS[kind], protected=False), line_set, now=NOW, anonymous=False
    )
    pages = draw.draw(
        line_set, caption, paper=layout.PAPERS[paper], letter=letter.letter(line_set.head, caption)
    )
    assert pages.startswith(b"%PDF")


def test_a_clock_before_the_keys_creation_is_said():
    """
    The date on the sheet is then wrong, and the sheet says so; otherwise it says nothing of the
    clock.
    """
    (line_set,) = line_sets(100)
    early = words.caption(
        subject(PAYLOADS["lean"]),
        line_set,
        now=dt.datetime(1970, 1, 2, tzinfo=dt.UTC),
        anonymous=False,
    )
    assert "clock" in early.notes[0]
    assert "2026-11-25" in early.notes[0]
    assert words.caption(subject(PAYLOADS["lean"]), line_set, now=NOW, anonymous=False).notes == ()
    assert (
        words.caption(
            subject(PAYLOADS["file"], created=None), line_set, now=NOW, anonymous=False
        ).notes
        == ()
    )


@pytest.mark.parametrize(
    ("protected", "sealed", "shared", "title", "caution"),
    [
        (True, False, False, "protected by its own passphrase", "the key's passphrase"),
        (False, False, False, "NOT PROTECTED", "NO PASSPHRASE"),
        (False, True, False, "sealed with a passphrase", "the passphrase of its seal"),
        (True, True, False, "sealed with a passphrase", "the passphrase of its seal"),
        (False, False, True, "Share 1 of 16", "never lie beside another"),
    ],
)
def test_the_title_and_the_first_caution_say_what_protects(
    protected, sealed, shared, title, caution
):
    """What an owner or a finder must know first."""
    line_set = line_sets(100, sealed=sealed, shared=shared)[0]
    made = words.caption(
        subject(PAYLOADS["lean"], protected=protected), line_set, now=NOW, anonymous=False
    )
    assert title in made.title
    assert caution in made.cautions[0]


def test_anonymous_sheets_have_no_user_id():
    """Neither the sheet nor the head of the text file nor the letter names the owner."""
    line_set = line_sets(100, shared=True)[0]
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, now=NOW, anonymous=True)
    sections = letter.letter(line_set.head, caption).sections
    shown = " ".join(
        [*words.remarks(line_set, caption), *(part for section in sections for part in section)]
    )
    assert "Buoy" not in shown
    assert caption.user_id is None


def test_the_recipe_has_the_numbers_of_the_set():
    """
    How many lines, how many bytes, how many to cut off, and the groups where there are several.
    """
    (line_set,) = line_sets(100)
    recipe = " ".join(
        words.caption(subject(PAYLOADS["lean"]), line_set, now=NOW, anonymous=False).recipe
    )
    assert "lines 1 to 7" in recipe
    assert "105 bytes, cut off the last 5" in recipe
    assert "--public" in recipe
    (large,) = line_sets(9_000)
    recipe = " ".join(
        words.caption(subject(PAYLOADS["whole"]), large, now=NOW, anonymous=False).recipe
    )
    assert "3 groups" in recipe
    assert "--public" not in recipe


def test_only_the_holder_of_a_share_gets_a_letter():
    """A backup in one set has none."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, now=NOW, anonymous=False)
    assert letter.letter(line_set.head, caption) is None


def test_what_was_printed_is_told():
    """Size, what may be lost, notes, the first caution, and what to do next."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, now=NOW, anonymous=False)
    told = "\n".join(words.printed([line_set], ["A note."], caption, 1))
    for part in (
        "1 sheet, set mark",
        "any 4 lines may be lost",
        "A note.",
        "Caution: Who has this sheet",
        "ragleaf check",
    ):
        assert part in told
