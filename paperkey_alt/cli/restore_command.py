"""``ragleaf restore``: from paper to key file."""

from __future__ import annotations

import click

from paperkey_alt.cli import files, given_sources, options, passphrases, report
from paperkey_alt.cli.terminal import say


@click.command()
@options.sources
@click.option(
    "-o", "--output", required=True, metavar="FILE", help="The restored key; - for standard output."
)
@options.public
@click.option("--binary", is_flag=True, help="Write an OpenPGP key without ASCII armor.")
@options.passphrase_from
@options.marks
@options.fingerprint
@options.quiet
@options.force
def command(
    sources: tuple[str, ...],
    *,
    output: str,
    public: str | None,
    binary: bool,
    passphrase_from: str | None,
    marks: tuple[str, ...],
    fingerprint: str | None,
    quiet: bool,
    force: bool,
) -> None:
    """
    Rebuild the key from its sheets: its secrets byte for byte, or not at all.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    files.require_free([output], inputs=[*sources, public, passphrase_from], force=force)
    pages = given_sources.read(sources, quiet=quiet)
    findings = given_sources.collect(pages)
    if not quiet:
        say(
            [
                *report.table(findings).split("\n"),
                *report.symbols(pages, findings),
                *report.wanted(findings),
            ]
        )
    certificate = given_sources.certificate(public, fingerprint)
    ask = passphrases.source(passphrase_from)
    rebuilt = given_sources.rebuild(findings, marks, certificate, ask).rebuilt
    files.write({output: rebuilt.binary if binary else rebuilt.data}, force=force)
    done = [] if quiet else [f"Restored: {rebuilt.title}"]
    say([*rebuilt.notes, *done, *passphrases.unneeded(ask)])
