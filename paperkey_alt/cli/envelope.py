"""
The envelope of `ragleaf backup --envelope`: what is printed beside the secret (`companions`).
`paperkey_alt.cli.piles` makes the files of it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from paperkey_alt import keys
from paperkey_alt.cli import prints
from paperkey_alt.errors import NotASecretKey, TooLarge, UnsupportedKey
from paperkey_alt.format.payload import Whole
from paperkey_alt.format.spare_lines import DEFAULT_SPARE_PERCENT
from paperkey_alt.keys import RevocationReason
from paperkey_alt.sheet import (
    certificate_words,
    words,
)
from paperkey_alt.sheet.layout import Spare

if TYPE_CHECKING:
    import datetime as dt

    from paperkey_alt.cli.passphrases import Remembering
    from paperkey_alt.cli.prints import Print
    from paperkey_alt.format.payload import Revocation
    from paperkey_alt.keys import Extract
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.sheet.layout import Paper


@dataclass(frozen=True)
class Companions:
    """
    What is printed beside the secret, each None where it is not: *certificate*, *revocation*; and
    *missing*, a sentence each, what is not there and why. *now* is when all of it is printed.
    """

    certificate: Print | None
    revocation: Print | None
    missing: tuple[str, ...]
    now: dt.datetime

    @property
    def prints(self) -> list[Print]:
        """What is there."""
        return [each for each in (self.certificate, self.revocation) if each is not None]

    @property
    def told(self) -> list[str]:
        """What to tell about it."""
        told: list[str] = []
        if self.certificate:
            told += certificate_words.of_print(
                self.certificate.line_sets[0], self.certificate.notes, self.certificate.sheets
            )
        if self.revocation:
            size = words.size(self.revocation.line_sets[0], self.revocation.sheets)
            told.append(f"Revocation certificate: {size}")
        return [*told, *self.missing]


def companions(  # noqa: PLR0913 - what they are made of, each by its name
    extract: Extract,
    key: Key | None,
    *,
    spare: Spare,
    paper: Paper,
    large: bool,
    now: dt.datetime,
    anonymous: bool,
    ask: Remembering,
) -> Companions:
    """
    Return what belongs to the print of *extract*: of an OpenPGP *key* its certificate, and a
    revocation that it signs now. Raises WrongPassphrase, NoTerminal.
    """
    if key is None:
        return Companions(None, None, (_NO_OPENPGP_KEY,), now)
    missing = []
    certificate = revocation = None
    if isinstance(extract.payload, Whole):
        missing.append(_WHOLE)
    elif anonymous:
        missing.append(_ANONYMOUS)
    else:
        try:
            certificate = prints.of_certificate(
                key, spare=spare, paper=paper, large=large, today=now.date()
            )
        except TooLarge as error:
            missing.append(_NO_CERTIFICATE.format(error.what))
    made = _revocation(key, now, ask)
    if isinstance(made, str):
        missing.append(_NO_REVOCATION.format(made))
    else:
        usual = Spare(DEFAULT_SPARE_PERCENT)
        revocation = prints.of_revocation(
            key, made, spare=usual, paper=paper, large=large, today=now.date()
        )
        if anonymous:
            captions = [replace(caption, user_id=None) for caption in revocation.captions]
            revocation = replace(revocation, captions=captions)
    return Companions(certificate, revocation, tuple(missing), now)


def _revocation(key: Key, now: dt.datetime, ask: Remembering) -> Revocation | str:
    """Return a revocation that *key* makes *now*, or why it can make none."""
    if keys.is_revoked(key):
        return "the key is revoked already, by a revocation in the key file"
    if not key.created <= now <= keys.LAST_INSTANT:
        return "this computer's clock is wrong, and a revocation is dated"
    try:
        return keys.revoke(
            key,
            RevocationReason.NONE,
            "",
            now=now,
            random_bytes=os.urandom,
            ask=ask,
            known=ask.given,
        )
    except (UnsupportedKey, NotASecretKey) as error:
        return error.what


_NO_OPENPGP_KEY = (
    "No certificate and no revocation sheet: only OpenPGP keys have them, and this is not one."
)
_WHOLE = "No sheets of the certificate: the key's own sheets have it in them."
_ANONYMOUS = (
    "No certificate: it has the name of the owner in it, and these papers are to be without. "
    "Without it the key cannot be brought back: keep the certificate's file in another place."
)
_NO_CERTIFICATE = (
    "No certificate: {}. Without it the key cannot be brought back: keep the certificate's file "
    "with these papers and elsewhere; it is public."
)
_NO_REVOCATION = (
    "No revocation sheet: {}. Your OpenPGP program may have made a revocation certificate: ragleaf "
    "revoke-sheet --certificate prints it."
)
