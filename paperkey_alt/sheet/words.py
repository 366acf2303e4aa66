"""
The words on a sheet and about one: captions, how to bring back what it carries, cautions, and what
was printed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt import keys
from paperkey_alt.format import spare_lines
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.keys.secret import Caution, Sort
from paperkey_alt.sheet import names, small_print
from paperkey_alt.sheet.caption import Caption
from paperkey_alt.wording import counted, noun

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator, Sequence

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.payload import Payload, Revocation
    from paperkey_alt.keys import Extract, Lack
    from paperkey_alt.keys.openpgp.key import Key

# What the sheets carry, to somebody who has never heard of it.
_WHAT = {
    Sort.OPENPGP_KEY: (
        "a secret key (OpenPGP). Such a key opens mail and files encrypted to its owner, and signs "
        "in the owner's name."
    ),
    Sort.PRIVATE_KEY: (
        "a private key. Such a key opens what was locked for its owner, and lets its owner into "
        "computers and services."
    ),
    Sort.FILE: "a file, as it was on a computer.",
}
_REVOCATION_WHAT = (
    "This sheet can end an OpenPGP key. It carries a signed note that tells everybody to stop "
    "using the key. It opens nothing and signs nothing else."
)
_SHARE_WHAT = "This is share {number} of {count} of {what} Any {threshold} together bring it back."
_CERTIFICATE_NEEDED = (
    "the key's public certificate, which is no secret: those who write to the owner may have it"
)
_STEPS = (
    "1. Scan {sheets}, or type the lines. 2. Use Ragleaf: ragleaf restore SCANS{public} -o "
    "{target}; or the page rescue.html in a browser; or Python, from typed lines: "
    "rescue.py{gives}; or do it by hand: see the small print."
)
_GIVES_NUMBERS = " (numbers only)"
_IMPORT = "3. Import {target} into an OpenPGP program."
_NOUNS = {Sort.OPENPGP_KEY: "key", Sort.PRIVATE_KEY: "key", Sort.FILE: "file"}
# Of the notes in the head of a sheet, which are one row there; a test draws the longest.
_LONGEST_NOTES = 110  # characters
# Of a name in the letter.
_LONGEST_NAME = 60  # characters
_OWNER = "How to reach the owner:"
_OTHER_PRINT = "Where a second print is kept:"
_HELP = "Whom to ask for help:"
_ALL_SHEETS = {1: "this sheet", 2: "both sheets"}
_SOME_LACKING = "Not every secret is here."
_NEEDS = "Anyone with {sheets} and {passphrase} has the {noun}: never keep them together."
_SHARED = "Alone these lines tell nothing of the {noun} but its size. Keep no two shares together."

_UNPROTECTED = "NO PASSPHRASE PROTECTS THIS KEY: anyone with {sheets} has the key. Lock {it} away."
_PARTLY_UNPROTECTED = (
    "NOT EVERY SECRET OF THIS KEY IS UNDER A PASSPHRASE: anyone with {sheets} has those that are "
    "not. Lock {it} away."
)
_UNSEALED = "THIS FILE IS NOT SEALED: anyone with {sheets} has the file. Lock {it} away."
_CAUTIONS = (
    (
        "For the owner: print by cable; ragleaf check reads the print back; destroy it only when a "
        "later print of the same {noun} was rehearsed (ragleaf drill)."
    ),
)
_REVOCATION_CAUTIONS = (
    (
        "It cannot be undone. Anyone with this sheet can end the key, and can neither read nor "
        "sign anything with it."
    ),
    (
        "Keep it where you can get it after the loss of the key: apart from the key's own sheets, "
        "perhaps with somebody you trust."
    ),
)
# What backup ends with: where nothing is unusual, four rows of a terminal of 80 columns.
_NEXT = "Next: print by cable, then read the print back: ragleaf check."
_REVOCATION_TOO = "Also print a revocation certificate: ragleaf revoke-sheet."
_APART = "keep sheet and passphrase apart."
_SHARES_APART = "keep the shares apart."
_ERASE = "Erase the files; a disk may keep them."


def caption(  # noqa: PLR0913 - what is known of a print, each by its name
    extract: Extract,
    line_set: LineSet,
    *,
    sheets: int,
    now: dt.datetime,
    anonymous: bool,
    certificate: str | None = None,
) -> Caption:
    """
    Return what stands at the head and foot of the *sheets* of *line_set*, printed *now*: an instant
    in the time zone whose date is printed. *certificate* is the set mark of the public certificate
    where that is printed with them.
    """
    head, printed_on = line_set.head, now.date()
    is_key = extract.sort is not Sort.FILE
    for_owner = () if head.share else _CAUTIONS
    return Caption(
        title=_title(extract, line_set),
        user_id=None if anonymous else extract.name,
        fingerprint=extract.fingerprint,
        date=printed_on,
        notes=_notes(extract, now),
        recipe=recipe(line_set, extract.payload),
        cautions=(
            _first_caution(extract, line_set, printed_on, sheets),
            *(text.format(noun=_NOUNS[extract.sort]) for text in for_owner),
        ),
        subject=_subject(extract, anonymous=anonymous),
        noun=_NOUNS[extract.sort],
        purpose=f"To bring the {_NOUNS[extract.sort]} back",
        bring_back=(
            _what(extract, head, sheets),
            _needed(extract, line_set, printed_on, sheets, certificate),
            _steps(
                sheets,
                "KEY" if is_key else "FILE",
                head,
                needs_certificate=keys.needs_certificate(extract.payload) and certificate is None,
                with_certificate=certificate is not None,
                gives_numbers=keys.gives_numbers(extract.payload),
                is_openpgp=extract.sort is Sort.OPENPGP_KEY,
            ),
        ),
        blanks=_blanks(extract, line_set, sheets),
    )


def revocation_caption(
    key: Key, line_set: LineSet, payload: Revocation, *, sheets: int, today: dt.date
) -> Caption:
    """Return what stands at the head and foot of the *sheets* of a revocation."""
    return Caption(
        title="Revocation certificate: published, it ends the key",
        user_id=next(iter(key.user_ids), None),
        fingerprint=key.fingerprint.hex().upper(),
        date=today,
        notes=(),
        recipe=recipe(line_set, payload),
        cautions=_REVOCATION_CAUTIONS,
        purpose="To end the key",
        bring_back=(
            _REVOCATION_WHAT,
            (
                "Use it when the key is lost or in wrong hands, or when its owner has died. You "
                "need this sheet, the key's public certificate and a computer, and no passphrase."
            ),
            _steps(sheets, "FILE", line_set.head, is_openpgp=True)
            + " 4. Publish the certificate from there: that ends the key.",
        ),
        blanks=(_OWNER, _OTHER_PRINT, _HELP),
    )


def of_revocation(line_set: LineSet, sheets: int) -> tuple[str, ...]:
    """Return what to tell about the print of a revocation on *sheets*."""
    return (size(line_set, sheets), *_REVOCATION_CAUTIONS, _NEXT)


def remarks(line_set: LineSet, caption: Caption) -> tuple[str, ...]:
    """Return what stands at the head of a text file of lines."""
    share = line_set.head.share
    first = (
        f"Ragleaf, set {line_set.head.mark} of {caption.date}: {caption.title}",
        share and f"backup {backup_characters(share.backup)}",
        caption.fingerprint,
    )
    rows = (
        ", ".join(part for part in first if part),
        caption.user_id,
        *caption.notes,
        *caption.bring_back[1:2],
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
    What was printed of one key: its sets, each on so many *sheets*, the caption of the first,
    whether a passphrase *protected* the secret, and sentences on what is or is not on them.
    """

    line_sets: Sequence[LineSet]
    caption: Caption
    sheets: int
    protected: bool
    notes: Sequence[str] = ()


