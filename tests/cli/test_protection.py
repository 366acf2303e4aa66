"""
What is said of protection through the command: ciphers, empty passphrases, cautions, spellings of a
passphrase; and stubs, which come back as they stood.
"""

import unicodedata

import pytest
from desks import KEY, SMALL, SMALL_CERTIFICATE
from rekeyed import exported
from samples import USAGES, armored, only, plaintext, sample, stub, with_secrets

from paperkey_alt.keys.openpgp import key_file

OPEN = sample("rsa2048-open").secret
COMPOSED = "Ebbe und Fl\xf6te"
DECOMPOSED = unicodedata.normalize("NFD", COMPOSED)
SPELLINGS = {"composed": COMPOSED, "decomposed": DECOMPOSED}
MIXED = f"{COMPOSED} {DECOMPOSED}"


def text_of(desk, *arguments):
    """What is printed of a key: what was said, and the remarks on the sheet."""
    said = desk.ok("backup", *arguments, "-o", "s.pdf", "--text", "s.txt").err
    return said, desk.read("s.txt").decode()


@pytest.mark.parametrize("kind", ["cipher 0", "empty passphrase"])
def test_what_protects_nothing_is_not_protected(desk, kind):
    """It is refused, or printed as NOT PROTECTED; --seal is offered."""
    data = (
        armored(with_secrets(OPEN, plaintext(254)))
        if kind == "cipher 0"
        else exported(SMALL.read_bytes(), "")
    )
    desk.write("key.asc", data)
    done = desk.run("backup", "key.asc", "-o", "s.pdf")
    assert done.status == 1
    assert "--seal" in done.err
    assert desk.files() == ["key.asc", "pw"]
    _, sheet = text_of(desk, "key.asc", "--allow-unprotected")
    assert "NOT PROTECTED" in sheet
    desk.ok("backup", SMALL, "-o", "t.pdf", "--text", "t.txt")
    assert "NOT PROTECTED" not in desk.read("t.txt").decode()


@pytest.mark.long
def test_weak_protection_is_cautioned_of(desk):
    """A sentence for each weakness, with what to do; none for a key that has none."""
    desk.write("key.asc", armored(with_secrets(OPEN, USAGES["usage 7, AES-128"])))
    said, _ = text_of(desk, "key.asc")
    for words in ("simple S2K", "MD5", "a sum of two bytes", "--seal"):
        assert words in said
    desk.write("key.asc", armored(with_secrets(OPEN, USAGES["usage 254, salted"])))
    assert "65,536 octets" in desk.ok("backup", "key.asc", "-o", "s.pdf", "--force").err
    assert "hashed" not in desk.ok("backup", KEY, "-o", "s.pdf", "--force").err
    desk.write("new", "low water at dawn\n")
    sealed = ("--seal", "--passphrase-from", "new", "--force")
    assert "hashed" not in desk.ok("backup", "key.asc", "-o", "s.pdf", *sealed).err


@pytest.mark.long
@pytest.mark.parametrize("typed", SPELLINGS)
@pytest.mark.parametrize("protected", SPELLINGS)
def test_compact_sheets_open_in_either_spelling(desk, protected, typed):
    """However the passphrase of the key was spelled, and however it is typed for its sheets."""
    desk.write("key.asc", exported(SMALL.read_bytes(), SPELLINGS[protected]))
    for name, passphrase in SPELLINGS.items():
        desk.write(name, f"{passphrase}\r\n".encode("utf-8-sig"))
    lines = ("-o", "s.pdf", "--text", "s.txt")
    desk.ok("backup", "key.asc", "--compact", "--passphrase-from", typed, *lines)
    for name in SPELLINGS:
        out = ("-o", name + ".asc", "--public", SMALL_CERTIFICATE)
        desk.ok("restore", "s.txt", *out, "--passphrase-from", name)
        back, key = (only(desk.read(one)) for one in (name + ".asc", "key.asc"))
        assert [part.secret for part in back.key_packets] == [
            part.secret for part in key.key_packets
        ]


def test_a_passphrase_that_mixes_spellings(desk):
    """No normal form is the key's own: it is asked for as it was typed, beside the seal's."""
    desk.write("key.asc", exported(SMALL.read_bytes(), MIXED))
    desk.write("mixed", f"{MIXED}\n")
    desk.write("both", f"{unicodedata.normalize('NFC', MIXED)}\n{MIXED}\n{MIXED}\n")
    lines = ("-o", "s.pdf", "--text", "s.txt")
    desk.ok("backup", "key.asc", "--compact", "--passphrase-from", "mixed", *lines)
    out = ("-o", "back.asc", "--public", SMALL_CERTIFICATE)
    desk.ok("restore", "s.txt", *out, "--passphrase-from", "both")
    assert desk.read("back.asc") == desk.read("key.asc")


def test_rows_of_a_file(desk):
    """The row that is wanting and the rows that were not needed are told by their use."""
    desk.write("many", "low water at dawn\nneap tide at night\nslack water\n")
    done = desk.ok("backup", SMALL, "--seal", "--prove", "--passphrase-from", "many", "-o", "s.pdf")
    assert "Row 3 of many was not needed." in done.err
    assert "row 2 for a new passphrase for the seal" in done.err
    assert "slack" not in done.err
    done = desk.run("backup", SMALL, "--seal", "--prove", "--passphrase-from", "pw", "-o", "t.pdf")
    assert done.status == 1
    assert "no passphrase in pw is left for the new seal" in done.err
    assert "Row 2 must be for a new passphrase for the seal." in done.err


def test_a_key_that_is_protected_in_part(desk):
    """Its sheets ask for the passphrase of the part that has one."""
    under = USAGES["usage 254, salted"]
    data = with_secrets(OPEN, lambda key: under(key) if key.is_primary else None)
    desk.write("key.asc", armored(data))
    printed, sheet = text_of(desk, "key.asc", "--allow-unprotected")
    assert "PARTLY UNPROTECTED" in sheet
    assert "NOT EVERY SECRET OF THIS KEY IS UNDER A PASSPHRASE" in printed
    assert "the passphrase that the key had on" in sheet
    assert "No passphrase is needed" not in printed + sheet


@pytest.mark.parametrize("form", ["lean", "whole", pytest.param("compact", marks=pytest.mark.long)])
def test_stubs_come_back_as_they_stood(desk, form):
    """With the serial number of the card: the same file, byte for byte, as far as it had one."""
    binary = key_file.write(only(SMALL.read_bytes()), armored=False)
    data = with_secrets(binary, lambda key: stub(2) if key.is_primary else None)
    desk.write("key.asc", key_file.write(only(data), armored=True))
    flags = () if form == "lean" else (f"--{form}",)
    pw = ("--passphrase-from", "pw")
    _, sheet = text_of(desk, "key.asc", *flags, *pw)
    public = () if form == "whole" else ("--public", SMALL_CERTIFICATE)
    done = desk.ok("restore", "s.txt", "-o", "back.asc", *public, *pw)
    assert desk.read("back.asc") == desk.read("key.asc")
    assert "the stub that was in the file" in done.err
    assert "Not here: the secret of the primary key" in " ".join(sheet.replace("#", " ").split())
