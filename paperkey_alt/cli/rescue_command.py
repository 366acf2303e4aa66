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


NAME = "rescue.py"
TITLE = f"The restorer of Ragleaf sheets, {NAME}"
PAGE = "page.html"


@click.command()
@click.option(
    "-o", "--output", metavar="FILE", help="The restorer, rescue.py; - for standard output."
)
@click.option(
    "--page", metavar="FILE", help="The page that restores in a browser; - for standard output."
)
@click.option("--sheet", metavar="PDF", help="Also print rescue.py, on some twenty pages.")
@options.paper
@options.force
def command(
    *, output: str | None, page: str | None, sheet: str | None, paper: Paper, force: bool
) -> None:
    """
    Write the stand-alone restorers: one file that needs Python 3.8 or later, and nothing else, and
    one that needs a browser.

    python3 rescue.py FILES -o OUT reads text that you typed or that a QR reader gave. The page
    opens with a double click, and reads pictures and the camera too.
    """
    names = [name for name in (output, page, sheet) if name]
    if not names:
        raise click.UsageError("name a file: -o for rescue.py, or --page for the page")
    files.require_free(names, inputs=(), force=force)
    contents = {}
    digests = []
    for name, shipped, title in ((output, NAME, "file"), (page, PAGE, "page")):
        if name:
            contents[name] = _shipped(shipped)
            digests.append(f"SHA-256 of the {title}: {hashlib.sha256(contents[name]).hexdigest()}")
    if sheet:
        from paperkey_alt.sheet import listing  # noqa: PLC0415 - reportlab is slow to load

        contents[sheet] = listing.draw(restorer(), TITLE, paper=paper)
    files.write(contents, force=force)
    say(digests)


def restorer() -> str:
    """Return the source of the restorer."""
    return _shipped(NAME).decode()


def page() -> bytes:
    """Return the page that restores in a browser."""
    return _shipped(PAGE)


def _shipped(name: str) -> bytes:
    """Return a file of the folder rescue."""
    return resources.files("paperkey_alt").joinpath("rescue", name).read_bytes()
