"""
What is to be done about the backups in a register: `tasks`, `due` of them by now, and what is to be
known before any sheet goes: `keep`.

"Destroy" is said of sheets only where a later print of the same key carries every secret that they
carry, is not the same print again, and was rehearsed with success. Whatever else is newer, the
sheets are to be kept until their owner decides.
"""

from __future__ import annotations

import datetime as dt
import enum
from collections import defaultdict, deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.records.entry import FILE, GIVES, GIVES_NOT, REVOCATION, WHOLE
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from paperkey_alt.records.entry import Entry

EXPIRES_SOON = dt.timedelta(days=60)
DRILL_EVERY = dt.timedelta(days=365)
# Only the last prints of a key, and those of a name, are compared with each of its sheets: what is
# said of a register with thousands of them takes no longer than reading it.
_COMPARED = 30
_CERTIFICATE_GOES = (
    " They have the certificate in them: keep a copy of it first, for the newer ones need it."
)


class What(enum.Enum):
    """What is to be done."""

    DESTROY = "Destroy old sheets"
    RENEW = "Renew the key"
    REHEARSE = "Rehearse the sheets"
    PRINT = "Print new sheets"


@dataclass(frozen=True)
class Task:
    """*what* is to be done, the first *day* on which it is due, and a *sentence* to the owner."""

    what: What
    day: dt.date
    sentence: str


def tasks(entries: Sequence[Entry], today: dt.date) -> dict[int, tuple[Task, ...]]:
    """Return for each entry by its number what is to be done, now or later, as seen *today*."""
    by_key = _last(entries, lambda entry: entry.fingerprint)
    return {
        entry.number: tuple(_tasks(entry, _later(entry, by_key[entry.fingerprint]), today))
        for entry in entries
        if entry.left
    }


def due(entries: Sequence[Entry], today: dt.date) -> dict[int, tuple[str, ...]]:
    """
    Return for each entry by its number what is due *today*, in a sentence each; entries for which
    nothing is are left out.
    """
    sentences = {
        number: tuple(task.sentence for task in found if task.day <= today)
        for number, found in tasks(entries, today).items()
    }
    return {number: found for number, found in sentences.items() if found}


def keep(entries: Sequence[Entry], today: dt.date) -> dict[int, tuple[str, ...]]:
    """
    Return for each entry by its number why its sheets are to be kept although something is newer,
    in a sentence each; entries of which nothing is to be said are left out.
    """
    by_key = _last(entries, lambda entry: entry.fingerprint)
    by_name = _last(entries, lambda entry: entry.name)
    sentences = {
        entry.number: tuple(
            _keep(
                entry,
                _later(entry, by_key[entry.fingerprint]),
                _later(entry, by_name[entry.name]),
                today,
            )
        )
        for entry in entries
        if entry.left
    }
    return {number: found for number, found in sentences.items() if found}


def _last(
    entries: Iterable[Entry], what: Callable[[Entry], str | None]
) -> dict[str | None, deque[Entry]]:
    """Return the last of *entries* that are the same in *what*, by that."""
    found: dict[str | None, deque[Entry]] = defaultdict(lambda: deque(maxlen=_COMPARED))
    for entry in entries:
        if what(entry) is None:
            found[None] = deque()  # what is not known is not the same
        else:
            found[what(entry)].append(entry)
    return found


def _later(entry: Entry, others: Iterable[Entry]) -> list[Entry]:
    """Return those of *others* that were noted after *entry* and are not all destroyed."""
    return [other for other in others if other.left and other.number > entry.number]


def _tasks(entry: Entry, of_key: Iterable[Entry], today: dt.date) -> Iterator[Task]:
    replacements = _replacements(entry, of_key)
    if replacements:
        latest = replacements[-1]
        rehearsed = latest.drilled or latest.printed
        yield Task(
            What.DESTROY,
            rehearsed,
            f"Replaced by {_named(latest.left)}, printed on {latest.printed} and rehearsed on "
            f"{rehearsed}: destroy the sheets of {_named(entry.left)}, every copy, and mark them "
            f"destroyed.{_CERTIFICATE_GOES if _has_certificate(entry, latest) else ''}",
        )
        return
    if len(entry.left) < entry.needed:
        yield Task(
            What.PRINT,
            max(entry.destroyed.values()),
            f"Only {counted(len(entry.left), 'share is', 'shares are')} not marked destroyed, and "
            f"{entry.needed} are needed: print new shares while you still have the {_live(entry)}.",
        )
        return
    if entry.expires is not None:
        yield _renewal(entry.expires, today)
    yield _rehearsal(entry)


