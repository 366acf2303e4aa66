"""The register by its command: what is noted of sheets, what is due, and what is a calendar."""

import datetime as dt
import json
import os
import subprocess
import sys

import icalendar
import pytest
from desks import KEY, PASSPHRASE

from paperkey_alt.records.entry import GIVES, Entry
from paperkey_alt.records.register import Register

TODAY = dt.datetime.now().astimezone().date()
MARKS = ("KQ7MB", "A2B3C", "DXUQJ")
FINGERPRINT = "5A2B4966F259FA1ED461D1C422E9DF7411088C8E"
NAME = "Saltmarrow Buoy Keepers <notices@saltmarrow.example>"


@pytest.fixture
def book(desk):
    """A register with the shares of one backup."""
    book = Register(desk.folder / "r")
    known = {"threshold": 2, "name": NAME, "holders": ("harbour office", "lock keeper", "pilot")}
    book.add(Entry(MARKS, FINGERPRINT, "secret part", 6, TODAY, **known))
    return book


def listed(desk, *arguments):
    """The backups that the command lists as JSON."""
    return json.loads(desk.ok("register", "--json", "--register", "r", *arguments).out)["backups"]


def test_one_share_is_destroyed_and_is_not(desk, book):
    """Each share has a state of its own, and what was marked by mistake is taken back."""
    assert listed(desk, "--destroyed", "a2b3c")[0]["destroyed"] == {"A2B3C": str(TODAY)}
    said = desk.ok("register", "--register", "r").out
    assert f"A2B3C destroyed {TODAY}" in said
    assert "DUE: Never rehearsed" in said
    assert desk.run("register", "--register", "r", "--destroyed", "A2B3C").status == 2
    (one,) = listed(desk, "--destroyed", "DXUQJ")
    assert "Only 1 share is not marked destroyed" in one["due"][0]
    assert listed(desk, "--destroyed", "KQ7MB")[0]["due"] == []
    (one,) = listed(desk, "--not-destroyed", "dxuqj", "--not-destroyed", "KQ7MB")
    assert one["destroyed"] == {"A2B3C": str(TODAY)}
    done = desk.run("register", "--register", "r", "--not-destroyed", "KQ7MB")
    assert done.status == 2
    assert "has KQ7MB marked destroyed" in done.err


def test_several_changes_are_made_together_or_not_at_all(desk, book):
    """One set mark that is not there, and nothing is noted."""
    before = book.entries()
    done = desk.run("register", "--register", "r", "--note", "KQ7MB=x", "--destroyed", "ZZZZZ")
    assert done.status == 2
    assert book.entries() == before


def test_where_sheets_are_kept(desk, book):
    """A note for each share; an empty one takes it away; a long one is refused."""
    said = desk.ok(
        "register", "--register", "r", "--note", "a2b3c=oak chest, pier 4", "--note", "DXUQJ=x"
    )
    assert "  A2B3C kept at: oak chest, pier 4\n" in said.out
    assert "  held by harbour office, lock keeper, pilot\n" in said.out
    assert f"  of {NAME}\n" in said.out
    assert listed(desk, "--note", "DXUQJ=")[0]["notes"] == {"A2B3C": "oak chest, pier 4"}
    for wrong in ("A2B3C", "A2B3C=" + "x" * 201):
        assert desk.run("register", "--register", "r", "--note", wrong).status == 2


def test_a_register_that_is_not_there(desk):
    """The command says so, makes none, and changes none."""
    for arguments in ((), ("--json",), ("--destroyed", "KQ7MB"), ("--calendar", "c.ics")):
        done = desk.run("register", "--register", "none", *arguments)
        assert done.status == 2
        assert "there is no register at none" in done.err
    assert desk.run("register", "--destroyed", "KQ7MB").status == 2
    assert desk.ok("register").out == "No backup is in the register.\n"
    assert desk.files() == ["pw"]


def test_rehearsals_and_registers(desk, printed):
    """
    The result is told and decides the exit status, whether the register is not there, cannot be
    read, or has no such backup; a print says that it made one.
    """
    desk.write("s.txt", printed.read("s.txt"))
    desk.write("noise", b"noise" * 400)
    for register, said in (
        ("none", "The rehearsal is not noted: there is no register at none"),
        ("noise", "The rehearsal is not noted: noise cannot be used as the register"),
    ):
        done = desk.ok("drill", "s.txt", "--key", KEY, "--register", register)
        assert "This paper gives this key back" in done.err.split(said)[0]
        assert said in done.err
    assert desk.files() == ["noise", "pw", "s.txt"]
    done = desk.run("drill", "s.txt", "--key", "pw", "--register", "none")
    assert done.status == 1
    desk.write("note", "The bell buoy is off station.\n")
    plain = ("backup", "note", "--plain", "--allow-unprotected", "--register", "new/r")
    assert "A new register was made at new/r." in desk.ok(*plain, "-o", "a.pdf").err
    desk.write("note", "The bell buoy is back.\n")
    assert "new register" not in desk.ok(*plain, "-o", "b.pdf", "--anonymous").err
    one, other = json.loads(desk.ok("register", "--json", "--register", "new/r").out)["backups"]
    assert (one["name"], other["name"], one["contents"]) == ("note", None, {})


