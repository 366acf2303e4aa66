"""The first page of an envelope: what it says, and that it has room for it."""

import dataclasses
import datetime as dt

import pypdfium2
import pytest

from paperkey_alt.format.head_line import Share
from paperkey_alt.keys.secret import Sort
from paperkey_alt.sheet import envelope_words, first_page
from paperkey_alt.sheet.envelope_words import Enclosed, Restorer, Sheets
from paperkey_alt.sheet.layout import PAPERS

FINGERPRINT = "3E5A0CEAFF38DECAAB7329D279E3B54413350275"
ENCLOSED = Enclosed(
    subject="the OpenPGP key of Saltmarrow Buoy Keepers <notices@saltmarrow.example>",
    sort=Sort.OPENPGP_KEY,
    fingerprint=FINGERPRINT,
    date=dt.date(2026, 11, 26),
    passphrases=("the passphrase of its seal", "the key's passphrase as of 2026-11-26"),
    unlocked=None,
    seal_is_own=False,
    certificate=Sheets("3-certificate.pdf", 2, "CCCCC"),
    revocation=Sheets("apart-revocation.pdf", 1, "RRRRR"),
    missing=(),
    needs_public=True,
    gives_numbers=False,
    printed_program=Sheets("4-restorer.pdf", 14),
    program=Restorer("rescue.py", "0123456789abcdef" * 4),
    page=Restorer("rescue.html", "fedcba9876543210" * 4),
)
COMPACT = dataclasses.replace(
    ENCLOSED,
    passphrases=("the passphrase that the key had on 2026-11-26",),
    seal_is_own=True,
    gives_numbers=True,
)
SECRET = Sheets("2-key.pdf", 2, "KKKKK")
MISSING = ("No certificate: it is too large for paper.", "No revocation sheet: the key is revoked.")
BARE = dataclasses.replace(ENCLOSED, certificate=None, revocation=None, missing=MISSING)
FILE = dataclasses.replace(
    BARE,
    subject="the file note.txt",
    sort=Sort.FILE,
    fingerprint=None,
    passphrases=(),
    unlocked="NO PASSPHRASE PROTECTS IT.",
    needs_public=False,
)


def share(number, threshold=2, count=3):
    """One share of some."""
    return Share(number, threshold, count, 0)


def shares(count):
    """The sheets of so many shares."""
    return tuple(
        Sheets(f"share-{at}/2-share-{at}.pdf", 3, f"SHAR{chr(64 + at)}")
        for at in range(1, count + 1)
    )


def pages(page, paper="a4"):
    """The words of each page of the PDF, in one row each."""
    drawn = pypdfium2.PdfDocument(first_page.draw(page, paper=PAPERS[paper]))
    return [" ".join(each.get_textpage().get_text_bounded().split()) for each in drawn]


FIRST_PAGES = {
    "a key": envelope_words.of_key(ENCLOSED, SECRET),
    "a key without the rest": envelope_words.of_key(BARE, SECRET),
    "a compact key": envelope_words.of_key(COMPACT, SECRET),
    "a compact key without the rest": envelope_words.of_key(
        dataclasses.replace(COMPACT, certificate=None, missing=MISSING), SECRET
    ),
    "a file": envelope_words.of_key(FILE, SECRET),
    "the owner of three shares": envelope_words.of_owner(ENCLOSED, share(1), shares(3)),
    "a holder": envelope_words.of_holder(ENCLOSED, share(2), shares(3)[1]),
    "a holder of a compact key": envelope_words.of_holder(COMPACT, share(2), shares(3)[1]),
    "a holder of a file": envelope_words.of_holder(FILE, share(2), shares(3)[1]),
}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", FIRST_PAGES)
def test_it_is_one_page_with_all_of_it(name, paper):
    """Nothing is cut off: each thing, step and blank is on it, and both restorers' digests."""
    page = FIRST_PAGES[name]
    assert [file for file, _ in page.files] == ["rescue.html", "rescue.py"]
    (words,) = pages(page, paper)
    for item in page.items:
        assert all(part in words for part in (item.file, item.mark or "", item.what.split()[-1]))
    steps = [f"{label}. {step}" for label, step in page.steps]
    for text in (*page.missing, *steps, *page.blanks, *page.opening):
        assert text in words
    assert words.count("rehearsed on") == sum(item.mark is not None for item in page.items)
    bare = words.replace(" ", "")
    for file, digest in page.files:
        assert f"{file} is the right one" in words
        assert digest in bare
    if page.fingerprint:
        assert page.fingerprint in bare


