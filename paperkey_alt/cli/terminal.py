"""
The two ways out to a terminal: `say` for what there is to know, on standard error; `show` and `put`
for what was asked for, on standard output.
"""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, TextIO

import click

from paperkey_alt.cli import process
from paperkey_alt.errors import OutputError
from paperkey_alt.foreign_text import clean

if TYPE_CHECKING:
    from collections.abc import Iterable

# What stands for our own signs where a terminal has not got them.
_PLAIN = str.maketrans({"–": "-", "—": "-", "…": "...", "·": "-", "’": "'", "“": '"', "”": '"'})


def say(texts: Iterable[str]) -> None:
    """
    Write *texts* to standard error, each a row, no wider than the terminal if it is one. Where
    nobody hears it, nothing happens: a job is not given up for that.
    """
    stream = sys.stderr
    for row in map(clean, texts):
        try:
            stream.write(_encodable(f"{_fitted(row, stream)}\n", stream))
            stream.flush()
        except OSError:
            _drain(stream)


def show(text: str) -> None:
    """
    Write *text*, which is clean, and the end of a row to standard output, its rows no wider than
    the terminal if it is one; raises OutputError.
    """
    text = "\n".join(_fitted(row, sys.stdout) for row in text.split("\n"))
    put(_encodable(f"{text}\n", sys.stdout).encode(sys.stdout.encoding, "replace"))


def put(data: bytes) -> None:
    """Write *data* to standard output as it is; raises OutputError."""
    try:
        with process.within_a_stream():
            sys.stdout.flush()
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()
    except OSError as error:
        _drain(sys.stdout)
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"standard output cannot be written: {reason}",
            advice="Check where it goes, or name a file. What was written there is not complete.",
        ) from None


def settle() -> None:
    """
    Write what still waits for the standard streams, or drop it where it cannot be written: the
    interpreter would end with an error of its own.
    """
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            _drain(stream)


def _drain(stream: TextIO) -> None:
    """Lead *stream* nowhere: what waits in it would end the process with an error of its own."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def _encodable(text: str, stream: TextIO) -> str:
    """Return *text* with what the encoding of *stream* lacks as plainer signs, or as ``?``."""
    encoding = stream.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return text.translate(_PLAIN).encode(encoding, "replace").decode(encoding)
    return text


def _columns() -> int:
    import shutil  # noqa: PLC0415 - it loads three ways to compress files

    return shutil.get_terminal_size().columns


def _fitted(row: str, stream: TextIO) -> str:
    """Return *row* as rows no wider than *stream*, if that is a terminal."""
    width = _columns() if stream.isatty() else 0
    if not len(row) > width > 0:
        return row
    text = row.lstrip()
    indent = row[: len(row) - len(text)]
    return click.wrap_text(text, width, initial_indent=indent, subsequent_indent=f"{indent}  ")
