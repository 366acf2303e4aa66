"""Options and arguments that several commands have."""

from __future__ import annotations

import click

from paperkey_alt.cli import option_types
from paperkey_alt.sheet.layout import PAPERS

force = click.option("--force", is_flag=True, help="Replace outputs that exist.")
fingerprint = click.option(
    "--fingerprint", metavar="HEX", help="Which key to use, if the file has several."
)
passphrase_from = click.option(
    "--passphrase-from",
    metavar="PATH",
    help="Read the passphrases from this file, one in each row, and do not ask for them.",
)
public = click.option(
    "--public",
    metavar="CERT",
    help="The public certificate, which lean and compact sheets need.",
)
marks = click.option(
    "--mark",
    "marks",
    multiple=True,
    metavar="MARK",
    type=option_types.mark,
    help="The set mark or backup number to use, if you give sheets of several. Ragleaf believes a "
    "share that you name. May be given several times.",
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
    help="Use this file as the register, instead of the usual one.",
)
no_register = click.option("--no-register", is_flag=True, help="Note nothing in the register.")