def of_print(
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
        what for each in backups for what in (_apart(each), *each.caption.notes)
    )
    return (
        " ".join((*sizes, *(text.strip() for text in told))),
        f"{_NEXT} {_REVOCATION_TOO}" if is_revocable else _NEXT,
        " ".join(("Caution:", *cautions, _ERASE, *(text.strip() for text in warnings))),
    )


def warned(backups: Sequence[Printed], warnings: Iterable[str]) -> tuple[str, ...]:
    """Return what is wrong with a print, one row, nothing where nothing is."""
    notes = dict.fromkeys(what for each in backups for what in each.caption.notes)
    wrong = [*(f"Caution: {what}" for what in notes), *(text.strip() for text in warnings)]
    return (" ".join(wrong),) if wrong else ()


def _apart(each: Printed) -> str:
    if each.line_sets[0].head.share:
        return _SHARES_APART
    return _APART if each.protected else each.caption.cautions[0]


def _sizes(each: Printed) -> str:
    """Return how large the sets of one backup are; those of shares are all alike."""
    first = each.line_sets[0]
    share = first.head.share
    if share is None:
        return size(first, each.sheets)
    marks = ", ".join(line_set.head.mark for line_set in each.line_sets)
    return (
        f"{counted(share.count, 'share')} of {counted(each.sheets, 'sheet')} each, set marks "
        f"{marks}; any {share.threshold} shares give the secret back. On each: {_lines(first)}."
    )


def size(line_set: LineSet, sheets: int) -> str:
    """Return how large a set of so many *sheets* is, in a sentence."""
    return f"{counted(sheets, 'sheet')}, set mark {line_set.head.mark}: {_lines(line_set)}."


