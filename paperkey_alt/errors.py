"""
Every mistake Ragleaf foresees, as a type with a place and advice.

A message is two sentences: what is wrong (*what*) and what to do (*advice*). A class stands for one
kind of mistake and carries the advice that fits most of its cases; where a case needs other advice,
the raiser gives it. No message ever quotes a secret.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from paperkey_alt.foreign_text import clean

if TYPE_CHECKING:
    from collections.abc import Iterator


class Place(NamedTuple):
    """
    Where something stands: a file or standard input (``-``), a sheet or page in it, a line number
    as printed on the paper, a column counted from 1. As text it is fit to be shown, whatever the
    file is called.
    """

    source: str | None = None
    sheet: int | None = None
    row: int | None = None
    line: int | None = None
    column: int | None = None

    def __str__(self) -> str:
        named = (
            ("", "standard input" if self.source == "-" else self.source),
            ("page ", self.sheet),
            ("row ", self.row),
            ("line ", self.line),
            ("column ", self.column),
        )
        return clean(", ".join(f"{word}{value}" for word, value in named if value is not None))


class RagleafError(Exception):
    """
    The base of all foreseen mistakes; only its children are raised.

    *exit_status* is what the command ends with: 1 the paper or the key is at fault, 2 wrong use.
    """

    exit_status: ClassVar[int] = 1
    advice: str = "Check what the message names, and try again."

    def __init__(self, what: str, *, advice: str | None = None, place: Place | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.place = place or Place()
        if advice is not None:
            self.advice = advice

    def __str__(self) -> str:
        place = str(self.place)
        return f"{place}: {self.what}" if place else self.what


@contextmanager
def in_file(source: str) -> Iterator[None]:
    """
    Put the name of the file *source* into the place of errors that have none: what reads its bytes
    is not told the name.
    """
    try:
        yield
    except RagleafError as error:
        if error.place.source is not None:
            raise
        raise type(error)(
            error.what, advice=error.advice, place=error.place._replace(source=source)
        ) from None


class KeyFileError(RagleafError):
    """The key file is not what it should be."""

    advice = "Export the secret key again from your OpenPGP program and give that file."


class NotASecretKey(KeyFileError):
    """The file is sound, but holds something else than a secret key."""


class DamagedKeyFile(KeyFileError):
    """The file is cut short, altered or makes claims that cannot be true."""


class UnsupportedKey(KeyFileError):
    """
    A key of a version or algorithm whose public part Ragleaf cannot tell from its secret part.
    """

    advice = (
        "Use a newer Ragleaf if there is one; ragleaf backup --plain prints the key file as it is."
    )


class SeveralKeys(KeyFileError):
    """More than one key in the file and no choice made."""

    advice = "Name one of them with --fingerprint."


class UnprotectedSecret(KeyFileError):
    """The secret would be on paper without any passphrase over it."""

    advice = (
        "Seal the sheets with --seal; or give the key a passphrase in your OpenPGP program and "
        "export it again; or use --allow-unprotected if you will guard the sheet as well as the "
        "key itself."
    )


class CertificateError(RagleafError):
    """The public certificate is missing or does not belong to the paper."""

    advice = (
        "Give the public certificate of the key whose fingerprint is printed on the sheet: its "
        "file with --public, or its sheets among the others."
    )


class SeveralCertificates(CertificateError):
    """The sheets of more than one public certificate were given: a question, as of several sets."""

    advice = "Give --mark twice: with the set marks of the certificate and of the key."


class LineError(RagleafError):
    """A line that cannot be taken as it is."""

    advice = "Compare the line with the paper and type it again."


class PaperError(RagleafError):
    """What was read from the paper is not enough, or not of one piece."""

    advice = "Scan or type the named lines again; the QR block beside them has the same lines."


class NotEnoughLines(PaperError):
    """More lines are wrong or missing than the spare lines can replace."""


class NoLines(PaperError):
    """Sources in which nothing looks like a line."""

    advice = (
        "A line is a number and 29 letters and digits. Give what was typed from the sheets, or "
        "scans of them."
    )


class NoHeadLine(PaperError):
    """No head line was read, so nothing says how many lines there are."""

    advice = "Type or scan line 0; it is at the top of every sheet and in every QR block."


class SeveralSets(PaperError):
    """Lines of more than one complete set were given: a question, and no fault of the paper."""

    exit_status = 2
    advice = "Choose one with --mark and its set mark, or give only the sheets of one set."


class DigestMismatch(PaperError):
    """All lines passed their checks, and yet what they carry is not what was printed."""

    advice = "Scan or type all lines of this set again."


class UnknownFormat(PaperError):
    """A head line or payload of a format version this program does not know."""

    advice = "Use a newer Ragleaf, or follow the recipe printed on the sheet."


class TooLarge(RagleafError):
    """More than the line limit allows on paper."""

    advice = "Ragleaf prints keys and small files. Leave out what is public, or split the file."


class SourceError(RagleafError):
    """An input that cannot be read at all."""

    advice = "Check the name and the file, and try again."


class OutputError(RagleafError):
    """An output that could not be written; nothing of it was left behind."""

    exit_status = 2
    advice = "Choose another place, or make room at the one named."


class DrillFailed(RagleafError):
    """A rehearsal in which the paper did not give the key back, or that was not found out."""

    advice = (
        "While you still have the live key, print it anew and rehearse the new sheets. Keep these "
        "until then."
    )


class IncompleteKey(RagleafError):
    """A key back from paper without all of its secrets."""

    advice = (
        "Keep the other backup or the card that has this secret, or print the key file that has it."
    )


class NoSuchEntry(RagleafError):
    """A set mark that is not in the register."""

    exit_status = 2
    advice = "ragleaf register lists the set marks."


class RegisterError(RagleafError):
    """The register cannot be read or written."""

    exit_status = 2
    advice = (
        "Name another file with --register, or use --no-register. No sheet depends on the register."
    )


class MissingExtra(RagleafError):
    """A library that this job needs and that is optional is not installed."""

    exit_status = 2
    advice = (
        "Install it from your wheel folder: pip install 'ragleaf[scan]'. Text files need no extra."
    )


class WrongPassphrase(RagleafError):
    """A passphrase that opens nothing here."""

    advice = "Try again; check the keyboard layout and the Caps Lock key."


class NoTerminal(RagleafError):
    """A passphrase is needed, and there is nowhere to type it unseen."""

    exit_status = 2
    advice = "Give it in a file with --passphrase-from, one passphrase in each row."


class NoSuchKey(KeyFileError):
    """No key of the file has the fingerprint that was asked for."""

    advice = "Name one of the listed keys with --fingerprint; its last 16 digits are enough."


class KeyPairMismatch(KeyFileError):
    """A secret that does not belong to its public key."""

    advice = (
        "The key file is damaged or was tampered with; export the key again, and compare it with "
        "an older copy."
    )


class SharesDisagree(PaperError):
    """Shares that do not belong to one secret."""

    advice = "Bring one more share, or leave out the one you trust least."


class SharesConflict(PaperError):
    """Complete shares of one backup that contradict each other."""

    advice = (
        "Ask each holder which sheet is theirs: line 1 begins with the same "
        "24 characters on all true shares. Then name a set that you trust with --mark."
    )


class NotEnoughShares(PaperError):
    """Fewer complete shares than are needed."""

    advice = (
        "Ask another holder, or read again the lines that a share still lacks. Fewer shares tell "
        "nothing about what they carry but its size."
    )


class NotARevocation(KeyFileError):
    """A file given as a revocation certificate that is none for this key."""

    advice = (
        "Give the revocation certificate of this key, or leave out --certificate: Ragleaf then "
        "makes one."
    )
