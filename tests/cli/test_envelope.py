"""The envelope: all that belongs to a key in one folder, and a first page for an heir."""

import hashlib
import json
import stat
import subprocess
import sys

import pypdfium2
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ed25519
from desks import CORPUS, PASSPHRASE, SMALL
from samples import armored, only, stub, with_secrets
from signing_keys import Signer, signature_packet

from paperkey_alt.keys.openpgp import key_file, packets

PW = ("--passphrase-from", "pw")
WHOLE_KEY = ("backup", SMALL, "--compact", "--envelope", "e", *PW)
SPLIT = ("backup", SMALL, "--any", "2", "--of", "3", "--envelope", "e", *PW)
FIRST, CERTIFICATE = "1-read-this-first.pdf", "3-certificate.pdf"
RESTORER, REVOCATION, PROGRAM = "4-restorer.pdf", "apart-revocation.pdf", "rescue.py"
PAGE = "rescue.html"


@pytest.fixture
def envelope(desk, shelf):
    """A desk with the envelope of a small key, compact."""
    desk.take(shelf(*WHOLE_KEY))
    return desk


@pytest.fixture
def split(desk, shelf):
    """A desk with the envelope of a small key in three shares."""
    desk.take(shelf(*SPLIT))
    return desk


def names(desk, folder="e"):
    """The names of all files in a folder, with those of the folders in it."""
    top = desk.folder / folder
    return sorted(str(path.relative_to(top)) for path in top.rglob("*") if path.is_file())


def text(desk, name):
    """The words of a PDF, in one row."""
    pages = pypdfium2.PdfDocument(desk.read(name))
    return " ".join(" ".join(page.get_textpage().get_text_bounded().split()) for page in pages)


def backups(desk):
    """What the register has, by the kind of the print."""
    listed = json.loads(desk.ok("register", "--json").out)["backups"]
    return {entry["kind"]: entry for entry in listed}


def test_what_is_in_it(envelope):
    """Five papers, the program and the page, for the owner alone; and what was printed is told."""
    assert names(envelope) == [FIRST, "2-key.pdf", CERTIFICATE, RESTORER, REVOCATION, PAGE, PROGRAM]
    for name in names(envelope):
        assert stat.S_IMODE((envelope.folder / "e" / name).stat().st_mode) == 0o600
    assert stat.S_IMODE((envelope.folder / "e").stat().st_mode) == 0o700


def test_the_paper_in_it_is_enough(envelope):
    """The key from its sheets and those of the certificate; the revocation ends the key alone."""
    envelope.ok("restore", "e/2-key.pdf", f"e/{CERTIFICATE}", "-o", "k.asc", *PW)
    assert only(envelope.read("k.asc")) == only(SMALL.read_bytes())
    envelope.ok("restore", f"e/{REVOCATION}", "-o", "r.asc")
    assert "revocation certificate of this key" in (
        envelope.ok("drill", f"e/{REVOCATION}", "--key", SMALL).err
    )


