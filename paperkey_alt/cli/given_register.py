"""The register that a command is given, or the usual one: `place`, `opened`, and `note` in it."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import RegisterError
from paperkey_alt.records.register import Register, default_path

if TYPE_CHECKING:
    from paperkey_alt.records.register import Entry


def place(path: str | None) -> str | None:
    """
    Return the file *path*, or if that is None where the register is kept; None where that cannot be
    told.
    """
    if path is not None:
        return path
    try:
        home = Path("~").expanduser()
    except RuntimeError:
        return None
    return str(default_path(os.environ, sys.platform, home))


def opened(path: str | None) -> Register:
    """
    Return the register in the file *path*, or where it is kept if that is None; raises
    RegisterError where that cannot be told.
    """
    found = place(path)
    if found is None:
        raise RegisterError("this user has no home folder, where the register would be kept")
    return Register(Path(found))


def note(path: str | None, printed: Entry) -> None:
    """
    Add *printed* to the register that `opened` returns; where it cannot be, say so: the sheets are
    made all the same.
    """
    try:
        opened(path).add(printed)
    except RegisterError as error:
        say([f"Not noted: {error}.", f"  {error.advice}"])
