"""
The register that a command is given, or the usual one: its `place`; `opened` to list it; `note` a
print in it and `note_rehearsal`, which say what went wrong and raise nothing: the sheets are there,
and the result of a rehearsal is what it is, whatever became of the register.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import RegisterError
from paperkey_alt.records.entry import rehearsed

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from paperkey_alt.records.entry import Entry
    from paperkey_alt.records.register import Register

_NONE_THERE = "Check the name. ragleaf backup makes a register when it notes a print."
_NOT_THERE = "The register has no backup of this key with the set mark"


def place(path: str | None) -> str | None:
    """
    Return the file *path*, or if that is None where the register is kept; None where that cannot be
    told.
    """
    if path is not None:
        return path
    from paperkey_alt.records.register import default_path  # noqa: PLC0415 - it loads SQLite

    try:
        home = Path("~").expanduser()
    except RuntimeError:
        return None
    return str(default_path(os.environ, sys.platform, home))


def opened(path: str | None) -> Register:
    """
    Return the register in the file *path*, or where it is kept if that is None.

    Raises RegisterError where *path* is not there, or nothing says where the usual one is kept.
    """
    register = _register(path)
    if path and not register.exists():
        raise RegisterError(f"there is no register at {path}", advice=_NONE_THERE)
    return register


def note(path: str | None, printed: Entry) -> None:
    """
    Add *printed* to the register, which is made if it is not there; say where it was made, that the
    sheets are a copy, or why nothing was noted.
    """
    noted = add(path, printed)
    say([*noted.told, *noted.trouble])


@dataclass(frozen=True)
class Noted:
    """What there is to say of a print that was to be noted: what was *told*, or the *trouble*."""

    told: tuple[str, ...] = ()
    trouble: tuple[str, ...] = ()


def add(path: str | None, printed: Entry) -> Noted:
    """Add *printed* to the register, as `note`, and return what there is to say."""
    try:
        register = _register(path)
        is_new = not register.exists()
        added = register.add(printed)
    except RegisterError as error:
        return Noted(trouble=(f"Not noted: {error}.", f"  {error.advice}"))
    told = [f"A new register was made at {register.path}."] if is_new else []
    if added.copies:
        marks = ", ".join(added.marks)
        told += [
            f"The register has {marks} since {added.printed}: what was printed now is a copy.",
            "  They are destroyed only when every copy is.",
        ]
    return Noted(told=tuple(told))


def note_rehearsal(
    path: str | None,
    marks: Collection[str],
    fingerprint: str | None,
    *,
    outcome: str,
    today: dt.date,
) -> None:
    """
    Date the backups of which the sets *marks* were rehearsed *today* against the live key of this
    *fingerprint*, None where the live file is no OpenPGP key; *outcome* is `entry.GIVES` or
    `entry.GIVES_NOT`. Say where the register has no such backup, or why nothing was noted.
    """
    try:
        register = opened(path)
        ours = rehearsed(register.entries(), marks, fingerprint)
        is_noted = ours and register.change(ours, drilled=today, drill=outcome)
    except RegisterError as error:
        say([f"The rehearsal is not noted: {error}.", f"  {error.advice}"])
        return
    if not is_noted:
        named = ", ".join(sorted(marks))
        say([f"{_NOT_THERE} {named}: the rehearsal is not noted."])


def _register(path: str | None) -> Register:
    from paperkey_alt.records.register import Register  # noqa: PLC0415 - it loads SQLite

    file = place(path)
    if file is None:
        raise RegisterError("this user has no home folder, where the register would be kept")
    return Register(Path(file))
