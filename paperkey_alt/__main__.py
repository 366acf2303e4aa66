"""``python -m paperkey_alt`` is the command ``ragleaf``."""

from __future__ import annotations

import contextlib
import gc
import os
import sys
from typing import TYPE_CHECKING

from paperkey_alt.cli import process

if TYPE_CHECKING:
    from collections.abc import Callable

_NO_ROOM = (
    b"ragleaf: this program cannot be loaded: there is not enough memory, or a part of it is \
missing.\n"
)


_CUT = "What was being written to the stream is not complete."


def main() -> None:
    """Run the command line; a signal at any moment, also while it is loaded, ends it in order."""
    # What is made while modules are loaded stays: to look for garbage after each 700 objects, as
    # Python does, takes a fifteenth of the time of reading two pages.
    gc.set_threshold(5000)
    # numpy would share its small matrices among threads that wait for each other: a page that was
    # read in 8 s took them 12 s of both processors, and was not read sooner.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    process.end_on_signals()
    try:
        _load()()
    except process.Ended as end:
        # What a terminal was asked for is left behind in a row of its own.
        begun = "\n" if sys.stderr is not None and sys.stderr.isatty() else ""
        left = _CUT if end.is_within_a_stream else "No file is left half written."
        how = "stopped by Ctrl-C" if end.name == "SIGINT" else f"ended by a signal ({end.name})"
        told = f"{begun}ragleaf: {how}. {left}\n"
        with contextlib.suppress(OSError):
            os.write(2, told.encode())
        raise
    finally:
        process.end_as_usual()


def _load() -> Callable[[], None]:
    """Return the command line, or end with a sentence where it cannot be loaded."""
    try:
        from paperkey_alt.cli import group  # noqa: PLC0415 - signals are minded before
    except (MemoryError, ImportError, SystemError):
        # Without memory the interpreter ends an import also by the last of these.
        with contextlib.suppress(OSError):
            os.write(2, _NO_ROOM)
        sys.exit(2)
    return group.main


if __name__ == "__main__":
    main()
