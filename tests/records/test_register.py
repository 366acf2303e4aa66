"""
The register: what is written is there, what is due is told, and nothing else is taken for one.
"""

import datetime as dt
import json
import os
import re
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from paperkey_alt.errors import NoSuchEntry, RegisterError
from paperkey_alt.records import entry as entries
from paperkey_alt.records import register, stored, tasks
from paperkey_alt.records.entry import Entry
from paperkey_alt.records.register import Register

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
        "drill": entries.GIVES,
    }
    return Entry(**({"marks": (mark,)} | known | others))


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
        entries.GIVES,
        {"A2B3C": TODAY},
        {"KQ7MB": "top drawer"},
        "Saltmarrow Buoy Keepers <notices@saltmarrow.example>",
        {KEY: "00112233"},
        (days(1), days(2)),
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
    assert book.add(entry(printed=days(1))).copies == (days(1),)
    assert len(book.entries()) == 1
    book.edit(lambda every: [entries.destroyed(one, "KQ7MB", TODAY) for one in every])
    book.add(entry())
    assert [one.destroyed for one in book.entries()] == [{"KQ7MB": TODAY}, {}]


def test_changes_go_where_the_mark_is(book):
    """Any mark of a backup names it; other entries, and destroyed ones, stay as they are."""
    book.add(replace(entry(), marks=("KQ7MB", "A2B3C"), drilled=None, drill=None))
    book.add(entry("DXUQJ"))
    assert [
        one.number for one in book.change({"A2B3C"}, drilled=TODAY, drill=entries.GIVES_NOT)
    ] == [1]
    assert [one.drill for one in book.entries()] == [entries.GIVES_NOT, entries.GIVES]
    assert book.change(["ZZZZZ"], drilled=TODAY) == ()
    book.edit(lambda every: [entries.destroyed(one, "DXUQJ", TODAY) for one in every[1:]])
    assert book.change(["DXUQJ"], drilled=TODAY) == ()


def test_an_edit_that_fails_changes_nothing(book):
    """What it raises comes through, and all is as it was; where no file is, none is made."""

    def fails(every):
        raise NoSuchEntry(f"none of {len(every)}")

    for count in (0, 1):
        with pytest.raises(NoSuchEntry, match=f"none of {count}"):
            book.edit(fails)
        assert book.path.exists() == bool(count)
        book.add(entry())
    assert book.entries() == (entry(copies=(TODAY,), number=1),)


# what is given for one entry, and the words that must stand in what is due
DUE = {
    "nothing": (entry(expires=days(61)), None),
    "a key without an end": (entry(), None),
    "the key expires in 60 days": (entry(expires=days(60)), "expires on 2027-01-24"),
    "the key expires today": (entry(expires=TODAY), "expires on"),
    "the key has expired": (entry(expires=days(-1)), "expired on 2026-11-24"),
    "never rehearsed": (entry(drilled=None, drill=None), "Never rehearsed"),
    "rehearsed a year ago": (entry(printed=days(-700), drilled=days(-365)), "rehearse once a year"),
    "rehearsed not quite a year ago": (entry(printed=days(-700), drilled=days(-364)), None),
    "a rehearsal failed": (
        entry(drill=entries.GIVES_NOT),
        "failed: print new sheets while you have the key",
    ),
    "a rehearsal of a file failed": (
        entry(drill=entries.GIVES_NOT, kind="file, sealed"),
        "failed: print new sheets while you have the file",
    ),
    "destroyed": (
        entry(drilled=None, drill=None, expires=days(-9), destroyed={"KQ7MB": TODAY}),
        None,
    ),
}


@pytest.mark.parametrize("name", DUE)
def test_what_is_due(name):
    """To the day."""
    one, said = DUE[name]
    found = tasks.due([replace(one, number=1)], TODAY)
    assert found == {} if said is None else said in " ".join(found[1])


OLD = {"contents": {KEY: "aa"}, "printed": days(-9), "number": 1}
NEW = {"contents": {KEY: "bb"}, "number": 2}
SHARED = {"threshold": 2, "contents": {KEY: "bb"}, "number": 2}


def shares(**others):
    """A backup in three shares."""
    return entry(marks=("KQ7MB", "A2B3C", "DXUQJ"), **(SHARED | others))