def _renewal(expires: dt.date, today: dt.date) -> Task:
    if expires < today:
        sentence = f"The key expired on {expires}: renew it, or print the key that replaces it."
    else:
        sentence = (
            f"The key expires on {expires}: renew it. Print new sheets if its secret or passphrase "
            "changes."
        )
    # A hostile register may have a day on which no day so long before is left.
    before = max(expires.toordinal() - EXPIRES_SOON.days, 1)
    return Task(What.RENEW, dt.date.fromordinal(before), sentence)


def _rehearsal(entry: Entry) -> Task:
    if entry.drilled is not None and entry.drill == GIVES_NOT:
        return Task(
            What.PRINT,
            entry.drilled,
            f"The rehearsal on {entry.drilled} failed: print new sheets while you have the "
            f"{_live(entry)}.",
        )
    if entry.drilled is None or entry.drill != GIVES:
        return Task(
            What.REHEARSE,
            entry.printed,
            "Never rehearsed: ragleaf drill shows whether the paper gives back what it carries.",
        )
    next_one = min(entry.drilled.toordinal() + DRILL_EVERY.days, dt.date.max.toordinal())
    return Task(
        What.REHEARSE,
        dt.date.fromordinal(next_one),
        f"Last rehearsed on {entry.drilled}: rehearse once a year.",
    )


def _keep(
    entry: Entry, of_key: Sequence[Entry], of_name: Iterable[Entry], today: dt.date
) -> Iterator[str]:
    if _replacements(entry, of_key):
        return
    unrehearsed = [other for other in of_key if _carries_more(other, entry)]
    if unrehearsed:
        latest = unrehearsed[-1]
        yield (
            f"{_named(latest.left)} was printed later, on {latest.printed}, but no rehearsal shows "
            "that those sheets give the key back: keep these."
        )
    copies = [other for other in of_key if entry.contents and other.contents == entry.contents]
    for copy in copies[-1:]:
        carries, it_is = ("carries", "it is") if len(copy.left) == 1 else ("carry", "they are")
        yield (
            f"{_named(copy.left)} {carries} the same secrets as these sheets, and no others: "
            f"{it_is} a second print, not a replacement. If you changed a passphrase since, these "
            "sheets still open with the old one."
        )
    if entry.kind == REVOCATION:
        return
    next_key = any(
        None not in (entry.fingerprint, other.fingerprint)
        and other.fingerprint != entry.fingerprint
        for other in of_name
    )
    if next_key or (entry.expires is not None and entry.expires < today):
        reason = (
            "Sheets of another key of this name were printed later"
            if next_key
            else "The key has expired"
        )
        yield (
            f"{reason}. Old mail needs this key: keep its sheets. Only you can decide when they "
            "may go."
        )


def _replacements(entry: Entry, of_key: Iterable[Entry]) -> list[Entry]:
    """Return the later prints that replace *entry* and were rehearsed, in their order."""
    return [other for other in of_key if _carries_more(other, entry) and _is_rehearsed(other)]


def _carries_more(other: Entry, entry: Entry) -> bool:
    """
    Tell whether *other*, a print of the same key, carries all secrets of *entry*, and not only
    these as they are there.

    A share and a single backup are kept for different ends, and so are revocations, which have no
    contents here.
    """
    return (
        (other.threshold is None) == (entry.threshold is None)
        and len(entry.contents) > 0
        and entry.contents.keys() <= other.contents.keys()
        and other.contents != entry.contents
        and len(other.left) >= other.needed
    )


def _has_certificate(entry: Entry, other: Entry) -> bool:
    """Tell whether the sheets of *entry* have the certificate in them, and those of *other* not."""
    return entry.kind.startswith(WHOLE) and not other.kind.startswith(WHOLE)


def _is_rehearsed(entry: Entry) -> bool:
    return entry.drill == GIVES and entry.drilled is not None and entry.drilled >= entry.printed


def _live(entry: Entry) -> str:
    """Return the noun of what the sheets are printed from."""
    return "file" if entry.carried == FILE else "key"


def _named(marks: Sequence[str]) -> str:
    """Return *marks* in words, the first three of many."""
    if len(marks) > 4:
        return f"{', '.join(marks[:3])} and {counted(len(marks) - 3, 'more', 'more')}"
    *most, last = marks
    return f"{', '.join(most)} and {last}" if most else last
