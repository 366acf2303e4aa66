"""``ragleaf type``: lines from the paper, by hand."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from paperkey_alt import files, report, sets
from paperkey_alt.commands import sheets
from paperkey_alt.commands.options import say
from paperkey_alt.reading import typed
from paperkey_alt.sheet import text
from paperkey_alt.typing import plain, transcript

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.reading.sighting import Sighting
    from paperkey_alt.typing.transcript import Transcript


@click.command()
@click.argument("lines")
@click.option("--with", "others", multiple=True, metavar="SOURCE", help="Lines read from these scans or texts need not be typed.")
@click.option("--plain", "is_plain", is_flag=True, help="Ask line by line, without a full screen.")
def command(lines: str, others: tuple[str, ...], *, is_plain: bool) -> None:
    """
    Type the lines of one set from its sheets into the text file LINES, or go on with it.

    A line is checked as its last character is typed. Right ones are saved at once.
    """
    files.require_free([lines], force=True)
    there = _there(lines)
    begun = transcript.begin([*there, *(one for part in sheets.read(others) for one in part.sightings)])
    save = _saving(lines, transcript.begin(there))
    save(begun)
    left = _front_end(is_plain=is_plain)(begun, save)
    say(_ended(left, lines))


def _there(name: str) -> tuple[Sighting, ...]:
    """Return what the file holds already."""
    if not Path(name).exists():
        return ()
    return typed.read(files.read(name, files.LONGEST_KEY_FILE).decode("utf-8", "replace"), name)


def _saving(name: str, there: Transcript) -> Callable[[Transcript], None]:
    """Return what writes the lines of a transcript that are not in the file yet, which holds *there*."""
    saved = dict(there.lines)

    def save(done: Transcript) -> None:
        for number, characters in done.lines.items():
            if saved.get(number) != characters:
                files.append(name, text.row(number, characters))
                saved[number] = characters

    return save


def _front_end(*, is_plain: bool) -> Callable[[Transcript, Callable[[Transcript], None]], Transcript]:
    if is_plain or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return plain.run
    try:
        from paperkey_alt.typing import full  # noqa: PLC0415 - an extra, and slow to import
    except ImportError:
        return plain.run
    return full.run


def _ended(left: Transcript, name: str) -> list[str]:
    if left.head is None:
        return [f"Nothing was typed yet. To begin: ragleaf type {name}"]
    if left.needed:
        return [f"Set {left.head.mark}: {left.needed} more lines are needed. To go on: ragleaf type {name}"]
    # What counts is the file, as it will be read.
    findings = sets.collect(_there(name))
    return [report.table(findings), f"All lines needed are in {name}. Next: ragleaf restore {name} -o KEYFILE"]
