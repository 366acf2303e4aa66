"""What stands on a sheet besides its lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt


PROGRAM_TITLE = "A program of Ragleaf on paper"  # by which its PDF is known among scans


@dataclass(frozen=True)
class Caption:
    """
    The words at the head and foot of every sheet of a set.

    *fingerprint* is hexadecimal without blanks; *notes* are cautions for this print alone. At the
    foot are, under the heading *purpose*, each a row of short paragraphs: *bring_back*, in plain
    words, what the sheets are, what is needed and the steps by which what they carry comes back;
    *blanks* to write on, each by the words before it; the first of *cautions*, what to keep apart;
    and in small print *recipe*, how it is done by hand, and the other cautions, which are for the
    owner. *subject* names in a sentence what the sheets carry ("the OpenPGP key of …"), *noun* says
    in a word what that is: a key or a file.
    """

    title: str
    user_id: str | None
    fingerprint: str | None
    date: dt.date
    notes: tuple[str, ...]
    recipe: tuple[str, ...]
    cautions: tuple[str, ...]
    subject: str = "a secret key"
    noun: str = "key"
    purpose: str = "To bring the key back"
    bring_back: tuple[str, ...] = ()
    blanks: tuple[str, ...] = ()
