"""
What the text of an option stands for, as functions that click calls: `spare`, `share_count`,
`mark`, `mark_and_names`, `mark_and_date` and `mark_and_note`.

A function serves as a type in every version of click from 8.1 on; the class of its types does not:
from 8.5 on it wants two parameters that it cannot be given before.
"""

from __future__ import annotations

import datetime as dt
import re

import click

from paperkey_alt.format import shares
from paperkey_alt.sheet.layout import MOST_SPARE_PERCENT, Spare

_LONGEST_NOTE = 200
_NUMBER = re.compile(r"[0-9]{1,9}")


def spare(text: str) -> Spare:
    """Return what ``N%``, ``N`` or ``sheet`` says of spare lines; raises click.BadParameter."""
    if text == "sheet":
        return Spare(None)
    percent = text.removesuffix("%")
    if not _NUMBER.fullmatch(percent) or int(percent) > MOST_SPARE_PERCENT:
        raise click.BadParameter(f"{text}: give 0% to {MOST_SPARE_PERCENT}%, or sheet")
    return Spare(int(percent))


def share_count(text: str) -> int:
    """Return a number of shares; raises click.BadParameter."""
    if not _NUMBER.fullmatch(text) or not shares.FEWEST <= int(text) <= shares.MOST:
        raise click.BadParameter(f"{text}: give a number from {shares.FEWEST} to {shares.MOST}")
    return int(text)


def mark(text: str) -> str:
    """Return a set mark as it is printed: in capital letters."""
    return text.strip().upper()


def mark_and_names(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the set mark and the names of ``MARK=NAME,NAME…``; raises click.BadParameter."""
    set_mark, names = _split(text)
    return set_mark, tuple(name.strip() for name in names.split(","))


def mark_and_date(text: str) -> tuple[str, dt.date]:
    """Return the set mark and the date of ``MARK=YYYY-MM-DD``; raises click.BadParameter."""
    set_mark, date = _split(text)
    try:
        return set_mark, dt.date.fromisoformat(date)
    except ValueError:
        raise click.BadParameter(f"{date} is not a date; write {set_mark}=2027-11-25") from None


def mark_and_note(text: str) -> tuple[str, str]:
    """Return the set mark and the text of ``MARK=TEXT``; raises click.BadParameter."""
    set_mark, words = _split(text)
    if len(words) > _LONGEST_NOTE:
        raise click.BadParameter(f"a note may have up to {_LONGEST_NOTE} characters")
    return set_mark, words.strip()


def _split(text: str) -> tuple[str, str]:
    set_mark, sign, rest = text.partition("=")
    if not sign:
        raise click.BadParameter("write the set mark, = and the rest")
    return mark(set_mark), rest
