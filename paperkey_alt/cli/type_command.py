"""``ragleaf type``: lines from the paper, by hand."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, report, sources_given
from paperkey_alt.cli.options import say
from paperkey_alt.entry import line_by_line, transcript
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import text_file

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.entry.transcript import Transcript
    from paperkey_alt.format.raw_line import RawLine


@click.command()
@click.argument("lines")
@click.option(
    "--with",
    "others",
    multiple=True,
    metavar="SOURCE",
    help="Lines read from these scans or texts need not be typed.",
)
@click.option("--plain", "is_plain", is_flag=True, help="Ask line by line, without a full screen.")
def command(lines: str, others: tuple[str, ...], *, is_plain: bool) -> None:
    """
    Type the lines of one set from its sheets into the text file LINES, or go on with it.

    A line is checked as its last character is typed. Right ones are saved at once.
    """
    files.require_free([lines], force=True)
    there = _there(lines)
    begun = transcript.begin(
        [*there, *(one for part in sources_given.read(others) for one in part.raw_lines)]
    )
    save = _saving(lines, transcript.begin(there))
    save(begun)
    left = _front_end(is_plain=is_plain)(begun, save)
    say(_ended(left, lines))


def _there(name: str) -> tuple[RawLine, ...]:
    """Return what the file holds already."""
    if not Path(name).exists():
        return ()
    return typed.read(files.read(name, files.LONGEST_KEY_FILE).decode("utf-8", "replace"), name)


def _saving(name: str, there: Transcript) -> Callable[[Transcript], None]:
    """
    Return what writes the lines of a transcript that are not in the file yet, which holds *there*.
    """
    saved = dict(there.lines)

    def save(done: Transcript) -> None:
        for number, characters in done.lines.items():
            if saved.get(number) != characters:
                files.append(name, text_file.row(number, characters))
                saved[number] = characters

    return save


def _front_end(
    *, is_plain: bool
) -> Callable[[Transcript, Callable[[Transcript], None]], Transcript]:
    if is_plain or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return line_by_line.run
    try:
        from paperkey_alt.entry import full_screen  # noqa: PLC0415 - an extra
    except ImportError:
        return line_by_line.run
    return full_screen.run


def _ended(left: Transcript, name: str) -> list[str]:
    if left.head is None:
        return [f"Nothing was typed yet. To begin: ragleaf type {name}"]
    if left.needed:
        return [
            (
                f"Set {left.head.mark}: {left.needed} more lines are needed. To go on: ragleaf type "
                f"{name}"
            )
        ]
    # What counts is the file, as it will be read.
    findings = recover(_there(name))
    return [
        report.table(findings),
        f"All lines needed are in {name}. Next: ragleaf restore {name} -o KEYFILE",
    ]
