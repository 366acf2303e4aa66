"""``ragleaf type``: lines from the paper, by hand."""

from __future__ import annotations

import contextlib
import re
import shlex
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, given_sources, report
from paperkey_alt.cli.terminal import say
from paperkey_alt.entry import line_by_line, transcript
from paperkey_alt.errors import OutputError, SourceError
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import text_file
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.entry.transcript import Transcript
    from paperkey_alt.format.raw_line import RawLine


@click.command()
@click.argument("lines", required=False, metavar="LINES")  # click's own word would be no advice
@click.option(
    "--with",
    "others",
    multiple=True,
    metavar="SOURCE",
    help="You need not type the lines that these scans or texts have.",
)
@click.option("--plain", is_flag=True, help="Ask line by line, without a full screen.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell at each line that is wrong.")
def command(lines: str | None, *, others: tuple[str, ...], plain: bool, bell: bool) -> None:
    """
    Type the lines of one set from its sheets into the text file LINES, or go on with that file.

    Each line is checked as you type its last character. Correct lines are saved at once.
    """
    if lines is None:
        raise OutputError("you named no file for the lines that you type", advice=_NAME_ONE)
    files.require_typed(lines, others)
    there = _typed_lines(lines)
    read = [raw_line for page in given_sources.read(others) for raw_line in page.raw_lines]
    begun, saved = transcript.begin([*there, *read]), transcript.begin(there)

    def save(typed: Transcript) -> None:
        nonlocal saved
        for number, characters in typed.lines_since(saved):
            files.append(lines, text_file.row(number, characters))
        saved = typed

    save(begun)
    left = _front_end(plain=plain, bell=bell)(begun, save)
    say(_ended(left, lines))


_NAME_ONE = (
    "Name a new file, or the one you began; correct lines are saved there. For example: ragleaf "
    "type lines.txt"
)


def _raw_lines(name: str) -> tuple[RawLine, ...]:
    """Return what the text file *name* holds already, nothing where it is not there."""
    if not Path(name).exists():
        return ()
    return typed.read(files.read(name, files.LONGEST_KEY_FILE).decode("utf-8", "replace"), name)


# A row as this command writes it, or as much of one as a loss of power left.
_OWN_ROW = re.compile(r"(?:#.*| *[0-9]{0,4} *[A-Z2-7 ]*)", re.ASCII)


def _typed_lines(name: str) -> tuple[RawLine, ...]:
    """
    Return what the text file *name* holds already; raises SourceError where it is not of this
    command's kind: nothing is added to a key, a scan or a letter.
    """
    if not Path(name).exists():
        return ()
    data = files.read(name, files.LONGEST_KEY_FILE)
    with contextlib.suppress(UnicodeDecodeError):
        text = data.decode()
        raw_lines = typed.read(text, name)
        is_typed = bool(transcript.begin(raw_lines).lines)
        if is_typed or all(map(_OWN_ROW.fullmatch, text.splitlines())):
            return raw_lines
    raise SourceError(
        f"{name} exists, and is not a file of typed lines",
        advice="Name a new file for the lines you type, or the one you began.",
    )


def _front_end(
    *, plain: bool, bell: bool
) -> Callable[[Transcript, Callable[[Transcript], None]], Transcript]:
    simple = partial(line_by_line.run, say=say, ask=_ask, ring=_ring if bell else None)
    if plain or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return simple
    try:
        from paperkey_alt.entry import full_screen  # noqa: PLC0415 - an extra
    except ImportError:
        return simple
    return partial(full_screen.run, has_bell=bell)


def _ring() -> None:
    if sys.stderr.isatty():
        click.echo("\a", nl=False, err=True)


def _ask(prompt: str) -> str | None:
    """Return what is typed behind *prompt*, None at the end of the input."""
    try:
        answer: str = click.prompt(
            prompt, default="", show_default=False, prompt_suffix=" ", err=True
        )
    except click.Abort:
        # What is told next begins in a row of its own.
        click.echo(err=True)
        return None
    return answer


def _ended(left: Transcript, name: str) -> list[str]:
    """Return what is to be said of the typing that was *left* in the file *name*."""
    typed_in = shlex.quote(name)
    if left.head is None:
        return [f"Nothing is typed yet. To begin: ragleaf type {typed_in}"]
    if left.needed:
        needed = f"{counted(left.needed, 'more line is', 'more lines are')} needed"
        return [f"Set {left.head.mark}: {needed}. To go on: ragleaf type {typed_in}"]
    # What counts is the file, as it will be read.
    findings = recover(_raw_lines(name))
    table = report.table(findings).split("\n")
    ours = (finding for finding in findings.sets if finding.head.mark == left.head.mark)
    problem = next((finding.problem for finding in ours if finding.problem), None)
    if problem is not None:
        return [*table, f"  {problem.advice}"]
    share = left.head.share
    if share is not None:
        others = counted(share.threshold - 1, "other share")
        return [
            *table,
            f"{name} has all the lines you need of this share; it takes {others} of its backup.",
            f"  With their files: ragleaf restore {typed_in} OTHERS -o KEYFILE",
            _CERTIFICATE,
        ]
    return [
        *table,
        f"{name} has all the lines you need. Next: ragleaf restore {typed_in} -o KEYFILE",
        _CERTIFICATE,
    ]


_CERTIFICATE = "  If the sheets ask for the key's public certificate, add --public and its file."
