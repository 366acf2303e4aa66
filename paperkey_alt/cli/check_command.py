"""``ragleaf check``: what can be read from the paper."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, given_sources, options, passphrases, report
from paperkey_alt.cli.terminal import say, show
from paperkey_alt.errors import IncompleteKey
from paperkey_alt.foreign_text import clean
from paperkey_alt.format import backup
from paperkey_alt.format.body import SealedBody, read_plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.cli.passphrases import FromFile, Prompt
    from paperkey_alt.format.recover import Findings
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.reading.page import Page


@click.command()
@options.sources
@click.option("--json", "as_json", is_flag=True, help="Write the result as JSON.")
@click.option(
    "--characters",
    is_flag=True,
    help="Also show the characters that were mended. They are part of the secret.",
)
@click.option(
    "--prove",
    is_flag=True,
    help="Open what is sealed, unlock the secrets, and check that they belong to the public key.",
)
@options.public
@click.option(
    "--map",
    "map_name",
    metavar="PNG|PDF",
    help="Also draw, over pictures of the sheets, which rows and QR symbols could be read.",
)
@click.option(
    "--veil",
    is_flag=True,
    help="Hide on the map what is printed on the paper, so that you can show it to a helper.",
)
@options.passphrase_from
@options.marks
@options.fingerprint
@options.force
def command(
    sources: tuple[str, ...],
    *,
    as_json: bool,
    characters: bool,
    prove: bool,
    public: str | None,
    map_name: str | None,
    veil: bool,
    passphrase_from: str | None,
    marks: tuple[str, ...],
    fingerprint: str | None,
    force: bool,
) -> None:
    """
    Tell what can be read from the paper, line by line: fine, mended, wrong or missing. Shows no
    secret, unless you ask for --characters or for a --map without --veil.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    if veil and not map_name:
        raise click.UsageError("--veil goes with a map: name one with --map")
    if map_name and files.STREAM in sources:
        raise click.UsageError(_PIPED)
    files.require_free(
        [map_name] if map_name else [], inputs=[*sources, public, passphrase_from], force=force
    )
    pdf = map_name is not None and map_name.lower().endswith(".pdf")
    if map_name:
        # Before the pictures are read, which takes a while.
        pictures = [name for name in sources if given_sources.is_picture(name)]
        if not pictures and any(map(files.gives_once, sources)):
            raise click.UsageError(_PIPED)
        _require_maps(len(pictures), "pictures", pdf=pdf)
    pages = given_sources.read(sources, thorough=map_name is not None)
    if map_name:
        files.write({map_name: _map(pages, pdf=pdf, veil=veil)}, force=force)
    findings = given_sources.collect(pages)
    tell = report.json_text if as_json else report.table
    show(tell(findings, characters=characters))
    say([*report.symbols(pages, findings), *report.wanted(findings)])
    if prove:
        certificate = given_sources.certificate(public, fingerprint)
        _prove(findings, marks, certificate, passphrases.source(passphrase_from))
    else:
        say(_legible(findings, marks))


_PIPED = "--map needs pictures in files: save what comes on standard input or by a pipe first"


def _map(pages: Sequence[Page], *, pdf: bool, veil: bool) -> bytes:
    """Return the damage map of the pictures among *pages*, which are read once more for it."""
    pictured = [page for page in pages if page.pages]
    if any(files.gives_once(page.source) for page in pictured):
        raise click.UsageError(_PIPED)
    _require_maps(len(pictured), "pages", pdf=pdf)
    # The imaging libraries are an extra.
    from paperkey_alt.reading import damage_map  # noqa: PLC0415
    from paperkey_alt.reading.image import decoder  # noqa: PLC0415

    found = given_sources.sets(pages)
    known = given_sources.known_lines(found)
    note = ", veiled" if veil else ""

    def maps() -> Iterator[Picture]:
        for source, of_source in groupby(pictured, key=lambda page: page.source):
            data = files.read(source, files.LONGEST_SOURCE)
            with decoder.decoded(data, source) as (_, decoded):
                for page, drawn_over in zip(of_source, decoded, strict=True):
                    title = f"{clean(Path(source).name)}, page {page.page} of {page.pages}{note}"
                    picture = drawn_over.picture()
                    places = damage_map.examine(picture, page, known)
                    verdict = report.verdict(found, page)
                    yield damage_map.draw(picture, places, title, veil=veil, verdict=verdict)

    with given_sources.announced("drawing the map"):
        return damage_map.encode(maps(), pdf=pdf)


def _require_maps(count: int, things: str, *, pdf: bool) -> None:
    """Raise UsageError where so many *things* make no map, or more than the file can hold."""
    if not count:
        raise click.UsageError("--map draws over pictures of sheets, and you gave none")
    if count > 1 and not pdf:
        raise click.UsageError(
            f"{count} {things} make {count} maps: name a PDF, which can hold them all"
        )


def _legible(findings: Findings, marks: tuple[str, ...]) -> list[str]:
    """
    Return what is to be said when all that was given can be read in full; raise what keeps it from
    that.
    """
    shares = backup.standings(findings, marks)
    if shares:
        told = [sentence for standing in shares for sentence in report.not_joined(standing)]
        return [
            *report.shares(findings),
            *dict.fromkeys(told),
            *map(report.standing, shares),
        ]
    joined = backup.join(findings, marks)
    told = report.not_joined(joined)
    if isinstance(joined.body, SealedBody):
        return [*told, "It is sealed, and no passphrase was tried: --prove does that."]
    read_plain(joined.body)
    return told


def _prove(
    findings: Findings, marks: tuple[str, ...], certificate: Key | None, ask: Prompt | FromFile
) -> None:
    """
    Prove that the sheets carry secrets that belong to their public keys, and say what came back;
    raise IncompleteKey where the key came back without one of its secrets.
    """
    back = given_sources.rebuild(findings, marks, certificate, ask)
    rebuilt, known = back.rebuilt, () if back.passphrase is None else (back.passphrase,)
    unproven = keys.check_pairs(rebuilt, ask, known)
    lacking = [] if rebuilt.key is None else rebuilt.key.without_secret
    whole = " in full" if not lacking else ""
    say(
        [
            *rebuilt.notes,
            *(f"Not proven: {what}." for what in unproven),
            f"Read back{whole}: {rebuilt.title}",
            *passphrases.unneeded(ask),
        ]
    )
    if lacking:
        titles = " and the ".join(packet.title for packet in lacking)
        raise IncompleteKey(f"this paper does not have the secret of the {titles}")
