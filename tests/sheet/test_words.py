"""
The words on a sheet: true for every kind of print, within their room, and with the cautions that
belong to it.
"""

import datetime as dt
import random
import textwrap
from dataclasses import replace
from functools import cache
from itertools import product

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from paperkey_alt.format import backup
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import flagged
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import Compact, File, Lean, ReducedPart, RsaFile, SecretPart, Whole
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys import Extract, Lack, Sort
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


LACKS = tuple(Lack(f"subkey {at:016X}", is_stub=at % 2 == 0) for at in range(255))
# What a sheet lacks → what its head says of it.
LACKING = {
    (): (),
    (Lack("primary key", is_stub=True),): (
        "Not here: the secret of the primary key (the file had a stub).",
    ),
    (Lack("subkey 5A2B4966AD6AD0D5", is_stub=False),): (
        "Not here: the secret of the subkey 5A2B4966AD6AD0D5 (only public in the file).",
    ),
    LACKS[:3]: ("Not every secret is here.",),
    LACKS: ("Not every secret is here.",),
}


@pytest.mark.parametrize("lacks", LACKING)
def test_the_head_says_what_is_not_here(lacks):
    """Which secrets are not on the sheets, and why, or at least that some are not."""
    (line_set,) = line_sets(100)
    made = replace(subject(PAYLOADS["lean"]), lacks=lacks)
    assert words.caption(made, line_set, sheets=1, now=NOW, anonymous=True).notes == LACKING[lacks]


@pytest.mark.long
@pytest.mark.usefixtures("symbols_blank")
@pytest.mark.parametrize("paper", layout.PAPERS)
@pytest.mark.parametrize("sort", Sort)
@pytest.mark.parametrize("lacks", [(), LACKS[1:2]])
def test_the_longest_words_fit(lacks, sort, paper):
    """
    The longest fingerprint and name, every state of protection, a clock that is wrong: nothing
    raises, whatever is said beside it.
    """
    states = product([False, True], repeat=4)
    for sealed, shared, protected, own in states:
        line_set = line_sets(100, sealed=sealed, shared=shared)[-1]
        made = replace(
            subject(
                PAYLOADS["compact"], protected=protected, name="{潮}\N{SAILBOAT}\U0001f30a" * 25
            ),
            what="OpenPGP key, compact",
            fingerprint="AB" * 32,
            sort=sort,
            seal_is_own=own,
            lacks=lacks,
        )
        early = dt.datetime(1970, 1, 2, tzinfo=dt.timezone(dt.timedelta(hours=-9, minutes=-30)))
        caption = words.caption(made, line_set, sheets=1, now=early, anonymous=False)
        made_letter = letter.letter(line_set.head, caption)
        draw.draw(line_set, caption, paper=layout.PAPERS[paper], letter=made_letter)


SORTS = {Sort.OPENPGP_KEY: "key", Sort.PRIVATE_KEY: "key", Sort.FILE: "file"}


@pytest.mark.parametrize("sort", SORTS)
def test_a_file_is_called_a_file(sort):
    """Title, cautions and letter of a word list say file and never key; of a key they say key."""
    other = "key" if SORTS[sort] == "file" else "file"
    for sealed, shared in product([False, True], [False, True]):
        line_set = line_sets(100, sealed=sealed, shared=shared)[0]
        made = replace(
            subject(PAYLOADS["file"], protected=False, created=None, name="words.txt"),
            what="A file" if sort is Sort.FILE else "Private key",
            fingerprint=None,
            sort=sort,
        )
        caption = words.caption(made, line_set, sheets=1, now=NOW, anonymous=False)
        to_holder = letter.letter(line_set.head, caption)
        sections = to_holder.sections if to_holder else ()
        told = [
            caption.title,
            *caption.cautions,
            *words.of_print([words.Printed([line_set], caption, 1, protected=True)]),
        ]
        told = " ".join([*told, *(text for section in sections for text in section)]).lower()
        assert SORTS[sort] in told
        assert other not in told.replace("erase the files", "").replace("words.txt", "")