def test_the_program_in_it_restores(envelope):
    """As its first page says: from the lines as text, with nothing of Ragleaf's."""
    envelope.ok("backup", SMALL, "--with-certificate", "-o", "s.pdf", "--text", "s.txt")
    done = subprocess.run(
        [sys.executable, "-I", "e/rescue.py", "s.txt", "-o", "k.asc"],
        cwd=envelope.folder,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (key,) = key_file.read(envelope.read("k.asc"))
    assert key == only(SMALL.read_bytes())


def test_the_first_page(envelope):
    """
    Each print with its set mark, its pages and a box for the rehearsal; what goes elsewhere; the
    steps; the digest of the program.
    """
    page = text(envelope, f"e/{FIRST}")
    assert len(pypdfium2.PdfDocument(envelope.read(f"e/{FIRST}"))) == 1
    noted = backups(envelope)
    assert sorted(noted) == ["OpenPGP key, compact, sealed", "certificate", "revocation"]
    for entry in noted.values():
        (mark,) = entry["marks"]
        assert mark in page
        assert entry["drill"] is None
    assert page.count("rehearsed on") == 3
    for name in names(envelope):
        assert name in page or name == FIRST
        if name.endswith(".pdf") and name != FIRST:
            pages = len(pypdfium2.PdfDocument(envelope.read(f"e/{name}")))
            assert f"{name} {pages} page{'' if pages == 1 else 's'}" in page
    for name in (PROGRAM, PAGE):
        digest = hashlib.sha256(envelope.read(f"e/{name}")).hexdigest()
        assert digest in page.replace(" ", "")
    # The program gives of a compact print the numbers alone, and that is said.
    assert "That gives the secret numbers of the key, and no key file" in page
    assert "Away from the sheets of the key" in page
    assert "The passphrase is kept elsewhere" in page
    assert "Saltmarrow Buoy Keepers <notices@saltmarrow.example>" in page
    assert PASSPHRASE not in page


def test_the_register_has_each_and_tells_which_is_rehearsed(envelope):
    """Three prints, each never rehearsed; after a drill the ones that were on the table are."""
    listed = envelope.ok("register").out
    assert listed.count("Never rehearsed") == 3
    envelope.ok("drill", "e/2-key.pdf", f"e/{CERTIFICATE}", "--key", SMALL, *PW)
    noted = backups(envelope)
    assert noted["OpenPGP key, compact, sealed"]["drill"] == noted["certificate"]["drill"]
    assert noted["certificate"]["drill"] == "gives the key back"
    assert noted["revocation"]["drill"] is None
    assert noted["OpenPGP key, compact, sealed"]["sheets"] == 1


@pytest.mark.long
def test_one_passphrase_for_the_seal_and_the_revocation(desk):
    """What opened the key's secrets is not asked for again to sign the revocation."""
    done = desk.ok(*WHOLE_KEY)
    assert "Revocation certificate: 1 sheet" in done.err
    assert "not needed" not in done.err
    assert "ragleaf revoke-sheet" not in done.err


# Shares.


@pytest.mark.long
def test_a_folder_for_each_holder(split):
    """Each holder's share in a folder of its own; the revocation is with the owner alone."""
    common = [FIRST, CERTIFICATE, RESTORER, PAGE, PROGRAM]
    expected = [f"owner/{name}" for name in [*common, REVOCATION]]
    for at in (1, 2, 3):
        expected += [f"share-{at}/{name}" for name in [*common, f"2-share-{at}.pdf"]]
    assert names(split) == sorted(expected)
    for path in (split.folder / "e").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o700


def last_page(desk, name, new):
    """Write the last page of a PDF as one of its own: the sheet of a share, without its letter."""
    document, page = pypdfium2.PdfDocument(desk.read(name)), pypdfium2.PdfDocument.new()
    page.import_pages(document, [len(document) - 1])
    page.save(desk.folder / new)
    return new


@pytest.mark.long
def test_no_pile_gives_the_key_away(split):
    """All papers of one folder restore no key; those of two holders do."""
    shares = [last_page(split, f"e/share-{at}/2-share-{at}.pdf", f"{at}.pdf") for at in (1, 2, 3)]
    for share in shares[:2]:
        done = split.run("restore", share, f"e/share-1/{CERTIFICATE}", "-o", "k.asc", *PW)
        assert (done.status, "k.asc" in split.files()) == (1, False)
        assert "1 more share is needed" in done.err
    owner = [f"e/owner/{name}" for name in (REVOCATION, CERTIFICATE)]
    assert "the revocation of" in split.ok("restore", *owner, "-o", "k.asc").err
    assert b"PRIVATE" not in split.read("k.asc")
    split.ok("restore", shares[0], shares[2], f"e/share-3/{CERTIFICATE}", "-o", "again.asc")
    assert only(split.read("again.asc")) == only(SMALL.read_bytes())


def test_what_the_first_pages_tell(split):
    """The owner's names every set; a holder's no other share's, and nothing of the revocation."""
    noted = backups(split)
    owner = text(split, f"e/owner/{FIRST}")
    shares = noted["OpenPGP key, lean"]["marks"]
    for mark in (*shares, *noted["certificate"]["marks"], *noted["revocation"]["marks"]):
        assert mark in owner
    for at, mark in enumerate(shares, 1):
        page = text(split, f"e/share-{at}/{FIRST}")
        assert mark in page
        assert noted["certificate"]["marks"][0] in page
        others = {*shares, *noted["revocation"]["marks"]} - {mark}
        assert not [other for other in others if other in page]
        assert "evocation" not in page
        assert "any 2 of the 3 shares" in page
    assert noted["OpenPGP key, lean"]["sheets"] == 3


@pytest.mark.long
def test_sixteen_shares(desk):
    """The owner's list goes on on a second page; nothing is lost."""
    desk.ok(
        *("backup", SMALL, "--any", "2", "--of", "16", "--envelope", "e", *PW, "--paper", "letter")
    )
    page = text(desk, f"e/owner/{FIRST}")
    assert [at for at in range(1, 17) if f"Share {at} " in page] == list(range(1, 17))
    assert page.count("Holder:") == 16
    assert "Somebody who can help:" in page


# What there is no print of.


@pytest.mark.long
def test_a_key_that_is_revoked_already(desk):
    """No second revocation is made; that is on the first page, and told at the end."""
    desk.ok("revoke-sheet", SMALL, "-o", "r.pdf", "--reason", "none", *PW, "--text", "r.txt")
    desk.ok("restore", "r.txt", "-o", "r.bin", "--binary")
    key = only(SMALL.read_bytes())
    (revocation,) = packets.split(desk.read("r.bin"))
    first, *rest = key.packets
    desk.write("k.asc", armored(packets.join([first, revocation, *rest])))
    done = desk.ok("backup", "k.asc", "--envelope", "e", *PW)
    assert "No revocation sheet: the key is revoked already" in done.err
    assert REVOCATION not in names(desk)
    page = text(desk, f"e/{FIRST}")
    assert "No revocation sheet" in page
    assert "The revocation sheet is kept" not in page
    assert len(pypdfium2.PdfDocument(desk.read(f"e/{FIRST}"))) == 1


@pytest.mark.long
def test_a_forged_revocation_keeps_nobody_from_a_true_one(desk):
    """Anyone can add a revocation that names the key: it is neither believed nor printed."""
    key = only(SMALL.read_bytes())
    signer = Signer("curve25519")
    body = bytearray(signer.body(0x20, signer.over_key(), 1_800_000_000))
    body[-1] ^= 1
    first, *rest = key.packets
    forged = signature_packet(bytes(body))
    desk.write("k.asc", armored(packets.join([first, forged, *rest])))
    desk.ok("backup", "k.asc", "--envelope", "e", *PW)
    assert REVOCATION in names(desk)
    desk.ok("restore", f"e/{CERTIFICATE}", "-o", "c.asc")
    assert forged not in only(desk.read("c.asc")).packets


@pytest.mark.long
def test_a_key_whose_primary_secret_is_elsewhere(desk):
    """It cannot sign a revocation: the rest is there, and why that is not."""
    binary = key_file.write(only(SMALL.read_bytes()), armored=False)
    without = with_secrets(binary, lambda part: stub() if part.is_primary else None)
    desk.write("k.asc", armored(without))
    done = desk.ok("backup", "k.asc", "--envelope", "e", *PW)
    assert "No revocation sheet: the file does not have the secret of the primary key" in done.err
    assert "No revocation sheet" in text(desk, f"e/{FIRST}")
    assert REVOCATION not in names(desk)


@pytest.mark.long
def test_whole_sheets_need_no_certificate(desk):
    """It is in them, and the first page says so."""
    done = desk.ok("backup", SMALL, "--whole", "--envelope", "e", *PW)
    assert "the key's own sheets have it in them" in done.err
    assert CERTIFICATE not in names(desk)
    page = text(desk, f"e/{FIRST}")
    assert "--public" not in page
    desk.ok("restore", "e/2-key.pdf", "-o", "k.asc")


@pytest.mark.long
def test_without_a_name(desk):
    """--anonymous: no paper has the name, so the certificate is not in it, and that is said."""
    done = desk.ok("backup", SMALL, "--anonymous", "--envelope", "e", *PW)
    assert "No certificate: it has the name of the owner in it" in done.err
    assert CERTIFICATE not in names(desk)
    for name in names(desk):
        if name.endswith(".pdf"):
            assert "Saltmarrow" not in text(desk, f"e/{name}")
    assert "--public CERTIFICATE" in text(desk, f"e/{FIRST}")


@pytest.mark.long
def test_a_certificate_that_is_too_large(desk):
    """The other papers are there, and what to do about the certificate."""
    key = CORPUS / "sq-v6-mldsa65-open.asc"
    done = desk.ok("backup", key, "--seal", "--envelope", "e", *PW)
    assert "No certificate: the certificate is too large for paper" in done.err
    assert "No revocation sheet" in done.err
    assert names(desk) == [FIRST, "2-key.pdf", RESTORER, PAGE, PROGRAM]


@pytest.mark.long
def test_what_is_no_openpgp_key(desk):
    """A private key in PEM, and any file: the sheets, the restorer and a first page."""
    pem = ed25519.Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(b"x"),
    )
    desk.write("k.pem", pem)
    desk.write("words.txt", "bell buoy north mole")
    desk.ok("backup", "k.pem", "--envelope", "pem")
    desk.ok("backup", "words.txt", "--plain", "--seal", "--envelope", "words", *PW)
    assert names(desk, "pem") == [FIRST, "2-key.pdf", RESTORER, PAGE, PROGRAM]
    assert names(desk, "words") == [FIRST, "2-file.pdf", RESTORER, PAGE, PROGRAM]
    page = text(desk, f"words/{FIRST}")
    assert "only OpenPGP keys have them" in page
    assert "OpenPGP program" not in page
    desk.ok("restore", "words/2-file.pdf", "-o", "back.txt", *PW)
    assert desk.read("back.txt") == b"bell buoy north mole"


