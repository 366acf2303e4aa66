"""
The words on a sheet and about one: captions, cautions, the recipe for those who have no program, and what was printed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt import spares
from paperkey_alt.payload import Lean
from paperkey_alt.sheet.caption import Caption

if TYPE_CHECKING:
    import datetime

    from paperkey_alt.keys.openpgp import Extract, Key
    from paperkey_alt.payload import Payload
    from paperkey_alt.sets import LineSet

_CONTENT = {
    Lean: (
        "Before them: a byte 01, the number of parts, then each part: one byte and as many bytes of fingerprint, two bytes and as many bytes "
        "of secret. The secret goes behind the body of the public key packet that has this fingerprint; its packet type 6 becomes 5, "
        "14 becomes 7 (RFC 9580, 5.5.3)."
    ),
}
_WHOLE = "Before them: a byte 02, then the key file in binary form (RFC 9580, 10.2)."

_CAUTIONS = (
    "Make sure of this sheet before you rely on it: ragleaf check reads it back and shows no secret.",
    "Print it by cable. A printer in a network, and a telephone that photographs the sheet, may keep a copy.",
    "When a newer set is printed, destroy the old one. On borders and orders to disclose, ask local counsel.",
)
_PROTECTED = "Who has this sheet and the key's passphrase has the key. Never keep the passphrase beside it."
_UNPROTECTED = "NO PASSPHRASE PROTECTS THIS KEY: who finds this sheet has the key. Lock it away."


def caption(key: Key, taken: Extract, line_set: LineSet, *, today: datetime.date, anonymous: bool) -> Caption:
    """Return what stands at the head and foot of the sheets of *line_set*."""
    return Caption(
        title=_title(key, taken.payload),
        user_id=None if anonymous else next(iter(key.user_ids), None),
        fingerprint=key.fingerprint.hex().upper(),
        date=today,
        notes=tuple(_notes(key, today)),
        recipe=_recipe(line_set, taken.payload),
        cautions=(_PROTECTED if key.protected else _UNPROTECTED, *_CAUTIONS),
    )


def remarks(line_set: LineSet, caption: Caption) -> tuple[str, ...]:
    """Return what stands at the head of a text file of lines."""
    rows = (
        f"Ragleaf, set {line_set.head.mark}: {caption.title}",
        caption.user_id,
        f"fingerprint {caption.fingerprint}",
        f"written {caption.date}",
        *caption.notes,
        *caption.cautions[:1],
    )
    return tuple(row for row in rows if row)


def printed(line_set: LineSet, taken: Extract, caption: Caption, sheets: int) -> tuple[str, ...]:
    """Return what to tell about a print: its size, what was left out, what to mind next."""
    head = line_set.head
    return (
        f"{sheets} {'sheet' if sheets == 1 else 'sheets'}, set mark {head.mark}: {head.data_lines} data lines "
        f"and {head.spare_lines} spare lines, so any {_losable(line_set)} may be lost.",
        *(f"Left out: {what}" for what in taken.left_out),
        *(f"Caution: {what}" for what in (*caption.notes, *caption.cautions[:1])),
        "Next: print, then prove the print with ragleaf check on a scan of it, or on what you typed from it.",
        "A revocation certificate belongs on paper too, in another place. This file is the secret: erase it, and mind that a disk may keep what is erased.",
    )


def _title(key: Key, payload: Payload) -> str:
    what = "Secret part of an OpenPGP key" if isinstance(payload, Lean) else "OpenPGP key, whole"
    return f"{what}, {'protected by its own passphrase' if key.protected else 'NOT PROTECTED by a passphrase'}"


def _notes(key: Key, today: datetime.date) -> list[str]:
    created = key.created.date()
    if today < created:
        return [f"The clock of the computer stood before the key's creation ({created}): the date here is wrong."]
    return []


def _recipe(line_set: LineSet, payload: Payload) -> tuple[str, ...]:
    head = line_set.head
    public = " --public CERTIFICATE" if isinstance(payload, Lean) else ""
    cut = f", cut off the last {head.padding} of them" if head.padding else ""
    dealt = len(spares.groups(head.data_lines, head.spare_lines))
    return (
        f"With Ragleaf: scan the sheets, or type their lines, and say: ragleaf restore FILES{public} -o key.asc. One spare line stands in for "
        "one that cannot be read; each QR block has the lines beside it.",
        f"Without it: type the first 24 characters of lines 1 to {head.data_lines} in order (A–Z, 2–7), decode them all as base32 (RFC 4648) to "
        f"{head.data_lines * 15} bytes{cut}. The last 32 bytes are the SHA-256 of all before them. {_CONTENT.get(type(payload), _WHOLE)}",
        "Check, the last 5 characters: Reed–Solomon over GF(32), 0x25, first root 1, on two symbols of line number, 24 of data; XORed with the set "
        f"mark but in line 0. Spare lines: byte by byte Reed–Solomon over GF(256), 0x11d, first root 1, down the lines{_dealt(dealt)}.",
    )


def _dealt(groups: int) -> str:
    return f", each {groups}th line" if groups > 1 else ""


def _losable(line_set: LineSet) -> str:
    dealt = spares.groups(line_set.head.data_lines, line_set.head.spare_lines)
    fewest = min(len(spare) for _, spare in dealt)
    return f"{fewest} lines" if len(dealt) == 1 else f"{fewest} lines in each of {len(dealt)} groups"
