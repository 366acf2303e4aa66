"""The one way to say something: `say`."""

from __future__ import annotations

import shutil
import sys
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Iterable


def say(texts: Iterable[str]) -> None:
    """
    Write *texts* to standard error, in rows no wider than the terminal if it is one: standard
    output is for what was asked for.
    """
    width = shutil.get_terminal_size().columns if sys.stderr.isatty() else 0
    for row in (row for text in texts for row in text.split("\n")):
        click.echo(_wrapped(row, width) if len(row) > width > 0 else row, err=True)


def _wrapped(row: str, width: int) -> str:
    text = row.lstrip()
    indent = row[: len(row) - len(text)]
    return click.wrap_text(text, width, initial_indent=indent, subsequent_indent=f"{indent}  ")
