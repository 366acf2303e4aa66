"""
What `ragleaf backup` prints: the secret, and what belongs to it, each as a `Print` with its sets of
lines and their captions.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt import keys
from paperkey_alt.errors import TooLarge
from paperkey_alt.format import backup, body
from paperkey_alt.format.body import Seal
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.sheet import certificate_words, draw, layout, letter, words

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from paperkey_alt.format.backup import Terms
    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.payload import Payload, Revocation
    from paperkey_alt.keys import Extract
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.sheet.caption import Caption
    from paperkey_alt.sheet.layout import Paper, Spare

_TOO_LARGE = (
    "Leave --with-certificate away, and keep the certificate as a file, beside the sheets and "
    "elsewhere: it is public."
)


@dataclass(frozen=True)
class Print:
    """
    A *payload* as *line_sets*, one for each share, each with its caption and on *sheets_each*
    sheets; *notes* are sentences on what of the key is not on them.
    """

    payload: Payload
    line_sets: Sequence[LineSet]
    captions: Sequence[Caption]
    sheets_each: int
    notes: tuple[str, ...] = ()

    @property
    def mark(self) -> str:
        """The set mark, of several sets that of the first."""
        return self.line_sets[0].head.mark

    @property
    def sheets(self) -> int:
        """How many sheets it is in all."""
        return self.sheets_each * len(self.line_sets)


def of_secret(  # noqa: PLR0913 - what a print is made of, each by its name
    extract: Extract,
    *,
    terms: Terms | None,
    spare: Spare,
    paper: Paper,
    large: bool,
    now: dt.datetime,
    anonymous: bool,
    certificate: str | None,
) -> Print:
    """
    Return the print of what was taken from a key file, on these *terms* if it is split;
    *certificate* is the set mark of the public certificate if that is printed too.
    """
    seal = None
    if extract.seal_passphrase is not None:
        seal = Seal(extract.seal_passphrase, os.urandom(16))
    wrapped = body.wrap(extract.payload, seal)
    length = len(wrapped.data)
    line_sets: Sequence[LineSet]
    if terms is None:
        lines = spare.lines_for(length, paper, large=large)
        line_sets = [lay_out(wrapped.data, lines, sealed=wrapped.sealed)]
    else:
        lines = spare.lines_for(backup.shared_length(length), paper, large=large)
        line_sets = backup.split(wrapped, terms, spare=lines, random_bytes=os.urandom)
    sheets = len(layout.plan(line_sets[0].head.total, paper, large=large).sheets)
    captions = [
        words.caption(
            extract,
            line_set,
            sheets=sheets,
            now=now,
            anonymous=anonymous,
            certificate=certificate,
        )
        for line_set in line_sets
    ]
    return Print(extract.payload, line_sets, captions, sheets, extract.notes)


def of_certificate(key: Key, *, spare: Spare, paper: Paper, large: bool, today: dt.date) -> Print:
    """
    Return the print of the smallest certificate with which *key* is restored; raises TooLarge.
    """
    payload, notes = keys.smallest_certificate(key)
    try:
        line_set, sheets = _public(payload, spare, paper, large=large)
    except TooLarge as error:
        what = f"the certificate is too large for paper: {error.what}"
        raise TooLarge(what, advice=_TOO_LARGE) from None
    caption = certificate_words.caption(key, line_set, payload, sheets=sheets, today=today)
    return Print(payload, [line_set], [caption], sheets, notes)


def of_revocation(  # noqa: PLR0913 - what a print is made of, each by its name
    key: Key, payload: Revocation, *, spare: Spare, paper: Paper, large: bool, today: dt.date
) -> Print:
    """Return the print of a revocation that *key* made."""
    line_set, sheets = _public(payload, spare, paper, large=large)
    caption = words.revocation_caption(key, line_set, payload, sheets=sheets, today=today)
    return Print(payload, [line_set], [caption], sheets)


def _public(payload: Payload, spare: Spare, paper: Paper, *, large: bool) -> tuple[LineSet, int]:
    """Return the lines of what is no secret, and on how many sheets they go; raises TooLarge."""
    data = body.wrap(payload, None).data
    line_set = lay_out(data, spare.lines_for(len(data), paper, large=large))
    return line_set, len(layout.plan(line_set.head.total, paper, large=large).sheets)


def drawn(of: Print, at: int, *, paper: Paper, large: bool, behind: Sequence[Print] = ()) -> bytes:
    """
    Return the sheets of one set of *of* as a PDF, a share's behind its letter; and *behind* them
    those of other prints, each of one set.
    """
    line_set, caption = of.line_sets[at], of.captions[at]
    return draw.draw(
        line_set,
        caption,
        paper=paper,
        large=large,
        letter=letter.letter(line_set.head, caption),
        behind=[(each.line_sets[0], each.captions[0]) for each in behind],
    )
