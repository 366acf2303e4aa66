"""``ragleaf rescue``: the restorer that outlives the program."""

from __future__ import annotations

import hashlib
from importlib import resources
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, options
from paperkey_alt.cli.terminal import say

if TYPE_CHECKING:
    from paperkey_alt.sheet.layout import Paper


NAME = "rescue.py"
TITLE = f"The restorer of Ragleaf sheets, {NAME}"


@click.command()
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE",
    help="The restorer, rescue.py; - for standard output.",
)
@click.option("--sheet", metavar="PDF", help="Also print it, on some twenty pages.")
@options.paper
@options.force
def command(*, output: str, sheet: str | None, paper: Paper, force: bool) -> None:
    """
    Write the stand-alone restorer: one file that needs Python 3.8 or later, and nothing else.

    python3 rescue.py FILES -o OUT reads text that you typed or that a QR reader gave.
    """
    source = restorer()
    files.require_free([name for name in (output, sheet) if name], inputs=(), force=force)
    contents = {output: source.encode()}
    if sheet:
        from paperkey_alt.sheet import listing  # noqa: PLC0415 - reportlab is slow to load

        contents[sheet] = listing.draw(source, TITLE, paper=paper)
    files.write(contents, force=force)
    say([f"SHA-256 of the file: {hashlib.sha256(source.encode()).hexdigest()}"])


def restorer() -> str:
    """Return the source of the restorer."""
    return resources.files("paperkey_alt").joinpath(f"rescue/{NAME}").read_text("utf-8")
