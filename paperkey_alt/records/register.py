"""
The register: which backups were printed, when each was rehearsed, which sheets are destroyed.

One SQLite file without any secret in it. Set marks and fingerprints stand on the sheets anyway;
names of holders and notes are only here. Every change is one transaction, so a process that is
killed leaves it whole.

A file of this name may come from anywhere: it is used only if its one table is ours to the letter,
and what is read from it is bounded in bytes, rows and steps.
"""

from __future__ import annotations

import os
import sqlite3
import stat
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict

from paperkey_alt.errors import RegisterError
from paperkey_alt.records import stored

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
    from typing import Unpack

    from paperkey_alt.records.entry import Entry

SCHEMA_VERSION = 2
_READABLE = (1, SCHEMA_VERSION)
_TABLE = "CREATE TABLE backup (number INTEGER PRIMARY KEY, entry TEXT NOT NULL)"
_WAIT = 60.0  # seconds for another process to be done

MOST_ENTRIES = 10_000
MOST_BYTES = 64 << 20
_LONGEST_ENTRY = 1 << 18  # bytes; 255 shares with names and notes of 200 characters fit
# Reading MOST_ENTRIES takes some 100,000 steps of SQLite's virtual machine; a second has some 10^8.
_STEPS_AT_ONCE = 100_000
_MOST_STEPS = 50_000_000


class Changes(TypedDict, total=False):
    """What a rehearsal changes of an entry: fields of `Entry`."""

    drilled: dt.date
    drill: str


def default_path(environment: Mapping[str, str], platform: str, home: Path) -> Path:
    """
    Return where the register is kept: by the XDG Base Directory Specification, or as macOS and
    Windows have it.
    """
    if platform == "darwin":
        return home / "Library/Application Support/Ragleaf/register.sqlite3"
    if platform == "win32":
        return (
            Path(environment.get("LOCALAPPDATA") or home / "AppData/Local")
            / "Ragleaf/register.sqlite3"
        )
    data = environment.get("XDG_DATA_HOME", "")
    return (
        Path(data) if data.startswith("/") else home / ".local/share"
    ) / "ragleaf/register.sqlite3"