def test_the_letter_says_what_the_loss_of_a_share_means():
    """Where every share is needed, the others are not enough without it."""
    line_set = line_sets(100, shared=True)[0]
    made = subject(PAYLOADS["lean"])
    caption = words.caption(made, line_set, sheets=1, now=NOW, anonymous=False)

    def told(threshold):
        share = replace(line_set.head.share, threshold=threshold, count=3)
        sections = letter.letter(replace(line_set.head, share=share), caption).sections
        return " ".join(text for _, text in sections)

    assert "can still give the key back" in told(2)
    assert "do not give the key back without it" in told(3)
    assert "can still give" not in told(3)


@pytest.mark.parametrize(("kind", "numbers"), [("compact", True), ("lean", False)])
def test_the_sheet_says_what_the_restorer_gives(kind, numbers):
    """Of compact sheets it gives numbers and no key file."""
    (line_set,) = line_sets(100)
    made = subject(PAYLOADS[kind])
    caption = words.caption(made, line_set, sheets=1, now=NOW, anonymous=False)
    assert ("rescue.py (numbers only)" in caption.bring_back[2]) is numbers


def test_a_certificate_that_is_printed_too_is_scanned_too():
    """The first step is of all sheets, and the command does not name a file of it."""
    (line_set,) = line_sets(100)
    made = subject(PAYLOADS["compact"])
    caption = words.caption(made, line_set, sheets=1, now=NOW, anonymous=False, certificate="ABCDE")
    assert "Scan all sheets" in caption.bring_back[2]
    assert "--public" not in caption.bring_back[2]


def test_a_revocation_is_recommended_where_there_can_be_one():
    """And nowhere else: not for a file, nor for a key that carries one."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False)
    told = {
        can: " ".join(
            words.of_print(
                [words.Printed([line_set], caption, 1, protected=True)], is_revocable=can
            )
        )
        for can in (False, True)
    }
    assert "revocation" in told[True]
    assert "revocation" not in told[False]


@pytest.mark.long
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
        subject(PAYLOADS[kind], protected=False), line_set, sheets=12, now=NOW, anonymous=False
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
        sheets=1,
        now=dt.datetime(1970, 1, 2, tzinfo=dt.UTC),
        anonymous=False,
    )
    assert "clock" in early.notes[0]
    assert "2026-11-25" in early.notes[0]
    assert (
        words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False).notes
        == ()
    )
    assert (
        words.caption(
            subject(PAYLOADS["file"], created=None), line_set, sheets=1, now=NOW, anonymous=False
        ).notes
        == ()
    )


@pytest.mark.parametrize(
    ("protected", "sealed", "shared", "title", "caution"),
    [
        (True, False, False, "protected by its own passphrase", "that the key had on 2026"),
        (False, False, False, "NOT PROTECTED", "NO PASSPHRASE"),
        (False, True, False, "sealed with a passphrase", "the passphrase of the seal"),
        (True, True, False, "sealed with a passphrase", "the passphrase of the seal"),
        (False, False, True, "Share 1 of 16", "Keep no two shares together"),
    ],
)
def test_the_title_and_the_first_caution_say_what_protects(
    protected, sealed, shared, title, caution
):
    """What an owner or a finder must know first."""
    line_set = line_sets(100, sealed=sealed, shared=shared)[0]
    made = words.caption(
        subject(PAYLOADS["lean"], protected=protected), line_set, sheets=1, now=NOW, anonymous=False
    )
    assert title in made.title
    assert caution in " ".join((*made.bring_back, made.cautions[0]))


def test_a_key_of_which_some_is_under_a_passphrase():
    """
    It is not called unprotected nor protected; its passphrase is needed, of a sealed print too, and
    has a blank to say where it is kept.
    """
    extract = replace(subject(PAYLOADS["lean"], protected=False), partly_protected=True)
    made = [
        words.caption(extract, line_sets(100, sealed=sealed)[0], sheets=1, now=NOW, anonymous=False)
        for sealed in (False, True)
    ]
    assert "PARTLY UNPROTECTED" in made[0].title
    assert made[0].cautions[0].startswith("NOT EVERY SECRET OF THIS KEY IS UNDER A PASSPHRASE")
    for caption in made:
        told = " ".join(caption.bring_back)
        assert "the passphrase that the key had on 2026-11-25" in told
        assert "No passphrase is needed" not in told
        assert "Where the passphrase is kept:" in caption.blanks
    (sealed,) = line_sets(100, sealed=True)
    assert words.unlocked(extract, sealed) is None
    assert "those that are not" in (words.unlocked(extract, line_sets(100)[0]) or "")


def test_anonymous_sheets_have_no_user_id():
    """Neither the sheet nor the head of the text file nor the letter names the owner."""
    line_set = line_sets(100, shared=True)[0]
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=True)
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
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False)
    recipe = " ".join((*caption.recipe, *caption.bring_back))
    assert "lines 1 to 7" in recipe
    assert "105 bytes. Leave out the last 5." in recipe
    assert "--public" in recipe
    (large,) = line_sets(9_000)
    caption = words.caption(subject(PAYLOADS["whole"]), large, sheets=1, now=NOW, anonymous=False)
    recipe = " ".join((*caption.recipe, *caption.bring_back))
    assert "3 groups" in recipe
    assert "--public" not in recipe


def test_only_the_holder_of_a_share_gets_a_letter():
    """A backup in one set has none."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False)
    assert letter.letter(line_set.head, caption) is None


