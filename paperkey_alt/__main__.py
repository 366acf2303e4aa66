"""``python -m paperkey_alt`` is the command ``ragleaf``."""

import contextlib
import os
import sys

from paperkey_alt.cli import process


def main() -> None:
    """Run the command line; a signal at any moment, also while it is loaded, ends it in order."""
    process.end_on_signals()
    try:
        from paperkey_alt.cli import group  # noqa: PLC0415 - signals are minded before

        group.main()
    except process.Ended as end:
        # What a terminal was asked for is left behind in a row of its own.
        begun = "\n" if sys.stderr is not None and sys.stderr.isatty() else ""
        told = f"{begun}ragleaf: ended by a signal ({end.name}). No file is left half written.\n"
        with contextlib.suppress(OSError):
            os.write(2, told.encode())
        raise
    finally:
        process.end_as_usual()


if __name__ == "__main__":
    main()