# an older entry, a newer one, and whether the older sheets are to be destroyed
REPLACED = {
    "printed anew": (entry(**OLD), entry("DXUQJ", **NEW), True),
    "printed anew on the same day": (
        entry(**OLD | {"printed": TODAY}),
        entry("DXUQJ", **NEW),
        True,
    ),
    "printed anew and whole": (entry(**OLD), entry("DXUQJ", **NEW, kind="whole key"), True),
    "a new subkey": (
        entry(**OLD),
        entry("DXUQJ", **NEW | {"contents": {KEY: "aa", "00" * 20: "bb"}}),
        True,
    ),
    "shares printed anew": (shares(**OLD), shares(), True),
    "printed anew, not rehearsed": (
        entry(**OLD),
        entry("DXUQJ", **NEW, drilled=None, drill=None),
        False,
    ),
    "the rehearsal failed": (entry(**OLD), entry("DXUQJ", **NEW, drill=entries.GIVES_NOT), False),
    "rehearsed before it was printed, by the clock": (
        entry(**OLD),
        entry("DXUQJ", **NEW, drilled=days(-1)),
        False,
    ),
    "printed again": (entry(**OLD), entry("DXUQJ", **NEW | {"contents": {KEY: "aa"}}), False),
    "printed again and whole": (
        entry(**OLD),
        entry("DXUQJ", **NEW | {"contents": {KEY: "aa"}}, kind="whole key"),
        False,
    ),
    "compact later": (
        entry(**OLD),
        entry("DXUQJ", **NEW | {"contents": {"bb": "bb"}}, kind="compact, sealed"),
        False,
    ),
    "a subkey less": (
        entry(**OLD | {"contents": {KEY: "aa", "00" * 20: "bb"}}),
        entry("DXUQJ", **NEW),
        False,
    ),
    "contents that are not known": (
        entry(**OLD | {"contents": {}}),
        entry("DXUQJ", **NEW),
        False,
    ),
    "shares of a single backup": (entry(**OLD), shares(), False),
    "a single backup of shares": (shares(**OLD), entry("ZZZZZ", **NEW), False),
    "shares of which too few are left": (
        shares(**OLD),
        shares(destroyed={"KQ7MB": TODAY, "DXUQJ": TODAY}),
        False,
    ),
    "another key": (entry(**OLD), entry("DXUQJ", **NEW, fingerprint="00" * 20), False),
    "a key without a fingerprint": (
        entry(**OLD, fingerprint=None),
        entry("DXUQJ", **NEW, fingerprint=None),
        False,
    ),
    "a revocation": (
        entry(**OLD),
        entry("DXUQJ", **NEW | {"contents": {}}, kind=entries.REVOCATION),
        False,
    ),
    "a new revocation": (
        entry(**OLD | {"contents": {}}, kind=entries.REVOCATION),
        entry("DXUQJ", **NEW | {"contents": {}}, kind=entries.REVOCATION),
        False,
    ),
    "a newer one that is destroyed": (
        entry(**OLD),
        entry("DXUQJ", **NEW, destroyed={"DXUQJ": TODAY}),
        False,
    ),
}


@pytest.mark.parametrize("name", REPLACED)
def test_old_sheets_are_to_be_destroyed(name):
    """
    When newer ones that carry all they carry, and not only the same again, were rehearsed; the
    newer ones never.
    """
    old, new, replaced = REPLACED[name]
    found = tasks.due([old, new], TODAY)
    assert ("destroy the sheets" in " ".join(found.get(1, ()))) == replaced
    assert "destroy the sheets" not in " ".join(found.get(2, ()))


def test_the_certificate_goes_with_whole_sheets():
    """Where the newer ones lack it, that is said before they are destroyed."""
    for newer, said in (("OpenPGP key, lean", True), (entries.WHOLE, False)):
        old, new = entry(**OLD, kind=entries.WHOLE), entry("DXUQJ", **NEW, kind=newer)
        (told,) = tasks.due([old, new], TODAY)[1]
        assert ("keep a copy of it first" in told) == said


NAME = "Saltmarrow Buoy Keepers"
# an older entry, a newer one, and the words that must stand in why the older is to be kept
KEPT = {
    "printed anew, not rehearsed": (
        entry(**OLD),
        entry("DXUQJ", **NEW, drilled=None, drill=None),
        "no rehearsal shows",
    ),
    "printed again": (
        entry(**OLD),
        entry("DXUQJ", **NEW | {"contents": {KEY: "aa"}}),
        "it is a second print, not a replacement",
    ),
    "printed again, as shares": (
        entry(**OLD),
        shares(contents={KEY: "aa"}),
        "they are a second print, not a replacement",
    ),
    "the next key": (
        entry(**OLD, name=NAME),
        entry("DXUQJ", **NEW, name=NAME, fingerprint="00" * 20),
        "Old mail needs this key",
    ),
    "an expired key": (
        entry(**OLD, expires=days(-1)),
        entry("DXUQJ", **NEW, fingerprint="00" * 20),
        "Old mail needs this key",
    ),
    "another key": (
        entry(**OLD, name=NAME),
        entry("DXUQJ", **NEW, name="pilot", fingerprint="00" * 20),
        None,
    ),
    "another key, both without a name": (
        entry(**OLD),
        entry("DXUQJ", **NEW, fingerprint="00" * 20),
        None,
    ),
    "replaced": (entry(**OLD), entry("DXUQJ", **NEW), None),
    "another revocation": (
        entry(**OLD, name=NAME, kind=entries.REVOCATION),
        entry("DXUQJ", **NEW, name=NAME, fingerprint="00" * 20, kind=entries.REVOCATION),
        None,
    ),
}


