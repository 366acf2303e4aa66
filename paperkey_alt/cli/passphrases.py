"""
Where passphrases come from: the terminal, or a file that `--passphrase-from` names; and what is
asked of a new one.
"""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files
from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import NoTerminal, SourceError, WrongPassphrase

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from paperkey_alt.format.body import Ask

TRIES = 3
_LONGEST_FILE = 1 << 20
# A guess at the passphrase of a seal costs some 0.1 s of a core (3 passes of Argon2id over 64 MiB),
# so 1,000 cores try some 10^4 passphrases a second, 3 × 10^11 a year. What people make up has about
# 2.5 bits a character where it is made of words: below 15 characters that is 37 bits, 1.4 × 10^11,
# a year's work at most. The count is a plain rule: it cannot see that a long one is a line of a
# song.
SHORT = 15  # characters
_WORD_ABOUT_GUESSING = (
    f"The new passphrase has fewer than {SHORT} characters: anyone with a sheet can try guesses "
    "for years. Four or more words drawn at random are harder to guess, and not hard to remember."
)
_UTF_16_OR_32 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)


@dataclass
class Prompt:
    """Asks at the terminal, three times for the same thing; shows nothing of what is typed."""

    asked: dict[str, int] = field(default_factory=dict)

    def __call__(self, what: str) -> str:
        """Return the passphrase typed for *what*; raises WrongPassphrase after three tries."""
        tries = self.asked[what] = self.asked.get(what, 0) + 1
        if tries > TRIES:
            raise WrongPassphrase(f"none of these passphrases opens the {what}")
        if tries > 1:
            say(["That is not the passphrase."])
        _require_terminal(f"the passphrase of the {what}")
        typed: str = click.prompt(f"Passphrase of the {what}", hide_input=True, err=True)
        return typed

    def new(self, what: str) -> str:
        """
        Return a new passphrase for *what*, typed twice; raises WrongPassphrase where three were
        none.
        """
        _require_terminal(f"a new passphrase for the {what}")
        for _ in range(TRIES):
            typed: str = click.prompt(
                f"New passphrase for the {what}",
                hide_input=True,
                confirmation_prompt="Once more",
                err=True,
            )
            flaw = _flaw(typed)
            if flaw is None:
                return _told_if_short(typed)
            say([f"It cannot be used: it {flaw}."])
        raise WrongPassphrase(f"no new passphrase for the {what} was given", advice=_NEW)


@dataclass
class FromFile:
    """Takes one passphrase a row from a file, in the order in which they are asked for."""

    name: str
    rows: Sequence[str] = field(repr=False)
    uses: list[str] = field(default_factory=list)  # what each row was taken for, in order

    def __call__(self, what: str) -> str:
        """Return the next passphrase; raises WrongPassphrase after the last."""
        return self._next(f"the {what}", f"opens the {what}")

    def new(self, what: str) -> str:
        """Return the next passphrase for *what*, as a new one; raises WrongPassphrase."""
        row = self._next(f"a new passphrase for the {what}", f"is left for the new {what}")
        flaw = _flaw(row)
        if flaw is not None:
            raise WrongPassphrase(
                f"the passphrase for the {what} in {self.name} {flaw} (row {len(self.uses)})",
                advice=_NEW,
            )
        return _told_if_short(row)

    def unneeded(self) -> Iterator[str]:
        """Yield which rows nothing asked for, and what was; empty rows at the end are no rows."""
        filled = [at for at, row in enumerate(self.rows, 1) if row]
        first, last = len(self.uses) + 1, filled[-1] if filled else 0
        if last < first:
            return
        rows = (
            f"Row {first} of {self.name} was"
            if last == first
            else (f"Rows {first} to {last} of {self.name} were")
        )
        yield f"{rows} not needed. {self._used()}"

    def _next(self, use: str, lacks: str) -> str:
        at = len(self.uses)
        if at >= len(self.rows):
            raise WrongPassphrase(
                f"no passphrase in {self.name} {lacks}", advice=self._expected(use)
            )
        self.uses.append(use)
        return self.rows[at]

    def _expected(self, use: str) -> str:
        if use in self.uses:
            return f"{self._used()} {WrongPassphrase.advice}"
        return f"Row {len(self.uses) + 1} must be for {use}. {self._used()}".rstrip()

    def _used(self) -> str:
        if not self.uses:
            return "Ragleaf asked for no passphrase."
        rows = "; ".join(f"row {at} for {use}" for at, use in enumerate(self.uses, 1))
        return f"Ragleaf asked for these, in this order: {rows}."


@dataclass
class Remembering:
    """
    Hands on what is asked for, and keeps what was *given*, so that what one part of a job was told
    another need not ask for.
    """

    ask: Ask
    given: list[str] = field(default_factory=list, repr=False)

    def __call__(self, what: str) -> str:
        """Return a passphrase for *what*."""
        passphrase = self.ask(what)
        self.given.append(passphrase)
        return passphrase

    def new(self, what: str) -> str:
        """Return a new passphrase for *what*."""
        return self.ask.new(what)


_NEW = "Use one that is not empty and has no control characters: you must be able to type it."


def unneeded(ask: Prompt | FromFile) -> Iterator[str]:
    """Yield, when all is done, which rows of a file were not needed."""
    if isinstance(ask, FromFile):
        yield from ask.unneeded()


def _flaw(new: str) -> str | None:
    """
    Return what keeps *new* from being a new passphrase. Control characters and a byte order mark
    come from files and clipboards: nobody who has the sheet could type them.
    """
    if not new:
        return "is empty"
    if any(unicodedata.category(character) == "Cc" or character == "\ufeff" for character in new):
        return "has a control character in it"
    return None


def _told_if_short(new: str) -> str:
    if len(new) < SHORT:
        say([_WORD_ABOUT_GUESSING])
    return new


def _require_terminal(what: str) -> None:
    """Raise NoTerminal where nobody can type *what* unseen."""
    if sys.platform == "win32" or sys.stdin.isatty():
        return
    try:
        os.close(os.open("/dev/tty", os.O_RDWR | os.O_NOCTTY))
    except OSError:
        raise NoTerminal(f"there is no terminal on which to type {what}") from None


def source(name: str | None) -> Prompt | FromFile:
    """
    Return the source that `--passphrase-from` *name* means: a file, or the terminal where it is
    None.

    A file is UTF-8, with a byte order mark or not, its rows ended by LF or CRLF.
    """
    if name is None:
        return Prompt()
    data = files.read(name, _LONGEST_FILE)
    if data.startswith(_UTF_16_OR_32):
        raise SourceError(
            f"{files.told(name)} is UTF-16 or UTF-32 text, not UTF-8",
            advice="Save it as UTF-8, with one passphrase in each row.",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SourceError(
            f"{files.told(name)} is not UTF-8 text",
            advice="Give one passphrase in each row, in UTF-8.",
        ) from None
    return FromFile(
        files.told(name), [row.removesuffix("\r") for row in text.removesuffix("\n").split("\n")]
    )
