"""
What the first page of an envelope says, for a key that is printed in one piece (`of_key`), for the
owner of one that is split (`of_owner`), and for each holder of a share (`of_holder`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.keys.secret import Sort
from paperkey_alt.sheet.first_page import FirstPage, Item

if TYPE_CHECKING:
    import datetime as dt

    from paperkey_alt.format.head_line import Share


@dataclass(frozen=True)
class Sheets:
    """A PDF of the envelope: its *file* name, its *pages*, and its set *mark* if it has one."""

    file: str
    pages: int
    mark: str | None = None


@dataclass(frozen=True)
class Restorer:
    """A restorer that lies in the envelope as a file: its name, and its SHA-256 in hexadecimal."""

    file: str
    digest: str


@dataclass(frozen=True)
class Enclosed:
    """
    What is put into an envelope, in words and values.

    *subject* names the key or file in a sentence ("the OpenPGP key of …"), *sort* is what it is;
    *passphrases* are those it takes, *unlocked* is a sentence on what of it needs none, None where
    nothing can be had without one; *seal_is_own* tells whether the one of the key opens the seal
    too; *certificate* and *revocation* are sheets, or None, *missing* says in a sentence each which
    of them are not there and why; *needs_public* tells whether it takes a certificate to bring it
    back; *printed_program* are the pages of the *program*, and *gives_numbers* tells that it makes
    no key file of these sheets, but only the numbers for one; *page* restores in a browser.
    """

    subject: str
    sort: Sort
    fingerprint: str | None
    date: dt.date
    passphrases: tuple[str, ...]
    unlocked: str | None
    seal_is_own: bool
    certificate: Sheets | None
    revocation: Sheets | None
    missing: tuple[str, ...]
    needs_public: bool
    gives_numbers: bool
    printed_program: Sheets
    program: Restorer
    page: Restorer


def of_key(enclosed: Enclosed, secret: Sheets) -> FirstPage:
    """Return the first page where all that is *secret* is on one set of sheets."""
    noun = _noun(enclosed)
    keep = (
        "Here, where you would keep a deed. The passphrase is kept elsewhere, never with these "
        "sheets."
    )
    items = (
        Item(
            f"The sheets of the {noun}",
            keep if enclosed.unlocked is None else f"Here, locked away. {enclosed.unlocked}",
            secret.file,
            secret.pages,
            secret.mark,
        ),
        *_public_items(enclosed, _WITH_SHEETS),
        *_revocation_items(enclosed, "the sheets of the key"),
    )
    return _page(
        enclosed,
        heading=f"Read this first: {enclosed.subject} on paper",
        opening=(
            *_opening(enclosed),
            (
                f"If the computer with the {noun} on it is lost, these papers bring the {noun} "
                "back. You can keep them without knowing anything about keys. Do not photograph "
                f"them or send them to anybody. To bring the {noun} back, ask somebody you trust "
                "who knows computers."
            ),
        ),
        items=items,
        sheets=f"the sheets of the {noun} (set mark {secret.mark}, at their upper right)",
        blanks=_owners_blanks(enclosed),
    )


def of_owner(enclosed: Enclosed, share: Share, secrets: tuple[Sheets, ...]) -> FirstPage:
    """Return the owner's first page where the secret is split; *secrets* are all shares."""
    noun = _noun(enclosed)
    needed = _needed(share)
    shares = (
        Item(
            f"Share {number}",
            "To its holder, with all that is in its folder.",
            sheets.file,
            sheets.pages,
            sheets.mark,
            "Holder:",
        )
        for number, sheets in enumerate(secrets, 1)
    )
    return _page(
        enclosed,
        heading=f"For the owner: {enclosed.subject} in {share.count} shares",
        opening=(
            *_opening(enclosed),
            (
                f"This {noun} is split among {share.count} holders. To bring it back it takes "
                f"{needed}; the lines of fewer tell nothing about the {noun} but its size. Never "
                "keep two shares in one place."
            ),
        ),
        items=(
            *shares,
            *_public_items(enclosed, _WITH_SHARES),
            *_revocation_items(enclosed, "every share"),
        ),
        sheets=f"the sheets of {needed}",
        blanks=_owners_blanks(enclosed),
    )


def of_holder(enclosed: Enclosed, share: Share, secret: Sheets) -> FirstPage:
    """Return the first page of what the holder of *share* gets."""
    noun = _noun(enclosed)
    needed = _needed(share)
    items = (
        Item(
            f"Share {share.number} of {share.count}, behind a letter to you",
            "Here, where you would keep a deed. Never beside another share.",
            secret.file,
            secret.pages,
            secret.mark,
        ),
        *_public_items(enclosed, _WITH_SHEETS),
    )
    return _page(
        enclosed,
        heading=f"Share {share.number} of {share.count}: what you hold",
        opening=(
            (
                f"The owner of {enclosed.subject} asks you to keep one share of it. "
                f"{_capital(needed)}, brought together, give the {noun} back. The lines "
                f"of your share alone tell nothing about the {noun} but its size."
            ),
            "The letter says how to keep it, and what to do when somebody asks you for it.",
        ),
        items=items,
        sheets=f"the sheets of {needed}",
        blanks=("The owner, and how to reach the owner:", "Given to me on:"),
        whereabouts="see the letter for where it is kept",
        missing=(),
    )