class Register:
    """The register in the file at *path*, made with its folder when the first entry is written."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def exists(self) -> bool:
        """Tell whether there is such a file; raises RegisterError where that cannot be told."""
        with self._named_errors():
            return _is_there(self.path)

    def entries(self) -> tuple[Entry, ...]:
        """
        Return all entries in the order they were made; none where there is no file. Changes
        nothing. Raises RegisterError.
        """
        with self._named_errors():
            if not _is_there(self.path):
                return ()
            # A journal that a killed process left is taken back by whoever may write; on a medium
            # that cannot be written the file is read as it is.
            mode = "rw" if os.access(self.path, os.W_OK) else "ro"
            with self._opened(mode, "BEGIN") as (connection, version):
                return tuple(_entries(connection, version))

    def add(self, entry: Entry) -> Entry:
        """
        Write *entry* and return it, as it is there. Where the same sets are there already and not
        all marked destroyed, the print is noted there as a copy. Raises RegisterError.
        """
        with self._named_errors():
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT | _NO_WAIT, 0o600))
            with self._opened("rw", "BEGIN IMMEDIATE") as (connection, version):
                _migrate(connection, version)
                alike = [
                    other
                    for other in _entries(connection, SCHEMA_VERSION)
                    if (other.marks, other.kind) == (entry.marks, entry.kind) and other.left
                ]
                if not alike:
                    added = connection.execute(
                        "INSERT INTO backup (entry) VALUES (?)", (stored.pack(entry),)
                    )
                    return replace(entry, number=added.lastrowid or 0)
                first = alike[-1]
                copied = replace(first, copies=(*first.copies, entry.printed))
                _update(connection, [copied])
                return copied

    def edit(self, change: Callable[[tuple[Entry, ...]], Iterable[Entry]]) -> tuple[Entry, ...]:
        """
        Call *change* with all entries and write what it returns, entries by their numbers, in one
        transaction; return these. What *change* raises leaves all as it was. No file is made.
        Raises RegisterError.
        """
        with self._named_errors():
            if not _is_there(self.path):
                return tuple(change(()))
            with self._opened("rw", "BEGIN IMMEDIATE") as (connection, version):
                _migrate(connection, version)
                changed = tuple(change(tuple(_entries(connection, SCHEMA_VERSION))))
                _update(connection, changed)
                return changed

    def change(self, marks: Collection[str], **changes: Unpack[Changes]) -> tuple[Entry, ...]:
        """
        Change the fields *changes* of the entries that have one of *marks*, its sheets not marked
        destroyed; return these. Raises RegisterError.
        """
        return self.edit(
            lambda entries: [
                replace(entry, **changes) for entry in entries if set(marks) & set(entry.left)
            ]
        )

    @contextmanager
    def _opened(self, mode: str, begin: str) -> Iterator[tuple[sqlite3.Connection, int]]:
        """Yield the file within a transaction, and its schema version, 0 where it is new."""
        if not stat.S_ISREG(self.path.stat().st_mode):
            raise ValueError("it is not a file")
        if self.path.stat().st_size > MOST_BYTES:
            raise ValueError(f"it is longer than {MOST_BYTES >> 20} MiB")
        uri = f"{self.path.absolute().as_uri()}?mode={mode}"
        with closing(
            sqlite3.connect(uri, uri=True, timeout=_WAIT, isolation_level=None)
        ) as connection:
            connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_ENTRY)
            steps = iter(range(_MOST_STEPS // _STEPS_AT_ONCE))
            connection.set_progress_handler(lambda: next(steps, None) is None, _STEPS_AT_ONCE)
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute(begin)
            yield connection, _version(connection)
            connection.execute("COMMIT")

    @contextmanager
    def _named_errors(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError, ValueError) as error:
            # The last of them: what stands in the file is no entry.
            refused = error.strerror if isinstance(error, OSError) else None
            why = refused.lower() if refused else str(error)
            raise RegisterError(f"{self.path} cannot be used as the register: {why}") from None
        except MemoryError:
            # SQLite gives it as a reason for some damage, too, where there is memory enough.
            raise RegisterError(
                f"{self.path} cannot be used as the register: it is damaged, or too large for this "
                "computer's memory"
            ) from None


# A pipe that nobody reads is opened at once, and then seen to be no file.
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)


def _is_there(path: Path) -> bool:
    try:
        path.stat()
    except FileNotFoundError:
        return False
    return True


def _version(connection: sqlite3.Connection) -> int:
    """
    Return the schema version of a register: 0 where the file is new, or was left behind by a
    process that was killed before it had a table. Raises ValueError for what is no register.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    schema = connection.execute("SELECT sql FROM sqlite_schema LIMIT 2").fetchall()
    if schema not in ([], [(_TABLE,)]):
        # Also a view of this name, or a table with a trigger or a computed column.
        raise ValueError("it is a file of another program")
    if version and version not in _READABLE:
        raise ValueError("it is of another version")
    if bool(schema) != bool(version):
        raise ValueError("it is a file of another program")
    return int(version)


def _migrate(connection: sqlite3.Connection, version: int) -> None:
    """Bring a register of an older schema *version* to the one of today, or make its table."""
    if version == SCHEMA_VERSION:
        return
    if version == 0:
        connection.execute(_TABLE)
    else:
        _update(connection, list(_entries(connection, version)))
    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def _update(connection: sqlite3.Connection, entries: Iterable[Entry]) -> None:
    connection.executemany(
        "UPDATE backup SET entry = ? WHERE number = ?",
        [(stored.pack(entry), entry.number) for entry in entries],
    )


def _entries(connection: sqlite3.Connection, version: int) -> Iterator[Entry]:
    if version == 0:
        return
    rows = connection.execute(
        f"SELECT number, entry FROM backup ORDER BY number LIMIT {MOST_ENTRIES + 1}"  # noqa: S608
    )
    length = 0
    for count, (number, text) in enumerate(rows):
        length += len(text) if isinstance(text, str) else 0
        if count == MOST_ENTRIES:
            raise ValueError(f"it has more than {MOST_ENTRIES:,} entries")
        if length > MOST_BYTES:
            raise ValueError(f"its entries are longer than {MOST_BYTES >> 20} MiB")
        yield stored.unpack(text, number, version)