@pytest.mark.parametrize("name", KEPT)
def test_old_sheets_are_to_be_kept(name):
    """It is said why; of the newer ones nothing is."""
    old, new, said = KEPT[name]
    found = tasks.keep([old, new], TODAY)
    assert found == {} if said is None else said in " ".join(found[1])
    assert 2 not in found


def test_shares_that_are_too_few():
    """One of two that are needed is left: that is due, and nothing else of it."""
    one = shares(destroyed={"KQ7MB": TODAY, "DXUQJ": TODAY}, number=1)
    (sentence,) = tasks.due([one], TODAY)[1]
    assert "Only 1 share is not marked destroyed" in sentence
    assert not tasks.due([shares(destroyed={"KQ7MB": TODAY}, number=1)], TODAY)


@pytest.mark.parametrize("year", [dt.date.min, dt.date.max])
def test_what_is_due_at_the_ends_of_time(year):
    """A register with impossible days gives answers all the same: what is long past is due."""
    due = tasks.due([entry(printed=year, expires=year, drilled=year, number=1)], TODAY)
    assert bool(due) is (year == dt.date.min)


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
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.execute("CREATE TABLE tides (height REAL)")
        return connection.serialize()


TABLE = "CREATE TABLE backup (number INTEGER PRIMARY KEY, entry TEXT NOT NULL)"


