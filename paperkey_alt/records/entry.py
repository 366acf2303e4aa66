"""
A backup that was printed, as the register has it: `Entry`; the way to it, `printed`; and what is
noted of it later: `destroyed` and `not_destroyed`, `kept_at`, `rehearsed`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from paperkey_alt.format.payload import Certificate, File, Revocation, RsaFile, Whole
from paperkey_alt.keys import pem
from paperkey_alt.keys.secret import OPENPGP_PRINTS, Sort
from paperkey_alt.records.contents import contents

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.payload import Payload

REVOCATION, FILE, CERTIFICATE = "revocation", Sort.FILE.value, "certificate"
PRIVATE_KEY = Sort.PRIVATE_KEY.value
WHOLE = OPENPGP_PRINTS[Whole]
_SEALED = ", sealed"
# What sheets carry, as the register names it; of files, private keys are named as such.
KINDS: dict[type[Payload], str] = {
    **OPENPGP_PRINTS,
    File: FILE,
    RsaFile: f"{PRIVATE_KEY}, compact",
    Revocation: REVOCATION,
    Certificate: CERTIFICATE,
}
GIVES = "gives the key back"
GIVES_NOT = "does not give the key back"


@dataclass(frozen=True)
class Entry:
    """
    A backup that was printed.

    *marks* are the set marks, one for each share; *kind* is what the sheets carry, by `KINDS`;
    *sheets* is the number of all of them; *threshold* is the number of shares that are needed, None
    for one set; *holders* are labels; *expires* is when the key does; *drilled* is when it was last
    rehearsed and *drill* how that ended; *destroyed* is set mark → when its sheets were marked
    destroyed, *notes* set mark → where its sheets are kept; *name* is a user ID or a file's name,
    None where it is not to be noted; *contents* are those of `paperkey_alt.records.contents`, empty
    where they are not known; *copies* are the days on which the same sets were printed again;
    *number* is the row in the register, 0 before it is there.
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
    destroyed: Mapping[str, dt.date] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    name: str | None = None
    contents: Mapping[str, str] = field(default_factory=dict)
    copies: tuple[dt.date, ...] = ()
    number: int = 0

    def __post_init__(self) -> None:
        if not self.marks or self.sheets < 1:
            raise ValueError("a backup has a set mark and a sheet")
        if not {*self.destroyed, *self.notes} <= {*self.marks}:
            raise ValueError("what is noted of a set mark is noted of one of the backup")

    @property
    def left(self) -> tuple[str, ...]:
        """The set marks whose sheets are not marked destroyed."""
        return tuple(mark for mark in self.marks if mark not in self.destroyed)

    @property
    def carried(self) -> str:
        """What the sheets carry, in a noun."""
        kind = self.kind.removesuffix(_SEALED)
        return kind if kind in (FILE, REVOCATION, CERTIFICATE) else "key"

    @property
    def needed(self) -> int:
        """How many of the sets are needed to give back what they carry."""
        return self.threshold or 1


def of_print(  # noqa: PLR0913 - what is known of a print, each by its name
    payload: Payload,
    line_sets: Sequence[LineSet],
    *,
    sheets: int,
    today: dt.date,
    fingerprint: str | None,
    name: str | None,
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
        kind=_kind(payload) + (_SEALED if head.sealed else ""),
        sheets=sheets,
        printed=today,
        threshold=head.share.threshold if head.share else None,
        holders=holders,
        expires=expires,
        name=name,
        contents=contents(payload),
    )


def _kind(payload: Payload) -> str:
    """Return what sheets of *payload* carry; a private key is carried as a file, and is none."""
    if isinstance(payload, File) and pem.is_private_key(payload.data):
        return PRIVATE_KEY
    return KINDS[type(payload)]


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


def destroyed(entry: Entry, mark: str, day: dt.date) -> Entry:
    """Return *entry* with the sheets of the set *mark* marked destroyed on *day*."""
    return replace(entry, destroyed={**entry.destroyed, mark: day})


def not_destroyed(entry: Entry, mark: str) -> Entry:
    """Return *entry* as it was before the sheets of the set *mark* were marked destroyed."""
    left = {other: day for other, day in entry.destroyed.items() if other != mark}
    return replace(entry, destroyed=left)


def kept_at(entry: Entry, mark: str, where: str) -> Entry:
    """Return *entry* with the note *where* the sheets of the set *mark* are kept; none if empty."""
    others = {other: note for other, note in entry.notes.items() if other != mark}
    return replace(entry, notes=others | ({mark: where} if where else {}))
