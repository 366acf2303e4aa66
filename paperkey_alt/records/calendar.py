"""
What is due as a calendar that others read: `calendar`, in iCalendar (RFC 5545).

No holder and no place where sheets are kept is in it: calendars are copied to telephones and
servers.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from paperkey_alt.records.tasks import What, tasks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from paperkey_alt.records.entry import Entry
    from paperkey_alt.records.tasks import Task

FOLD_OCTETS = 75  # RFC 5545 §3.1, without the line break
_NAMESPACE = uuid.UUID("7b0f4a52-5f0e-5c43-9a3c-64c2a6bb9f10")
_ESCAPES = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"})  # §3.3.11
_MARKS_NAMED = 3


def calendar(entries: Sequence[Entry], now: dt.datetime) -> bytes | None:
    """
    Return a calendar of whole days with what is to be done about *entries*, now and later, None
    where that is nothing.

    *now* is the instant, in the time zone whose days count. Rehearsals recur yearly. An event keeps
    its UID as long as its sheets are there, so that a calendar that is read again replaces what it
    has.
    """
    found = tasks(entries, now.date())
    events = [
        row
        for entry in entries
        for task in found.get(entry.number, ())
        for row in _event(entry, task, now)
    ]
    if not events:
        return None
    rows = (
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Ragleaf//register//EN",
        *events,
        "END:VCALENDAR",
    )
    return b"".join(fold(row) for row in rows)


def _event(entry: Entry, task: Task, now: dt.datetime) -> Iterator[str]:
    marks = ", ".join(entry.left[:_MARKS_NAMED])
    if len(entry.left) > _MARKS_NAMED:
        marks += f" and {len(entry.left) - _MARKS_NAMED} more"
    day = task.day
    if task.what is What.REHEARSE and (day.month, day.day) == (2, 29):
        # A yearly event on this day would recur every four years (§3.3.10).
        day = day.replace(day=28)
    identity = f"{task.what.name} {entry.kind} {entry.printed} {' '.join(entry.marks)}"
    yield "BEGIN:VEVENT"
    yield f"UID:{uuid.uuid5(_NAMESPACE, identity)}"
    yield f"DTSTAMP:{now.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART;VALUE=DATE:{day.isoformat().replace('-', '')}"
    if task.what is What.REHEARSE:
        yield "RRULE:FREQ=YEARLY"
    yield f"SUMMARY:{text(f'{task.what.value}: {entry.name or entry.kind} ({marks})')}"
    yield f"DESCRIPTION:{text(task.sentence)}"
    # The day stays free for other things.
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def text(content: str) -> str:
    """Return *content* as a value of type TEXT (§3.3.11), which has no control characters."""
    rows = content.splitlines()
    clear = ("".join(c if c.isprintable() else " " for c in row) for row in rows)
    return "\n".join(clear).translate(_ESCAPES)


def fold(row: str) -> bytes:
    """
    Return the content line *row* in lines of at most 75 octets, each ended by CRLF, those after the
    first begun with a blank (§3.1). No character is cut apart.
    """
    lines, line = [], b""
    for character in row:
        octets = character.encode(errors="replace")
        if len(line) + len(octets) > FOLD_OCTETS:
            lines.append(line)
            line = b" "
        line += octets
    return b"\r\n".join([*lines, line]) + b"\r\n"
