"""``ragleaf register``: what was printed, and what is due."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, given_register, option_types, options, register_report
from paperkey_alt.cli.terminal import say, show
from paperkey_alt.computer import machine
from paperkey_alt.errors import NoSuchEntry
from paperkey_alt.records import entry, tasks
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable, Sequence

    from paperkey_alt.records.entry import Entry

    # a set mark, and what is to become of the entries that have it
    Change = tuple[str, Callable[[Entry], Entry]]

_NOTHING = "Print a backup first, or name another register with --register. No file was written."


@click.command()
@options.register
@click.option("--json", "as_json", is_flag=True, help="Write the list as JSON.")
@click.option(
    "--destroyed",
    type=option_types.mark,
    multiple=True,
    metavar="MARK",
    help="Note that the sheets with this set mark are destroyed.",
)
@click.option(
    "--not-destroyed",
    type=option_types.mark,
    multiple=True,
    metavar="MARK",
    help="Take back --destroyed.",
)
@click.option(
    "--holders",
    type=option_types.mark_and_names,
    metavar="MARK=NAME,NAME…",
    help="Note who holds the sheets with this set mark.",
)
@click.option(
    "--note",
    "notes",
    type=option_types.mark_and_note,
    multiple=True,
    metavar="MARK=TEXT",
    help="Note where the sheets with this set mark are kept.",
)
@click.option(
    "--expires",
    type=option_types.mark_and_date,
    metavar="MARK=YYYY-MM-DD",
    help="Note when the renewed key of the sheets with this set mark expires.",
)
@click.option(
    "--calendar",
    metavar="FILE",
    help="Write what is due, now and later, for your calendar (iCalendar).",
)
@options.force
def command(
    *,
    register_path: str | None,
    as_json: bool,
    destroyed: tuple[str, ...],
    not_destroyed: tuple[str, ...],
    holders: tuple[str, tuple[str, ...]] | None,
    notes: tuple[tuple[str, str], ...],
    expires: tuple[str, dt.date] | None,
    calendar: str | None,
    force: bool,
) -> None:
    """
    List the backups that were printed, and what is due: keys that expire, rehearsals, old sheets to
    destroy.

    The register is a file on this computer. It has no secret, but tells which keys have sheets, who
    holds them and where they are kept.
    """
    if calendar == files.STREAM and as_json:
        raise click.UsageError("--json and --calendar - both write to standard output")
    register, now = given_register.opened(register_path), machine.now()
    if calendar:
        files.require_free([calendar], force=force, inputs=[str(register.path)])
    changes = [
        *((mark, partial(entry.destroyed, mark=mark, day=now.date())) for mark in destroyed),
        *((mark, partial(entry.kept_at, mark=mark, where=where)) for mark, where in notes),
        *((mark, partial(replace, holders=names)) for mark, names in filter(None, [holders])),
        *((mark, partial(replace, expires=day)) for mark, day in filter(None, [expires])),
    ]
    if changes or not_destroyed:
        register.edit(partial(_changed, not_destroyed=not_destroyed, changes=changes))
    entries = register.entries()
    if calendar:
        _write_calendar(entries, now, calendar, force=force)
    if calendar != files.STREAM:
        _tell(entries, now, as_json=as_json)


def _tell(entries: Sequence[Entry], now: dt.datetime, *, as_json: bool) -> None:
    today = now.date()
    due, keep = tasks.due(entries, today), tasks.keep(entries, today)
    if as_json:
        show(register_report.json_text(entries, due, keep, today))
        return
    show(register_report.table(entries, due, keep))
    if entries:
        need = f"something is due for {len(due)} of {counted(len(entries), 'backup')}"
        say([f"By this computer's clock it is {now.isoformat(' ', 'minutes')}; {need}."])


def _changed(
    entries: Sequence[Entry], not_destroyed: Iterable[str], changes: Iterable[Change]
) -> list[Entry]:
    """
    Return *entries* with the sheets of the sets *not_destroyed* there again, and then with all
    *changes* made; raises NoSuchEntry for a set mark that no entry has.
    """
    changed = list(entries)
    for mark in not_destroyed:
        at = [at for at, backup in enumerate(changed) if mark in backup.destroyed]
        if not at:
            raise NoSuchEntry(f"no backup in the register has {mark} marked destroyed")
        # The last of them: the same set may have been destroyed and printed again before.
        changed[at[-1]] = entry.not_destroyed(changed[at[-1]], mark)
    for mark, change in changes:
        if not any(mark in backup.left for backup in changed):
            raise NoSuchEntry(
                f"no backup in the register has the set mark {mark}, or it is marked destroyed"
            )
        changed = [change(backup) if mark in backup.left else backup for backup in changed]
    return changed


def _write_calendar(entries: Sequence[Entry], now: dt.datetime, name: str, *, force: bool) -> None:
    from paperkey_alt.records.calendar import calendar  # noqa: PLC0415 - few want one

    data = calendar(entries, now)
    if data is None:
        raise NoSuchEntry("there is nothing to put into a calendar", advice=_NOTHING)
    files.write({name: data}, force=force)
    if name != files.STREAM:
        say([f"What is due, now and later, is in {name}: open it with your calendar."])
