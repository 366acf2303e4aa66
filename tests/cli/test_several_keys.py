"""A keyring onto paper in one go, and how much is said of a backup."""

import pytest
from desks import CERTIFICATE, CORPUS, KEY, SMALL, SMALL_CERTIFICATE

from paperkey_alt.keys.openpgp import key_file
from paperkey_alt.records.register import Register

OTHER, OTHER_CERTIFICATE = CORPUS / "nist-p256.asc", CORPUS / "nist-p256.cert.asc"


def keyring(*paths):
    """The keys of these files in one binary file."""
    keys = [key for path in paths for key in key_file.read(path.read_bytes())]
    return b"".join(key_file.write(key, armored=False) for key in keys)


def fingerprint(path):
    """The fingerprint of the key in a file."""
    (key,) = key_file.read(path.read_bytes())
    return key.fingerprint.hex().upper()


def test_each_key_is_a_backup_of_its_own(desk):
    """Its own file by its fingerprint, its own set and its own entry; each key comes back alone."""
    desk.write("ring", keyring(SMALL, OTHER, SMALL_CERTIFICATE))
    done = desk.ok("backup", "ring", "--each", "-o", "sheets", "--text", "lines", "--register", "r")
    names = sorted((fingerprint(SMALL), fingerprint(OTHER)))
    assert sorted(path.stem for path in (desk.folder / "sheets").iterdir()) == names
    assert f"Key 1 of 2: {fingerprint(SMALL)}" in done.err
    assert len([row for row in done.err.splitlines() if row]) == 2 + 3
    entries = Register(desk.folder / "r").entries()
    assert sorted(entry.fingerprint for entry in entries) == names
    assert len({mark for entry in entries for mark in entry.marks}) == 2
    for path, certificate in ((SMALL, SMALL_CERTIFICATE), (OTHER, OTHER_CERTIFICATE)):
        lines = f"lines/{fingerprint(path)}.txt"
        desk.ok("restore", lines, "--public", certificate, "-o", "back", "--force")
        assert key_file.read(desk.read("back")) == key_file.read(path.read_bytes())


def test_each_key_can_be_split(desk):
    """A folder for each key, with a file for each holder in it."""
    desk.write("ring", keyring(SMALL, OTHER))
    desk.ok("backup", "ring", "--each", "--any", "2", "--of", "3", "-o", "sheets", "--no-register")
    for path in (SMALL, OTHER):
        files = (desk.folder / "sheets" / fingerprint(path)).iterdir()
        assert sorted(file.name for file in files) == [f"share-{at}.pdf" for at in (1, 2, 3)]


def test_all_or_none_is_written(desk):
    """One key that cannot be printed keeps the others from paper: nothing is half done."""
    desk.write("ring", keyring(SMALL, CORPUS / "sq-v6-mldsa65-open.asc"))
    done = desk.run("backup", "ring", "--each", "-o", "sheets")
    assert done.status == 1
    assert desk.files() == ["pw", "ring"]


WRONG_USE = {
    "an envelope": (KEY, "--envelope", "e"),
    "standard output": (KEY, "-o", "-"),
    "one key": (KEY, "-o", "s", "--fingerprint", "00" * 8),
    "the file as it is": (KEY, "-o", "s", "--plain"),
    "a holder": (KEY, "-o", "s", "--holder", "pilot"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_what_does_not_go_with_each_key(desk, name):
    """It is refused before anything is made."""
    done = desk.run("backup", *WRONG_USE[name], "--each")
    assert done.status == 2
    assert desk.files() == ["pw"]


def test_a_file_without_a_secret_key(desk):
    """What it has is named."""
    done = desk.run("backup", CERTIFICATE, "--each", "-o", "s")
    assert done.status == 1
    assert "the file has no secret key; it has" in done.err


def test_a_backup_ends_with_three_rows(desk):
    """What was printed, what to do next, what to be careful of."""
    done = desk.ok("backup", SMALL, "-o", "s.pdf", "--text", "s.txt")
    rows = done.err.splitlines()
    assert len(rows) == 3
    assert rows[0].startswith("1 sheet, set mark")
    assert "A new register was made" in rows[0]
    assert rows[1].startswith("Next: ")
    assert rows[2].startswith("Caution: ")


def test_quietly_only_warnings_are_told(desk):
    """Of a backup at most one row, and nothing about what was printed; of a restored key none."""
    done = desk.ok("backup", SMALL, "-o", "s.pdf", "--text", "s.txt", "--quiet")
    rows = done.err.splitlines()
    assert len(rows) <= 1
    assert "sheet" not in done.err
    back = ("--public", SMALL_CERTIFICATE, "-o", "back", "--quiet")
    assert desk.ok("restore", "s.pdf", *back).err == ""
    done = desk.run("restore", "s.pdf", *back)
    assert done.status != 0
    assert "back exists" in done.err
