"""
The words on a sheet and about one: captions, cautions, the recipe for those who have no program, and what was printed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt import spares
from paperkey_alt.lines import DATA_BYTES
from paperkey_alt.payload import Lean, Whole
from paperkey_alt.sheet.caption import Caption

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from paperkey_alt.keys.openpgp import Key
    from paperkey_alt.payload import Payload
    from paperkey_alt.sets import LineSet

_CONTENT = {
    Lean: (
        "Before them: a byte 01, the number of parts, then each part: one byte and as many bytes of fingerprint, two bytes and as "
        "many bytes of secret. The secret goes behind the body of the public key packet that has this fingerprint; its packet "
        "type 6 becomes 5, 14 becomes 7 (RFC 9580, 5.5.3)."
    ),
    Whole: "Before them: a byte 02, then the key file in binary form (RFC 9580, 10.2).",
}
_TITLES = {Lean: "Secret part of an OpenPGP key", Whole: "OpenPGP key, whole"}

_PROTECTED = "Who has this sheet and the key's passphrase has the key. Never keep the passphrase beside it."
_UNPROTECTED = "NO PASSPHRASE PROTECTS THIS KEY: who finds this sheet has the key. Lock it away."
_CAUTIONS = (
    "Make sure of this sheet before you rely on it: ragleaf check reads it back and shows no secret.",
    "Print it by cable. A printer in a network, and a telephone that photographs the sheet, may keep a copy.",
    "When a newer set is printed, destroy the old one. On borders and orders to disclose, ask local counsel.",
)
_AFTERWARDS = (
    "Next: print, then prove the print: ragleaf check on a scan of it, or on what you typed from it.",
    "A revocation certificate belongs on paper too, and in another place.",
    "The files written now hold the secret: erase them, and mind that a disk or a stick may keep what was erased.",
)


def caption(key: Key, payload: Payload, line_set: LineSet, *, today: dt.date, anonymous: bool) -> Caption:
    """Return what stands at the head and foot of the sheets of *line_set*."""
    return Caption(
        title=_title(key, payload),
        user_id=None if anonymous else next(iter(key.user_ids), None),
        fingerprint=key.fingerprint.hex().upper(),
        date=today,
        notes=tuple(_notes(key, today)),
        recipe=_recipe(line_set, payload),
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


def printed(line_set: LineSet, left_out: Iterable[str], caption: Caption, sheets: int) -> tuple[str, ...]:
    """Return what to tell about a print: its size, what was left out, what to mind next."""
    head = line_set.head
    size = (
        f"{sheets} {'sheet' if sheets == 1 else 'sheets'}, set mark {head.mark}: {head.data_lines} data lines and "
        f"{head.spare_lines} spare lines; {_losable(line_set)} may be lost."
    )
    cautions = (*caption.notes, *caption.cautions[:1])
    return (
        size,
        *(f"Left out: {what}." for what in left_out),
        *(f"Caution: {what}" for what in cautions),
        *_AFTERWARDS,
    )


def _title(key: Key, payload: Payload) -> str:
    return f"{_TITLES[type(payload)]}, {'protected by its own passphrase' if key.protected else 'NOT PROTECTED'}"


def _notes(key: Key, today: dt.date) -> list[str]:
    created = key.created.date()
    if today < created:
        return [f"The clock of the computer stood before the key's creation ({created}): the date here is wrong."]
    return []


def _recipe(line_set: LineSet, payload: Payload) -> tuple[str, ...]:
    head = line_set.head
    public = "" if isinstance(payload, Whole) else " --public CERTIFICATE"
    cut = f", cut off the last {head.padding} of them" if head.padding else ""
    with_program = (
        f"With Ragleaf: scan the sheets, or type their lines, and say: ragleaf restore FILES{public} -o key.asc. One spare line "
        "stands in for one that cannot be read; each QR block has the lines beside it."
    )
    without = (
        f"Without it: type the first 24 characters of lines 1 to {head.data_lines} in order (A–Z, 2–7), decode them all as "
        f"base32 (RFC 4648) to {head.data_lines * DATA_BYTES} bytes{cut}. The last 32 bytes are the SHA-256 of all before them. "
        f"{_CONTENT[type(payload)]}"
    )
    checks = (
        "Check, the last 5 characters: Reed–Solomon over GF(32), 0x25, first root 1, on two symbols of line number and 24 of data; "
        "XORed with the set mark but in line 0. Spare lines: byte by byte Reed–Solomon over GF(256), 0x11d, first root 1, down "
        f"the lines{_dealt(line_set)}."
    )
    return with_program, without, checks


def _dealt(line_set: LineSet) -> str:
    groups = len(spares.groups(line_set.head.data_lines, line_set.head.spare_lines))
    return f", which are dealt in turn into {groups} groups" if groups > 1 else ""


def _losable(line_set: LineSet) -> str:
    dealt = spares.groups(line_set.head.data_lines, line_set.head.spare_lines)
    fewest = min(len(spare) for _, spare in dealt)
    return f"any {fewest} lines" if len(dealt) == 1 else f"any {fewest} lines of each of {len(dealt)} groups"
