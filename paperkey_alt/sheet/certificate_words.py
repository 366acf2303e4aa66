"""The words on the sheets of a public certificate, and about them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.sheet import words
from paperkey_alt.sheet.caption import Caption

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.payload import Certificate
    from paperkey_alt.keys.openpgp.key import Key

TITLE = "OpenPGP certificate: public, and needed to bring the key back"
_TO_KEEP = (
    "This sheet shows no secret: anyone may read it. Keep it with the sheets of the key.",
    "The key is brought back from both: its own sheets have what is secret, these have the rest.",
    "Signatures that name other keys, and pictures, are left out: they restore nothing.",
)


def caption(key: Key, line_set: LineSet, payload: Certificate, *, today: dt.date) -> Caption:
    """Return what stands at the head and foot of the sheets of the certificate of *key*."""
    return Caption(
        title=TITLE,
        user_id=next(iter(key.user_ids), None),
        fingerprint=key.fingerprint.hex().upper(),
        date=today,
        notes=(),
        recipe=words.recipe(line_set, payload),
        cautions=_TO_KEEP,
        subject="the public certificate of an OpenPGP key",
        noun="certificate",
    )


def printed(line_set: LineSet, notes: Iterable[str], sheets: int) -> tuple[str, ...]:
    """Return what to tell about the print of a certificate on so many *sheets*."""
    return (f"Certificate: {words.size(line_set, sheets)}", *notes)
