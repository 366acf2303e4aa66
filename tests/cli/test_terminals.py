"""
No traceback, whatever the terminal, the names, the clock and the limits are: one sentence, or the
result.
"""

import os
import resource
import signal
import subprocess
import sys

import pytest
from desks import CERTIFICATE, KEY

RAGLEAF = (sys.executable, "-m", "paperkey_alt")
NOT_UTF8 = os.fsdecode(b"n\xff")

# Sets the clock to 2107, then is the command.
LATE = """
import datetime, time
AT = 4_323_456_000.0
class Late(datetime.datetime):
    @classmethod
    def now(cls, zone=None):
        return cls.fromtimestamp(AT, zone)
time.time, datetime.datetime = (lambda: AT), Late
from paperkey_alt.__main__ import main
main()
"""


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_terminals_without_our_signs(desk, printed, encoding):
    """An en dash becomes a hyphen, and what has no plainer sign a question mark."""
    environment = os.environ | {"PYTHONIOENCODING": encoding}
    lines = printed.folder / "s.txt"
    done = subprocess.run(
        [*RAGLEAF, "check", lines], env=environment, capture_output=True, check=False
    )
    assert done.returncode == 0
    assert "  fine       230   1" in done.stdout.decode(encoding)
    desk.write("Зоя.txt", printed.read("s.txt")[:4000])
    done = subprocess.run(
        [*RAGLEAF, "check", "Зоя.txt"],
        cwd=desk.folder,
        env=environment,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr
    assert b"more lines are needed" in done.stdout
    if encoding != "cp1252":
        assert b"1-" in done.stdout


@pytest.mark.long
def test_names_that_are_no_utf8(desk, printed):
    """Of keys, of sheets, of sources, of holders, in words and as JSON."""
    desk.write(NOT_UTF8, printed.read("s.txt"))
    desk.write(f"{NOT_UTF8}.asc", KEY.read_bytes())
    fresh = {"env": os.environ | {"XDG_DATA_HOME": f"{desk.folder}-data"}}
    desk.ok("check", NOT_UTF8, **fresh)
    assert "[U+DCFF]" in desk.ok("check", "--json", NOT_UTF8, **fresh).out
    assert "n[U+DCFF]x cannot be read" in desk.run("check", f"{NOT_UTF8}x", **fresh).err
    desk.ok(
        *("backup", f"{NOT_UTF8}.asc", "--plain", "--allow-unprotected"),
        *("-o", f"{NOT_UTF8}.pdf", "--text", "p.txt", "--holder", NOT_UTF8),
        **fresh,
    )
    said = desk.ok("restore", "p.txt", "-o", f"{NOT_UTF8}.key", **fresh).err
    assert "the file n\ufffd.asc" in said
    assert desk.read(f"{NOT_UTF8}.key") == KEY.read_bytes()
    for arguments in (
        ("restore", "p.txt", "-o", "k", "--mark", NOT_UTF8),
        ("backup", KEY, "-o", "k", "--fingerprint", NOT_UTF8),
        ("register", "--holders", f"{NOT_UTF8}={NOT_UTF8}"),
        ("revoke-sheet", KEY, "-o", "k", "--comment", NOT_UTF8, "--reason", "none"),
        (NOT_UTF8,),
    ):
        assert desk.run(*arguments, "--passphrase-from", "pw", **fresh).status in (1, 2)
    assert "k" not in desk.files()


def test_a_name_that_begins_with_a_hyphen_or_a_digit(desk, printed):
    """A file of digits is a file; of one that looks like an option it is said how to name it."""
    for name in ("-x", "0"):
        desk.write(name, printed.read("s.txt"))
    desk.write("begins", b"0123456789 is what stands in this file")
    desk.ok("check", "0")
    desk.ok("check", "./-x")
    done = desk.run("check", "-x")
    assert done.status == 2
    assert "write its folder before it: ./-x" in done.err
    desk.ok("backup", "begins", "--plain", "--allow-unprotected", "-o", "b.pdf", "--text", "b.txt")
    desk.ok("restore", "b.txt", "-o", "back")
    assert desk.read("back") == desk.read("begins")


DIGITS = "5" * 5000
LONG = {
    "spare lines": ("backup", KEY, "-o", "s.pdf", "--spare", DIGITS),
    "shares": ("backup", KEY, "-o", "s.pdf", "--any", DIGITS, "--of", DIGITS),
    "a date": ("register", "--expires", f"AAAAA={DIGITS}"),
    "a set mark": ("restore", "digits", "-o", "k", "--mark", DIGITS),
    "a fingerprint": ("backup", KEY, "-o", "s.pdf", "--fingerprint", DIGITS),
    "a text": ("check", "digits"),
    "a comment": (
        *("revoke-sheet", KEY, "-o", "s.pdf", "--reason", "none", "--passphrase-from", "pw"),
        *("--comment", "a" * 70_000),
    ),
    "a name": ("check", "n" * 5000),
    "an output": ("backup", KEY, "-o", "n" * 5000),
}


@pytest.mark.long
@pytest.mark.parametrize("name", LONG)
def test_long_arguments_and_numbers(desk, name):
    """5,000 digits, 70,000 characters: refused, and not repeated in full."""
    desk.write("digits", f"{DIGITS} AAAA\n0 {DIGITS}\n")
    done = desk.run(*LONG[name], env=os.environ | {"XDG_DATA_HOME": f"{desk.folder}-data"})
    assert done.status in (1, 2)
    assert desk.files() == ["digits", "pw"]


def test_a_line_number_of_5000_digits(desk, printed):
    """Typed at `type`: that there is no such line is said, as of any number that is too large."""
    rows = printed.read("s.txt").decode().splitlines()
    head = next(row for row in rows if row.split()[:1] == ["0"]).split(None, 1)[1]
    done = desk.ok("type", "l.txt", stdin=f"{head}\ngo {DIGITS}\nstop\n")
    assert f"There is no line {DIGITS[:9]}: the last line of this set is 230." in done.err


@pytest.mark.long
def test_a_clock_in_2107(desk, printed):
    """OpenPGP cannot date a revocation then; everything else works."""
    late = {"command": (sys.executable, "-c", LATE)}
    desk.ok("backup", KEY, "-o", "s.pdf", "--register", "r.sqlite3", **late)
    assert "2107" in desk.ok("register", "--register", "r.sqlite3", **late).err
    lines = printed.folder / "s.txt"
    desk.ok("restore", lines, "--public", CERTIFICATE, "-o", "k.asc", **late)
    desk.ok("drill", lines, "--key", KEY, "--register", "r.sqlite3", **late)
    done = desk.run(
        *("revoke-sheet", KEY, "-o", "r.pdf", "--reason", "none", "--passphrase-from", "pw"), **late
    )
    assert done.status == 2
    assert "past 2106" in done.err


@pytest.mark.long
def test_no_home(desk, printed):
    """The sheets are made, and then it is said that they are not noted."""
    code = (
        "import os, pwd\ndef unknown(_): raise KeyError('nobody')\npwd.getpwuid = unknown\n"
        "from paperkey_alt.__main__ import main\nmain()"
    )
    nobody = {
        "command": (sys.executable, "-c", code),
        "env": {
            name: content
            for name, content in os.environ.items()
            if name not in ("HOME", "XDG_DATA_HOME", "USER", "LOGNAME")
        },
    }
    done = desk.ok("backup", KEY, "-o", "s.pdf", **nobody)
    assert "Not noted: " in done.err
    assert desk.read("s.pdf").startswith(b"%PDF")
    assert desk.run("register", **nobody).status == 2
    desk.ok("check", printed.folder / "s.txt", **nobody)


def test_no_terminal_for_a_passphrase(desk):
    """Nothing is read from elsewhere, nor shown: it is said what to do."""
    for arguments in (
        ("backup", KEY, "--compact", "-o", "s.pdf"),
        ("backup", KEY, "--seal", "-o", "s.pdf"),
        ("revoke-sheet", KEY, "-o", "s.pdf", "--reason", "none"),
    ):
        done = desk.run(*arguments, stdin="typed\n", start_new_session=True)
        assert done.status == 2
        assert "--passphrase-from" in done.err
        assert desk.files() == ["pw"]


def test_no_answer_to_a_question(desk):
    """The input ends where a reason was asked for: one sentence."""
    done = desk.run("revoke-sheet", KEY, "-o", "s.pdf", start_new_session=True)
    assert done.status == 1
    assert "the input ended before an answer" in done.err


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="sets a limit of Linux")
@pytest.mark.parametrize("mebibytes", [16, 48, 100])
def test_low_memory(desk, printed, mebibytes):
    """The result, or a sentence; Python itself starts with some 16 MiB."""

    def limited():
        resource.setrlimit(resource.RLIMIT_AS, (mebibytes << 20, mebibytes << 20))

    for arguments in (
        ("check", printed.folder / "s.txt"),
        ("check", printed.folder / "s.pdf"),
        ("backup", KEY, "--compact", "--passphrase-from", "pw", "-o", "s.pdf", "--force"),
    ):
        environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        done = desk.run(*arguments, preexec_fn=limited, env=environment)
        assert done.status == 0 or "ragleaf: " in done.err or "Fatal Python" in done.err
        assert not [name for name in desk.files() if name.startswith(".")]


def test_a_full_disk_at_the_register(desk):
    """A limit on file sizes: the sheet is written, the register is not, and it is said."""

    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (6000, 6000))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    desk.write("note", "the lamp of buoy 7 is out")
    done = desk.run(
        *("backup", "note", "--plain", "--allow-unprotected", "-o", "-", "--register", "r"),
        command=("sh", "-c", f'exec {sys.executable} -m paperkey_alt "$@" >/dev/null', "sh"),
        preexec_fn=limited,
    )
    assert done.status == 0
    assert "Not noted: " in done.err