@pytest.mark.long
def test_a_key_without_a_passphrase(desk):
    """The first page says it large, and has no place for where the passphrase is."""
    key = CORPUS / "curve25519-legacy-open.asc"
    desk.ok("backup", key, "--allow-unprotected", "--envelope", "e")
    page = text(desk, f"e/{FIRST}")
    assert "NO PASSPHRASE PROTECTS IT" in page
    assert "passphrase is kept" not in page
    assert "You will be asked for" not in page


# Whole or not at all.


@pytest.mark.long
def test_a_folder_with_anything_in_it_is_refused(desk):
    """Without --force; with it what has the same names is replaced, and nothing else."""
    (desk.folder / "e").mkdir()
    desk.write("e/note.txt", "of somebody's")
    done = desk.run(*WHOLE_KEY)
    assert done.status == 2
    assert "the folder e is not empty" in done.err
    assert names(desk) == ["note.txt"]
    desk.ok(*WHOLE_KEY, "--force")
    assert len(names(desk)) == 8
    before = desk.read("e/2-key.pdf")
    assert desk.run(*WHOLE_KEY).status == 2
    assert desk.read("e/2-key.pdf") == before
    desk.ok(*WHOLE_KEY, "--force")
    assert desk.read("e/2-key.pdf") != before
    assert desk.read("e/note.txt") == b"of somebody's"