def _lines(line_set: LineSet) -> str:
    head = line_set.head
    return (
        f"{head.data_lines} data and {head.spare_lines} spare lines; {_losable(line_set)} may be "
        "lost"
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
    if extract.partly_protected:
        return "PARTLY UNPROTECTED"
    return "not sealed" if extract.sort is Sort.FILE else "NOT PROTECTED"


def _first_caution(extract: Extract, line_set: LineSet, printed_on: dt.date, sheets: int) -> str:
    needed = passphrases(extract, line_set, printed_on)
    noun_ = _NOUNS[extract.sort]
    if line_set.head.share is not None:
        return _SHARED.format(noun=noun_)
    these, it = ("this sheet", "it") if sheets == 1 else ("these sheets", "them")
    if not is_locked(extract, line_set):
        text = _UNSEALED if extract.sort is Sort.FILE else _UNPROTECTED
        text = _PARTLY_UNPROTECTED if extract.partly_protected else text
        return text.format(sheets=these, it=it)
    return _NEEDS.format(
        noun=noun_,
        passphrase="those passphrases" if len(needed) > 1 else "that passphrase",
        sheets=these,
    )


def is_locked(extract: Extract, line_set: LineSet) -> bool:
    """Tell whether it takes a passphrase to have anything of what is carried."""
    return line_set.head.sealed or extract.protected


def unlocked(extract: Extract, line_set: LineSet) -> str | None:
    """Return a sentence on what can be had without a passphrase, None where nothing can."""
    if is_locked(extract, line_set):
        return None
    if extract.partly_protected:
        return (
            "NOT EVERY SECRET OF THIS KEY IS UNDER A PASSPHRASE. Anyone with these sheets has "
            "those that are not. The passphrase of the others is kept elsewhere."
        )
    return f"NO PASSPHRASE PROTECTS IT. Anyone with these sheets has the {_NOUNS[extract.sort]}."


def passphrases(extract: Extract, line_set: LineSet, printed_on: dt.date) -> tuple[str, ...]:
    """Return which passphrases it takes to use what was *printed_on* that day."""
    own = f"the passphrase that the key had on {printed_on}"
    if not line_set.head.sealed:
        return (own,) if extract.has_passphrase else ()
    if extract.seal_is_own:
        return (own,)
    seal = "the passphrase of the seal"
    return (seal, own) if extract.has_passphrase else (seal,)


def _what(extract: Extract, head: Head, sheets: int) -> str:
    what = _WHAT[extract.sort]
    if head.share is not None:
        return _SHARE_WHAT.format(
            number=head.share.number,
            count=head.share.count,
            what=what,
            threshold=head.share.threshold,
        )
    return f"This sheet carries {what}" if sheets == 1 else f"These {sheets} sheets carry {what}"


def _needed(
    extract: Extract,
    line_set: LineSet,
    printed_on: dt.date,
    sheets: int,
    certificate: str | None,
) -> str:
    share = line_set.head.share
    if share is not None:
        all_sheets = (
            f"{share.threshold} shares of backup {backup_characters(share.backup)}, "
            f"{counted(sheets, 'sheet')} each"
        )
    else:
        all_sheets = _ALL_SHEETS.get(sheets, f"all {sheets} sheets")
    secrets = passphrases(extract, line_set, printed_on)
    needed = [all_sheets, *secrets]
    if keys.needs_certificate(extract.payload):
        printed_too = f"the sheets of the key's public certificate (set mark {certificate})"
        needed.append(printed_too if certificate else _CERTIFICATE_NEEDED)
    no_passphrase = "" if secrets else " No passphrase is needed."
    return f"You need: {'; '.join(needed)}; an offline computer.{no_passphrase}"


def _steps(  # noqa: PLR0913 - what the steps differ in, each by its name
    sheets: int,
    target: str,
    head: Head,
    *,
    is_openpgp: bool,
    needs_certificate: bool = False,
    with_certificate: bool = False,
    gives_numbers: bool = False,
) -> str:
    public = " --public CERTIFICATE" if needs_certificate else ""
    them = "the sheet" if sheets == 1 and head.share is None else "the sheets"
    if with_certificate:
        them = "all sheets"
    gives = _GIVES_NUMBERS if gives_numbers else ""
    steps = _STEPS.format(sheets=them, public=public, target=target, gives=gives)
    return f"{steps} {_IMPORT.format(target=target)}" if is_openpgp else steps


def _blanks(extract: Extract, line_set: LineSet, sheets: int) -> tuple[str, ...]:
    """Return the words before each blank that is of use for this set."""
    blanks = []
    if line_set.head.sealed or extract.has_passphrase:
        blanks.append("Where the passphrase is kept:")
    if line_set.head.share is not None:
        blanks.append("Holders of the other shares:")
    else:
        blanks.append(_OTHER_PRINT if sheets == 1 else "Where the other sheets are:")
    if keys.needs_certificate(extract.payload):
        blanks.append("Where the certificate is kept:")
    return (*blanks, _HELP)


def _subject(extract: Extract, *, anonymous: bool) -> str:
    sort = extract.sort.value
    if anonymous or not extract.name:
        return f"an {sort}" if extract.sort is Sort.OPENPGP_KEY else f"a {sort}"
    of = " of" if extract.sort is Sort.OPENPGP_KEY else ""
    return f"the {sort}{of} {names.in_words(extract.name, _LONGEST_NAME)}"


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
    """Return the small print of a sheet: how *payload* is restored from *line_set* by hand."""
    return small_print.by_hand(line_set.head, payload), small_print.check(line_set.head)


def _losable(line_set: LineSet) -> str:
    groups = spare_lines.groups(line_set.head.data_lines, line_set.head.spare_lines)
    fewest = min(len(spare) for _, spare in groups)
    of_each = f" of each of {len(groups)} groups" if len(groups) > 1 else ""
    return f"any {fewest} lines{of_each}"
