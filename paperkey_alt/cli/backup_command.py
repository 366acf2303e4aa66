"""``ragleaf backup``: from key file to paper."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, given_register, option_types, options, passphrases, prints
from paperkey_alt.cli.envelope import Enclosures, enclosures, pile_up, write_piles
from paperkey_alt.cli.passphrases import Remembering
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine, preflight
from paperkey_alt.errors import UnsupportedKey, in_file
from paperkey_alt.format import shares
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.payload import BLIND_BYTES
from paperkey_alt.keys import Form, Sort
from paperkey_alt.records.entry import printed
from paperkey_alt.sheet import draw, letter, text_file, words
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from paperkey_alt.cli.prints import Print
    from paperkey_alt.keys import Extract
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.sheet.layout import Paper, Spare

_SHARES = click.IntRange(shares.FEWEST, shares.MOST)


@click.command()
@click.argument("keyfile")
@click.option("-o", "--output", metavar="PDF", help="The sheets; - for standard output.")
@click.option(
    "--envelope",
    metavar="FOLDER",
    help="Instead of PDF, make all that belongs together: the sheets, the certificate, a "
    "revocation sheet, the restorer, and a first page that says what goes where.",
)
@click.option(
    "--with-certificate",
    is_flag=True,
    help="Add sheets of the public certificate, so that the paper alone brings the key back.",
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
@options.large
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
    output: str | None,
    envelope: str | None,
    with_certificate: bool,
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
    large: bool,
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
    _require_fitting(output, envelope, text, form, anonymous, with_certificate=with_certificate)
    register_file = None if no_register else given_register.place(register_path)
    outputs: list[tuple[str, str | None]] = []
    if envelope is not None:
        files.require_empty(envelope, force=force)
    elif output is not None:
        outputs = _outputs(output, text, terms)
    files.require_free(
        [name for pair in outputs for name in pair if name],
        inputs=[keyfile, passphrase_from, register_file],
        force=force,
    )
    ask = passphrases.source(passphrase_from)
    remembering = Remembering(ask)
    data = files.read(keyfile, files.LONGEST_KEY_FILE)
    with in_file(keyfile):
        extract = keys.extract(
            data,
            files.name_in_payload(keyfile),
            form=form,
            sealed=seal,
            prove=prove,
            allow_unprotected=allow_unprotected,
            fingerprint=fingerprint,
            ask=remembering,
            blind=os.urandom(BLIND_BYTES),
        )
        key = _key(extract, data, fingerprint, with_certificate=with_certificate)
    now = machine.now()
    rest = Enclosures(None, None, (), now)
    if envelope is not None:
        rest = enclosures(
            extract,
            key,
            spare=spare,
            paper=paper,
            large=large,
            now=now,
            anonymous=anonymous,
            ask=remembering,
        )
    elif with_certificate and key is not None:
        certificate = prints.of_certificate(
            key, spare=spare, paper=paper, large=large, today=now.date()
        )
        rest = Enclosures(certificate, None, (), now)
    secret = prints.of_secret(
        extract,
        terms=terms,
        spare=spare,
        paper=paper,
        large=large,
        now=now,
        anonymous=anonymous,
        certificate=rest.certificate.mark if rest.certificate else None,
    )
    if envelope is not None:
        piles = pile_up(extract, secret, rest, paper=paper, large=large)
        write_piles(envelope, piles, inputs=[keyfile, passphrase_from, register_file], force=force)
    else:
        files.write(_contents(outputs, secret, rest.prints, paper, large=large), force=force)
    say(
        words.printed(
            secret.line_sets,
            [*extract.notes, *rest.told],
            secret.captions[0],
            secret.sheets_each,
            is_revocable=extract.is_revocable and envelope is None,
        )
    )
    say([*words.cautions(extract), *passphrases.unneeded(ask)])
    weighty = [seen.what for seen in preflight.weighty(preflight.observe(machine.look()))]
    if weighty:
        say([f"WARNING about this computer: {'; '.join(weighty)}. See ragleaf preflight."])
    if no_register:
        return
    for each in (secret, *rest.prints):
        entry = printed(
            each.payload,
            each.line_sets,
            sheets=each.sheets,
            today=now.date(),
            fingerprint=extract.fingerprint,
            name=None if anonymous else extract.name,
            holders=holders if each is secret else (),
            expires=_expires(extract) if each is secret else None,
        )
        given_register.note(register_path, entry)


def _key(
    extract: Extract, data: bytes, fingerprint: str | None, *, with_certificate: bool
) -> Key | None:
    """Return the OpenPGP key that *extract* is of, None where it is of another kind."""
    if extract.sort is Sort.OPENPGP_KEY:
        return keys.certificate(data, fingerprint)
    if with_certificate:
        raise UnsupportedKey(
            "a key of this kind has no OpenPGP certificate",
            advice="Leave --with-certificate away.",
        )
    return None


def _contents(
    outputs: Sequence[tuple[str, str | None]],
    secret: Print,
    beside: Sequence[Print],
    paper: Paper,
    *,
    large: bool,
) -> dict[str, bytes]:
    """Return what is written to the *outputs*: sheets, and lines as text where they are wanted."""
    behind = [(each.line_sets[0], each.captions[0]) for each in beside]
    contents: dict[str, bytes] = {}
    for (sheets, text), line_set, caption in zip(
        outputs, secret.line_sets, secret.captions, strict=True
    ):
        to_holder = letter.letter(line_set.head, caption)
        contents[sheets] = draw.draw(
            line_set, caption, paper=paper, large=large, letter=to_holder, behind=behind
        )
        if text:
            contents[text] = "".join(
                text_file.write(lines, words.remarks(lines, its))
                for lines, its in ((line_set, caption), *behind)
            ).encode()
    return contents


def _expires(extract: Extract) -> dt.date | None:
    return extract.expires.astimezone().date() if extract.expires else None


def _require_fitting(
    output: str | None,
    envelope: str | None,
    text: str | None,
    form: Form,
    anonymous: bool,  # noqa: FBT001
    *,
    with_certificate: bool,
) -> None:
    """Refuse wishes that exclude each other, and the lack of any."""
    if (output is None) == (envelope is None):
        raise click.UsageError("Name the sheets with -o, or a folder with --envelope.")
    if envelope is not None and text is not None:
        raise click.UsageError("--envelope makes what is for paper: leave --text away")
    if not with_certificate:
        return
    if envelope is not None:
        raise click.UsageError("--envelope prints the certificate: leave --with-certificate away")
    if form is Form.WHOLE:
        raise click.UsageError("--whole prints the certificate too: leave --with-certificate away")
    if form is Form.PLAIN:
        raise click.UsageError("--plain prints a file as it is, and no certificate of it")
    if anonymous:
        raise click.UsageError(
            "--anonymous keeps the user ID off the sheets, and the certificate has it in it"
        )


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
