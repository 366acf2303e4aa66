"""What the register has, in words for people and as JSON for programs: `table` and `json_text`."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from paperkey_alt import foreign_text
from paperkey_alt.foreign_text import clean_values
from paperkey_alt.records import stored
from paperkey_alt.records.entry import GIVES, GIVES_NOT
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from paperkey_alt.records.entry import Entry


def table(
    entries: Sequence[Entry],
    due: Mapping[int, Sequence[str]],
    keep: Mapping[int, Sequence[str]],
) -> str:
    """
    Return the backups of the register, a paragraph each; *due* and *keep* are sentences by its
    number.
    """
    told = (
        _entry(entry, due.get(entry.number, ()), keep.get(entry.number, ())) for entry in entries
    )
    return "\n\n".join(told) or "No backup is in the register."


def json_text(
    entries: Iterable[Entry],
    due: Mapping[int, Sequence[str]],
    keep: Mapping[int, Sequence[str]],
    today: dt.date,
) -> str:
    """Return the same as one JSON object; docs/commands.md names its fields."""
    backups = [
        stored.value(entry)
        | {
            "due": list(due.get(entry.number, ())),
            "keep": list(keep.get(entry.number, ())),
        }
        for entry in entries
    ]
    value = {"today": today.isoformat(), "backups": backups}
    return json.dumps(clean_values(value), indent=1, ensure_ascii=False)


def _entry(entry: Entry, due: Sequence[str], keep: Sequence[str]) -> str:
    sheets = counted(entry.sheets, "sheet")
    shares = ""
    if entry.threshold:
        shares = f", {len(entry.marks)} shares, any {entry.threshold} give it back"
    rows = [f"{', '.join(entry.marks)}: {entry.kind}, {sheets}{shares}, printed {entry.printed}"]
    if entry.copies:
        rows.append(f"  printed again, a copy: {', '.join(map(str, entry.copies))}")
    if entry.name:
        rows.append(f"  of {entry.name}")
    if entry.fingerprint:
        expiry = f", expires {entry.expires}" if entry.expires else ""
        rows.append(f"  key {entry.fingerprint}{expiry}")
    if entry.holders:
        rows.append(f"  held by {', '.join(entry.holders)}")
    rows.extend(f"  {_of(entry, mark)}kept at: {where}" for mark, where in entry.notes.items())
    if entry.drilled:
        rows.append(f"  rehearsed {entry.drilled}: {_ended(entry)}")
    rows.extend(f"  {_of(entry, mark)}destroyed {day}" for mark, day in entry.destroyed.items())
    rows.extend(f"  DUE: {what}" for what in due)
    rows.extend(f"  KEEP: {why}" for why in keep)
    return foreign_text.rows(rows)


def _ended(entry: Entry) -> str | None:
    """Return how the last rehearsal ended; what is stored speaks of a key, whatever was printed."""
    ends = {
        GIVES: f"gives the {entry.carried} back",
        GIVES_NOT: f"does not give the {entry.carried} back",
    }
    return ends.get(entry.drill or "", entry.drill)


def _of(entry: Entry, mark: str) -> str:
    """Return the set mark where there are several."""
    return f"{mark} " if len(entry.marks) > 1 else ""
