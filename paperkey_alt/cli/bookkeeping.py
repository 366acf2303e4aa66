"""
The register as the commands use it: `opened` by what is given on the command line, and `entry` for
what was printed.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt.cli.options import say
from paperkey_alt.errors import RegisterError
from paperkey_alt.records.register import Entry, Register, default_path

if TYPE_CHECKING:
    from collections.abc import Sequence

    from paperkey_alt.format.line_set import LineSet

path = click.option(
    "--register", metavar="PATH", help="The register's file, instead of the usual one."
)
refrain = click.option("--no-register", is_flag=True, help="Note nothing in the register.")


def opened(given: dict[str, Any]) -> Register | None:
    """Return the register that *given* names, or the usual one; None where it is not wanted."""
    if given.get("no_register"):
        return None
    if given["register"]:
        return Register(Path(given["register"]))
    return Register(default_path(os.environ, sys.platform, Path.home()))


def note(given: dict[str, Any], printed: Entry) -> None:
    """
    Add *printed* to the register; where it cannot be, say so: the sheets are made all the same.
    """
    book = opened(given)
    if book is None:
        return
    try:
        book.add(printed)
    except RegisterError as error:
        say([f"Not noted: {error}.", f"  {error.advice}"])


def today() -> dt.date:
    """Return the date by the computer's clock."""
    return dt.datetime.now().astimezone().date()


def entry(line_sets: Sequence[LineSet], kind: str, sheets_each: int, **known: Any) -> Entry:
    """
    Return the entry for *line_sets*, which were printed today; *known* is what else is known of
    them.
    """
    share = line_sets[0].head.share
    return Entry(
        marks=tuple(one.head.mark for one in line_sets),
        kind=kind,
        sheets=sheets_each * len(line_sets),
        printed=today(),
        threshold=share.threshold if share else None,
        **known,
    )
