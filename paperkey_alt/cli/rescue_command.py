"""``ragleaf rescue``: the restorers that outlive the program."""

from __future__ import annotations

import hashlib
from importlib import resources
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, options
from paperkey_alt.cli.terminal import say

if TYPE_CHECKING:
    from paperkey_alt.sheet.layout import Paper


@click.command()
@click.option(
    "-o", "--output", metavar="FILE", help="The restorer, rescue.py; - for standard output."
)
@click.option(
    "--page",
    metavar="HTML",
    help="The page that restores in a browser; - for standard output.",
)
@click.option("--sheet", metavar="PDF", help="Also print rescue.py, a few pages for the drawer.")
@options.paper
@options.force
def command(
    *, output: str | None, page: str | None, sheet: str | None, paper: Paper, force: bool
) -> None:
    """
    Write the restorers, each one file made from the format document alone: rescue.py for the
    standard library of Python 3.8 or later, and a page for any browser.

    python3 rescue.py FILES -o OUT reads typed text and text from QR readers, and needs no Ragleaf.
    The page opens by a double click, works without a network, and reads pictures and the camera
    too.
    """
    names = [name for name in (output, page, sheet) if name]
    if not names:
        raise click.UsageError("name a file: -o for rescue.py, --page for the page")
    files.require_free(names, inputs=(), force=force)
    restorer = _shipped("rescue.py")
    contents = {}
    digests = []
    for name, title, data in (
        (output, "file", restorer),
        (page, "page", _shipped("page.html") if page else b""),
    ):
        if name:
            contents[name] = data
            digests.append(f"SHA-256 of the {title}: {hashlib.sha256(data).hexdigest()}")
    if sheet:
        from paperkey_alt.sheet import listing  # noqa: PLC0415 - reportlab is slow to load

        title = "The restorer of Ragleaf sheets, rescue.py"
        contents[sheet] = listing.draw(restorer.decode(), title, paper=paper)
    files.write(contents, force=force)
    say(digests)


def _shipped(name: str) -> bytes:
    """Return a file of the folder rescue."""
    return resources.files("paperkey_alt").joinpath("rescue", name).read_bytes()
