"""``ragleaf revoke-sheet``: a revocation certificate on a sheet of its own."""

from __future__ import annotations

import datetime as dt
import os
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import keys
from paperkey_alt.cli import bookkeeping, files, options, passphrases
from paperkey_alt.cli.options import say
from paperkey_alt.errors import in_file
from paperkey_alt.format import body
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import DATA_BYTES
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.records.register import REVOCATION
from paperkey_alt.sheet import draw, layout, text_file, words

if TYPE_CHECKING:
    from paperkey_alt.format.payload import Revocation
    from paperkey_alt.keys.openpgp.key_file import Key

_REASONS = {reason.name.lower(): reason for reason in keys.RevocationReason}
_SOON = "A revocation is dated: by this computer's clock it is made before the key. Set the clock first."


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
    help="Why the key is revoked; asked for when not given.",
)
@click.option("--comment", default="", help="A sentence for those who read the revocation.")
@click.option(
    "--paper",
    type=click.Choice(list(layout.PAPERS)),
    default="a4",
    show_default=True,
    help="The paper's size.",
)
@options.passphrase_from
@bookkeeping.path
@bookkeeping.refrain
@options.fingerprint
@options.force
def command(**given: Any) -> None:
    """
    Print a revocation certificate for the OpenPGP key in KEYFILE, made now or given, on a sheet of
    its own.

    Whoever has the sheet can end the key, and do nothing else with it: keep it, but not with the
    sheets of the key.
    """
    files.require_free(
        [name for name in (given["output"], given["text"]) if name], force=given["force"]
    )
    with in_file(given["keyfile"]):
        key = keys.revocable(
            files.read(given["keyfile"], files.LONGEST_KEY_FILE), given["fingerprint"]
        )
    payload = _given(given["certificate"], key) if given["certificate"] else _made(key, given)
    carried = body.wrap(payload, None)
    line_set = lay_out(carried, spare_count(-(-len(carried) // DATA_BYTES)))
    caption = words.revocation_caption(key, line_set, payload, today=bookkeeping.today())
    contents = {given["output"]: draw.draw(line_set, caption, paper=layout.PAPERS[given["paper"]])}
    if given["text"]:
        contents[given["text"]] = text_file.write(
            line_set, words.remarks(line_set, caption)
        ).encode()
    files.write(contents, force=given["force"])
    say(words.revocation_printed(line_set))
    bookkeeping.note(
        given,
        bookkeeping.entry([line_set], REVOCATION, 1, fingerprint=key.fingerprint.hex().upper()),
    )


def _given(name: str, key: Key) -> Revocation:
    with in_file(name):
        return keys.read_revocation(files.read(name, files.LONGEST_KEY_FILE), key)


def _made(key: Key, given: dict[str, Any]) -> Revocation:
    now = dt.datetime.now(dt.UTC)
    if now < key.created:
        raise click.UsageError(_SOON)
    reason = given["reason"] or click.prompt(
        "Why is the key revoked", type=click.Choice(list(_REASONS)), default="none", err=True
    )
    return keys.revoke(
        key,
        _REASONS[reason],
        given["comment"],
        now=now,
        random_bytes=os.urandom,
        ask=passphrases.source(given["passphrase_from"]),
    )
