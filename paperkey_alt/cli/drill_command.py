"""``ragleaf drill``: a rehearsal of the loss, without one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from paperkey_alt.cli import bookkeeping, files, options, passphrases, sources_given
from paperkey_alt.cli.options import say
from paperkey_alt.errors import CertificateError, DrillFailed, PaperError, in_file
from paperkey_alt.keys import comparison
from paperkey_alt.keys.comparison import Verdict
from paperkey_alt.records import register

if TYPE_CHECKING:
    from paperkey_alt.cli.passphrases import Ask
    from paperkey_alt.format.recover import Findings
    from paperkey_alt.keys.comparison import LiveFile


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
@options.mark
@options.fingerprint
@bookkeeping.path
@bookkeeping.refrain
def command(sources: tuple[str, ...], **given: Any) -> None:
    """
    Rehearse a loss: restore the key in memory and compare it with the live one. Writes no key, only
    a line in the register.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    book = bookkeeping.opened(given)
    live = comparison.live_file(
        files.read(given["keyfile"], files.LONGEST_KEY_FILE), given["fingerprint"]
    )
    findings = None
    try:
        findings = sources_given.collect(sources_given.read(sources))
        said = _rehearsed(
            findings,
            given["mark"],
            live,
            passphrases.source(given["passphrase_from"]),
            given["keyfile"],
        )
    except (PaperError, CertificateError, DrillFailed) as error:
        _note(book, findings, live, register.GIVES_NOT)
        advice = _ANOTHER if isinstance(error, CertificateError) else error.advice
        raise DrillFailed(
            f"this paper does not give this key back, because {error}", advice=advice
        ) from None
    _note(book, findings, live, register.GIVES)
    say([said, "Nothing was written but a date in the register, if it has this backup."])


def _rehearsed(findings: Findings, mark: str | None, live: LiveFile, ask: Ask, name: str) -> str:
    """
    Return what the sheets were proven to give back; raise DrillFailed, PaperError or
    CertificateError where they do not. *name* is that of the live file.
    """
    try:
        restored, _ = sources_given.restored(findings, mark, live.key, ask)
    except CertificateError:
        if live.problem:
            with in_file(name):
                raise live.problem from None
        raise
    came = comparison.compare(restored, live)
    words = _VERDICTS[came.verdict].format(came.title)
    if not came.agrees:
        raise DrillFailed(words)
    return words


_VERDICTS = {
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
_ANOTHER = "Give with --key the live file of the key whose fingerprint is printed on the sheets."


def _note(
    book: register.Register | None, findings: Findings | None, live: LiveFile, outcome: str
) -> None:
    if book is None or findings is None:
        return
    marks = {one.head.mark for one in findings.sets}
    # A rehearsal with another key says nothing of this one's paper.
    names = {None, live.key.fingerprint.hex().upper() if live.key else None}
    ours = {
        mark
        for entry in book.entries()
        if entry.fingerprint in names or not live.key
        for mark in entry.marks
    } & marks
    if not (ours and book.change(ours, drilled=bookkeeping.today(), drill=outcome)):
        say(
            [
                (
                    "The register has no backup of this key with the set mark "
                    f"{', '.join(sorted(marks))}: the rehearsal is not noted."
                )
            ]
        )