def database(*statements, version=2):
    """A database made by these statements, each with its parameters."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        for statement, *parameters in statements:
            connection.execute(statement, parameters)
        connection.execute(f"PRAGMA user_version = {version}")
        return connection.serialize()


def later_version():
    """A register of a version to come."""
    return database((TABLE,), version=3)


def spoilt(text, version=1):
    """A register with something in it that is no entry."""
    return database((TABLE,), ("INSERT INTO backup (entry) VALUES (?)", text), version=version)


def with_field(name, content):
    """A register with an entry of which one field is something else."""
    return spoilt(json.dumps(json.loads(stored.pack(entry())) | {name: content}), version=2)


ENDLESS = "WITH RECURSIVE n(number) AS (SELECT 1 UNION ALL SELECT number + 1 FROM n)"
WRONG_FILES = {
    "noise": b"no database" * 100,
    "another program's": foreign_database(),
    "a later version": later_version(),
    "no JSON": spoilt("{"),
    "JSON of another kind": spoilt("[]"),
    "an entry without fields": spoilt("{}"),
    "an impossible entry": spoilt('{"marks": [], "printed": "x"}'),
    "no JSON, version 2": spoilt("{", version=2),
    "nested too deep": spoilt("[" * 100_000, version=2),
    "bytes for an entry": spoilt(b"{}", version=2),
    "an entry that is too long": spoilt(" " * (1 << 19), version=2),
    "a field too many": with_field("tide", 1),
    "a lone surrogate": with_field("name", "\ud800"),
    **{
        f"{name}: {content!r}": with_field(name, content)
        for name, content in (
            ("marks", None),
            ("marks", []),
            ("marks", "KQ7MB"),
            ("marks", [None]),
            ("kind", None),
            ("kind", 7),
            ("sheets", None),
            ("sheets", "2"),
            ("sheets", True),
            ("sheets", -1),
            ("sheets", 1 << 70),
            ("printed", None),
            ("printed", "soon"),
            ("printed", 20261125),
            ("threshold", "2"),
            ("holders", None),
            ("holders", "pilot"),
            ("drilled", {}),
            ("destroyed", None),
            ("destroyed", "2026-11-25"),
            ("destroyed", {"ZZZZZ": "2026-11-25"}),
            ("destroyed", {"KQ7MB": None}),
            ("notes", ["KQ7MB"]),
            ("contents", {KEY: 1}),
            ("copies", [1]),
        )
    },
    "an endless view": database(
        (f"CREATE VIEW backup AS {ENDLESS} SELECT number, '{{}}' AS entry FROM n",)
    ),
    "a computed column": database(
        ("CREATE TABLE backup (number INTEGER PRIMARY KEY, entry AS (zeroblob(1000000000)))",),
        ("INSERT INTO backup (number) VALUES (1)",),
    ),
    "a trigger": database(
        (TABLE,),
        ("CREATE TRIGGER t AFTER INSERT ON backup BEGIN DELETE FROM backup; END",),
    ),
    "too many entries": database(
        (TABLE,),
        (
            f"INSERT INTO backup (entry) {ENDLESS} SELECT ? FROM n LIMIT 10001",
            stored.pack(entry()),
        ),
    ),
    "a table without a version": database((TABLE,), version=0),
    "a version without a table": database(version=2),
}


@pytest.mark.parametrize("name", WRONG_FILES)
def test_what_is_no_register_is_left_alone(tmp_path, name):
    """An error of ours that names the file; not a byte of it is changed."""
    path = tmp_path / "r"
    path.write_bytes(WRONG_FILES[name])
    uses = (
        Register(path).entries,
        lambda: Register(path).add(entry()),
        lambda: Register(path).change(["KQ7MB"], drilled=TODAY),
    )
    for use in uses:
        with pytest.raises(RegisterError, match=r"/r cannot be used as the register"):
            use()
    assert path.read_bytes() == WRONG_FILES[name]


OLD_ENTRY = {
    "marks": ["KQ7MB", "A2B3C"],
    "fingerprint": KEY,
    "kind": "secret part",
    "sheets": 2,
    "printed": "2026-11-25",
    "threshold": 2,
    "holders": ["pilot", "lock keeper"],
    "expires": None,
    "drilled": None,
    "drill": None,
    "destroyed": "2026-11-25",
    "number": None,
}


def test_a_register_of_version_1(tmp_path):
    """It is read as it stands; the first change brings it to version 2, with every entry in it."""
    path = tmp_path / "r"
    data = spoilt(json.dumps(OLD_ENTRY))
    path.write_bytes(data)
    old = Entry(
        ("KQ7MB", "A2B3C"),
        KEY,
        "secret part",
        2,
        TODAY,
        2,
        ("pilot", "lock keeper"),
        destroyed={"KQ7MB": TODAY, "A2B3C": TODAY},
        number=1,
    )
    assert Register(path).entries() == (old,)
    assert path.read_bytes() == data
    Register(path).add(entry("DXUQJ"))
    assert Register(path).entries() == (old, entry("DXUQJ", number=2))
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (2,)


def test_a_register_on_a_medium_that_cannot_be_written(book):
    """It is read."""
    book.add(entry())
    book.path.chmod(0o400)
    book.path.parent.chmod(0o500)
    assert book.entries() == (entry(number=1),)
    book.path.parent.chmod(0o700)


def test_what_is_no_file(tmp_path):
    """A folder, a pipe nobody writes to, a device: refused at once."""
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe", Path("/dev/zero"), tmp_path / "pipe/r"):
        for use in (Register(path).entries, lambda: Register(path).add(entry())):  # noqa: B023
            with pytest.raises(RegisterError):
                use()


def test_what_utf_8_cannot_write(book):
    """A name from a file system becomes one that can be shown."""
    book.add(entry(name="buoy\udcff.key"))
    assert book.entries()[0].name == "buoy?.key"


def test_a_folder_that_cannot_be_written():
    """The error names the path and what to do."""
    with pytest.raises(RegisterError) as caught:
        Register(Path("/proc/nowhere/r")).add(entry())
    assert "--no-register" in caught.value.advice


WRITER = """
import datetime as dt, sys
from pathlib import Path
from paperkey_alt.records.entry import Entry
from paperkey_alt.records.register import Register
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


def test_what_the_system_refuses_is_told_in_words(tmp_path):
    """The reason alone, without a number and the name once more."""
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(RegisterError, match=r"as the register: not a directory$"):
        Register(tmp_path / "file/r").exists()


def test_damage_for_which_sqlite_names_memory(tmp_path):
    """An entry whose length on the disk (SQLite file format, section 1.6) cannot be: an error."""
    book = Register(tmp_path / "r")
    for number in range(30):
        book.add(entry(f"MARK{number}"))
    good = book.path.read_bytes()
    for place in re.finditer(rb'{"marks', good):
        # Before the text: length and number of the row, then its header; as the fuzz found it.
        damaged, at = bytearray(good), place.start()
        damaged[at - 6 : at] = b"\xff" * 5 + b"_"
        damaged[at + 3] = 0xFF
        book.path.write_bytes(damaged)
        with pytest.raises(RegisterError, match="cannot be used as the register"):
            book.entries()
