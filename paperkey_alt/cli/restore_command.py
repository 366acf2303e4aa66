"""``ragleaf restore``: from paper to key file."""

from __future__ import annotations

from typing import Any

import click

from paperkey_alt.cli import files, options, passphrases, report, sources_given
from paperkey_alt.cli.options import say


@click.command()
@options.sources
@click.option(
    "-o", "--output", required=True, metavar="FILE", help="The restored key; - for standard output."
)
@options.public
@click.option("--binary", is_flag=True, help="Write an OpenPGP key without ASCII armor.")
@options.passphrase_from
@options.mark
@options.fingerprint
@options.force
def command(sources: tuple[str, ...], **given: Any) -> None:
    """
    Rebuild the key from its sheets: byte for byte, or not at all.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    files.require_free([given["output"]], force=given["force"])
    findings = sources_given.collect(sources_given.read(sources))
    say([report.table(findings), *report.wanted(findings)])
    certificate = sources_given.certificate(given["public"], given["fingerprint"])
    ask = passphrases.source(given["passphrase_from"])
    restored, _ = sources_given.restored(findings, given["mark"], certificate, ask)
    files.write(
        {given["output"]: restored.binary if given["binary"] else restored.data},
        force=given["force"],
    )
    say([*restored.notes, f"Restored: {restored.title}"])
