"""
The register: which backups were printed, when each was rehearsed, and what is due: `Register`,
`Entry`, `printed`, `rehearsed`, `due`.

One SQLite file without any secret in it. Set marks and fingerprints stand on the sheets anyway;
names of holders are only here. Every change is one transaction, so a process that is killed leaves
it whole.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import sqlite3
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict

from paperkey_alt.errors import RegisterError
from paperkey_alt.format.payload import (
    Certificate,
    Compact,
    File,
    Lean,
    Revocation,
    RsaFile,
    Whole,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
    from typing import Unpack

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.payload import Payload

EXPIRES_SOON = dt.timedelta(days=60)
DRILL_EVERY = dt.timedelta(days=365)

_SCHEMA_VERSION = 1
REVOCATION = "revocation"
# What sheets carry, as the register names it.
KINDS = {
    Lean: "secret part",
    Whole: "whole key",
    Compact: "compact",
    File: "file",
    RsaFile: "private key, compact",
    Revocation: REVOCATION,
    Certificate: "certificate",
}
GIVES = "gives the key back"
GIVES_NOT = "does not give the key back"
_WAIT = 60.0  # seconds for another process to be done


@dataclass(frozen=True)
class Entry:
    """
    A backup that was printed.

    *marks* are the set marks, one for each share; *kind* is what the sheets carry, by `KINDS`;
    *sheets* is the number of all of them; *threshold* is the number of shares that are needed, None
    for one set; *holders* are labels; *drilled* is when it was last rehearsed and *drill* how that
    ended; *destroyed* is when the sheets were marked destroyed; *number* is the row.
    """

    marks: tuple[str, ...]
    fingerprint: str | None
    kind: str
    sheets: int
    printed: dt.date
    threshold: int | None = None
    holders: tuple[str, ...] = ()
    expires: dt.date | None = None
    drilled: dt.date | None = None
    drill: str | None = None
    destroyed: dt.date | None = None
    number: int | None = None

    def __post_init__(self) -> None:
        if not self.marks or self.sheets < 1:
            raise ValueError("a backup has a set mark and a sheet")


class Changes(TypedDict, total=False):
    """What changes of an entry after it was printed: fields of `Entry`."""

    holders: tuple[str, ...]
    expires: dt.date
    drilled: dt.date
    drill: str
    destroyed: dt.date


def printed(  # noqa: PLR0913 - what is known of a print, each by its name
    payload: Payload,
    line_sets: Sequence[LineSet],
    *,
    sheets: int,
    today: dt.date,
    fingerprint: str | None,
    holders: tuple[str, ...] = (),
    expires: dt.date | None = None,
) -> Entry:
    """
    Return the entry of *payload*, printed *today* as *line_sets*, one for each share, on so many
    *sheets* in all.
    """
    head = line_sets[0].head
    return Entry(
        marks=tuple(line_set.head.mark for line_set in line_sets),
        fingerprint=fingerprint,
        kind=KINDS[type(payload)] + (", sealed" if head.sealed else ""),
        sheets=sheets,
        printed=today,
        threshold=head.share.threshold if head.share else None,
        holders=holders,
        expires=expires,
    )


def rehearsed(
    entries: Iterable[Entry], marks: Collection[str], fingerprint: str | None
) -> frozenset[str]:
    """
    Return the set marks in *entries* of which a rehearsal with the sheets of *marks* says
    something. *fingerprint* is that of the live OpenPGP key, None where the live file is none: a
    rehearsal with another key says nothing of this one's paper.
    """
    return frozenset(
        mark
        for entry in entries
        if fingerprint is None or entry.fingerprint in (None, fingerprint)
        for mark in entry.marks
        if mark in marks
    )


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


def due(entries: Sequence[Entry], today: dt.date) -> dict[int, tuple[str, ...]]:
    """
    Return for each entry by its number what is due, in a sentence each; entries for which nothing
    is are left out.
    """
    tasks = {
        entry.number or 0: tuple(_due(entry, entries, today))
        for entry in entries
        if entry.destroyed is None
    }
    return {number: sentences for number, sentences in tasks.items() if sentences}


def _due(entry: Entry, entries: Iterable[Entry], today: dt.date) -> Iterator[str]:
    newer = [other for other in entries if _replaces(other, entry)]
    if newer:
        latest = max(other.printed for other in newer)
        yield f"Printed anew on {latest}: destroy these sheets, and mark them destroyed."
        return
    if entry.expires is not None and entry.expires < today:
        yield f"The key expired on {entry.expires}: renew it, or print what replaces it."
    elif entry.expires is not None and entry.expires - today <= EXPIRES_SOON:
        yield (
            f"The key expires on {entry.expires}: renew it, and print the sheets anew if its "
            "secret or passphrase changes."
        )
    if entry.drilled is None:
        yield "Never rehearsed: prove with ragleaf drill that the paper gives the key back."
    elif entry.drill != GIVES:
        yield f"The rehearsal on {entry.drilled} failed: print anew while the key is there."
    elif today - entry.drilled >= DRILL_EVERY:
        yield f"Last rehearsed on {entry.drilled}: once a year is due."


def _replaces(other: Entry, entry: Entry) -> bool:
    """Tell whether *other* is a later print for the same key and purpose."""
    same = other.fingerprint is not None and other.fingerprint == entry.fingerprint
    # What is printed on one day in two ways is meant to be kept in two ways.
    later = other.printed > entry.printed or (
        other.kind == entry.kind and (other.number or 0) > (entry.number or 0)
    )
    return (
        same
        and later
        and other.marks != entry.marks
        and (other.kind == REVOCATION) == (entry.kind == REVOCATION)
    )


class Register:
    """The register in the file at *path*, made with its folder when the first entry is written."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def entries(self) -> tuple[Entry, ...]:
        """
        Return all entries in the order they were made; none where there is no file. Raises
        RegisterError.
        """
        if not self.path.exists():
            return ()
        with self._opened("BEGIN") as connection:
            return _entries(connection)

    def add(self, entry: Entry) -> None:
        """
        Write *entry*, unless one with the same set marks is there and not marked destroyed. Raises
        RegisterError.
        """
        with self._opened("BEGIN IMMEDIATE") as connection:
            alike = (
                other
                for other in _entries(connection)
                if (other.marks, other.kind) == (entry.marks, entry.kind)
            )
            if all(other.destroyed for other in alike):
                connection.execute("INSERT INTO backup (entry) VALUES (?)", (_packed(entry),))

    def change(self, marks: Collection[str], **changes: Unpack[Changes]) -> tuple[Entry, ...]:
        """
        Change the fields *changes* of the entries that have one of *marks* and are not marked
        destroyed; return these. Raises RegisterError.
        """
        with self._opened("BEGIN IMMEDIATE") as connection:
            changed = [
                replace(entry, **changes)
                for entry in _entries(connection)
                if set(marks) & set(entry.marks) and not entry.destroyed
            ]
            rows = [(_packed(entry), entry.number) for entry in changed]
            connection.executemany("UPDATE backup SET entry = ? WHERE number = ?", rows)
        return tuple(changed)

    @contextmanager
    def _opened(self, begin: str) -> Iterator[sqlite3.Connection]:
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600))
            with closing(
                sqlite3.connect(self.path, timeout=_WAIT, isolation_level=None)
            ) as connection:
                connection.execute("PRAGMA synchronous = FULL")
                _make_schema(connection)
                connection.execute(begin)
                yield connection
                connection.execute("COMMIT")
        except (sqlite3.Error, OSError, ValueError, KeyError, TypeError) as error:
            # The last three: what stands in the file is no entry.
            raise RegisterError(f"{self.path} cannot be used as the register: {error}") from None