def _page(  # noqa: PLR0913 - what the three pages differ in, each by its name
    enclosed: Enclosed,
    *,
    heading: str,
    opening: tuple[str, ...],
    items: tuple[Item, ...],
    sheets: str,
    blanks: tuple[str, ...],
    whereabouts: str = "see below where it is kept",
    missing: tuple[str, ...] | None = None,
) -> FirstPage:
    return FirstPage(
        heading=heading,
        date=enclosed.date,
        fingerprint=enclosed.fingerprint,
        opening=opening,
        items=items,
        missing=enclosed.missing if missing is None else missing,
        purpose=f"To bring the {_noun(enclosed)} back",
        steps=_steps(enclosed, sheets, whereabouts),
        files=tuple((each.file, each.digest) for each in (enclosed.page, enclosed.program)),
        blanks=blanks,
    )


def _opening(enclosed: Enclosed) -> tuple[str, ...]:
    if enclosed.sort is Sort.OPENPGP_KEY:
        return ("With an OpenPGP key its owner reads encrypted mail and files, and signs.",)
    return ()


def _owners_blanks(enclosed: Enclosed) -> tuple[str, ...]:
    """Return the words before the blanks of whoever has all of the envelope."""
    blanks = []
    if enclosed.passphrases:
        blanks.append("Where the passphrase is kept:")
    if enclosed.revocation:
        blanks.append("Where the revocation sheet is kept:")
    return (*blanks, "Somebody who can help:")


_WITH_SHEETS = (
    "Here, with the sheets above: it takes both to bring the key back. It is public: copies in "
    "other places do no harm."
)
_WITH_SHARES = (
    "Here, and a copy with every share: it takes both to bring the key back. It is public: copies "
    "in other places do no harm."
)


def _public_items(enclosed: Enclosed, certificate: str) -> list[Item]:
    items = []
    if enclosed.certificate:
        items.append(
            Item(
                "The certificate",
                certificate,
                enclosed.certificate.file,
                enclosed.certificate.pages,
                enclosed.certificate.mark,
            )
        )
    program, page = enclosed.program.file, enclosed.page.file
    return [
        *items,
        Item(
            f"The page {page}",
            "On a USB stick or a disc beside these papers. A double click opens it in a browser: "
            "hold the sheets before the camera, or type their lines.",
            page,
        ),
        Item(
            f"The program {program}",
            "On the same stick or disc. It needs Python 3.8 or later, and nothing else.",
            program,
        ),
        Item(
            "The same program on paper",
            f"Here. You need it only if no file {program} is left: then type it.",
            enclosed.printed_program.file,
            enclosed.printed_program.pages,
        ),
    ]


def _revocation_items(enclosed: Enclosed, others: str) -> list[Item]:
    if enclosed.revocation is None:
        return []
    return [
        Item(
            "The revocation sheet",
            f"Away from {others}, perhaps with somebody you trust. Anyone with it can "
            "end the key for good, and can neither read nor sign anything with it. It is for the "
            "day when the key is in wrong hands.",
            enclosed.revocation.file,
            enclosed.revocation.pages,
            enclosed.revocation.mark,
        )
    ]


def _steps(enclosed: Enclosed, sheets: str, whereabouts: str) -> tuple[tuple[str, str], ...]:
    openpgp = enclosed.sort is Sort.OPENPGP_KEY
    result = "key.asc" if openpgp else "FILE"
    certificate = (
        f" and those of the certificate ({enclosed.certificate.mark})"
        if enclosed.certificate
        else ""
    )
    public = ""
    if enclosed.needs_public and not enclosed.certificate:
        public = " --public CERTIFICATE"
    rescued = " -o NUMBERS" if enclosed.gives_numbers else f"{public} -o {result}"
    steps = [
        (
            "Take a computer that you trust and that is not connected to anything. It needs a "
            "browser, or Python, or Ragleaf, the program that printed these papers."
        ),
        (
            f"Scan {sheets}{certificate}; or type their lines into a text file, each after its "
            "number."
        ),
    ]
    ways = [
        f"With a browser: open {enclosed.page.file} and do what it says.",
        (
            f"Or with Ragleaf: ragleaf restore SCANS{public} -o {result} (for SCANS write the "
            "names of your files, scanned or typed)."
        ),
        (
            f"Or with Python: python3 {enclosed.program.file} TEXTFILES{rescued}, with the lines "
            "typed, or with what any reader of QR codes finds in the square symbols."
        ),
    ]
    if enclosed.gives_numbers:
        ways[-1] += _NUMBERS[enclosed.sort]
    after = []
    if openpgp:
        after.append(f"Import {result} into an OpenPGP program.")
    if enclosed.passphrases:
        asked = f"You will be asked for {' and '.join(enclosed.passphrases)}; {whereabouts}."
        after.append(f"{asked} {_SEAL_TOO}" if enclosed.seal_is_own else asked)
    chosen = len(steps) + 1
    return (
        *((f"{number}", step) for number, step in enumerate(steps, 1)),
        *((f"{chosen}{letter}", way) for letter, way in zip("abc", ways, strict=True)),
        *((f"{number}", step) for number, step in enumerate(after, chosen + 1)),
    )


_NUMBERS = {
    Sort.OPENPGP_KEY: (
        " That gives the secret numbers of the key, and no key file: somebody who knows RFC 9580 "
        "must make one of them and of the certificate."
    ),
    Sort.PRIVATE_KEY: (
        " That gives the secret numbers of the key, and no key file: somebody who knows how such "
        "files are written must make one of them."
    ),
}
_SEAL_TOO = "Where a program asks for the passphrase of the seal, it is the same one."


def _needed(share: Share) -> str:
    if share.threshold < share.count:
        return f"any {share.threshold} of the {share.count} shares"
    return "both shares" if share.count == 2 else f"all {share.count} shares"


def _noun(enclosed: Enclosed) -> str:
    return "file" if enclosed.sort is Sort.FILE else "key"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
