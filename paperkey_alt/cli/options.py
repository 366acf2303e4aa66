"""Options and arguments that several commands have, and the one way to say something."""

from __future__ import annotations

import shutil
import sys
import textwrap
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Iterable

force = click.option("--force", is_flag=True, help="Replace an output that exists.")
fingerprint = click.option(
    "--fingerprint", metavar="HEX", help="Which key, where the file has several."
)
passphrase_from = click.option(
    "--passphrase-from",
    metavar="PATH",
    help="Read passphrases from this file, one a row, instead of the terminal.",
)
public = click.option(
    "--public",
    metavar="CERT",
    help="The public certificate, for sheets that carry only what is secret.",
)
mark = click.option(
    "--mark", metavar="MARK", help="Which set mark or backup number, where several are given."
)
sources = click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")


def say(texts: Iterable[str]) -> None:
    """
    Write *texts* to standard error, in rows no wider than the terminal if it is one: standard
    output is for what was asked for.
    """
    width = shutil.get_terminal_size().columns if sys.stderr.isatty() else 0
    for row in (row for text in texts for row in text.split("\n")):
        click.echo("\n".join(_wrapped(row, width)) if len(row) > width > 0 else row, err=True)


def _wrapped(row: str, width: int) -> list[str]:
    indent = row[: len(row) - len(row.lstrip())]
    return textwrap.wrap(
        row, width, subsequent_indent=f"{indent}  ", break_long_words=False, break_on_hyphens=False
    )
