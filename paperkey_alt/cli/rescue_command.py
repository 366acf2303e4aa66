"""``ragleaf rescue``: the restorer that outlives the program."""

from __future__ import annotations

import hashlib
from importlib import resources

import click

from paperkey_alt.cli import files, options
from paperkey_alt.cli.options import say
from paperkey_alt.sheet import layout


@click.command()
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE",
    help="The restorer, rescue.py; - for standard output.",
)
@click.option("--sheet", metavar="PDF", help="Also print it, a few pages for the drawer.")
@click.option(
    "--paper",
    type=click.Choice(list(layout.PAPERS)),
    default="a4",
    show_default=True,
    help="The paper's size.",
)
@options.force
def command(output: str, sheet: str | None, paper: str, *, force: bool) -> None:
    """
    Write the restorer: one file for the standard library of Python 3.8 or later, made from the
    format document alone.

    python3 rescue.py FILES -o OUT reads typed text and text from QR readers, and needs no Ragleaf.
    """
    source = resources.files("paperkey_alt").joinpath("rescue/rescue.py").read_text("utf-8")
    contents = {output: source.encode()}
    if sheet:
        from paperkey_alt.sheet import listing  # noqa: PLC0415 - the drawing library is slow to load

        contents[sheet] = listing.draw(
            source, "The restorer of Ragleaf sheets, rescue.py", paper=layout.PAPERS[paper]
        )
    files.write(contents, force=force)
    say([f"SHA-256 of the file: {hashlib.sha256(source.encode()).hexdigest()}"])
