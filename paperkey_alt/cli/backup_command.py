"""``ragleaf backup``: from key file to paper."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import keys
from paperkey_alt.cli import bookkeeping, files, options, passphrases
from paperkey_alt.cli.options import say
from paperkey_alt.computer import machine, preflight
from paperkey_alt.computer.preflight import Weight
from paperkey_alt.errors import in_file
from paperkey_alt.format import backup, body
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import Seal
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import DATA_BYTES
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys import Form
from paperkey_alt.records.register import KINDS
from paperkey_alt.sheet import draw, layout, letter, text_file, words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.keys import Extract
    from paperkey_alt.records.register import Entry
    from paperkey_alt.sheet.layout import Paper

MOST_SPARE_PERCENT = 400


@click.command()
@click.argument("keyfile")
@click.option(
    "-o", "--output", required=True, metavar="PDF", help="The sheets; - for standard output."
)
@click.option("--text", metavar="FILE", help="Also write the lines as a text file.")
@click.option(
    "--whole", is_flag=True, help="Print all that is needed, so that no public certificate is."
)
@click.option(
    "--compact",
    is_flag=True,
    help="Print, sealed, only what cannot be computed; asks for the key's passphrase.",
)
@click.option("--plain", is_flag=True, help="Print KEYFILE as it is, whatever it is.")
@click.option("--seal", is_flag=True, help="Seal what is printed with a new passphrase.")
@click.option(
    "--prove", is_flag=True, help="Unlock the secrets and prove that they belong to the public key."
)
@click.option(
    "--any", "threshold", type=int, metavar="N", help="Split it: any N of the shares give it back."
)
@click.option("--of", "count", type=int, metavar="M", help="Into how many shares, 2 to 16.")
@options.passphrase_from
@click.option(
    "--spare",
    default="25%",
    show_default=True,
    metavar="N%|sheet",
    help="Spare lines, or as many as a lost sheet costs.",
)
@click.option(
    "--paper",
    type=click.Choice(list(layout.PAPERS)),
    default="a4",
    show_default=True,
    help="The paper's size.",
)
@click.option("--anonymous", is_flag=True, help="Leave the user ID off the sheets.")
@click.option(
    "--allow-unprotected", is_flag=True, help="Print a secret that no passphrase protects."
)
@click.option(
    "--holder",
    "holders",
    multiple=True,
    metavar="NAME",
    help="Who gets a share, for the register alone; once for each.",
)
@bookkeeping.path
@bookkeeping.refrain
@options.fingerprint
@options.force
def command(**given: Any) -> None:
    """
    Print the secret of the key in KEYFILE on sheets (PDF).

    KEYFILE is an OpenPGP secret key, or a private key as PKCS #8, PKCS #1, SEC 1 or OpenSSH has it.
    With --any and --of, PDF and FILE are folders: each holder's share goes into a file of its own
    there.
    """
    terms = _terms(given)
    outputs = _outputs(given, terms)
    files.require_free([name for pair in outputs for name in pair if name], force=given["force"])
    with in_file(given["keyfile"]):
        subject = _extract(given)
    seal = None
    if subject.seal_passphrase is not None:
        seal = Seal(subject.seal_passphrase, os.urandom(16))
    paper = layout.PAPERS[given["paper"]]
    line_sets = _line_sets(
        body.wrap(subject.payload, seal), terms, given["spare"], paper, sealed=seal is not None
    )
    today = bookkeeping.today()
    captions = [
        words.caption(subject, one, today=today, anonymous=given["anonymous"]) for one in line_sets
    ]
    contents: dict[str, bytes] = {}
    for (sheets, lines), line_set, caption in zip(outputs, line_sets, captions, strict=True):
        contents[sheets] = draw.draw(
            line_set, caption, paper=paper, letter=letter.letter(line_set.head, caption)
        )
        if lines:
            contents[lines] = text_file.write(line_set, words.remarks(line_set, caption)).encode()
    files.write(contents, force=given["force"])
    sheets_each = len(layout.plan(line_sets[0].head.total, paper).sheets)
    say(words.printed(line_sets, subject.notes, captions[0], sheets_each))
    weighty = [
        one.what for one in preflight.findings(machine.look()) if one.weight is Weight.MATTERS
    ]
    say(
        [f"This computer: {'; '.join(weighty)}. Why it matters: ragleaf preflight"]
        if weighty
        else []
    )
    bookkeeping.note(given, _entry(subject, line_sets, sheets_each, given["holders"]))


def _entry(
    subject: Extract, line_sets: Sequence[LineSet], sheets_each: int, holders: Iterable[str]
) -> Entry:
    kind = KINDS[type(subject.payload)] + (", sealed" if line_sets[0].head.sealed else "")
    expires = subject.expires.date() if subject.expires else None
    return bookkeeping.entry(
        line_sets,
        kind,
        sheets_each,
        fingerprint=subject.fingerprint,
        holders=tuple(holders),
        expires=expires,
    )


def _terms(given: dict[str, Any]) -> Terms | None:
    """Return the terms that --any and --of mean; refuse what excludes each other."""
    if sum(given[name] for name in ("whole", "compact", "plain")) > 1:
        raise click.UsageError("--whole, --compact and --plain exclude each other")
    threshold, count = given["threshold"], given["count"]
    if len(given["holders"]) not in (0, count or 1):
        raise click.UsageError(
            f"{len(given['holders'])} holders were named for {count or 1} shares"
        )
    if threshold is None and count is None:
        return None
    if threshold is None or count is None:
        raise click.UsageError("--any and --of go together: --any 3 --of 5")
    try:
        return Terms(threshold, count)
    except ValueError as reason:
        raise click.UsageError(f"--any {threshold} --of {count}: {reason}") from None


def _outputs(given: dict[str, Any], terms: Terms | None) -> list[tuple[str, str | None]]:
    """
    Return for each set the names of its sheets and, if wanted, of its text file; folders of shares
    are made.
    """
    if terms is None:
        return [(given["output"], given["text"])]
    folders = [
        files.make_folder(name) if name else None for name in (given["output"], given["text"])
    ]
    numbers = range(1, terms.count + 1)
    return [
        (f"{folders[0]}/share-{number}.pdf", folders[1] and f"{folders[1]}/share-{number}.txt")
        for number in numbers
    ]


def _extract(given: dict[str, Any]) -> Extract:
    """Return what is printed, and the passphrase of the seal over it."""
    return keys.extract(
        files.read(given["keyfile"], files.LONGEST_KEY_FILE),
        Path(given["keyfile"]).name,
        form=next((form for form in Form if given.get(form.value)), Form.LEAN),
        sealed=given["seal"],
        prove=given["prove"],
        allow_unprotected=given["allow_unprotected"],
        fingerprint=given["fingerprint"],
        ask=passphrases.source(given["passphrase_from"]),
    )


def _line_sets(
    data: bytes, terms: Terms | None, spare: str, paper: Paper, *, sealed: bool
) -> Sequence[LineSet]:
    if terms is None:
        return [lay_out(data, _spare_lines(len(data), spare, paper), sealed=sealed)]
    wanted = _spare_lines(backup.shared_length(len(data)), spare, paper)
    return backup.deal(data, terms, sealed=sealed, spare=wanted, random_bytes=os.urandom)


def _spare_lines(length: int, wanted: str, paper: Paper) -> int:
    """
    Return the number of spare lines that `--spare` *wanted* means for a body of *length* bytes.
    """
    data = -(-length // DATA_BYTES)
    if wanted == "sheet":
        return layout.spare_for_a_sheet(data, paper)
    percent = wanted.removesuffix("%")
    if not percent.isdecimal() or not int(percent) <= MOST_SPARE_PERCENT:
        raise click.BadParameter(
            f"{wanted}: say 0% to {MOST_SPARE_PERCENT}%, or sheet", param_hint="--spare"
        )
    return spare_count(data, int(percent))
