"""``ragleaf check``: what stands on the paper."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, options, passphrases, report, sources_given
from paperkey_alt.cli.options import say
from paperkey_alt.format import backup, payload

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.format.recover import Findings
    from paperkey_alt.reading.page import Page


@click.command()
@options.sources
@click.option("--json", "as_json", is_flag=True, help="Say it as JSON.")
@click.option(
    "--prove",
    is_flag=True,
    help="Open what is sealed, unlock the secrets, and prove that they belong to the public key.",
)
@options.public
@click.option(
    "--map",
    "map_",
    metavar="PNG|PDF",
    help="Also draw what became of each row and QR symbol over pictures of the sheets.",
)
@click.option(
    "--veil",
    is_flag=True,
    help="Show nothing that is printed on the map, so that it can be shown to a helper.",
)
@options.passphrase_from
@options.mark
@options.fingerprint
@options.force
def command(sources: tuple[str, ...], **given: Any) -> None:
    """
    Tell what stands on the paper, line by line: fine, mended, wrong or missing. Shows no secret.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    if given["veil"] and not given["map_"]:
        raise click.UsageError("--veil is about the map: name one with --map")
    if given["map_"] and files.STREAM in sources:
        raise click.UsageError(
            "a map is drawn over pictures in files; save what comes on standard input first"
        )
    files.require_free([given["map_"]] if given["map_"] else [], force=given["force"])
    parts = sources_given.read(sources, thorough=given["map_"] is not None)
    if given["map_"]:
        files.write({given["map_"]: _map(parts, given)}, force=given["force"])
    findings = sources_given.collect(parts)
    click.echo(report.json_text(findings) if given["as_json"] else report.table(findings))
    say(report.wanted(findings))
    say(_proven(findings, given) if given["prove"] else _legible(findings, given["mark"]))


def _map(parts: Sequence[Page], given: dict[str, Any]) -> bytes:
    """Return the damage map of the pages among *parts*, which are read once more for it."""
    pages = [part for part in parts if part.pages]
    is_pdf = given["map_"].lower().endswith(".pdf")
    if not pages:
        raise click.UsageError("--map draws over pictures of sheets, and none is given")
    if len(pages) > 1 and not is_pdf:
        raise click.UsageError(
            f"{len(pages)} pages make {len(pages)} maps: name a PDF, which holds them all"
        )
    from paperkey_alt.reading import damage_map  # noqa: PLC0415 - the imaging libraries are an extra
    from paperkey_alt.reading.image import scans  # noqa: PLC0415 - the imaging libraries are an extra

    exact = sources_given.known_lines(parts)

    def maps() -> Iterator[Picture]:
        for name, ours in groupby(pages, key=lambda part: part.source):
            for part, picture in zip(
                ours, scans.pages(files.read(name, files.LONGEST_SOURCE), name), strict=True
            ):
                title = f"{Path(name).name}, page {part.page} of {part.pages}{', veiled' if given['veil'] else ''}"
                yield damage_map.draw(
                    picture, damage_map.examine(picture, part, exact), title, veil=given["veil"]
                )

    return damage_map.encode(maps(), pdf=is_pdf)


def _legible(findings: Findings, mark: str | None) -> list[str]:
    """
    Return what is to be said when all that was given can be read in full; raise what keeps it from
    that.
    """
    shares = [report.standing(one) for one in backup.standings(findings)]
    if shares:
        return shares
    assembled = backup.assemble(findings, mark)
    if assembled.sealed:
        return ["It is sealed; whether a passphrase opens it was not tried (--prove does)."]
    payload.unpack(assembled.body)
    return []


def _proven(findings: Findings, given: dict[str, Any]) -> list[str]:
    """
    Prove that the sheets carry secrets that belong to their public keys; return what to say of it.
    """
    ask = passphrases.source(given["passphrase_from"])
    certificate = sources_given.certificate(given["public"], given["fingerprint"])
    restored, passphrase = sources_given.restored(findings, given["mark"], certificate, ask)
    known = () if passphrase is None else (passphrase,)
    unproven = keys.check_pairs(restored, ask, known)
    return [*(f"Not proven: {what}." for what in unproven), f"Read back in full: {restored.title}"]
