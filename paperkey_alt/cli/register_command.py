"""``ragleaf register``: what was printed, and what is due."""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt.cli import bookkeeping
from paperkey_alt.cli.options import say
from paperkey_alt.errors import NoSuchEntry
from paperkey_alt.records import register

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from paperkey_alt.records.register import Entry


@click.command()
@bookkeeping.path
@click.option("--json", "as_json", is_flag=True, help="Say it as JSON.")
@click.option(
    "--destroyed", metavar="MARK", help="Note that the sheets with this set mark are destroyed."
)
@click.option(
    "--holders", metavar="MARK=NAME,NAME…", help="Note who holds the sheets with this set mark."
)
@click.option(
    "--expires",
    metavar="MARK=YYYY-MM-DD",
    help="Note when the key of the sheets with this set mark expires now.",
)
def command(**given: Any) -> None:
    """
    List the backups that were printed, and what is due: keys that expire, rehearsals, old sheets to
    destroy.

    The register is a file on this computer. It has no secret, but tells which keys have sheets, and
    who holds them.
    """
    book = bookkeeping.opened(given)
    if book is None:
        return
    for marks, changes in _changes(given):
        if not book.change([marks], **changes):
            raise NoSuchEntry(
                f"no backup in the register has the set mark {marks}, or it is marked destroyed"
            )
    entries, today = book.entries(), bookkeeping.today()
    due = register.due(entries, today)
    if given["as_json"]:
        values = [
            register.value(entry) | {"due": list(due.get(entry.number or 0, ()))}
            for entry in entries
        ]
        click.echo(
            json.dumps(
                {"today": today.isoformat(), "backups": values}, indent=1, ensure_ascii=False
            )
        )
        return
    click.echo(
        "\n\n".join(_told(entry, due) for entry in entries) or "No backup is in the register."
    )
    say(
        [
            (
                f"By this computer's clock it is {today}; {len(due)} of {len(entries)} need "
                "something done."
            )
        ]
        if entries
        else []
    )


def _changes(given: Mapping[str, str | None]) -> Iterator[tuple[str, dict[str, Any]]]:
    if given["destroyed"]:
        yield given["destroyed"].upper(), {"destroyed": bookkeeping.today()}
    if given["holders"]:
        mark, names = _split("--holders", given["holders"])
        yield mark, {"holders": tuple(name.strip() for name in names.split(","))}
    if given["expires"]:
        mark, date = _split("--expires", given["expires"])
        try:
            yield mark, {"expires": dt.date.fromisoformat(date)}
        except ValueError:
            raise click.BadParameter(
                f"{date} is no date; say {mark}=2027-11-25", param_hint="--expires"
            ) from None


def _split(option: str, text: str) -> tuple[str, str]:
    mark, sign, rest = text.partition("=")
    if not sign:
        raise click.BadParameter("say the set mark, = and the rest", param_hint=option)
    return mark.strip().upper(), rest


def _told(entry: Entry, due: Mapping[int, tuple[str, ...]]) -> str:
    marks = ", ".join(entry.marks)
    shares = (
        f", {len(entry.marks)} shares, any {entry.threshold} give it back"
        if entry.threshold
        else ""
    )
    rows = [
        (
            f"{marks}: {entry.kind}, {entry.sheets} "
            f"{'sheet' if entry.sheets == 1 else 'sheets'}{shares}, printed {entry.printed}"
        )
    ]
    if entry.fingerprint:
        expiry = f", expires {entry.expires}" if entry.expires else ""
        rows.append(f"  key {entry.fingerprint}{expiry}")
    if entry.holders:
        rows.append(f"  held by {', '.join(entry.holders)}")
    if entry.drilled:
        rows.append(f"  rehearsed {entry.drilled}: {entry.drill}")
    if entry.destroyed:
        rows.append(f"  destroyed {entry.destroyed}")
    return "\n".join([*rows, *(f"  DUE: {what}" for what in due.get(entry.number or 0, ()))])
