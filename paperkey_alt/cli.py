"""
The command ``ragleaf``: parses, words and wires; every decision is made in the modules it calls.

They are imported inside the commands: ``ragleaf --help`` loads none of the libraries that draw, compute or see.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import __version__
from paperkey_alt.errors import RagleafError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from paperkey_alt.backups import Terms
    from paperkey_alt.body import Seal
    from paperkey_alt.keys.compact import Ask
    from paperkey_alt.keys.openpgp import Key, Rebuilt
    from paperkey_alt.payload import Payload
    from paperkey_alt.sets import Findings, LineSet
    from paperkey_alt.sheet.layout import Paper

_force = click.option("--force", is_flag=True, help="Replace an output that exists.")
_fingerprint = click.option("--fingerprint", metavar="HEX", help="Which key, where the file has several.")
_passphrase_from = click.option(
    "--passphrase-from", metavar="PATH", help="Read passphrases from this file, one a row, instead of the terminal."
)
_public = click.option("--public", metavar="CERT", help="The public certificate, for sheets that carry the secret part alone.")
_mark = click.option("--mark", metavar="MARK", help="Which set, where several are given.")
_sources = click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")


MOST_SPARE_PERCENT = 400


class _Commands(click.Group):
    """Words every foreseen mistake for the terminal: what is wrong, and below it what to do."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except RagleafError as error:
            _say([f"ragleaf: {error}.", f"  {error.advice}"])
            ctx.exit(error.exit_status)


def main() -> None:
    """Run the command line."""
    commands(prog_name="ragleaf")


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="ragleaf")
def commands() -> None:
    """
    Put a cryptographic key on paper, and get it back byte for byte.

    Exit status: 0 done; 1 the paper or the key is at fault; 2 wrong use.
    """


