"""Options and arguments that several commands have."""

from __future__ import annotations

import click

from paperkey_alt.cli import option_types
from paperkey_alt.sheet.layout import PAPERS

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
marks = click.option(
    "--mark",
    "marks",
    multiple=True,
    metavar="MARK",
    type=option_types.mark,
    help="A set mark or backup number to choose, where sheets of several are given; a share that "
    "you name is believed. May be given several times.",
)
sources = click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
paper = click.option(
    "--paper",
    type=click.Choice(list(PAPERS)),
    default="a4",
    show_default=True,
    callback=lambda _context, _option, name: PAPERS[name],
    help="The paper's size.",
)
large = click.option("--large", is_flag=True, help="Larger type and QR symbols, on more sheets.")
register = click.option(
    "--register",
    "register_path",
    metavar="PATH",
    help="The register's file, instead of the usual one.",
)
no_register = click.option("--no-register", is_flag=True, help="Note nothing in the register.")
