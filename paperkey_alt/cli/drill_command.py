"""``ragleaf drill``: a rehearsal of the loss, without one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, given_register, given_sources, options, passphrases
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine
from paperkey_alt.errors import CertificateError, DrillFailed, PaperError, in_file
from paperkey_alt.keys import comparison
from paperkey_alt.keys.comparison import Verdict
from paperkey_alt.records import register

if TYPE_CHECKING:
    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.recover import Findings
    from paperkey_alt.keys.comparison import LiveFile
    from paperkey_alt.records.register import Register

_ANOTHER = "Give with --key the live file of the key whose fingerprint is printed on the sheets."
_NOT_IN_REGISTER = "The register has no backup of this key with the set mark"
_WORDS = {
    Verdict.SAME_FILE: "This paper gives this key back: the whole file, byte for byte.",
    Verdict.SAME_SECRETS: (
        "This paper gives this key back: its secret part came back byte for byte."
    ),
    Verdict.OWN_REVOCATION: (
        "This paper gives a revocation certificate of this key, which the key made."
    ),
    Verdict.SOMETHING_ELSE: "it carries something else: {}",
    Verdict.ANOTHER_KEY: "it carries another key: {}",
    Verdict.SECRET_MISSING: "the live key has the {}, which is not on this paper",
    Verdict.PROTECTED_OTHERWISE: (
        "the secret of the {} is protected otherwise now: its passphrase was changed since"
    ),
}


@click.command()
@options.sources
@click.option(
    "--key",
    "keyfile",
    required=True,
    metavar="KEYFILE",
    help="The live secret key file to compare with.",
)
@options.passphrase_from
@options.marks
@options.fingerprint
@options.register
@options.no_register
def command(
    sources: tuple[str, ...],
    *,
    keyfile: str,
    passphrase_from: str | None,
    marks: tuple[str, ...],
    fingerprint: str | None,
    register_path: str | None,
    no_register: bool,
) -> None:
    """
    Rehearse a loss: restore the key in memory and compare it with the live one. Writes no key, only
    a line in the register.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    book = None if no_register else given_register.opened(register_path)
    live = comparison.live_file(files.read(keyfile, files.LONGEST_KEY_FILE), fingerprint)
    findings = None
    try:
        findings = given_sources.collect(given_sources.read(sources))
        ask = passphrases.source(passphrase_from)
        said = _rehearse(findings, marks, keyfile, live, ask)
    except (PaperError, CertificateError, DrillFailed) as error:
        _note(book, findings, live, register.GIVES_NOT)
        advice = _ANOTHER if isinstance(error, CertificateError) else error.advice
        raise DrillFailed(
            f"this paper does not give this key back, because {error}", advice=advice
        ) from None
    _note(book, findings, live, register.GIVES)
    say([said, "Nothing was written but a date in the register, if it has this backup."])


def _rehearse(
    findings: Findings, marks: tuple[str, ...], keyfile: str, live: LiveFile, ask: Ask
) -> str:
    """
    Return what the sheets were found to give back; raise DrillFailed, PaperError or
    CertificateError where they do not, and what is wrong with the file *keyfile* where its key is
    needed.
    """
    try:
        rebuilt, _ = given_sources.rebuild(findings, marks, live.key, ask)
    except CertificateError:
        if live.problem is None:
            raise
        with in_file(keyfile):
            raise live.problem from None
    compared = comparison.compare(rebuilt, live)
    words = _WORDS[compared.verdict].format(compared.title)
    if not compared.agrees:
        raise DrillFailed(words)
    return words


def _note(book: Register | None, findings: Findings | None, live: LiveFile, outcome: str) -> None:
    """Date the backup in the register, if there is one and the sheets could be read at all."""
    if book is None or findings is None:
        return
    marks = {finding.head.mark for finding in findings.sets}
    fingerprint = live.key.fingerprint.hex().upper() if live.key else None
    ours = register.rehearsed(book.entries(), marks, fingerprint)
    if not (ours and book.change(ours, drilled=machine.today(), drill=outcome)):
        named = ", ".join(sorted(marks))
        say([f"{_NOT_IN_REGISTER} {named}: the rehearsal is not noted."])
