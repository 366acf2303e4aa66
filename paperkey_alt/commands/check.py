"""``ragleaf check``: what stands on the paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import backups, passphrases, payload, report
from paperkey_alt.commands import options, sheets
from paperkey_alt.commands.options import say
from paperkey_alt.keys import compact, private

if TYPE_CHECKING:
    from paperkey_alt.sets import Findings


@click.command()
@options.sources
@click.option("--json", "as_json", is_flag=True, help="Say it as JSON.")
@click.option(
    "--prove", is_flag=True, help="Open what is sealed, unlock the secrets, and prove that they belong to the public key."
)
@options.public
@options.passphrase_from
@options.mark
@options.fingerprint
def command(sources: tuple[str, ...], **given: Any) -> None:
    """
    Tell what stands on the paper, line by line: fine, mended, wrong or missing. Shows no secret.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    findings = sheets.collect(sheets.read(sources))
    click.echo(report.json_text(findings) if given["as_json"] else report.table(findings))
    say(report.wanted(findings))
    say(_proven(findings, given) if given["prove"] else _legible(findings, given["mark"]))


def _legible(findings: Findings, mark: str | None) -> list[str]:
    """Return what is to be said when all that was given can be read in full; raise what keeps it from that."""
    shares = [report.standing(one) for one in backups.standings(findings)]
    if shares:
        return shares
    assembled = backups.assemble(findings, mark)
    if assembled.sealed:
        return ["It is sealed; whether a passphrase opens it was not tried (--prove does)."]
    payload.unpack(assembled.body)
    return []


def _proven(findings: Findings, given: dict[str, Any]) -> list[str]:
    """Prove that the sheets carry secrets that belong to their public keys; return what to say of it."""
    ask = passphrases.source(given["passphrase_from"])
    certificate = sheets.certificate(given["public"], given["fingerprint"])
    restored, passphrase = sheets.restored(findings, given["mark"], certificate, ask)
    known = () if passphrase is None else (passphrase,)
    if restored.key is not None:
        unproven = compact.prove_all(compact.unlock(restored.key, ask, known))
    elif private.recognises(restored.data):
        private.open_(restored.data, ask)
        unproven = ()
    else:
        unproven = ("a file of any kind has nothing to be proven by",)
    return [*(f"Not proven: {what}." for what in unproven), f"Read back in full: {restored.title}"]
