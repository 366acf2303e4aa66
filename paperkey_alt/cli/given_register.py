"""The register that a command is given, or the usual one: `opened`, and `note` in it."""

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


def opened(path: str | None) -> Register:
    """Return the register in the file *path*, or where it is kept if that is None."""
    return Register(Path(path) if path else default_path(os.environ, sys.platform, Path.home()))


def note(register: Register, printed: Entry) -> None:
    """
    Add *printed* to *register*; where it cannot be, say so: the sheets are made all the same.
    """
    try:
        register.add(printed)
    except RegisterError as error:
        say([f"Not noted: {error}.", f"  {error.advice}"])