@pytest.mark.parametrize("paper", PAPERS)
def test_it_goes_on_where_there_is_more(paper):
    """Sixteen shares and a long name: on as few pages as it takes, and nothing lost."""
    subject = f"the OpenPGP key of {'Saltmarrow Buoy Keepers ' * 6}"
    enclosed = dataclasses.replace(ENCLOSED, subject=subject, missing=MISSING)
    page = envelope_words.of_owner(enclosed, share(1, 9, 16), shares(16))
    drawn = pages(page, paper)
    assert 2 <= len(drawn) <= 3
    for at in range(1, 17):
        assert f"SHAR{chr(64 + at)}" in " ".join(drawn)
    assert "Somebody who can help:" in drawn[-1]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_steps_are_not_torn_from_the_rest(paper):
    """Where one page is too small for an owner, the other begins with the steps."""
    enclosed = dataclasses.replace(COMPACT, missing=MISSING)
    first, second = pages(envelope_words.of_owner(enclosed, share(1, 2, 5), shares(5)), paper)
    assert second.startswith("To bring the key back")
    assert "What is not here" in first
    assert "Somebody who can help:" in second


def test_letters_that_the_font_lacks():
    """They are shown as their code points, and no row is lost."""
    page = envelope_words.of_key(dataclasses.replace(ENCLOSED, subject="the file 鐘"), SECRET)
    (words,) = pages(page)
    assert "[U+9418]" in words


def test_what_a_holder_is_not_told():
    """Neither the revocation, nor what is missing, nor another share."""
    (words,) = pages(envelope_words.of_holder(BARE, share(2), shares(3)[1]))
    assert "evocation" not in words
    assert "SHARA" not in words
    assert "Any 2 of the 3 shares" in words


def test_where_every_share_is_needed():
    """They are called both, or all, and not any of them."""
    for count, needed in ((2, "both shares"), (3, "all 3 shares")):
        page = envelope_words.of_owner(ENCLOSED, share(1, count, count), shares(count))
        words = " ".join((*page.opening, *(step for _, step in page.steps)))
        assert f"it takes {needed}" in words
        assert "any" not in words.replace("anything", "").replace("any reader", "")


def test_a_certificate_that_is_not_here_is_asked_for():
    """The command names it then, and does not where it is printed or not needed."""
    assert "--public CERTIFICATE" in pages(envelope_words.of_key(BARE, SECRET))[0]
    assert "--public" not in pages(envelope_words.of_key(ENCLOSED, SECRET))[0]
    assert "--public" not in pages(envelope_words.of_key(FILE, SECRET))[0]


def test_a_secret_without_a_passphrase():
    """It is said large, and nobody is asked for one."""
    bare = dataclasses.replace(ENCLOSED, passphrases=(), unlocked="NO PASSPHRASE PROTECTS IT.")
    (words,) = pages(envelope_words.of_key(bare, SECRET))
    assert "NO PASSPHRASE PROTECTS IT" in words
    assert "You will be asked for" not in words


def test_the_restorer_of_compact_sheets():
    """It makes no key file of them, and asks for the passphrase of the seal: both are said."""
    for sort in (Sort.OPENPGP_KEY, Sort.PRIVATE_KEY):
        made = dataclasses.replace(COMPACT, sort=sort, certificate=None)
        (words,) = pages(envelope_words.of_key(made, SECRET))
        assert "rescue.py TEXTFILES -o NUMBERS" in words
        assert "no key file" in words
        assert "passphrase of the seal, it is the same one" in words
    (words,) = pages(envelope_words.of_key(ENCLOSED, SECRET))
    assert "rescue.py TEXTFILES -o key.asc" in words
    assert "no key file" not in words
    assert "it is the same one" not in words


def test_the_same_page_gives_the_same_bytes():
    """As with sheets: nothing in it depends on when or where it is drawn."""
    page = FIRST_PAGES["a key"]
    one, other = (first_page.draw(page, paper=PAPERS["a4"]) for _ in range(2))
    assert one == other
