"""``ragleaf drill``: a rehearsal of the loss, without one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, given_register, given_sources, options, passphrases
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine
from paperkey_alt.errors import CertificateError, DrillFailed, PaperError, SeveralSets, in_file
from paperkey_alt.format import backup
from paperkey_alt.keys import comparison
from paperkey_alt.keys.comparison import Verdict
from paperkey_alt.records import entry

if TYPE_CHECKING:
    from collections.abc import Collection

    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.recover import Findings, SetFinding
    from paperkey_alt.keys.comparison import LiveFile

_ANOTHER = "Give with --key the live file of the key whose fingerprint is printed on the sheets."
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
    live = comparison.live_file(files.read(keyfile, files.LONGEST_KEY_FILE), fingerprint)
    findings = None
    try:
        findings = given_sources.collect(given_sources.read(sources))
        ask = passphrases.source(passphrase_from)
        said = _rehearse(findings, marks, keyfile, live, ask)
    except (PaperError, CertificateError, DrillFailed) as error:
        # Which set is meant is a question of ours; it says nothing of the paper.
        if findings and not no_register and not isinstance(error, SeveralSets):
            _note(register_path, _chosen(findings, marks), live, entry.GIVES_NOT)
        advice = _ANOTHER if isinstance(error, CertificateError) else error.advice
        raise DrillFailed(
            f"this paper does not give this key back, because {error}", advice=advice
        ) from None
    say([said, "Nothing was written but a date in the register, if it has this backup."])
    if not no_register:
        # A set that was given beside and is not complete was not rehearsed.
        chosen = [finding for finding in _chosen(findings, marks) if finding.body is not None]
        _note(register_path, chosen, live, entry.GIVES)


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


def _chosen(findings: Findings, marks: Collection[str]) -> list[SetFinding]:
    """Return the sets that *marks*, set marks or backup numbers, name; all if there are none."""
    named = {mark.upper() for mark in marks}
    return [finding for finding in findings.sets if not named or named & backup.names(finding.head)]


def _note(path: str | None, rehearsed: list[SetFinding], live: LiveFile, outcome: str) -> None:
    """Date the backup in the register of which the sets *rehearsed* are."""
    given_register.note_rehearsal(
        path,
        {finding.head.mark for finding in rehearsed},
        live.key.fingerprint.hex().upper() if live.key else None,
        outcome=outcome,
        today=machine.today(),
    )
