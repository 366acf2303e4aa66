"""``ragleaf drill``: a rehearsal of the loss, without one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt.cli import bookkeeping, files, options, passphrases, sources_given
from paperkey_alt.cli.options import say
from paperkey_alt.errors import CertificateError, DrillFailed, KeyFileError, PaperError, in_file
from paperkey_alt.keys import private_key
from paperkey_alt.keys.openpgp import key_file
from paperkey_alt.records import register

if TYPE_CHECKING:
    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.recover import Findings
    from paperkey_alt.keys.openpgp.key_file import Key
    from paperkey_alt.keys.subject import Restored


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
    live = _live(files.read(given["keyfile"], files.LONGEST_KEY_FILE), given)
    findings = None
    try:
        findings = sources_given.collect(sources_given.read(sources))
        said = _rehearsed(
            findings, given["mark"], live, passphrases.source(given["passphrase_from"])
        )
    except (PaperError, CertificateError, DrillFailed) as error:
        _note(book, findings, live, register.GIVES_NOT)
        advice = _ANOTHER if isinstance(error, CertificateError) else error.advice
        raise DrillFailed(
            f"this paper does not give this key back, because {error}", advice=advice
        ) from None
    _note(book, findings, live, register.GIVES)
    say([said, "Nothing was written but a date in the register, if it has this backup."])


@dataclass(frozen=True)
class _Live:
    """The live file: its bytes, and the OpenPGP key in it or why it is none."""

    data: bytes
    key: Key | None
    problem: KeyFileError | None = None


def _live(data: bytes, given: dict[str, Any]) -> _Live:
    if private_key.recognises(data):
        return _Live(data, None)
    try:
        with in_file(given["keyfile"]):
            return _Live(data, key_file.choose(key_file.read(data), given["fingerprint"]))
    except KeyFileError as problem:
        # Sheets carry files of any kind too.
        return _Live(data, None, problem)


def _rehearsed(findings: Findings, mark: str | None, live: _Live, ask: Ask) -> str:
    """
    Return what the sheets were proven to give back; raise DrillFailed, PaperError or
    CertificateError where they do not.
    """
    try:
        restored, _ = sources_given.restored(findings, mark, live.key, ask)
    except CertificateError:
        if live.problem:
            raise live.problem from None
        raise
    if live.data in (restored.data, restored.binary):
        return "This paper gives this key back: the whole file, byte for byte."
    if live.key is None or (restored.key is None and not _revokes(restored, live.key)):
        raise DrillFailed(f"it carries something else: {restored.title}")
    if restored.key is None:
        return "This paper gives a revocation certificate of this key, which the key made."
    _require_same(restored.key, live.key)
    return "This paper gives this key back: its secret part came back byte for byte."


def _revokes(restored: Restored, key: Key) -> bool:
    from paperkey_alt.keys.openpgp import revocation  # noqa: PLC0415 - the ciphers take long to load

    try:
        return bool(revocation.read(restored.binary, key.primary))
    except KeyFileError:
        return False


def _require_same(back: Key, live: Key) -> None:
    """
    Raise DrillFailed where the secret part of the key *back* from paper is not that of the *live*
    one.
    """
    if back.fingerprint != live.fingerprint:
        raise DrillFailed(f"it carries another key: {back.title}")
    secrets = {part.fingerprint: part.secret for part in back.secret_packets}
    for part in live.secret_packets:
        if part.fingerprint not in secrets:
            raise DrillFailed(f"the live key has the {part.title}, which is not on this paper")
        if secrets[part.fingerprint] != part.secret:
            raise DrillFailed(
                f"the secret of the {part.title} is protected otherwise now: its passphrase was "
                "changed since"
            )


_ANOTHER = "Give with --key the live file of the key whose fingerprint is printed on the sheets."


def _note(
    book: register.Register | None, findings: Findings | None, live: _Live, outcome: str
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
