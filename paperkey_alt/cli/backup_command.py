"""``ragleaf backup``: from key file to paper."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, given_register, option_types, options, passphrases
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine, preflight
from paperkey_alt.errors import in_file
from paperkey_alt.format import backup, body, shares
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import Seal
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import BLIND_BYTES
from paperkey_alt.keys import Form
from paperkey_alt.records.entry import printed
from paperkey_alt.sheet import draw, layout, letter, text_file, words
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.keys import Extract
    from paperkey_alt.sheet.layout import Paper, Spare

_SHARES = click.IntRange(shares.FEWEST, shares.MOST)


@click.command()
@click.argument("keyfile")
@click.option(
    "-o", "--output", required=True, metavar="PDF", help="The sheets; - for standard output."
)
@click.option("--text", metavar="FILE", help="Also write the lines as a text file.")
@click.option(
    "--whole",
    is_flag=True,
    help="Also print what is public: then you need no certificate.",
)
@click.option(
    "--compact",
    is_flag=True,
    help="Print only what cannot be computed, sealed with the key's passphrase.",
)
@click.option("--plain", is_flag=True, help="Print KEYFILE as it is, whatever it is.")
@click.option("--seal", is_flag=True, help="Seal what is printed with a new passphrase.")
@click.option(
    "--prove", is_flag=True, help="Unlock the secrets and check that they belong to the public key."
)
@click.option(
    "--any",
    "threshold",
    type=_SHARES,
    metavar="N",
    help="Split the secret: any N of the shares give it back.",
)
@click.option("--of", "count", type=_SHARES, metavar="M", help="How many shares to make.")
@options.passphrase_from
@click.option(
    "--spare",
    type=option_types.spare,
    default="25%",
    show_default=True,
    metavar="N%|sheet",
    help="How many spare lines; sheet: as many as a lost sheet costs.",
)
@options.paper
@click.option("--anonymous", is_flag=True, help="Leave the user ID off the sheets.")
@click.option(
    "--allow-unprotected", is_flag=True, help="Print a secret that no passphrase protects."
)
@click.option(
    "--holder",
    "holders",
    multiple=True,
    metavar="NAME",
    help="Who gets a share, noted in the register only. Give it once for each share.",
)
@options.register
@options.no_register
@options.fingerprint
@options.force
def command(
    keyfile: str,
    *,
    output: str,
    text: str | None,
    whole: bool,
    compact: bool,
    plain: bool,
    seal: bool,
    prove: bool,
    threshold: int | None,
    count: int | None,
    passphrase_from: str | None,
    spare: Spare,
    paper: Paper,
    anonymous: bool,
    allow_unprotected: bool,
    holders: tuple[str, ...],
    register_path: str | None,
    no_register: bool,
    fingerprint: str | None,
    force: bool,
) -> None:
    """
    Print the secret of the key in KEYFILE on sheets (PDF).

    KEYFILE is an OpenPGP secret key as your OpenPGP program exports it, or a private key in the
    form of PKCS #8, PKCS #1, SEC 1 or OpenSSH. Without --whole or --compact the print is lean: the
    secret parts of the key, and nothing else. With --any and --of, PDF and FILE are folders, which
    get a file for each share.
    """
    form = _form(whole=whole, compact=compact, plain=plain)
    terms = _terms(threshold, count, holders)
    outputs = _outputs(output, text, terms)
    register_file = None if no_register else given_register.place(register_path)
    files.require_free(
        [name for pair in outputs for name in pair if name],
        inputs=[keyfile, passphrase_from, register_file],
        force=force,
    )
    ask = passphrases.source(passphrase_from)
    with in_file(keyfile):
        extract = keys.extract(
            files.read(keyfile, files.LONGEST_KEY_FILE),
            files.name_in_payload(keyfile),
            form=form,
            sealed=seal,
            prove=prove,
            allow_unprotected=allow_unprotected,
            fingerprint=fingerprint,
            ask=ask,
            blind=os.urandom(BLIND_BYTES),
        )
    line_sets = _line_sets(extract, terms, spare, paper)
    now = machine.now()
    captions = [
        words.caption(extract, line_set, now=now, anonymous=anonymous) for line_set in line_sets
    ]
    contents: dict[str, bytes] = {}
    for (sheets, lines), line_set, caption in zip(outputs, line_sets, captions, strict=True):
        to_holder = letter.letter(line_set.head, caption)
        contents[sheets] = draw.draw(line_set, caption, paper=paper, letter=to_holder)
        if lines:
            contents[lines] = text_file.write(line_set, words.remarks(line_set, caption)).encode()
    files.write(contents, force=force)
    sheets_each = len(layout.plan(line_sets[0].head.total, paper).sheets)
    say(
        words.printed(
            line_sets,
            extract.notes,
            captions[0],
            sheets_each,
            is_revocable=extract.is_revocable,
        )
    )
    say([*words.cautions(extract), *passphrases.unneeded(ask)])
    weighty = [seen.what for seen in preflight.weighty(preflight.observe(machine.look()))]
    if weighty:
        say([f"WARNING about this computer: {'; '.join(weighty)}. See ragleaf preflight."])
    if not no_register:
        entry = printed(
            extract.payload,
            line_sets,
            sheets=sheets_each * len(line_sets),
            today=now.date(),
            fingerprint=extract.fingerprint,
            name=None if anonymous else extract.name,
            holders=holders,
            expires=extract.expires.astimezone().date() if extract.expires else None,
        )
        given_register.note(register_path, entry)


def _form(*, whole: bool, compact: bool, plain: bool) -> Form:
    """Return the kind of print that is wished; refuse two at once."""
    flags = {Form.WHOLE: whole, Form.COMPACT: compact, Form.PLAIN: plain}
    wished = [form for form, is_wished in flags.items() if is_wished]
    if len(wished) > 1:
        raise click.UsageError("use only one of --whole, --compact and --plain")
    return wished[0] if wished else Form.LEAN


def _terms(threshold: int | None, count: int | None, holders: Sequence[str]) -> Terms | None:
    """Return the terms that --any and --of mean; refuse one alone, and holders of no share."""
    if len(holders) not in (0, count or 1):
        raise click.UsageError(
            f"you named {counted(len(holders), 'holder')} for {counted(count or 1, 'share')}"
        )
    if threshold is None and count is None:
        return None
    if threshold is None or count is None:
        raise click.UsageError("--any and --of go together: --any 3 --of 5")
    try:
        return Terms(threshold, count)
    except ValueError as reason:
        raise click.UsageError(f"--any {threshold} --of {count}: {reason}") from None


def _outputs(output: str, text: str | None, terms: Terms | None) -> list[tuple[str, str | None]]:
    """
    Return for each set the names of its sheets and, if wanted, of its text file; folders of shares
    are made.
    """
    if terms is None:
        return [(output, text)]
    sheets = files.make_folder(output)
    texts = files.make_folder(text) if text else None
    return [
        (f"{sheets}/share-{number}.pdf", f"{texts}/share-{number}.txt" if texts else None)
        for number in range(1, terms.count + 1)
    ]


def _line_sets(
    extract: Extract, terms: Terms | None, spare: Spare, paper: Paper
) -> Sequence[LineSet]:
    """Return the one set of *extract*, or one for each share."""
    seal = None
    if extract.seal_passphrase is not None:
        seal = Seal(extract.seal_passphrase, os.urandom(16))
    printed = body.wrap(extract.payload, seal)
    length = len(printed.data)
    if terms is None:
        return [lay_out(printed.data, spare.lines_for(length, paper), sealed=printed.sealed)]
    lines = spare.lines_for(backup.shared_length(length), paper)
    return backup.split(printed, terms, spare=lines, random_bytes=os.urandom)