def test_a_print_is_told_in_rows_of_a_terminal():
    """Where nothing is unusual, four of 80 columns, though the sheet has much to say."""
    (line_set,) = line_sets(1000)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=2, now=NOW, anonymous=False)
    made = words.Printed([line_set], caption, 2, protected=True)
    told = words.of_print([made], is_revocable=True)
    assert sum(len(textwrap.wrap(row, 80)) for row in told) == 4


@pytest.mark.parametrize("protected", [False, True])
def test_what_to_keep_apart(protected):
    """Sheet and passphrase, or the shares; a print without a passphrase has its own caution."""
    (line_set,) = line_sets(100)
    made = replace(subject(PAYLOADS["lean"]), protected=protected)
    caption = words.caption(made, line_set, sheets=1, now=NOW, anonymous=False)
    row = words.of_print([words.Printed([line_set], caption, 1, protected=protected)])[2]
    assert ("NO PASSPHRASE PROTECTS THIS KEY" in row) is not protected
    assert ("keep sheet and passphrase apart" in row) is protected
    shared = words.Printed(line_sets(100, shared=True), caption, 1, protected=protected)
    assert "keep the shares apart" in words.of_print([shared])[2]


def test_what_was_printed_is_told():
    """Size, what may be lost, notes, the first caution, and what to do next."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False)
    made = words.Printed([line_set], caption, 1, protected=True, notes=["A note."])
    rows = words.of_print([made], told=["A new register."], warnings=["Caution: a weak seal."])
    assert rows[0].startswith("1 sheet, set mark")
    assert [row.split(":")[0] for row in rows[1:]] == ["Next", "Caution"]
    assert "A new register." in rows[0]
    assert "Caution: a weak seal." in rows[2]
    told = "\n".join(rows)
    for part in (
        "1 sheet, set mark",
        "any 4 lines may be lost",
        "A note.",
        "Caution: keep sheet and passphrase apart",
        "ragleaf check",
    ):
        assert part in told


def sizes_of(page):
    """The size of each word on a page, in points, in the order in which they are printed."""
    text = page.get_textpage()
    letters = [
        (
            chr(pdfium.FPDFText_GetUnicode(text.raw, at)),
            round(pdfium.FPDFText_GetFontSize(text.raw, at), 1),
        )
        for at in range(text.count_chars())
    ]
    return "".join(letter for letter, _ in letters), [size for _, size in letters]


@pytest.mark.usefixtures("symbols_blank")
@pytest.mark.parametrize("paper", layout.PAPERS)
@pytest.mark.parametrize(("kind", "shared"), list(product(PAYLOADS, [False, True])))
def test_plain_words_come_first_and_are_read_without_glasses(kind, shared, paper):
    """
    At the foot of each sheet, in 9 points at the least: what this is, what is needed, the steps,
    what to keep apart, room to write; the small print follows.
    """
    line_set = line_sets(100, sealed=True, shared=shared)[0]
    caption = words.caption(subject(PAYLOADS[kind]), line_set, sheets=1, now=NOW, anonymous=False)
    pdf = draw.draw(line_set, caption, paper=layout.PAPERS[paper])
    text, sizes = sizes_of(pypdfium2.PdfDocument(pdf)[0])
    begin, end = text.index(caption.purpose), text.index("By hand: type")
    assert (
        min(
            size
            for letter, size in zip(text[begin:end], sizes[begin:end], strict=True)
            if not letter.isspace()
        )
        >= 9
    )
    plain = " ".join(text[begin:end].split())
    told = (*caption.bring_back, *caption.blanks, caption.cautions[0])
    assert all(paragraph in plain for paragraph in told)
    assert {"Where the passphrase is kept:", "Whom to ask for help:"} < {*caption.blanks}


def test_what_is_needed_is_told():
    """Sheets or shares, passphrases, the certificate where the kind needs it, a computer."""
    needed = {}
    for kind, shared in product(PAYLOADS, [False, True]):
        line_set = line_sets(100, sealed=True, shared=shared)[0]
        caption = words.caption(
            subject(PAYLOADS[kind]), line_set, sheets=3, now=NOW, anonymous=False
        )
        needed[kind, shared] = caption.bring_back[1]
        assert ("public certificate" in caption.bring_back[1]) is (kind in {"lean", "compact"})
        assert ("--public" in caption.bring_back[2]) is (kind in {"lean", "compact"})
        assert ("Where the certificate is kept:" in caption.blanks) is (kind in {"lean", "compact"})
        assert "the passphrase of the seal" in caption.bring_back[1]
        assert "the passphrase that the key had on 2026-11-25" in caption.bring_back[1]
        assert "an offline computer" in caption.bring_back[1]
    assert "all 3 sheets" in needed["lean", False]
    assert "16 shares of backup" in needed["lean", True]
    assert "3 sheets each" in needed["lean", True]
    bare = subject(PAYLOADS["whole"], protected=False)
    (line_set,) = line_sets(100)
    caption = words.caption(bare, line_set, sheets=1, now=NOW, anonymous=False)
    assert caption.bring_back[1].endswith("No passphrase is needed.")
    assert "Where the passphrase is kept:" not in caption.blanks


def test_a_holder_reads_nothing_that_is_for_the_owner():
    """How to print, check and destroy is on the owner's sheets, and not on a share."""
    for shared in (False, True):
        line_set = line_sets(100, shared=shared)[0]
        caption = words.caption(
            subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False
        )
        told = " ".join((*caption.bring_back, *caption.cautions, *caption.recipe))
        for word in ("cable", "ragleaf check", "ragleaf drill", "For the owner"):
            assert (word in told) is not shared


