"""``ragleaf backup``: from key file to paper."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, given_register, option_types, options, passphrases, prints
from paperkey_alt.cli.envelope import Companions, companions
from paperkey_alt.cli.passphrases import Remembering
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine, preflight
from paperkey_alt.errors import UnsupportedKey, in_file
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.payload import BLIND_BYTES
from paperkey_alt.keys import Form, Sort
from paperkey_alt.records.entry import of_print
from paperkey_alt.sheet import text_file, words
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from paperkey_alt.cli.prints import Print
    from paperkey_alt.keys import Extract
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.sheet.layout import Paper, Spare


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
    type=option_types.share_count,
    metavar="N",
    help="Split the secret: any N of the shares give it back, 2 to 16.",
)
@click.option(
    "--of",
    "count",
    type=option_types.share_count,
    metavar="M",
    help="How many shares to make, 2 to 16.",
)
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
@click.option(
    "--each",
    is_flag=True,
    help="Print every secret key in KEYFILE, each as its own backup: PDF and FILE are folders.",
)
@options.quiet
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
    each: bool,
    quiet: bool,
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
    if each:
        _require_fitting_each(output, envelope, fingerprint, form, holders)
    register_file = None if no_register else given_register.place(register_path)
    if envelope is not None:
        files.require_empty(envelope, force=force)
    # Read once: it may be a pipe.
    data = files.read(keyfile, files.LONGEST_KEY_FILE)
    wanted: list[str | None] = [fingerprint]
    if each:
        with in_file(keyfile):
            wanted = [key.fingerprint.hex().upper() for key in keys.secret_keys(data)]
    outputs = [
        [] if output is None else _outputs(output, text, terms, which if each else None)
        for which in wanted
    ]
    inputs = [keyfile, passphrase_from, register_file]
    names = [name for pairs in outputs for pair in pairs for name in pair if name]
    ask = passphrases.source(passphrase_from)
    remembering = Remembering(ask)
    now = machine.now()
    backups: list[_Backup] = []
    with files.folders(_folders(output, text, terms, wanted if each else [])):
        files.require_free(names, inputs=inputs, force=force)
        for which in wanted:
            if each and not quiet:
                say([f"Key {len(backups) + 1} of {len(wanted)}: {which}"])
            with in_file(keyfile):
                extract = keys.extract(
                    data,
                    files.name_in_payload(keyfile),
                    form=form,
                    sealed=seal,
                    prove=prove,
                    allow_unprotected=allow_unprotected,
                    fingerprint=which,
                    ask=remembering,
                    blind=os.urandom(BLIND_BYTES),
                )
                key = None
                if with_certificate or envelope is not None:
                    key = _key(extract, data, which, with_certificate=with_certificate)
            rest = _companions(
                extract,
                key,
                is_envelope=envelope is not None,
                spare=spare,
                paper=paper,
                large=large,
                now=now,
                anonymous=anonymous,
                ask=remembering,
            )
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
            backups.append(_Backup(extract, secret, rest, is_envelope=envelope is not None))
        if envelope is not None:
            (made,) = backups
            from paperkey_alt.cli import piles  # noqa: PLC0415 - few prints have an envelope

            folders = piles.pile_up(made.extract, made.secret, made.rest, paper=paper, large=large)
            piles.write_piles(envelope, folders, inputs=inputs, force=force)
        else:
            contents: dict[str, bytes] = {}
            for made, pairs in zip(backups, outputs, strict=True):
                contents |= _contents(pairs, made.secret, made.rest.prints, paper, large=large)
            files.write(contents, force=force)
    noted = [
        made.note(register_path, now.date(), None if anonymous else made.extract.name, holders)
        for made in ([] if no_register else backups)
    ]
    _tell(backups, noted, passphrases.unneeded(ask), quiet=quiet)


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


def _companions(
    extract: Extract,
    key: Key | None,
    *,
    is_envelope: bool,
    spare: Spare,
    paper: Paper,
    large: bool,
    now: dt.datetime,
    anonymous: bool,
    ask: Remembering,
) -> Companions:
    """Return what is printed beside the secret: of an envelope all, or the certificate of *key*."""
    if is_envelope:
        return companions(
            extract,
            key,
            spare=spare,
            paper=paper,
            large=large,
            now=now,
            anonymous=anonymous,
            ask=ask,
        )
    certificate = None
    if key is not None:
        certificate = prints.of_certificate(
            key, spare=spare, paper=paper, large=large, today=now.date()
        )
    return Companions(certificate, None, (), now)


def _tell(
    backups: Sequence[_Backup],
    noted: Iterable[given_register.Noted],
    unneeded: Iterable[str],
    *,
    quiet: bool,
) -> None:
    """Say what was printed, what to do next and what to be careful of; *quiet*, what is wrong."""
    told: list[str] = []
    warnings = [text for made in backups for text in words.cautions(made.extract)]
    weighty = [seen.what for seen in preflight.weighty(preflight.observe(machine.look()))]
    if weighty:
        warnings.append(
            f"WARNING about this computer: {'; '.join(weighty)}. See ragleaf preflight."
        )
    for each in noted:
        told += each.told
        warnings += each.trouble
    warnings += unneeded
    listed = [made.printed for made in backups]
    if quiet:
        say(words.warned(listed, warnings))
        return
    is_revocable = any(made.is_revocable for made in backups)
    say(words.of_print(listed, told=told, warnings=warnings, is_revocable=is_revocable))


@dataclass(frozen=True)
class _Backup:
    """What is printed of one key: its *secret*, and what is beside that, perhaps in an envelope."""

    extract: Extract
    secret: Print
    rest: Companions
    is_envelope: bool

    @property
    def printed(self) -> words.Printed:
        """What there is to tell about it."""
        return words.Printed(
            self.secret.line_sets,
            self.secret.captions[0],
            self.secret.sheets_each,
            words.is_locked(self.extract, self.secret.line_sets[0]),
            [*self.extract.notes, *self.rest.told],
        )

    @property
    def is_revocable(self) -> bool:
        """Whether a revocation certificate is to be printed yet."""
        return self.extract.is_revocable and not self.is_envelope

    def note(
        self,
        register_path: str | None,
        today: dt.date,
        name: str | None,
        holders: tuple[str, ...],
    ) -> given_register.Noted:
        """Note each print in the register; return what there is to say of that."""
        told: list[str] = []
        trouble: list[str] = []
        for each in (self.secret, *self.rest.prints):
            is_secret = each is self.secret
            noted = given_register.add(
                register_path,
                of_print(
                    each.payload,
                    each.line_sets,
                    sheets=each.sheets,
                    today=today,
                    fingerprint=self.extract.fingerprint,
                    name=name,
                    holders=holders if is_secret else (),
                    expires=_expires(self.extract) if is_secret else None,
                ),
            )
            told += noted.told
            trouble += noted.trouble
        return given_register.Noted(tuple(told), tuple(trouble))


def _contents(
    outputs: Sequence[tuple[str, str | None]],
    secret: Print,
    beside: Sequence[Print],
    paper: Paper,
    *,
    large: bool,
) -> dict[str, bytes]:
    """Return what is written to the *outputs*: sheets, and lines as text where they are wanted."""
    contents: dict[str, bytes] = {}
    for at, ((sheets, text), _) in enumerate(zip(outputs, secret.line_sets, strict=True)):
        contents[sheets] = prints.drawn(secret, at, paper=paper, large=large, behind=beside)
        if text:
            sets = [(secret, at), *((each, 0) for each in beside)]
            its = [(of.line_sets[which], of.captions[which]) for of, which in sets]
            contents[text] = "".join(
                text_file.write(line_set, words.remarks(line_set, caption))
                for line_set, caption in its
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
        raise click.UsageError("--envelope makes what is for paper: leave out --text")
    if not with_certificate:
        return
    if envelope is not None:
        raise click.UsageError("--envelope prints the certificate: leave out --with-certificate")
    if form is Form.WHOLE:
        raise click.UsageError("--whole prints the certificate too: leave out --with-certificate")
    if form is Form.PLAIN:
        raise click.UsageError("--plain prints a file as it is, and no certificate of it")
    if anonymous:
        raise click.UsageError(
            "--anonymous keeps the user ID off the sheets, but the certificate has it"
        )


def _require_fitting_each(
    output: str | None,
    envelope: str | None,
    fingerprint: str | None,
    form: Form,
    holders: Sequence[str],
) -> None:
    """Refuse wishes that do not go with --each."""
    if envelope is not None:
        raise click.UsageError("--each prints into folders: give -o, and leave out --envelope")
    if output == files.STREAM:
        raise click.UsageError("--each prints several files: name a folder with -o")
    if fingerprint is not None:
        raise click.UsageError("--each prints every key: leave out --fingerprint")
    if form is Form.PLAIN:
        raise click.UsageError("--plain prints the file as it is, with every key in it")
    if holders:
        raise click.UsageError("--holder goes with one backup: note holders with ragleaf register")


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


def _outputs(
    output: str, text: str | None, terms: Terms | None, fingerprint: str | None
) -> list[tuple[str, str | None]]:
    """
    Return for each set the names of its sheets and, if wanted, of its text file: those of shares,
    and those of several keys by their *fingerprint*, are in folders.
    """
    if terms is None and fingerprint is None:
        return [(output, text)]
    if terms is None:
        return [(f"{output}/{fingerprint}.pdf", f"{text}/{fingerprint}.txt" if text else None)]
    inner = "" if fingerprint is None else f"/{fingerprint}"
    return [
        (
            f"{output}{inner}/share-{number}.pdf",
            f"{text}{inner}/share-{number}.txt" if text else None,
        )
        for number in range(1, terms.count + 1)
    ]


def _folders(
    output: str | None, text: str | None, terms: Terms | None, fingerprints: Iterable[str | None]
) -> list[str]:
    """
    Return the folders of `_outputs`, each behind the one that it is in; *fingerprints* are those of
    several keys, none where there is one key.
    """
    names = [name for name in (output, text) if name]
    inner = [f"{name}/{fingerprint}" for fingerprint in fingerprints for name in names]
    if terms is None:
        return names if inner else []
    return [*names, *inner]