def _make_schema(connection: sqlite3.Connection) -> None:
    """
    Make the table in a file that is new, or was left behind by a process that was killed before it
    had one.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    tables = {
        name
        for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
    }
    if tables - {"backup"}:
        raise ValueError("it is a file of another program")
    if version == 0:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS backup (number INTEGER PRIMARY KEY, entry TEXT NOT NULL)"
        )
        connection.execute(f"PRAGMA user_version = {_SCHEMA_VERSION}")
        connection.execute("COMMIT")
    elif version != _SCHEMA_VERSION:
        raise ValueError("it is of another version")


def _entries(connection: sqlite3.Connection) -> tuple[Entry, ...]:
    rows = connection.execute("SELECT number, entry FROM backup ORDER BY number")
    return tuple(_unpacked(text, number) for number, text in rows)


_DATES = ("printed", "expires", "drilled", "destroyed")


def value(entry: Entry) -> dict[str, Any]:
    """Return *entry* as JSON has it: dates as ISO 8601 has them, tuples as lists."""
    return {
        name: content.isoformat() if isinstance(content, dt.date) else content
        for name, content in asdict(entry).items()
    }


def _packed(entry: Entry) -> str:
    return json.dumps(value(replace(entry, number=None)), ensure_ascii=False)


def _unpacked(text: str, number: int) -> Entry:
    fields = json.loads(text)
    dates = {
        name: dt.date.fromisoformat(fields[name]) for name in _DATES if fields[name] is not None
    }
    return Entry(
        **{
            **fields,
            **dates,
            "marks": tuple(fields["marks"]),
            "holders": tuple(fields["holders"]),
            "number": number,
        }
    )
