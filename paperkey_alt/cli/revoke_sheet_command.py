"""``ragleaf revoke-sheet``: a revocation certificate on a sheet of its own."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, given_register, options, passphrases, prints
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine
from paperkey_alt.errors import in_file
from paperkey_alt.format.spare_lines import DEFAULT_SPARE_PERCENT
from paperkey_alt.keys import RevocationReason
from paperkey_alt.records.entry import of_print
from paperkey_alt.sheet import text_file, words
from paperkey_alt.sheet.layout import Spare

if TYPE_CHECKING:
    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.payload import Revocation
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.sheet.layout import Paper

_REASONS = {reason.name.lower(): reason for reason in RevocationReason}
_LONGEST_COMMENT = 2000  # bytes
_LATE = (
    "A revocation carries a date, and this computer's clock is past 2106, the last year that "
    "OpenPGP can write. Set the clock first."
)
_SOON = (
    "A revocation carries a date, and by this computer's clock the key is not made yet. Set the "
    "clock first."
)


@click.command()
@click.argument("keyfile")
@click.option(
    "-o", "--output", required=True, metavar="PDF", help="The sheet; - for standard output."
)
@click.option("--text", metavar="FILE", help="Also write the lines as a text file.")
@click.option(
    "--certificate", metavar="FILE", help="Print this revocation certificate instead of making one."
)
@click.option(
    "--reason",
    type=click.Choice(list(_REASONS)),
    help="Why the key is revoked. Without it, Ragleaf asks.",
)
@click.option("--comment", default="", help="A sentence for those who read the revocation.")
@options.paper
@options.large
@options.passphrase_from
@options.register
@options.no_register
@options.fingerprint
@options.force
def command(
    keyfile: str,
    *,
    output: str,
    text: str | None,
    certificate: str | None,
    reason: str | None,
    comment: str,
    paper: Paper,
    large: bool,
    passphrase_from: str | None,
    register_path: str | None,
    no_register: bool,
    fingerprint: str | None,
    force: bool,
) -> None:
    """
    Print a revocation certificate for the OpenPGP key in KEYFILE, made now or given, on a sheet of
    its own.

    Anyone with the sheet can end the key, and can do nothing else with it. Keep it in another place
    than the sheets of the key.
    """
    register_file = None if no_register else given_register.place(register_path)
    files.require_free(
        [name for name in (output, text) if name],
        inputs=[keyfile, certificate, passphrase_from, register_file],
        force=force,
    )
    ask = passphrases.source(passphrase_from)
    with in_file(keyfile):
        key = keys.revocable(files.read(keyfile, files.LONGEST_KEY_FILE), fingerprint)
    if certificate:
        with in_file(certificate):
            payload = keys.read_revocation(files.read(certificate, files.LONGEST_KEY_FILE), key)
    else:
        payload = _made(key, reason, comment, ask)
    today = machine.today()
    usual = Spare(DEFAULT_SPARE_PERCENT)
    made = prints.of_revocation(key, payload, spare=usual, paper=paper, large=large, today=today)
    (line_set,), (caption,) = made.line_sets, made.captions
    contents = {output: prints.drawn(made, 0, paper=paper, large=large)}
    if text:
        contents[text] = text_file.write(line_set, words.remarks(line_set, caption)).encode()
    files.write(contents, force=force)
    say([*words.of_revocation(line_set, made.sheets), *passphrases.unneeded(ask)])
    if not no_register:
        entry = of_print(
            payload,
            [line_set],
            sheets=made.sheets,
            today=today,
            fingerprint=key.fingerprint.hex().upper(),
            name=next(iter(key.user_ids), None),
        )
        given_register.note(register_path, entry)


def _made(key: Key, reason: str | None, comment: str, ask: Ask) -> Revocation:
    """Return a revocation that *key* makes now; ask for the *reason* where it was not given."""
    now = machine.now()
    if now < key.created:
        raise click.UsageError(_SOON)
    if now > keys.LAST_INSTANT:
        raise click.UsageError(_LATE)
    try:
        length = len(comment.encode())
    except UnicodeEncodeError:
        raise click.UsageError("--comment is not UTF-8 text") from None
    if length > _LONGEST_COMMENT:
        raise click.UsageError(f"--comment has {length:,} bytes; the limit is {_LONGEST_COMMENT:,}")
    if reason is None:
        choice = click.Choice(list(_REASONS))
        reason = click.prompt("Why is the key revoked", type=choice, default="none", err=True)
    return keys.revoke(key, _REASONS[reason], comment, now=now, random_bytes=os.urandom, ask=ask)
