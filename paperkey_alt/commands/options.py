"""Options and arguments that several commands have, and the one way to say something."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Iterable

force = click.option("--force", is_flag=True, help="Replace an output that exists.")
fingerprint = click.option("--fingerprint", metavar="HEX", help="Which key, where the file has several.")
passphrase_from = click.option(
    "--passphrase-from", metavar="PATH", help="Read passphrases from this file, one a row, instead of the terminal."
)
public = click.option("--public", metavar="CERT", help="The public certificate, for sheets that carry only what is secret.")
mark = click.option("--mark", metavar="MARK", help="Which set mark or backup number, where several are given.")
sources = click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")


def say(rows: Iterable[str]) -> None:
    """Write *rows* to standard error: standard output is for what was asked for."""
    for row in rows:
        click.echo(row, err=True)