@pytest.mark.long
def test_an_empty_folder_is_taken(desk):
    """It is used as it is."""
    (desk.folder / "e").mkdir()
    desk.ok(*WHOLE_KEY)
    assert len(names(desk)) == 7


FAILURES = {
    "a wrong passphrase": ("--passphrase-from", "wrong"),
    "no passphrase at hand": (),
}


@pytest.mark.long
@pytest.mark.parametrize("name", FAILURES)
def test_nothing_is_left_where_it_fails(desk, name):
    """No folder, no paper, no entry in the register."""
    desk.write("wrong", "slack water\n")
    done = desk.run("backup", SMALL, "--envelope", "e", *FAILURES[name])
    assert done.status in (1, 2)
    assert desk.files() == ["pw", "wrong"]
    assert json.loads(desk.ok("register", "--json").out)["backups"] == []


@pytest.mark.long
def test_nothing_is_left_where_a_place_is_taken(desk):
    """A folder stands where a paper is to be: none is written, and no folder of a holder stays."""
    (desk.folder / "e/share-2/3-certificate.pdf").mkdir(parents=True)
    done = desk.run(*SPLIT, "--force")
    assert done.status == 2
    assert names(desk) == []
    assert [path.name for path in (desk.folder / "e").iterdir()] == ["share-2"]


WRONG_USE = {
    "neither sheets nor a folder": (),
    "both": ("-o", "s.pdf", "--envelope", "e"),
    "lines as text": ("--envelope", "e", "--text", "s.txt"),
    "the certificate twice": ("--envelope", "e", "--with-certificate"),
    "a file": ("--envelope", "pw"),
    "in a folder that is not there": ("--envelope", "nowhere/e"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use(desk, name):
    """Exit 2, and nothing is written."""
    assert desk.run("backup", SMALL, *WRONG_USE[name], *PW).status == 2
    assert desk.files() == ["pw"]
