"""
Text that others wrote leaves the program clean: whatever user IDs, names of files, payloads and
holders, and the register hold, through every command and on every way out.
"""

import json
import os
import sqlite3
import unicodedata

import pypdfium2
import pytest
from desks import CERTIFICATE, KEY, PASSPHRASE

from paperkey_alt import foreign_text
from paperkey_alt.errors import Place, SourceError
from paperkey_alt.keys.openpgp import key_file

# Colours, a C1 control, directions of writing, widths of zero, ends of rows; then what would pass
# for a row of ours.
EVIL = "b\x1b[31m\x9b2J\x07\u202e\u2066\u200b\u00ad\ufeff\u2028\r\nFORGED: all lines are fine"
DIRTY = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def require_clean(text, *, returns=False):
    """No character that does not show itself, and no row that others wrote."""
    allowed = "\r\n\t" if returns else "\n"
    dirty = {f"{character!a}" for character in text if unicodedata.category(character) in DIRTY}
    assert dirty <= {f"{character!a}" for character in allowed}
    assert not any(row.lstrip("# ").startswith("FORGED") for row in text.splitlines())


def with_user_id(data, user_id):
    """The OpenPGP file with a user ID that nobody signed, before its own ones."""
    binary = key_file.write(key_file.read(data)[0], armored=False)
    assert binary[0] >= 0xC0, "the new way to write lengths (RFC 9580, 4.2.1)"
    size = 2 + binary[1] if binary[1] < 192 else 3 + ((binary[1] - 192) << 8) + binary[2] + 192
    text = user_id.encode()
    assert len(text) < 192
    return binary[:size] + bytes([0xC0 | 13, len(text)]) + text + binary[size:]


@pytest.fixture
def evil(desk):
    """A desk where every name and user ID is hostile."""
    desk.write("key", with_user_id(KEY.read_bytes(), EVIL))
    desk.write(f"{EVIL}.key", with_user_id(KEY.read_bytes(), EVIL))
    desk.write(f"{EVIL}.cert", with_user_id(CERTIFICATE.read_bytes(), EVIL))
    desk.write(f"{EVIL}.pw", f"{PASSPHRASE}\n")
    return desk


def said(done):
    """Both streams, which are clean."""
    require_clean(done.out)
    require_clean(done.err)
    return done.out + done.err


def require_clean_sheets(desk, name):
    """What stands on the pages of a PDF."""
    document = pypdfium2.PdfDocument(desk.read(name))
    text = "\n".join(page.get_textpage().get_text_bounded() for page in document)
    require_clean(text, returns=True)
    return text


@pytest.mark.long
def test_through_every_command(evil):
    """Sheets, texts, the register, reports, JSON: clean, and the names are seen."""
    key, certificate, text, pdf = (f"{EVIL}.{end}" for end in ("key", "cert", "txt", "pdf"))
    lines = said(evil.ok("backup", key, "-o", pdf, "--text", text, "--holder", EVIL))
    require_clean(evil.read(text).decode())
    assert "FORGED" in evil.read(text).decode()
    assert "b\ufffd[31m" in evil.read(text).decode()
    assert "[U+FFFD]" in require_clean_sheets(evil, pdf)
    assert "set mark" in lines
    assert "[U+202E]" in said(evil.ok("register"))
    assert "[U+202E]" in said(evil.ok("register", "--json"))
    restored = said(evil.ok("restore", text, "--public", certificate, "-o", f"{EVIL}.out"))
    assert "FORGED" in restored
    said(evil.ok("check", text, pdf))
    said(evil.ok("check", "--json", text))
    said(
        evil.ok(
            "check", "--prove", text, "--public", certificate, "--passphrase-from", f"{EVIL}.pw"
        )
    )
    said(evil.run("drill", text, "--key", key))
    said(evil.ok("rescue", "-o", f"{EVIL}.py"))
    said(evil.run("preflight", "--output", f"{EVIL}", "--key", key))
    (evil.folder / f"{EVIL}.d").mkdir()
    said(evil.run("preflight", "--output", f"{EVIL}.d", "--key", key))
    said(evil.ok("type", f"{EVIL}.new", "--with", text))
    said(evil.ok("type", f"{EVIL}.newer", stdin="stop\n"))
    evil.ok(
        *("revoke-sheet", key, "-o", f"{EVIL}.r.pdf", "--text", f"{EVIL}.r.txt"),
        *("--reason", "none", "--comment", EVIL, "--passphrase-from", f"{EVIL}.pw"),
    )
    require_clean(evil.read(f"{EVIL}.r.txt").decode())
    require_clean_sheets(evil, f"{EVIL}.r.pdf")


def test_letters_and_payload_names(evil):
    """The letter to a holder, and the name of a file that comes off the paper."""
    said(
        evil.ok(
            *("backup", f"{EVIL}.pw", "--plain", "--allow-unprotected", "--any", "2", "--of", "2"),
            *("-o", "s", "--text", "t", "--holder", EVIL, "--holder", "b"),
        )
    )
    assert "[U+202E]" in require_clean_sheets(evil, "s/share-1.pdf")
    for number in (1, 2):
        require_clean(evil.read(f"t/share-{number}.txt").decode())
    told = said(evil.ok("restore", "t/share-1.txt", "t/share-2.txt", "-o", "back"))
    assert "[U+202E]" in told
    said(evil.ok("register"))