def test_the_letter_serves_an_heir():
    """It begins with what the holder has, then says how to bring it back, and has room to write."""
    line_set = line_sets(100, sealed=True, shared=True)[0]
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=2, now=NOW, anonymous=False)
    made = letter.letter(line_set.head, caption)
    assert made.sections[0][0] == ""
    assert made.sections[0][1].startswith("You hold one of 16 shares of the OpenPGP key of Saltm")
    assert made.sections[1] == ("To bring the key back", caption.bring_back[1])
    assert made.sections[2] == ("", caption.bring_back[2])
    assert {*caption.blanks} < {*made.blanks}


def test_the_first_row_of_a_text_file_says_what_it_is():
    """Set mark, date, title and fingerprint; then who, and what is needed."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False)
    first, *others = words.remarks(line_set, replace(caption, title="OpenPGP key, lean"))
    mark = line_set.head.mark
    assert first == f"Ragleaf, set {mark} of 2026-11-25: OpenPGP key, lean, {'AB' * 20}"
    assert others[0] == caption.user_id
    assert others[1].startswith("You need: this sheet;")


def test_quietly_only_warnings_are_told():
    """One row of them, or nothing; what a sheet lacks is one."""
    (line_set,) = line_sets(100)
    caption = words.caption(subject(PAYLOADS["lean"]), line_set, sheets=1, now=NOW, anonymous=False)
    assert words.warned([words.Printed([line_set], caption, 1, protected=True)], ()) == ()
    late = replace(caption, notes=("The date is wrong.",))
    told = words.warned(
        [words.Printed([line_set], late, 1, protected=True)], ["Caution: a weak seal."]
    )
    assert told == ("Caution: The date is wrong. Caution: a weak seal.",)


def test_the_sets_of_shares_are_told_together():
    """How many, their set marks, and how many of them are needed."""
    sets = line_sets(100, shared=True)
    caption = words.caption(subject(PAYLOADS["lean"]), sets[0], sheets=1, now=NOW, anonymous=False)
    told = words.of_print([words.Printed(sets, caption, 1, protected=True)])[0]
    assert "16 shares of 1 sheet each" in told
    assert all(line_set.head.mark in told for line_set in sets)
    assert "any 16 shares give the secret back" in told
