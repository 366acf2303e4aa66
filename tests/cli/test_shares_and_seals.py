"""Shares, seals, compact sheets and other keys through the command line."""

import os
import subprocess
import sys
from itertools import pairwise

import pypdfium2
import pytest
from desks import CERTIFICATE, CORPUS, KEY, PASSPHRASE, SMALL, SMALL_CERTIFICATE
from samples import only

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import Certificate, pack
from paperkey_alt.format.recover import recover
from paperkey_alt.keys.openpgp import key_file
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import text_file

RESTORE = ("restore", "--public", CERTIFICATE, "-o", "k.asc", "--passphrase-from", "pw")


def test_compact(desk, compact):
    """
    42 lines on one page; checked, proven and restored byte for byte with the key's own passphrase.
    """
    assert "1 sheet" in compact.said
    assert "42 data and 11 spare lines" in compact.said
    desk.take(compact)
    assert "no passphrase was tried" in desk.ok("check", "s.txt").err
    assert (
        "Read back in full: 5A2B"
        in desk.ok("check", "s.pdf", "--prove", *RESTORE[1:3], "--passphrase-from", "pw").err
    )
    desk.ok(*RESTORE, "s.pdf")
    assert desk.read("k.asc") == KEY.read_bytes()


def test_a_wrong_passphrase_restores_nothing(desk, compact):
    """Exit 1, and nothing is written; nor is the passphrase shown."""
    desk.write("s.pdf", compact.read("s.pdf"))
    desk.write("pw", "high tide at noon\n")
    done = desk.run(*RESTORE, "s.pdf")
    assert done.status == 1
    assert "no passphrase in pw opens the seal" in done.err
    assert "high tide" not in done.err
    assert desk.files() == ["pw", "s.pdf"]


@pytest.mark.long
def test_a_seal_of_its_own(desk):
    """With --seal the paper has another passphrase than the key, and both are asked for."""
    desk.write("two", f"{PASSPHRASE}\nhigh tide at noon\n")
    desk.ok("backup", KEY, "--compact", "--seal", "-o", "s.pdf", "--passphrase-from", "two")
    desk.write("pw", f"high tide at noon\n{PASSPHRASE}\n{PASSPHRASE}\n")
    desk.ok(*RESTORE, "s.pdf")
    assert desk.read("k.asc") == KEY.read_bytes()


@pytest.mark.long
def test_an_unprotected_key_under_a_seal(desk):
    """--compact asks for a new passphrase where the key has none; --seal seals whole sheets too."""
    name = "curve25519-legacy-open"
    key, certificate = CORPUS / f"{name}.asc", CORPUS / f"{name}.cert.asc"
    for way in ("--compact", "--seal"):
        desk.ok("backup", key, way, "-o", "s.pdf", "--force", "--passphrase-from", "pw")
        desk.ok(
            "restore",
            "s.pdf",
            "--public",
            certificate,
            "-o",
            "k.asc",
            "--force",
            "--passphrase-from",
            "pw",
        )
        assert key_file.read(desk.read("k.asc")) == key_file.read(key.read_bytes())


@pytest.mark.long
def test_a_passphrase_from_a_descriptor(desk):
    """PATH may be /dev/fd/3."""
    read, write = os.pipe()
    os.write(write, f"{PASSPHRASE}\n".encode())
    os.close(write)
    arguments = [
        "backup",
        str(KEY),
        "--compact",
        "-o",
        "s.pdf",
        "--passphrase-from",
        f"/dev/fd/{read}",
    ]
    done = subprocess.run(
        [sys.executable, "-m", "paperkey_alt", *arguments],
        cwd=desk.folder,
        pass_fds=[read],
        capture_output=True,
        check=False,
    )
    os.close(read)
    assert done.returncode == 0, done.stderr