def test_damaged_lines_and_strays(evil, printed):
    """Their places are named by the file's name."""
    rows = printed.read("s.txt").decode().splitlines()
    rows[12] = rows[12][:20] + "????" + rows[12][24:]
    evil.write(f"{EVIL}.txt", "\n".join([*rows, "900  AAAA BBBB CCCC DDDD EEEE FFFF AAAAA"]))
    assert "[U+202E]" in said(evil.run("check", f"{EVIL}.txt"))
    assert "[U+202E]" in said(evil.run("check", "--json", f"{EVIL}.txt"))


ERRORS = {
    "no such file": ("check", f"x{EVIL}"),
    "not a key": ("backup", f"{EVIL}.pw", "-o", "s.pdf"),
    "an output that exists": ("backup", KEY, "-o", f"{EVIL}.pw"),
    "an output folder": ("backup", KEY, "-o", f"{EVIL}.d/s.pdf"),
    "an output that is read": ("backup", f"{EVIL}.key", "-o", f"{EVIL}.key", "--force"),
    "a command": (EVIL,),
    "an option": ("check", f"--{EVIL}"),
    "a choice": ("backup", KEY, "-o", "s.pdf", "--paper", EVIL),
    "a number": ("backup", KEY, "-o", "s.pdf", "--any", EVIL),
    "spare lines": ("backup", KEY, "-o", "s.pdf", "--spare", EVIL),
    "a date": ("register", "--expires", f"A={EVIL}"),
    "a set mark": ("register", "--destroyed", EVIL),
    "a fingerprint": ("backup", KEY, "-o", "s.pdf", "--fingerprint", EVIL),
    "a passphrase": (
        "backup",
        KEY,
        "-o",
        "s.pdf",
        "--compact",
        "--passphrase-from",
        f"{EVIL}.cert",
    ),
    "a register": ("register", "--register", f"{EVIL}.pw"),
    "no lines": ("type", f"{EVIL}.key"),
    "not of the certificate": ("restore", "s.txt", "--public", f"{EVIL}.pw", "-o", "k"),
}


@pytest.mark.parametrize("name", ERRORS)
def test_in_every_error(evil, printed, name):
    """The message names what was given, and is clean."""
    evil.write("s.txt", printed.read("s.txt"))
    done = evil.run(*ERRORS[name])
    assert done.status in (1, 2)
    assert done.err
    said(done)


def test_a_register_that_others_wrote(evil):
    """Every field of it, in words and as JSON."""
    evil.ok("backup", KEY, "-o", "s.pdf", "--register", "r.sqlite3", "--holder", "b")
    connection = sqlite3.connect(evil.folder / "r.sqlite3")
    (number, text) = connection.execute("SELECT number, entry FROM backup").fetchone()
    entry = json.loads(text) | {
        "marks": [EVIL],
        "fingerprint": EVIL,
        "kind": EVIL,
        "holders": [EVIL],
        "drilled": "2026-11-25",
        "drill": EVIL,
    }
    connection.execute("UPDATE backup SET entry = ? WHERE number = ?", (json.dumps(entry), number))
    connection.commit()
    connection.close()
    assert "[U+202E]" in said(evil.ok("register", "--register", "r.sqlite3"))
    assert "[U+202E]" in said(evil.ok("register", "--json", "--register", "r.sqlite3"))


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("Saltmarrow Buoy Keepers <notices@saltmarrow.example>", None),
        ("Zoë 港 Зоя — buoy\u3000keeper ⚓", None),
        ("a\x1b[31mb\x7f\x9b", "a[U+001B][31mb[U+007F][U+009B]"),
        ("a\nb\tc\rd\u2028e\u2029f\x85", "a[U+000A]b[U+0009]c[U+000D]d[U+2028]e[U+2029]f[U+0085]"),
        (
            "\u202a\u202e\u2066\u2069\u200e\u061c",
            "[U+202A][U+202E][U+2066][U+2069][U+200E][U+061C]",
        ),
        (
            "\u200b\u200d\u2060\ufeff\u00ad\u3164",
            "[U+200B][U+200D][U+2060][U+FEFF][U+00AD][U+3164]",
        ),
        ("\U000e0041\ue000\U0010ffff", "[U+E0041][U+E000][U+10FFFF]"),
        (os.fsdecode(b"\xff"), "[U+DCFF]"),
    ],
)
def test_clean(text, cleaned):
    """What shows itself stays as it is; what does not is named; nothing changes twice."""
    expected = text if cleaned is None else cleaned
    assert foreign_text.clean(text) == expected
    assert foreign_text.clean(expected) == expected


@pytest.mark.long
def test_every_code_point():
    """No character that does not show itself passes, of all there are."""
    every = "".join(map(chr, range(0x110000)))
    shown = foreign_text.clean(every)
    assert not {unicodedata.category(character) for character in shown} & set(DIRTY)


def test_places_of_errors():
    """The name of a file in an error is clean wherever the error is told."""
    assert "\n" not in str(SourceError("it is empty", place=Place(source=EVIL)))
