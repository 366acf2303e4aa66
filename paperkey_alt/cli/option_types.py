"""
What the text of an option stands for, as functions that click calls: `spare`, `mark_and_names` and
`mark_and_date`.

A function serves as a type in every version of click from 8.1 on; the class of its types does not:
from 8.5 on it wants two parameters that it cannot be given before.
"""

from __future__ import annotations

import datetime as dt
import re

import click

from paperkey_alt.sheet.layout import MOST_SPARE_PERCENT, Spare

_NUMBER = re.compile(r"[0-9]{1,9}")


def spare(text: str) -> Spare:
    """Return what ``N%``, ``N`` or ``sheet`` says of spare lines; raises click.BadParameter."""
    if text == "sheet":
        return Spare(None)
    percent = text.removesuffix("%")
    if not _NUMBER.fullmatch(percent) or int(percent) > MOST_SPARE_PERCENT:
        raise click.BadParameter(f"{text}: say 0% to {MOST_SPARE_PERCENT}%, or sheet")
    return Spare(int(percent))


def mark_and_names(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the set mark and the names of ``MARK=NAME,NAME…``; raises click.BadParameter."""
    mark, names = _split(text)
    return mark, tuple(name.strip() for name in names.split(","))


def mark_and_date(text: str) -> tuple[str, dt.date]:
    """Return the set mark and the date of ``MARK=YYYY-MM-DD``; raises click.BadParameter."""
    mark, date = _split(text)
    try:
        return mark, dt.date.fromisoformat(date)
    except ValueError:
        raise click.BadParameter(f"{date} is no date; say {mark}=2027-11-25") from None


def _split(text: str) -> tuple[str, str]:
    mark, sign, rest = text.partition("=")
    if not sign:
        raise click.BadParameter("say the set mark, = and the rest")
    return mark.strip().upper(), rest
