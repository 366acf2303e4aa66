"""
The words on a sheet and about one: captions, cautions, the recipe for those who have no program,
and what was printed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.foreign_text import clean
from paperkey_alt.format import spare_lines
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.format.lines import DATA_BYTES
from paperkey_alt.format.payload import (
    Certificate,
    Compact,
    File,
    Lean,
    Revocation,
    RsaFile,
    Whole,
)
from paperkey_alt.keys.secret import Caution, Sort
from paperkey_alt.sheet.caption import Caption
from paperkey_alt.wording import counted, noun

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator, Sequence

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.payload import Payload
    from paperkey_alt.keys import Extract, Lack
    from paperkey_alt.keys.openpgp.key import Key

_CONTENT = {
    Lean: (
        "a byte 01, a byte with the number of secrets, two bytes with the length of each, a byte "
        "and as many of fingerprint for each, then the secrets. The key file is the certificate "
        "with each key packet made a secret one: its body, then its secret (RFC 9580, 5.5.3)."
    ),
    Whole: "a byte 02, then the key file in binary form (RFC 9580, 10.2).",
    File: "a byte 04, 16 random bytes, one byte and as many bytes of name, then the file.",
    Revocation: (
        "a byte 06, one byte and as many of fingerprint, then the signature packet (RFC 9580, 5.2)."
    ),
    RsaFile: (
        "a byte 05; one byte and as many of name; a byte for the way the file is written; a byte "
        "for the rule of the private exponent; one byte and as many of public exponent; twice two "
        "bytes and as many of a prime (RFC 8017)."
    ),
    Certificate: "a byte 07, then the certificate in binary form (RFC 9580, 10.1).",
    Compact: (
        "a byte 03, then for each secret a byte of form; two bytes and as many of RSA prime or "
        "scalar; one byte and as many that stood before the encrypted ones (RFC 9580, 5.5.3); 8 "
        "bytes of SHA-256. All else is computed."
    ),
}
_OPEN_BODY = "The last 32 bytes are the SHA-256 of all before them. Before them: "
_SEALED_BODY = (
    "Sealed: 3 bytes (passes, lanes, log2 of KiB) and 16 of salt for Argon2id (RFC 9106), "
    "passphrase to 32-byte key; the rest is ChaCha20-Poly1305 (RFC 8439), nonce zero. In it: "
)
_JOIN = (
    "Leave out the first 15 bytes. Join the rest byte by byte over GF(256), 0x11b: XOR of each "
    "byte times the product of x' / (x' XOR x) over the others, x the share's number (Shamir, CACM "
    "1979); cut off 16 bytes. "
)
_NOUNS = {Sort.OPENPGP_KEY: "key", Sort.PRIVATE_KEY: "key", Sort.FILE: "file"}
# Of the notes in the head of a sheet, which are one row there; a test draws the longest.
_LONGEST_NOTES = 110  # characters
# Of a name in the letter, where each character that the font lacks takes eight and more.
_LONGEST_NAME = 60  # characters
_SOME_LACKING = "Not every secret is here."
_NEEDS = (
    "You need {passphrase}. Anyone with this sheet and {it} has the {noun}: never keep them "
    "together."
)
_SHARED = (
    "Alone this share tells nothing of the {noun}. Never keep it beside another. Joined, they "
    "need {passphrase}."
)
_UNPROTECTED = "NO PASSPHRASE PROTECTS THIS KEY: anyone with this sheet has the key. Lock it away."
_UNSEALED = "NO SEAL IS OVER THIS FILE: anyone with this sheet has the file. Lock it away."
_CAUTIONS = (
    "Before you rely on it: ragleaf check reads it back and shows no secret.",
    (
        "Print it by cable: a printer in a network, and a telephone that photographs it, may keep "
        "a copy."
    ),
    (
        "Destroy it only when a later print of the same {noun} was rehearsed (ragleaf drill). On "
        "borders and orders to disclose, ask local counsel."
    ),
)
_REVOCATION_CAUTIONS = (
    (
        "For when the key is lost or in wrong hands: restore this sheet, import the file into your "
        "OpenPGP program, publish."
    ),
    (
        "It cannot be undone. Anyone with this sheet can end the key, and can neither read nor "
        "sign anything with it."
    ),
    (
        "Keep it where you get at it after the loss of the key: apart from the key's own sheets, "
        "perhaps with somebody you trust."
    ),
)
_REVOCATION_TOO = "Keep a revocation certificate on paper in another place: ragleaf revoke-sheet."
_NEXT = "Next: print, then read the print back: ragleaf check on a scan, or on what you typed."
_ERASE = (
    "The files written now hold the secret: erase them; a disk or a stick may keep what was erased."
)


def caption(extract: Extract, line_set: LineSet, *, now: dt.datetime, anonymous: bool) -> Caption:
    """
    Return what stands at the head and foot of the sheets of *line_set*, printed *now*: an instant
    in the time zone whose date is printed.
    """
    return Caption(
        title=_title(extract, line_set),
        user_id=None if anonymous else extract.name,
        fingerprint=extract.fingerprint,
        date=now.date(),
        notes=_notes(extract, now),
        recipe=recipe(line_set, extract.payload),
        cautions=tuple(
            text.format(noun=_NOUNS[extract.sort])
            for text in (_first_caution(extract, line_set, now.date()), *_CAUTIONS)
        ),
        subject=_subject(extract, anonymous=anonymous),
        noun=_NOUNS[extract.sort],
    )


def revocation_caption(
    key: Key, line_set: LineSet, payload: Revocation, *, today: dt.date
) -> Caption:
    """Return what stands at the head and foot of the sheet of a revocation."""
    return Caption(
        title="Revocation certificate: published, it ends the key",
        user_id=next(iter(key.user_ids), None),
        fingerprint=key.fingerprint.hex().upper(),
        date=today,
        notes=(),
        recipe=recipe(line_set, payload),
        cautions=_REVOCATION_CAUTIONS,
    )


def revocation_printed(line_set: LineSet) -> tuple[str, ...]:
    """Return what to tell about the print of a revocation."""
    return (size(line_set, 1), *_REVOCATION_CAUTIONS, _NEXT)


def remarks(line_set: LineSet, caption: Caption) -> tuple[str, ...]:
    """Return what stands at the head of a text file of lines."""
    share = line_set.head.share
    rows = (
        f"Ragleaf, set {line_set.head.mark}: {caption.title}",
        share and f"backup {backup_characters(share.backup)}",
        caption.user_id,
        caption.fingerprint and f"fingerprint {caption.fingerprint}",
        f"written {caption.date}",
        *caption.notes,
        *caption.cautions[:1],
    )
    return tuple(row for row in rows if row)


def cautions(extract: Extract) -> Iterator[str]:
    """
    Yield what is weak in the protection of *extract*, a sentence each, and what to do; nothing
    where a seal is over it.
    """
    if extract.seal_passphrase is not None:
        return
    weak: dict[Caution, list[str]] = {}
    for one in extract.cautions:
        weak.setdefault(one.caution, []).append(one.title)
    for caution, titles in weak.items():
        yield _WEAKNESSES[caution].format(" and the ".join(titles))
    if weak:
        yield (
            "Protect the key anew in your OpenPGP program and print that, or print it under a "
            "seal, with --seal."
        )


_WEAKNESSES = {
    Caution.SIMPLE_S2K: (
        "Caution: the passphrase of the {} is hashed once and without a salt (simple S2K), so that "
        "guesses cost next to nothing."
    ),
    Caution.LOW_COUNT: (
        "Caution: the passphrase of the {} is hashed over fewer than 65,536 octets, so that "
        "guesses cost little."
    ),
    Caution.MD5: "Caution: the passphrase of the {} is hashed with MD5, which is out of use.",
    Caution.SUM: (
        "Caution: a sum of two bytes is all that checks the encrypted secret of the {}; changes to "
        "it can pass."
    ),
}


@dataclass(frozen=True)
class Printed:
    """
    What was printed of one key: its sets, each on so many *sheets*, the caption of the first, and
    sentences on what is or is not on them.
    """

    line_sets: Sequence[LineSet]
    caption: Caption
    sheets: int
    notes: Sequence[str] = ()


def printed(
    backups: Sequence[Printed],
    *,
    told: Iterable[str] = (),
    warnings: Iterable[str] = (),
    is_revocable: bool = False,
) -> tuple[str, str, str]:
    """
    Return what to tell about a print, three rows: what was printed, with what else is *told* of it;
    what to do next, a revocation certificate among it where the key *is_revocable*; what to be
    careful of, *warnings* among it.
    """
    sizes = [" ".join((_sizes(each), *each.notes)) for each in backups]
    cautions = dict.fromkeys(
        what for each in backups for what in (*each.caption.notes, *each.caption.cautions[:1])
    )
    return (
        " ".join((*sizes, *(text.strip() for text in told))),
        f"{_NEXT} {_REVOCATION_TOO}" if is_revocable else _NEXT,
        " ".join(("Caution:", *cautions, *(text.strip() for text in warnings), _ERASE)),
    )


def warned(backups: Sequence[Printed], warnings: Iterable[str]) -> tuple[str, ...]:
    """Return what is wrong with a print, one row, nothing where nothing is."""
    notes = dict.fromkeys(what for each in backups for what in each.caption.notes)
    wrong = [*(f"Caution: {what}" for what in notes), *(text.strip() for text in warnings)]
    return (" ".join(wrong),) if wrong else ()


def _sizes(each: Printed) -> str:
    """Return how large the sets of one backup are; those of shares are all alike."""
    first = each.line_sets[0]
    share = first.head.share
    if share is None:
        return size(first, each.sheets)
    marks = ", ".join(line_set.head.mark for line_set in each.line_sets)
    return (
        f"{counted(share.count, 'share')} of {counted(each.sheets, 'sheet')} each, set marks "
        f"{marks}: {first.head.data_lines} data lines and {first.head.spare_lines} spare lines; "
        f"of each share {_losable(first)} may be lost, and any {share.threshold} shares give the "
        "secret back."
    )


def size(line_set: LineSet, sheets: int) -> str:
    """Return how large a set of so many *sheets* is, in a sentence."""
    head = line_set.head
    return (
        f"{counted(sheets, 'sheet')}, set mark {head.mark}: {head.data_lines} data lines and "
        f"{head.spare_lines} spare lines; {_losable(line_set)} may be lost."
    )


def _title(extract: Extract, line_set: LineSet) -> str:
    share = line_set.head.share
    if share is not None:
        return (
            f"Share {share.number} of {share.count} of a {_NOUNS[extract.sort]}; any "
            f"{share.threshold} give it back"
        )
    return f"{extract.what}, {_protection(extract, line_set)}"


def _protection(extract: Extract, line_set: LineSet) -> str:
    if line_set.head.sealed:
        return "sealed with a passphrase"
    if extract.protected:
        return "protected by its own passphrase"
    return "not sealed" if extract.sort is Sort.FILE else "NOT PROTECTED"


def _first_caution(extract: Extract, line_set: LineSet, printed: dt.date) -> str:
    needed = passphrases(extract, line_set, printed)
    passphrase = " and ".join(needed)
    if line_set.head.share is not None:
        return _SHARED.format(noun="{noun}", passphrase=passphrase or "no passphrase")
    if not needed:
        return _UNSEALED if extract.sort is Sort.FILE else _UNPROTECTED
    it = "these" if len(needed) > 1 else "it"
    return _NEEDS.format(noun="{noun}", passphrase=passphrase, it=it)


def passphrases(extract: Extract, line_set: LineSet, printed: dt.date) -> tuple[str, ...]:
    """Return which passphrases it takes to use what was *printed* on that day."""
    seal = "the passphrase of the seal" if line_set.head.share else "the passphrase of its seal"
    own = f"the key's passphrase as of {printed}"
    if not line_set.head.sealed:
        return (own,) if extract.protected else ()
    if extract.seal_is_own:
        return (f"{seal} (the key's as of {printed})",)
    return (seal, own) if extract.protected else (seal,)


def _subject(extract: Extract, *, anonymous: bool) -> str:
    sort = extract.sort.value
    if anonymous or not extract.name:
        return f"an {sort}" if extract.sort is Sort.OPENPGP_KEY else f"a {sort}"
    of = " of" if extract.sort is Sort.OPENPGP_KEY else ""
    shown = clean(extract.name)
    if len(shown) > _LONGEST_NAME:
        shown = f"{shown[:_LONGEST_NAME]}…"
    return f"the {sort}{of} {shown}"


def _notes(extract: Extract, now: dt.datetime) -> tuple[str, ...]:
    notes = []
    if extract.created is not None and now < extract.created:
        created = extract.created.astimezone(now.tzinfo).isoformat(" ", "minutes")
        notes.append(f"The clock is before the key's creation ({created}): the date here is wrong.")
    if extract.lacks:
        told = _lacking(extract.lacks)
        is_short = len(" ".join([*notes, told])) <= _LONGEST_NOTES
        notes.append(told if is_short else _SOME_LACKING)
    return tuple(notes)


def _lacking(lacks: Sequence[Lack]) -> str:
    """Return which secrets are not on the sheets, and why not."""
    parts = []
    for is_stub, why in ((True, "the file had a stub"), (False, "only public in the file")):
        titles = [f"the {lack.title}" for lack in lacks if lack.is_stub is is_stub]
        if titles:
            parts.append(f"{', '.join(titles)} ({why})")
    return f"Not here: the {noun(lacks, 'secret')} of {'; '.join(parts)}."


def recipe(line_set: LineSet, payload: Payload) -> tuple[str, ...]:
    """Return how *payload* is restored from the sheets of *line_set*, in short paragraphs."""
    head = line_set.head
    public = " --public CERTIFICATE" if isinstance(payload, Lean | Compact) else ""
    cut = f", cut off the last {head.padding} of them" if head.padding else ""
    shares = f" of any {head.share.threshold} shares" if head.share else ""
    with_program = (
        f"With Ragleaf: scan the sheets{shares}, or type their lines: ragleaf restore "
        f"FILES{public} -o KEYFILE. Spare lines stand in for lost ones; a QR block has the lines "
        "beside it."
    )
    without = (
        f"Without it: type the first 24 characters of lines 1 to {head.data_lines} in order (A–Z, "
        f"2–7), decode them all as base32 (RFC 4648) to {head.data_lines * DATA_BYTES} bytes{cut}. "
        f"{_JOIN if head.share else ''}{_SEALED_BODY if head.sealed else _OPEN_BODY}"
        f"{_CONTENT[type(payload)]}"
    )
    checks = (
        "Check, the last 5 characters: Reed–Solomon, GF(32), 0x25, first root 1, on 2 symbols of "
        "line number and 24 of data, XORed with the set mark (not in line 0). Spare lines: the "
        f"same over GF(256), 0x11d, byte by byte down the lines{_grouped(line_set)}."
    )
    return with_program, without, checks


def _grouped(line_set: LineSet) -> str:
    groups = len(spare_lines.groups(line_set.head.data_lines, line_set.head.spare_lines))
    return f", dealt in turn into {groups} groups" if groups > 1 else ""


def _losable(line_set: LineSet) -> str:
    groups = spare_lines.groups(line_set.head.data_lines, line_set.head.spare_lines)
    fewest = min(len(spare) for _, spare in groups)
    of_each = f" of each of {len(groups)} groups" if len(groups) > 1 else ""
    return f"any {fewest} lines{of_each}"