def test_prove_alone(desk):
    """
    --prove without --compact asks for the passphrase and prints what it would have printed without.
    """
    desk.ok("backup", SMALL, "-o", "a.pdf", "--text", "a.txt")
    desk.ok("backup", SMALL, "-o", "b.pdf", "--text", "b.txt", "--prove", "--passphrase-from", "pw")
    assert desk.read("a.txt") == desk.read("b.txt")
    desk.write("pw", "wrong\n")
    done = desk.run("backup", SMALL, "-o", "c.pdf", "--prove", "--passphrase-from", "pw")
    assert (done.status, "c.pdf" in desk.files()) == (1, False)


SHARES = ("--any", "2", "--of", "3", "-o", "sheets", "--text", "lines")


@pytest.fixture
def shares(desk, shelf):
    """A desk with a backup of three shares in the folders sheets and lines."""
    desk.take(shelf("backup", KEY, *SHARES))
    return desk


@pytest.fixture
def compact_shares(desk, shelf):
    """The same of a compact backup."""
    desk.take(shelf("backup", KEY, "--compact", "--passphrase-from", "pw", *SHARES))
    return desk


FAILING = {
    "a wrong passphrase": ("--compact", "--passphrase-from", "wrong"),
    "a key that is not there": ("--fingerprint", "0" * 40),
    "a text file in place of a folder": ("--text", "wrong"),
    "no place for the lines": ("--text", "nowhere/lines"),
}


@pytest.mark.parametrize("name", FAILING)
def test_no_folder_is_left_where_nothing_is_printed(desk, name):
    """The folders that were made go again; one that was there stays, empty or not."""
    desk.write("wrong", "high tide at noon\n")
    (desk.folder / "there").mkdir()
    for folder in ("sheets", "there"):
        terms = ("--any", "2", "--of", "3", "-o", folder, "--no-register")
        done = desk.run("backup", KEY, *terms, *FAILING[name])
        assert done.status in (1, 2)
        assert desk.files() == ["pw", "there", "wrong"]


def number_of(desk):
    """The number of the backup that has this share."""
    return desk.ok("check", "lines/share-1.txt").err.split("Backup ")[1][:5]


def scan(desk, number):
    """The name of a scan of the first sheet of a share, behind the letter to its holder."""
    page = pypdfium2.PdfDocument(desk.read(f"sheets/share-{number}.pdf"))[1]
    page.render(scale=150 / 72, grayscale=True).to_pil().save(desk.folder / f"share-{number}.png")
    return f"share-{number}.png"


def pdf(_, number):
    """The name of the file of a share, with the letter to its holder before the sheets."""
    return f"sheets/share-{number}.pdf"


@pytest.mark.long
@pytest.mark.parametrize("source", [scan, pdf])
def test_shares(compact_shares, source):
    """
    Any two of three holders' files, pictures or text, give the key back; one alone is checked, and
    is not enough.
    """
    desk, number = compact_shares, number_of(compact_shares)
    assert sorted(path.name for path in (desk.folder / "sheets").iterdir()) == [
        f"share-{at}.pdf" for at in (1, 2, 3)
    ]
    alone = desk.ok("check", source(desk, 2))
    assert f"Backup {number}: share 2 of 3 can be read in full; you need 1 more." in alone.err
    few = desk.run(*RESTORE, "lines/share-3.txt")
    assert few.status == 1
    assert f"1 more share is needed of backup {number} (2 of 3; complete: 3)" in few.err
    for pair in (
        ("lines/share-1.txt", "lines/share-3.txt"),
        (source(desk, 3), "lines/share-2.txt"),
    ):
        desk.ok(*RESTORE, *pair, "--force")
        assert desk.read("k.asc") == KEY.read_bytes()


