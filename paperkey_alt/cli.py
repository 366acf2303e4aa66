"""
The command ``ragleaf``: parses, words and wires; every decision is made in the modules it calls.

They are imported inside the commands: ``ragleaf --help`` loads none of the libraries that draw, compute or see.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import __version__
from paperkey_alt.errors import PaperError, RagleafError, SeveralSets

if TYPE_CHECKING:
    from collections.abc import Iterable

    from paperkey_alt.keys.openpgp import Key
    from paperkey_alt.sets import Findings
    from paperkey_alt.sheet.layout import Paper

_force = click.option("--force", is_flag=True, help="Replace an output that exists.")
_fingerprint = click.option("--fingerprint", metavar="HEX", help="Which key, where the file has several.")
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
@click.option(
    "--spare", default="25%", show_default=True, metavar="N%|sheet", help="Spare lines, or as many as a lost sheet costs."
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The paper's size.")
@click.option("--anonymous", is_flag=True, help="Leave the user ID off the sheets.")
@click.option("--allow-unprotected", is_flag=True, help="Print a secret that no passphrase protects.")
@_fingerprint
@_force
def backup(**given: Any) -> None:
    """Print the secret part of the OpenPGP key in KEYFILE on sheets (PDF)."""
    from paperkey_alt import body, files, sets  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415
    from paperkey_alt.sheet import draw, layout, text, words  # noqa: PLC0415

    outputs = [name for name in (given["output"], given["text"]) if name]
    files.require_free(outputs, force=given["force"])
    key = openpgp.choose(openpgp.read(files.read(given["keyfile"], files.LONGEST_KEY_FILE)), given["fingerprint"])
    taken = openpgp.extract(key, whole=given["whole"], allow_unprotected=given["allow_unprotected"])
    carried = body.wrap(taken.payload, None)
    paper = layout.PAPERS[given["paper"]]
    line_set = sets.compose(carried, _spare_lines(len(carried), given["spare"], paper))
    today = dt.datetime.now().astimezone().date()
    caption = words.caption(key, taken.payload, line_set, today=today, anonymous=given["anonymous"])
    contents = {given["output"]: draw.draw(line_set, caption, paper=paper)}
    if given["text"]:
        contents[given["text"]] = text.write(line_set, words.remarks(line_set, caption)).encode()
    files.write(contents, force=given["force"])
    _say(words.printed(line_set, taken.left_out, caption, len(layout.plan(line_set.head.total, paper).sheets)))


@commands.command()
@_sources
@click.option("--json", "as_json", is_flag=True, help="Say it as JSON.")
@_mark
def check(sources: tuple[str, ...], mark: str | None, *, as_json: bool) -> None:
    """
    Tell what stands on the paper, line by line: fine, mended, wrong or missing. Shows no secret.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    from paperkey_alt import payload, report  # noqa: PLC0415

    findings = _collect(sources)
    click.echo(report.json_text(findings) if as_json else report.table(findings))
    payload.unpack(_complete(findings, mark))


@commands.command()
@_sources
@click.option("-o", "--output", required=True, metavar="FILE", help="The restored key; - for standard output.")
@click.option("--public", metavar="CERT", help="The public certificate, for sheets that carry the secret part alone.")
@click.option("--binary", is_flag=True, help="Write the key without ASCII armor.")
@_mark
@_fingerprint
@_force
def restore(sources: tuple[str, ...], **given: Any) -> None:
    """
    Rebuild the key from lines: byte for byte, or not at all.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    from paperkey_alt import files, payload, report  # noqa: PLC0415
    from paperkey_alt.keys import openpgp  # noqa: PLC0415

    files.require_free([given["output"]], force=given["force"])
    findings = _collect(sources)
    _say([report.table(findings)])
    carried = payload.unpack(_complete(findings, given["mark"]))
    rebuilt = openpgp.rebuild(carried, _certificate(given["public"], given["fingerprint"]))
    files.write({given["output"]: openpgp.write(rebuilt.key, armored=not given["binary"])}, force=given["force"])
    _say([*rebuilt.left_out, f"Restored: {rebuilt.key.title}"])


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


def _complete(findings: Findings, mark: str | None) -> bytes:
    """Return the body of the one set that is complete, or say why there is none."""
    from paperkey_alt import report  # noqa: PLC0415

    chosen = [one for one in findings.sets if mark in (None, one.head.mark)]
    if not chosen:
        raise PaperError(f"no line of a set {mark} was given", advice="The set mark is printed large on every sheet.")
    bodies = {one.head.mark: one.body for one in chosen if one.body is not None}
    if len(bodies) > 1:
        raise SeveralSets(f"{len(bodies)} complete sets were given: {', '.join(bodies)}")
    if not bodies:
        nearest = min(chosen, key=lambda one: (one.needed, -len(one.lines)))
        kind = type(nearest.problem) if nearest.problem else PaperError
        raise kind(report.shortfall(nearest))
    return next(iter(bodies.values()))


def _say(rows: Iterable[str]) -> None:
    for row in rows:
        click.echo(row, err=True)
