"""What the register has, in words for people and as JSON for programs: `table` and `json_text`."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from paperkey_alt import foreign_text
from paperkey_alt.foreign_text import clean_values
from paperkey_alt.records import register
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from paperkey_alt.records.register import Entry


def table(entries: Sequence[Entry], due: Mapping[int, Sequence[str]]) -> str:
    """Return the backups of the register, a paragraph each; *due* are sentences by its number."""
    told = (_entry(entry, due.get(entry.number or 0, ())) for entry in entries)
    return "\n\n".join(told) or "No backup is in the register."


def json_text(entries: Iterable[Entry], due: Mapping[int, Sequence[str]], today: dt.date) -> str:
    """Return the same as one JSON object; docs/commands.md names its fields."""
    backups = [
        register.value(entry) | {"due": list(due.get(entry.number or 0, ()))} for entry in entries
    ]
    value = {"today": today.isoformat(), "backups": backups}
    return json.dumps(clean_values(value), indent=1, ensure_ascii=False)


def _entry(entry: Entry, due: Sequence[str]) -> str:
    sheets = counted(entry.sheets, "sheet")
    shares = ""
    if entry.threshold:
        shares = f", {len(entry.marks)} shares, any {entry.threshold} give it back"
    rows = [f"{', '.join(entry.marks)}: {entry.kind}, {sheets}{shares}, printed {entry.printed}"]
    if entry.fingerprint:
        expiry = f", expires {entry.expires}" if entry.expires else ""
        rows.append(f"  key {entry.fingerprint}{expiry}")
    if entry.holders:
        rows.append(f"  held by {', '.join(entry.holders)}")
    if entry.drilled:
        rows.append(f"  rehearsed {entry.drilled}: {entry.drill}")
    if entry.destroyed:
        rows.append(f"  destroyed {entry.destroyed}")
    return foreign_text.rows([*rows, *(f"  DUE: {what}" for what in due)])