def without_home(desk, *arguments):
    """A command run where nothing says where the home folder is."""
    script = (
        "import os, pwd\n"
        "def none(uid): raise KeyError(uid)\n"
        "pwd.getpwuid = none\n"
        "from paperkey_alt.cli.group import main; main()"
    )
    kept = {
        name: value for name, value in os.environ.items() if name not in ("HOME", "XDG_DATA_HOME")
    }
    return desk.run(*arguments, command=(sys.executable, "-c", script), env=kept)


def test_no_home(desk):
    """The print is made, and why nothing was noted is said; the list has nothing to list."""
    desk.write("note", "The bell buoy is off station.\n")
    done = without_home(desk, "backup", "note", "--plain", "--allow-unprotected", "-o", "n.pdf")
    assert done.status == 0
    assert "Not noted: this user has no home folder" in done.err
    done = without_home(desk, "register")
    assert done.status == 2
    assert "home folder" in done.err


CHANGE = """
import sys
from dataclasses import replace
from paperkey_alt.keys.openpgp import key_file, packets, protection, unlocked
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.protection import PublicPart
key = key_file.read(open(sys.argv[1], "rb").read())[0]
part = key.secret_packets[0]
clear = unlocked.unlock(key, lambda what: sys.argv[3])[0].clear
how = protection.parse(part.secret, part.version)
public = PublicPart(part.packet.tag, part.version, part.public)
secret = protection.lock(clear, how, public, b"high water")
changed = packets.with_body(part.packet.tag, part.public + secret, like=part.packet)
every = tuple(changed if packet == part.packet else packet for packet in key.packets)
open(sys.argv[2], "wb").write(key_file.write(Key(every), armored=True))
"""


@pytest.mark.long
def test_sheets_that_are_replaced(desk):
    """
    A copy replaces nothing, and neither do other kinds of print; sheets of the same key under
    another passphrase do, but only when they were rehearsed.
    """
    again = ("--register", "r", "--text")
    desk.ok("backup", KEY, "-o", "a.pdf", *again, "a.txt")
    (one,) = listed(desk)
    mark = one["marks"][0]
    done = desk.ok("backup", KEY, "-o", "b.pdf", *again, "b.txt", "--paper", "letter")
    assert (
        f"The register has {mark} since {one['printed']}: what was printed now is a copy."
        in done.err
    )
    # Not before today, however late the tests began.
    (copied,) = listed(desk)[0]["copies"]
    assert TODAY <= dt.date.fromisoformat(copied) <= dt.datetime.now().astimezone().date()
    desk.ok("drill", "b.txt", "--key", KEY, "--register", "r")
    assert listed(desk)[0]["due"] == []
    desk.ok("backup", KEY, "--whole", "-o", "w.pdf", *again, "w.txt")
    desk.ok("drill", "w.txt", "--key", KEY, "--register", "r")
    one, whole = listed(desk)
    assert (one["due"], whole["due"]) == ([], [])
    assert f"{whole['marks'][0]} carries the same secrets" in one["keep"][0]
    changed = [sys.executable, "-c", CHANGE, KEY, "new.asc", PASSPHRASE]
    subprocess.run(changed, check=True, cwd=desk.folder)
    desk.ok("backup", "new.asc", "-o", "c.pdf", *again, "c.txt")
    one, whole, new = listed(desk)
    assert (one["due"], whole["due"]) == ([], [])
    assert f"{new['marks'][0]} was printed later" in one["keep"][0]
    assert "keep these" in one["keep"][0]
    desk.ok("drill", "c.txt", "--key", "new.asc", "--register", "r")
    one, whole, new = listed(desk)
    for old in (one, whole):
        assert f"Replaced by {new['marks'][0]}" in old["due"][0]
        assert f"destroy the sheets of {old['marks'][0]}, every copy" in old["due"][0]
    assert new["due"] == []


def test_a_rehearsal_of_the_set_that_was_chosen(desk, printed):
    """
    Of another set that lies beside it nothing is noted; where it is not said which is meant,
    nothing is noted at all.
    """
    book = Register(desk.folder / "r")
    rows = printed.read("s.txt").decode().splitlines(keepends=True)
    desk.write("a.txt", "".join(rows))
    mark = rows[0].split(":")[0].split()[-1]
    desk.ok("backup", KEY, "--whole", "-o", "w.pdf", "--text", "w.txt", "--register", "r")
    (whole,) = book.entries()
    book.add(Entry((mark,), FINGERPRINT, "secret part", 2, TODAY))
    done = desk.run("drill", "a.txt", "w.txt", "--key", KEY, "--register", "r")
    assert done.status == 1
    assert [one.drill for one in book.entries()] == [None, None]
    desk.ok("drill", "a.txt", "w.txt", "--key", KEY, "--register", "r", "--mark", whole.marks[0])
    assert [one.drill for one in book.entries()] == [GIVES, None]