@commands.command()
@click.argument("keyfile")
@click.option("-o", "--output", required=True, metavar="PDF", help="The sheets; - for standard output.")
@click.option("--text", metavar="FILE", help="Also write the lines as a text file.")
@click.option("--whole", is_flag=True, help="Print all that is needed, so that no public certificate is.")
@click.option("--compact", is_flag=True, help="Print, sealed, only what cannot be computed; asks for the key's passphrase.")
@click.option("--seal", is_flag=True, help="Seal what is printed with a new passphrase.")
@click.option("--prove", is_flag=True, help="Unlock the secrets and prove that they belong to the public key.")
@click.option("--any", "threshold", type=int, metavar="N", help="Split it: any N of the shares give it back.")
@click.option("--of", "count", type=int, metavar="M", help="Into how many shares, 2 to 16.")
@_passphrase_from
@click.option(
    "--spare", default="25%", show_default=True, metavar="N%|sheet", help="Spare lines, or as many as a lost sheet costs."
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The paper's size.")
@click.option("--anonymous", is_flag=True, help="Leave the user ID off the sheets.")
@click.option("--allow-unprotected", is_flag=True, help="Print a secret that no passphrase protects.")
@_fingerprint
@_force
def backup(**given: Any) -> None:
    """
    Print the secret part of the OpenPGP key in KEYFILE on sheets (PDF).

    With --any and --of, PDF and FILE are folders: each holder's share goes into a file of its own there.
    """
    import datetime as dt  # noqa: PLC0415

    from paperkey_alt import body, files  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415
    from paperkey_alt.sheet import draw, layout, letter, text, words  # noqa: PLC0415

    terms = _terms(given)
    outputs = _outputs(given, terms)
    files.require_free([name for pair in outputs for name in pair if name], force=given["force"])
    key = openpgp.choose(openpgp.read(files.read(given["keyfile"], files.LONGEST_KEY_FILE)), given["fingerprint"])
    carried, seal, left_out = _taken(key, given)
    paper = layout.PAPERS[given["paper"]]
    line_sets = _line_sets(body.wrap(carried, seal), terms, given["spare"], paper, sealed=seal is not None)
    today = dt.datetime.now().astimezone().date()
    captions = [words.caption(key, carried, one, today=today, anonymous=given["anonymous"]) for one in line_sets]
    contents: dict[str, bytes] = {}
    for (sheets, lines), line_set, caption in zip(outputs, line_sets, captions, strict=True):
        contents[sheets] = draw.draw(line_set, caption, paper=paper, letter=letter.letter(line_set.head, caption))
        if lines:
            contents[lines] = text.write(line_set, words.remarks(line_set, caption)).encode()
    files.write(contents, force=given["force"])
    _say(words.printed(line_sets, left_out, captions[0], len(layout.plan(line_sets[0].head.total, paper).sheets)))


@commands.command()
@_sources
@click.option("--json", "as_json", is_flag=True, help="Say it as JSON.")
@click.option(
    "--prove", is_flag=True, help="Open what is sealed, unlock the secrets, and prove that they belong to the public key."
)
@_public
@_passphrase_from
@_mark
@_fingerprint
def check(sources: tuple[str, ...], **given: Any) -> None:
    """
    Tell what stands on the paper, line by line: fine, mended, wrong or missing. Shows no secret.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    from paperkey_alt import report  # noqa: PLC0415

    findings = _collect(sources)
    click.echo(report.json_text(findings) if given["as_json"] else report.table(findings))
    if given["prove"]:
        _say(_proven(findings, given))
    else:
        _say(_legible(findings, given["mark"]))


@commands.command()
@_sources
@click.option("-o", "--output", required=True, metavar="FILE", help="The restored key; - for standard output.")
@_public
@click.option("--binary", is_flag=True, help="Write the key without ASCII armor.")
@_passphrase_from
@_mark
@_fingerprint
@_force
def restore(sources: tuple[str, ...], **given: Any) -> None:
    """
    Rebuild the key from lines: byte for byte, or not at all.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    from paperkey_alt import files, passphrases, report  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415

    files.require_free([given["output"]], force=given["force"])
    findings = _collect(sources)
    _say([report.table(findings)])
    rebuilt, _ = _rebuilt(findings, given, passphrases.source(given["passphrase_from"]))
    files.write({given["output"]: openpgp.write(rebuilt.key, armored=not given["binary"])}, force=given["force"])
    _say([*rebuilt.left_out, f"Restored: {rebuilt.key.title}"])


def _taken(key: Key, given: dict[str, Any]) -> tuple[Payload, Seal | None, list[str]]:
    """Return what is printed of *key*, the seal over it, and what is not printed."""
    from paperkey_alt import passphrases  # noqa: PLC0415
    from paperkey_alt.body import Seal  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415

    sealed = given["seal"] or given["compact"]
    taken = openpgp.extract(key, whole=given["whole"], allow_unprotected=given["allow_unprotected"] or sealed)
    carried: Payload = taken.payload
    left_out = list(taken.left_out)
    ask = passphrases.source(given["passphrase_from"])
    own = None
    if given["compact"] or given["prove"]:
        from paperkey_alt.keys import compact  # noqa: PLC0415 - and with it all ciphers

        unlocked = compact.unlock(key, ask)
        left_out += compact.prove_all(unlocked)
        own = next((one.passphrase for one in unlocked if one.passphrase is not None), None)
    passphrase = ask.new("seal") if given["seal"] or (given["compact"] and own is None) else own
    if given["compact"]:
        carried, kept = compact.compact(unlocked, passphrase or "")
        left_out += kept
    return carried, Seal(passphrase or "", os.urandom(16)) if sealed else None, left_out


def _rebuilt(findings: Findings, given: dict[str, Any], ask: Ask) -> tuple[Rebuilt, str | None]:
    """Return the key that the sheets carry, and the passphrase of the seal if one was over it."""
    from paperkey_alt import backups, body  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415
    from paperkey_alt.payload import Compact  # noqa: PLC0415

    certificate = _certificate(given["public"], given["fingerprint"])
    assembled = backups.assemble(findings, given["mark"])
    _say(
        f"Set {mark} does not belong to the others, though all its lines are fine: it is forged or mixed up."
        for mark in assembled.wrong
    )
    unwrapped = body.unwrap(assembled.body, sealed=assembled.sealed, ask=ask)
    carried = unwrapped.payload
    if isinstance(carried, Compact):
        from paperkey_alt.keys import compact  # noqa: PLC0415 - and with it all ciphers

        carried = compact.restore(carried, certificate, unwrapped.passphrase or "", ask)
    return openpgp.rebuild(carried, certificate), unwrapped.passphrase


def _legible(findings: Findings, mark: str | None) -> list[str]:
    """Return what is to be said when all that was given can be read in full; raise what keeps it from that."""
    from paperkey_alt import backups, payload, report  # noqa: PLC0415

    shares = [report.standing(one) for one in backups.standings(findings)]
    if shares:
        return shares
    assembled = backups.assemble(findings, mark)
    if assembled.sealed:
        return ["It is sealed; whether a passphrase opens it was not tried (--prove does)."]
    payload.unpack(assembled.body)
    return []


def _proven(findings: Findings, given: dict[str, Any]) -> list[str]:
    """Prove that the sheets carry secrets that belong to their public keys; return what to say of it."""
    from paperkey_alt import passphrases  # noqa: PLC0415
    from paperkey_alt.keys import compact  # noqa: PLC0415

    ask = passphrases.source(given["passphrase_from"])
    rebuilt, passphrase = _rebuilt(findings, given, ask)
    known = () if passphrase is None else (passphrase,)
    unproven = compact.prove_all(compact.unlock(rebuilt.key, ask, known))
    return [*(f"Not proven: {what}." for what in unproven), f"Proven: the secrets belong to {rebuilt.key.title}"]


def _terms(given: dict[str, Any]) -> Terms | None:
    """Return the terms that --any and --of mean; refuse what excludes each other."""
    from paperkey_alt.backups import Terms  # noqa: PLC0415

    if given["whole"] and given["compact"]:
        raise click.UsageError("--whole and --compact exclude each other")
    threshold, count = given["threshold"], given["count"]
    if threshold is None and count is None:
        return None
    if threshold is None or count is None:
        raise click.UsageError("--any and --of go together: --any 3 --of 5")
    try:
        return Terms(threshold, count)
    except ValueError as reason:
        raise click.UsageError(f"--any {threshold} --of {count}: {reason}") from None


def _outputs(given: dict[str, Any], terms: Terms | None) -> list[tuple[str, str | None]]:
    """Return for each set the names of its sheets and, if wanted, of its text file; folders of shares are made."""
    from paperkey_alt import files  # noqa: PLC0415

    if terms is None:
        return [(given["output"], given["text"])]
    folders = [files.make_folder(name) if name else None for name in (given["output"], given["text"])]
    numbers = range(1, terms.count + 1)
    return [(f"{folders[0]}/share-{number}.pdf", folders[1] and f"{folders[1]}/share-{number}.txt") for number in numbers]


def _line_sets(data: bytes, terms: Terms | None, spare: str, paper: Paper, *, sealed: bool) -> Sequence[LineSet]:
    from paperkey_alt import backups, sets  # noqa: PLC0415

    if terms is None:
        return [sets.compose(data, _spare_lines(len(data), spare, paper), sealed=sealed)]
    wanted = _spare_lines(backups.shared_length(len(data)), spare, paper)
    return backups.deal(data, terms, sealed=sealed, spare=wanted, random_bytes=os.urandom)


def _spare_lines(length: int, wanted: str, paper: Paper) -> int:
    """Return the number of spare lines that `--spare` *wanted* means for a body of *length* bytes."""
    from paperkey_alt import sets  # noqa: PLC0415
    from paperkey_alt.lines import DATA_BYTES  # noqa: PLC0415
    from paperkey_alt.sheet import layout  # noqa: PLC0415

    data = -(-length // DATA_BYTES)
    if wanted == "sheet":
        return layout.spare_for_a_sheet(data, paper)
    percent = wanted.removesuffix("%")
    if not percent.isdecimal() or not int(percent) <= MOST_SPARE_PERCENT:
        raise click.BadParameter(f"{wanted}: say 0% to {MOST_SPARE_PERCENT}%, or sheet", param_hint="--spare")
    return sets.spare_count(data, int(percent))


def _certificate(name: str | None, fingerprint: str | None) -> Key | None:
    from paperkey_alt import files  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415

    if name is None:
        return None
    return openpgp.choose(openpgp.read(files.read(name, files.LONGEST_KEY_FILE)), fingerprint)


def _collect(names: Iterable[str]) -> Findings:
    from paperkey_alt import files, sets  # noqa: PLC0415
    from paperkey_alt.reading import sources  # noqa: PLC0415

    read = [sources.read(files.read(name, files.LONGEST_SOURCE), name) for name in names]
    return sets.collect([sighting for source in read for sighting in source.sightings])


def _say(rows: Iterable[str]) -> None:
    for row in rows:
        click.echo(row, err=True)
