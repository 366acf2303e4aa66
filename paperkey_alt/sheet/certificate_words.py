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
_WHAT = (
    "{these} the public certificate of an OpenPGP key. It is for those who write to its owner, and "
    "it is no secret."
)
_NEEDED = (
    "To bring the key back you need the certificate and the sheets of the key, which carry its "
    "secrets."
)
_TO_KEEP = (
    "{these_show} no secret: anyone may read {them}. Keep {them} with the sheets of the key.",
    "Signatures that name other keys, and pictures, are left out: they restore nothing.",
)


def caption(
    key: Key, line_set: LineSet, payload: Certificate, *, sheets: int, today: dt.date
) -> Caption:
    """Return what is at the head and foot of the *sheets* of the certificate of *key*."""
    these = "This sheet carries" if sheets == 1 else f"These {sheets} sheets carry"
    these_show = "This sheet shows" if sheets == 1 else "These sheets show"
    them = "it" if sheets == 1 else "them"
    return Caption(
        title=TITLE,
        user_id=next(iter(key.user_ids), None),
        fingerprint=key.fingerprint.hex().upper(),
        date=today,
        notes=(),
        recipe=words.recipe(line_set, payload),
        cautions=tuple(text.format(these_show=these_show, them=them) for text in _TO_KEEP),
        subject="the public certificate of an OpenPGP key",
        noun="certificate",
        bring_back=(
            _WHAT.format(these=these),
            _NEEDED,
            (
                "1. Scan these and the sheets of the key, or type the lines of both. 2. Use "
                "Ragleaf: ragleaf restore SCANS -o KEY; or the page rescue.html in a browser; or "
                "Python, from typed lines: rescue.py; or do it by hand: see the small print."
            ),
        ),
        blanks=("Where the key's sheets are:", "Whom to ask for help:"),
    )


def of_print(line_set: LineSet, notes: Iterable[str], sheets: int) -> tuple[str, ...]:
    """Return what to tell about the print of a certificate on so many *sheets*."""
    return (f"Certificate: {words.size(line_set, sheets)}", *notes)