@pytest.mark.long
def test_the_letter(shares):
    """Before the sheets of each share, with its number, and nothing of the share's lines."""
    desk, number = shares, number_of(shares)
    pages = pypdfium2.PdfDocument(desk.folder / "sheets/share-2.pdf")
    for page in list(pages)[1:]:
        sheet = page.get_textpage().get_text_bounded()
        assert f"backup {number}" in sheet
        assert "Share 2 of 3 of a key; any 2 give it back" in sheet
    letter = " ".join(pages[0].get_textpage().get_text_bounded().split())
    assert "To the holder of share 2 of 3" in letter
    assert "Any two of the shares" in letter
    assert "Once a year" in letter
    _, first, *others = [
        row.split()[1:]
        for row in desk.read("lines/share-2.txt").decode().splitlines()
        if not row.startswith("#")
    ]
    # The letter tells the backup number, with which line 1 begins. One group of four may be part of
    # a fingerprint by chance; two that follow each other are not.
    told = letter.replace(" ", "")
    pairs = [pair for row in (first[1:], *others) for pair in pairwise(row)]
    assert not any("".join(pair) in told for pair in pairs)


def test_a_forged_share_is_left_out(shares):
    """
    With one share more than needed the forged one is told by its set mark, and the key is right.
    """
    desk = shares
    text = desk.read("lines/share-2.txt").decode()
    forged = forge(text)
    desk.write("forged.txt", forged)
    done = desk.ok(
        "restore",
        "lines/share-1.txt",
        "forged.txt",
        "lines/share-3.txt",
        "--public",
        CERTIFICATE,
        "-o",
        "k.asc",
    )
    mark = mark_of(desk, "forged.txt")
    assert f"Set {mark} was left out: it is not a share as Ragleaf prints them." in done.err
    assert desk.read("k.asc") == KEY.read_bytes()
    done = desk.run(
        "restore", "lines/share-1.txt", "forged.txt", "--public", CERTIFICATE, "-o", "k2.asc"
    )
    assert (done.status, "k2.asc" in desk.files()) == (1, False)


@pytest.mark.long
def test_shares_that_contradict_each_other(shares):
    """
    Who is right is not guessed: check and restore tell the sides and end with 1, until a set that
    is believed is named; what contradicts it is left out, and said.
    """
    desk = shares
    desk.write("forged.txt", forge(desk.read("lines/share-2.txt").decode(), keep=14))
    sources = ("forged.txt", "lines/share-1.txt", "lines/share-3.txt")
    given = (*sources, "--public", CERTIFICATE, "-o", "k.asc")
    one, three, theirs = (
        mark_of(desk, name) for name in ("lines/share-1.txt", "lines/share-3.txt", "forged.txt")
    )
    for done in (desk.run("check", *sources), desk.run("restore", *given)):
        assert done.status == 1
        assert "contradict each other" in done.err
        assert f"On one side: {theirs} (share 2). On another: {one} (share 1), {three}" in done.err
    for marks in ((theirs,), (theirs, one), ("QQQQQ",)):
        named = [word for mark in marks for word in ("--mark", mark)]
        assert desk.run("restore", *given, *named).status == 1
    assert "k.asc" not in desk.files()
    left = f"Set {theirs} was left out: it contradicts the set that you named."
    assert left in desk.ok("check", *sources, "--mark", one).err
    assert left in desk.ok("restore", *given, "--mark", one.lower(), "--mark", three).err
    assert desk.read("k.asc") == KEY.read_bytes()


def test_a_certificate_among_the_sheets(desk):
    """
    Sheets of the public certificate serve as the certificate; alone they are restored as it; with
    those of another one beside them it is asked which is meant.
    """
    desk.ok("backup", SMALL, "-o", "s.pdf", "--text", "s.txt")
    sets = [
        lay_out(pack(Certificate(key_file.write(only(one.read_bytes()), armored=False))), 4)
        for one in (SMALL_CERTIFICATE, CORPUS / "nist-p256.cert.asc")
    ]
    for at, line_set in enumerate(sets):
        desk.write(f"certificate-{at}.txt", text_file.write(line_set, ()))
    desk.ok("restore", "s.txt", "certificate-0.txt", "-o", "k.asc")
    assert only(desk.read("k.asc")) == only(SMALL.read_bytes())
    desk.ok("restore", "certificate-0.txt", "-o", "c.asc")
    assert only(desk.read("c.asc")) == only(SMALL_CERTIFICATE.read_bytes())
    both = ("restore", "s.txt", "certificate-0.txt", "certificate-1.txt", "-o", "again.asc")
    done = desk.run(*both)
    assert (done.status, "again.asc" in desk.files()) == (1, False)
    assert "you gave the sheets of 2 public certificates" in done.err
    done = desk.run("restore", "s.txt", "certificate-1.txt", "-o", "again.asc")
    assert (done.status, "again.asc" in desk.files()) == (1, False)
    names = (mark_of(desk, "s.txt"), sets[0].head.mark)
    desk.ok(*both, "--mark", names[0], "--mark", names[1])
    assert only(desk.read("again.asc")) == only(SMALL.read_bytes())


