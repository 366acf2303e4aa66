"""
Where passphrases come from: the terminal, or a file that `--passphrase-from` names.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files
from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import NoTerminal, SourceError, WrongPassphrase

if TYPE_CHECKING:
    from collections.abc import Iterator


TRIES = 3
_LONGEST_FILE = 1 << 20


@dataclass
class Prompt:
    """Asks at the terminal, three times for the same thing; shows nothing of what is typed."""

    asked: dict[str, int] = field(default_factory=dict)

    def __call__(self, what: str) -> str:
        """Return the passphrase typed for *what*; raises WrongPassphrase after three tries."""
        tries = self.asked[what] = self.asked.get(what, 0) + 1
        if tries > TRIES:
            raise WrongPassphrase(f"no passphrase given opens the {what}")
        if tries > 1:
            say(["That is not it."])
        _require_terminal(what)
        typed: str = click.prompt(f"Passphrase of the {what}", hide_input=True, err=True)
        return typed

    def new(self, what: str) -> str:
        """Return a new passphrase for *what*, typed twice."""
        _require_terminal(what)
        typed: str = click.prompt(
            f"New passphrase for the {what}",
            hide_input=True,
            confirmation_prompt="Once more",
            err=True,
        )
        return typed


@dataclass
class FromFile:
    """Takes one passphrase a row from a file, in the order in which they are asked for."""

    name: str
    rows: Iterator[str]

    def __call__(self, what: str) -> str:
        """Return the next passphrase; raises WrongPassphrase after the last."""
        row = next(self.rows, None)
        if row is None:
            raise WrongPassphrase(f"no passphrase in {self.name} opens the {what}")
        return row

    def new(self, what: str) -> str:
        """Return the next passphrase for *what*, which may not be empty."""
        row = self(what)
        if not row:
            raise WrongPassphrase(f"the passphrase for the {what} in {self.name} is empty")
        return row


def _require_terminal(what: str) -> None:
    """Raise NoTerminal where nobody can type the passphrase of *what* unseen."""
    if sys.platform == "win32" or sys.stdin.isatty():
        return
    try:
        os.close(os.open("/dev/tty", os.O_RDWR | os.O_NOCTTY))
    except OSError:
        raise NoTerminal(f"there is no terminal to type the passphrase of the {what} at") from None


def source(name: str | None) -> Prompt | FromFile:
    """
    Return the source that `--passphrase-from` *name* means: a file, or the terminal where it is
    None.
    """
    if name is None:
        return Prompt()
    try:
        text = files.read(name, _LONGEST_FILE).decode()
    except UnicodeDecodeError:
        raise SourceError(
            f"{name} is not UTF-8 text", advice="Give one passphrase a row, in UTF-8."
        ) from None
    return FromFile(name, iter(text.removesuffix("\n").split("\n")))
