"""
The files of an envelope, folder by folder: `pile_up`, and `write_piles`.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from paperkey_alt import keys
from paperkey_alt.cli import files, prints, rescue_command
from paperkey_alt.sheet import envelope_words, first_page, listing, words
from paperkey_alt.sheet.envelope_words import Enclosed, Restorer, Sheets

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from paperkey_alt.cli.envelope import Companions
    from paperkey_alt.cli.prints import Print
    from paperkey_alt.keys import Extract
    from paperkey_alt.sheet.layout import Paper

FIRST_PAGE = "1-read-this-first.pdf"
SHEETS = "2-{}.pdf"
CERTIFICATE = "3-certificate.pdf"
RESTORER = "4-restorer.pdf"
PAGE = "rescue.html"
REVOCATION = "apart-revocation.pdf"
OWNER = "owner"
SHARE = "share-{}"

Pile = dict[str, bytes]


def pile_up(
    extract: Extract, secret: Print, rest: Companions, *, paper: Paper, large: bool
) -> dict[str, Pile]:
    """
    Return what is to be written: folder in the envelope → name → bytes. Of a backup in one piece
    there is one folder, the envelope itself (``.``); of one in shares one for the owner, without
    any share, and one for each holder, with one share and without the revocation.
    """
    common = _common(rest, paper=paper, large=large)
    apart: Pile = {}
    if rest.revocation:
        apart[REVOCATION] = prints.drawn(rest.revocation, 0, paper=paper, large=large)
    enclosed = _enclosed(extract, secret, rest, common)
    owners: Pile = {**common, **apart}
    if secret.line_sets[0].head.share is not None:
        return _piles_of_shares(secret, enclosed, owners, common, paper=paper, large=large)
    noun = "file" if extract.sort is keys.Sort.FILE else "key"
    sheets = Sheets(SHEETS.format(noun), secret.sheets_each, secret.mark)
    page = first_page.draw(envelope_words.of_key(enclosed, sheets), paper=paper)
    drawn = prints.drawn(secret, 0, paper=paper, large=large)
    return {".": {FIRST_PAGE: page, sheets.file: drawn, **owners}}


def _common(rest: Companions, *, paper: Paper, large: bool) -> Pile:
    """Return what lies on every pile: the restorers, and the certificate if there is one."""
    program = rescue_command.restorer()
    common: Pile = {
        PAGE: rescue_command.page(),
        rescue_command.NAME: program.encode(),
        RESTORER: listing.draw(program, rescue_command.TITLE, paper=paper),
    }
    if rest.certificate:
        common[CERTIFICATE] = prints.drawn(rest.certificate, 0, paper=paper, large=large)
    return common


def _piles_of_shares(  # noqa: PLR0913 - what the piles are made of, each by its name
    secret: Print, enclosed: Enclosed, owners: Pile, common: Pile, *, paper: Paper, large: bool
) -> dict[str, Pile]:
    """Return the pile of the owner, and one with *common* and a share for each holder."""
    sheets = {
        line_set.head.share: Sheets(
            SHEETS.format(SHARE.format(line_set.head.share.number)),
            secret.sheets_each + 1,  # behind the letter
            line_set.head.mark,
        )
        for line_set in secret.line_sets
        if line_set.head.share is not None
    }
    in_folders = tuple(
        replace(each, file=f"{SHARE.format(share.number)}/{each.file}")
        for share, each in sheets.items()
    )
    any_share = next(iter(sheets))
    page = first_page.draw(envelope_words.of_owner(enclosed, any_share, in_folders), paper=paper)
    piles: dict[str, Pile] = {OWNER: {FIRST_PAGE: page, **owners}}
    for at, (share, each) in enumerate(sheets.items()):
        page = first_page.draw(envelope_words.of_holder(enclosed, share, each), paper=paper)
        piles[SHARE.format(share.number)] = {
            FIRST_PAGE: page,
            each.file: prints.drawn(secret, at, paper=paper, large=large),
            **common,
        }
    return piles


def _enclosed(extract: Extract, secret: Print, rest: Companions, common: Pile) -> Enclosed:
    line_set = secret.line_sets[0]
    return Enclosed(
        subject=secret.captions[0].subject,
        sort=extract.sort,
        fingerprint=extract.fingerprint,
        date=rest.now.date(),
        passphrases=words.passphrases(extract, line_set, rest.now.date()),
        unlocked=words.unlocked(extract, line_set),
        seal_is_own=line_set.head.sealed and extract.seal_is_own,
        certificate=_sheets(CERTIFICATE, rest.certificate),
        revocation=_sheets(REVOCATION, rest.revocation),
        missing=rest.missing,
        needs_public=keys.needs_certificate(extract.payload),
        gives_numbers=keys.gives_numbers(extract.payload),
        printed_program=Sheets(RESTORER, _pages(common[RESTORER])),
        program=_restorer(rescue_command.NAME, common),
        page=_restorer(PAGE, common),
    )


def _restorer(file: str, common: Pile) -> Restorer:
    return Restorer(file, hashlib.sha256(common[file]).hexdigest())


def _sheets(file: str, there: Print | None) -> Sheets | None:
    return None if there is None else Sheets(file, there.sheets, there.mark)


def _pages(pdf: bytes) -> int:
    """Return how many pages a PDF has that was drawn here (ISO 32000-1 §7.7.3.3)."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def write_piles(
    folder: str,
    piles: Mapping[str, Pile],
    *,
    inputs: Sequence[str | None],
    force: bool,
) -> None:
    """Write all *piles* into *folder*, which is made if it is not there, or nothing of it."""
    places = {name: folder if name == "." else str(Path(folder, name)) for name in piles}
    contents = {
        str(Path(places[pile], name)): data
        for pile, content in piles.items()
        for name, data in content.items()
    }
    with files.folders([folder, *(place for place in places.values() if place != folder)]):
        files.require_free(contents, inputs=inputs, force=force)
        files.write(contents, force=force)
