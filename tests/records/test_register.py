"""
The register: what is written is there, what is due is told, and nothing else is taken for one.
"""

import datetime as dt
import sqlite3
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from paperkey_alt.errors import RegisterError
from paperkey_alt.records import register
from paperkey_alt.records.register import Entry, Register

TODAY = dt.date(2026, 11, 25)
KEY = "5A2B4966F259FA1ED461D1C422E9DF7411088C8E"


def days(count):
    """The day so many days from today."""
    return TODAY + dt.timedelta(days=count)


def entry(mark="KQ7MB", **others):
    """An entry printed today and rehearsed today."""
    known = {
        "fingerprint": KEY,
        "kind": "secret part",
        "sheets": 2,
        "printed": TODAY,
        "drilled": TODAY,
        "drill": register.GIVES,
    }
    return Entry(marks=(mark,), **(known | others))


@pytest.fixture
def book(tmp_path):
    """A register that is not there yet."""
    return Register(tmp_path / "new/register.sqlite3")


def test_what_is_written_is_there(book):
    """Every field comes back as it was, in the order of writing; the file is its owner's alone."""
    full = Entry(
        ("KQ7MB", "A2B3C"),
        KEY,
        "compact, sealed",
        4,
        TODAY,
        2,
        ("Zoë, harbour office", "lock keeper"),
        days(300),
        TODAY,
        register.GIVES,
    )
    bare = Entry(("DXUQJ",), None, "file", 1, TODAY)
    for one in (full, bare):
        book.add(one)
    assert book.entries() == (replace(full, number=1), replace(bare, number=2))
    assert stat.S_IMODE(book.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(book.path.parent.stat().st_mode) == 0o700


def test_nothing_is_made_by_looking(book):
    """Reading a register that is not there gives nothing and makes no file."""
    assert book.entries() == ()
    assert not book.path.parent.exists()


def test_the_same_sheets_printed_again_are_one_entry(book):
    """Unless the first ones are destroyed."""
    book.add(entry())
    book.add(entry())
    assert len(book.entries()) == 1
    book.change(["KQ7MB"], destroyed=TODAY)
    book.add(entry())
    assert [one.destroyed for one in book.entries()] == [TODAY, None]


def test_changes_go_where_the_mark_is(book):
    """Any mark of a backup names it; other entries, and destroyed ones, stay as they are."""
    book.add(replace(entry(), marks=("KQ7MB", "A2B3C"), drilled=None, drill=None))
    book.add(entry("DXUQJ"))
    assert [
        one.number for one in book.change({"A2B3C"}, drilled=TODAY, drill=register.GIVES_NOT)
    ] == [1]
    assert [one.drill for one in book.entries()] == [register.GIVES_NOT, register.GIVES]
    assert book.change(["ZZZZZ"], destroyed=TODAY) == ()


# what is given for one entry, and the words that must stand in what is due
DUE = {
    "nothing": (entry(expires=days(61)), None),
    "a key without an end": (entry(), None),
    "the key expires in 60 days": (entry(expires=days(60)), "expires on 2027-01-24"),
    "the key expires today": (entry(expires=TODAY), "expires on"),
    "the key has expired": (entry(expires=days(-1)), "expired on 2026-11-24"),
    "never rehearsed": (entry(drilled=None, drill=None), "Never rehearsed"),
    "rehearsed a year ago": (entry(printed=days(-700), drilled=days(-365)), "once a year is due"),
    "rehearsed not quite a year ago": (entry(printed=days(-700), drilled=days(-364)), None),
    "a rehearsal failed": (entry(drill=register.GIVES_NOT), "failed"),
    "destroyed": (entry(drilled=None, drill=None, expires=days(-9), destroyed=TODAY), None),
}


@pytest.mark.parametrize("name", DUE)
def test_what_is_due(name):
    """To the day."""
    one, said = DUE[name]
    found = register.due([replace(one, number=1)], TODAY)
    assert found == {} if said is None else said in " ".join(found[1])


# an older entry, a newer one, and whether the older sheets are to be destroyed
REPLACED = {
    "printed anew": (entry(printed=days(-9)), entry("DXUQJ"), True),
    "printed anew on the same day": (entry(), entry("DXUQJ"), True),
    "in two ways on one day": (entry(), entry("DXUQJ", kind="compact, sealed"), False),
    "in another way later": (entry(printed=days(-9)), entry("DXUQJ", kind="compact, sealed"), True),
    "another key": (entry(printed=days(-9)), entry("DXUQJ", fingerprint="00" * 20), False),
    "a key without a fingerprint": (
        entry(printed=days(-9), fingerprint=None),
        entry("DXUQJ", fingerprint=None),
        False,
    ),
    "a revocation": (entry(printed=days(-9)), entry("DXUQJ", kind=register.REVOCATION), False),
    "a new revocation": (
        entry(printed=days(-9), kind=register.REVOCATION),
        entry("DXUQJ", kind=register.REVOCATION),
        True,
    ),
}


@pytest.mark.parametrize("name", REPLACED)
def test_old_sheets_are_to_be_destroyed(name):
    """When newer ones are there for the same key and purpose; the newer ones never."""
    old, new, replaced = REPLACED[name]
    found = register.due([replace(old, number=1), replace(new, number=2)], TODAY)
    assert ("destroy these sheets" in " ".join(found.get(1, ()))) == replaced
    assert "destroy these sheets" not in " ".join(found.get(2, ()))


PATHS = {
    "XDG": ({"XDG_DATA_HOME": "/data"}, "linux", "/data/ragleaf/register.sqlite3"),
    "XDG, relative and so to be ignored": (
        {"XDG_DATA_HOME": "data"},
        "linux",
        "/home/k/.local/share/ragleaf/register.sqlite3",
    ),
    "Linux": ({}, "linux", "/home/k/.local/share/ragleaf/register.sqlite3"),
    "macOS": ({}, "darwin", "/home/k/Library/Application Support/Ragleaf/register.sqlite3"),
    "Windows": ({"LOCALAPPDATA": "/l"}, "win32", "/l/Ragleaf/register.sqlite3"),
}


@pytest.mark.parametrize("name", PATHS)
def test_where_it_is_kept(name):
    """XDG Base Directory Specification 0.8; macOS and Windows as is usual there."""
    environment, platform, path = PATHS[name]
    assert register.default_path(environment, platform, Path("/home/k")) == Path(path)


def foreign_database():
    """A database of another program."""
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE tides (height REAL)")
    return connection.serialize()


def later_version():
    """A register of a version to come."""
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE backup (number INTEGER PRIMARY KEY, entry TEXT NOT NULL)")
    connection.execute("PRAGMA user_version = 2")
    connection.commit()
    return connection.serialize()


def spoilt(text):
    """A register with something in it that is no entry."""
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE backup (number INTEGER PRIMARY KEY, entry TEXT NOT NULL)")
    connection.execute("INSERT INTO backup (entry) VALUES (?)", (text,))
    connection.execute("PRAGMA user_version = 1")
    connection.commit()
    return connection.serialize()


WRONG_FILES = {
    "noise": b"no database" * 100,
    "another program's": foreign_database(),
    "a later version": later_version(),
    "no JSON": spoilt("{"),
    "JSON of another kind": spoilt("[]"),
    "an entry without fields": spoilt("{}"),
    "an impossible entry": spoilt('{"marks": [], "printed": "x"}'),
}


@pytest.mark.parametrize("name", WRONG_FILES)
def test_what_is_no_register_is_left_alone(tmp_path, name):
    """An error of ours that names the file; not a byte of it is changed."""
    path = tmp_path / "r"
    path.write_bytes(WRONG_FILES[name])
    for use in (Register(path).entries, lambda: Register(path).add(entry())):
        with pytest.raises(RegisterError, match=r"/r cannot be used as the register"):
            use()
    assert path.read_bytes() == WRONG_FILES[name]


def test_a_folder_that_cannot_be_written():
    """The error names the path and what to do."""
    with pytest.raises(RegisterError) as caught:
        Register(Path("/proc/nowhere/r")).add(entry())
    assert "--no-register" in caught.value.advice


WRITER = """
import datetime as dt, sys
from pathlib import Path
from paperkey_alt.records.register import Entry, Register
for at in range(int(sys.argv[3])):
    entry = Entry((f"{sys.argv[2]}-{at}",), None, "file", 1, dt.date(2026, 11, 25))
    Register(Path(sys.argv[1])).add(entry)
"""


def test_writers_at_one_time_lose_nothing(tmp_path):
    """
    Eight processes write ten entries each into a register that is not there at first: eighty are
    there.
    """
    path = tmp_path / "r"
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, path, str(number), "10"])
        for number in range(8)
    ]
    assert [writer.wait(60) for writer in writers] == [0] * 8
    assert sorted(one.marks[0] for one in Register(path).entries()) == sorted(
        f"{n}-{at}" for n in range(8) for at in range(10)
    )
