"""``ragleaf register``: what was printed, and what is due."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import given_register, option_types, options, register_report
from paperkey_alt.cli.terminal import say, show
from paperkey_alt.computer import machine
from paperkey_alt.errors import NoSuchEntry
from paperkey_alt.records.register import due

if TYPE_CHECKING:
    import datetime as dt

    from paperkey_alt.records.register import Changes


@click.command()
@options.register
@click.option("--json", "as_json", is_flag=True, help="Say it as JSON.")
@click.option(
    "--destroyed", metavar="MARK", help="Note that the sheets with this set mark are destroyed."
)
@click.option(
    "--holders",
    type=option_types.mark_and_names,
    metavar="MARK=NAME,NAME…",
    help="Note who holds the sheets with this set mark.",
)
@click.option(
    "--expires",
    type=option_types.mark_and_date,
    metavar="MARK=YYYY-MM-DD",
    help="Note when the key of the sheets with this set mark expires now.",
)
def command(
    *,
    register_path: str | None,
    as_json: bool,
    destroyed: str | None,
    holders: tuple[str, tuple[str, ...]] | None,
    expires: tuple[str, dt.date] | None,
) -> None:
    """
    List the backups that were printed, and what is due: keys that expire, rehearsals, old sheets to
    destroy.

    The register is a file on this computer. It has no secret, but tells which keys have sheets, and
    who holds them.
    """
    register, today = given_register.opened(register_path), machine.today()
    changes: list[tuple[str, Changes]] = []
    if destroyed:
        changes.append((destroyed.upper(), {"destroyed": today}))
    if holders:
        changes.append((holders[0], {"holders": holders[1]}))
    if expires:
        changes.append((expires[0], {"expires": expires[1]}))
    for mark, change in changes:
        if not register.change([mark], **change):
            raise NoSuchEntry(
                f"no backup in the register has the set mark {mark}, or it is marked destroyed"
            )
    entries = register.entries()
    tasks = due(entries, today)
    if as_json:
        show(register_report.json_text(entries, tasks, today))
        return
    show(register_report.table(entries, tasks))
    if entries:
        need = f"{len(tasks)} of {len(entries)} need something done"
        say([f"By this computer's clock it is {today}; {need}."])