def mark_of(desk, name):
    """The set mark of the text of a set."""
    (found,) = recover(typed.read(desk.read(name).decode(), name)).sets
    return found.head.mark


def forge(text, keep=0):
    """
    The text of a share with another body under the same numbers, of which the first bytes are kept.
    """
    (found,) = recover(typed.read(text, "t")).sets
    head = found.head
    body = found.body[:keep] + os.urandom(head.body_length - keep)
    return text_file.write(
        lay_out(body, head.spare_lines, sealed=head.sealed, share=head.share), ()
    )


@pytest.mark.long
def test_shares_of_two_backups_do_not_mix(shares):
    """One of each is not two of one."""
    desk = shares
    (desk.folder / "lines").rename(desk.folder / "old")
    (desk.folder / "sheets").rename(desk.folder / "old-sheets")
    desk.ok("backup", KEY, *SHARES)
    given = ("restore", "old/share-1.txt", "lines/share-2.txt", "--public", CERTIFICATE)
    done = desk.run(*given, "-o", "k.asc")
    assert done.status == 2
    assert "you gave sheets of 2 sets" in done.err
    done = desk.run(*given, "-o", "k.asc", "--mark", number_of(desk).lower())
    assert done.status == 1
    assert "1 more share is needed" in done.err
    assert "k.asc" not in desk.files()


def test_a_plain_file(desk):
    """Any small file comes back byte for byte; unsealed only when that is acknowledged."""
    note = desk.write("note.txt", "The spare lamp is behind the third piling.\n")
    done = desk.run("backup", note, "--plain", "-o", "s.pdf")
    assert done.status == 1
    assert "--seal" in done.err
    desk.ok("backup", note, "--plain", "--seal", "-o", "s.pdf", "--passphrase-from", "pw")
    desk.ok("restore", "s.pdf", "-o", "back.txt", "--passphrase-from", "pw")
    assert desk.read("back.txt") == desk.read(note)


@pytest.mark.long
def test_a_revocation_sheet(desk):
    """Made, printed, checked and restored; the reason is asked for where it is not given."""
    made = ("revoke-sheet", KEY, "-o", "r.pdf", "--text", "r.txt", "--passphrase-from", "pw")
    said = desk.ok(*made, stdin="retired\n").err
    assert "cannot be undone" in said
    desk.ok("check", "r.pdf")
    desk.ok("restore", "r.txt", "-o", "r.asc")
    assert desk.read("r.asc").startswith(b"-----BEGIN PGP PUBLIC KEY BLOCK-----")
    desk.ok("revoke-sheet", KEY, "-o", "again.pdf", "--text", "again.txt", "--certificate", "r.asc")
    assert desk.read("again.txt") == desk.read("r.txt")
    done = desk.run(
        "revoke-sheet", CORPUS / "nist-p256.asc", "-o", "x.pdf", "--certificate", "r.asc"
    )
    assert (done.status, "of another key" in done.err) == (1, True)


@pytest.mark.parametrize("extra", [("--fingerprint", "0" * 40), ("--reason", "boredom")])
def test_wrong_use_of_revoke_sheet(desk, extra):
    """A key that is not there, a reason that is none."""
    assert desk.run(
        "revoke-sheet", KEY, "-o", "r.pdf", *extra, "--passphrase-from", "pw", stdin="\n"
    ).status in (1, 2)
    assert desk.files() == ["pw"]