def test_a_key_each_year(desk):
    """The old key's sheets are to be kept, and to be rehearsed: nothing says that they go."""
    book = Register(desk.folder / "r")
    for year, mark in ((2025, "KQ7MB"), (2026, "DXUQJ")):
        known = {"expires": dt.date(year + 1, 11, 1), "drill": GIVES, "name": NAME}
        day = dt.date(year, 11, 2)
        book.add(Entry((mark,), f"{year:040}", "secret part", 2, day, drilled=day, **known))
    done = desk.ok("register", "--register", "r")
    old, _ = done.out.split("\n\n")
    assert (
        "KEEP: Sheets of another key of this name were printed later. Old mail needs this key"
        in old
    )
    assert "destroy" not in done.out
    assert "rehearse once a year" in old


def test_a_calendar(desk, book):
    """Written 0600 beside the list, or alone to standard output; a file that is there is kept."""
    done = desk.ok("register", "--register", "r", "--calendar", "c.ics")
    assert "is in c.ics" in done.err
    assert "KQ7MB" in done.out
    assert (desk.folder / "c.ics").stat().st_mode & 0o777 == 0o600
    (event,) = icalendar.Calendar.from_ical(desk.read("c.ics")).walk("VEVENT")
    assert event["SUMMARY"] == f"Rehearse the sheets: {NAME} (KQ7MB, A2B3C, DXUQJ)"
    assert event["DTSTART"].dt == TODAY
    assert desk.run("register", "--register", "r", "--calendar", "c.ics").status == 2
    desk.ok("register", "--register", "r", "--calendar", "c.ics", "--force")
    alone = desk.ok("register", "--register", "r", "--calendar", "-").out
    assert alone.startswith("BEGIN:VCALENDAR")
    assert alone.rstrip().endswith("END:VCALENDAR")
    assert desk.run("register", "--register", "r", "--calendar", "-", "--json").status == 2
    before = book.entries()
    os.link(desk.folder / "r", desk.folder / "also-r")
    for name in ("r", "./r", "also-r"):
        done = desk.run("register", "--register", "r", "--calendar", name, "--force")
        assert (done.status, f"{name} is also an input, as r" in done.err) == (2, True)
    assert book.entries() == before


def test_no_calendar(desk, book):
    """Where nothing is due now or later, no file is written."""
    marked = [word for mark in MARKS for word in ("--destroyed", mark)]
    done = desk.run("register", "--register", "r", *marked, "--calendar", "c.ics")
    assert done.status == 2
    assert "nothing to put into a calendar" in done.err
    assert "c.ics" not in desk.files()


def at(moment):
    """The command, run when the clock shows this instant, in the zone of its offset."""
    script = (
        "import datetime as dt\n"
        "from paperkey_alt.computer import machine\n"
        f"machine.now = lambda: dt.datetime.fromisoformat({moment!r})\n"
        "from paperkey_alt.cli.group import main; main()"
    )
    return (sys.executable, "-c", script)


def created():
    """The instant at which the demo key was made."""
    from paperkey_alt import keys  # noqa: PLC0415

    return keys.certificate(KEY.read_bytes(), None).created


@pytest.mark.long
@pytest.mark.parametrize(
    ("minutes", "hours"),
    [
        (1, -12),
        (-1, 14),
        pytest.param(1, 14, marks=pytest.mark.long),
        pytest.param(-1, -12, marks=pytest.mark.long),
    ],
)
def test_the_clock_is_compared_by_instants(desk, minutes, hours):
    """
    A minute after the key was made is fine and a minute before it is not, whatever day it is in the
    zone of the clock.
    """
    zone = dt.timezone(dt.timedelta(hours=hours))
    moment = (created() + dt.timedelta(minutes=minutes)).astimezone(zone)
    command, is_early = at(moment.isoformat()), minutes < 0
    done = desk.ok("backup", KEY, "-o", "s.pdf", "--no-register", command=command)
    shown = created().astimezone(zone).isoformat(" ", "minutes")
    assert (f"before the key's creation ({shown})" in done.err) == is_early
    done = desk.run("preflight", "--key", KEY, command=command)
    assert f"the clock shows {moment.isoformat(' ', 'minutes')}" in done.out
    assert (f"before the key was made ({shown})" in done.out) == is_early
    revoke = ("revoke-sheet", KEY, "--reason", "none", "--passphrase-from", "pw", "-o", "r.pdf")
    done = desk.run(*revoke, "--no-register", command=command)
    assert ("the key is not made yet" in done.err) == is_early
    assert done.status == (2 if is_early else 0)
