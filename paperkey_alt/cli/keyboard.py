"""
What a handheld scanner types at the terminal, or somebody pastes there: `read`. It is a secret, so
the terminal does not show it, where the system can have it so.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
from typing import TYPE_CHECKING, Any

from paperkey_alt.cli import files, process
from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import SourceError
from paperkey_alt.reading.text import typed
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

_SCAN = (
    "Now read the QR symbols with a handheld scanner, in any order, or paste the lines. To type "
    "them, use ragleaf type."
)
_END = "Enter, then " + ("Ctrl-Z and Enter." if sys.platform == "win32" else "Ctrl-D.")
_PIECE = 1 << 16  # bytes; a terminal gives a row at a time
_LOCAL = 3  # of the modes that termios has, those of the terminal itself
_PAUSE = 0.3  # seconds without a key, after which it is said how many lines there are


def read(longest: int) -> bytes:
    """
    Return what is typed at the terminal that standard input is, up to its end, after saying what to
    do; say after each pause how many lines came. Raises SourceError, also above *longest* bytes.
    """
    told = files.told(files.STREAM)
    with _unseen() as is_unseen:
        if not is_unseen:
            say([_SCAN, f"At the end press {_END}"])
            return files.read(files.STREAM, longest)
        say([_SCAN, f"What you scan is not shown; end with {_END}"])
        data = bytearray()
        try:
            for piece in _pieces():
                data += piece
                if len(data) > longest:
                    raise SourceError(f"{told} is longer than {longest >> 20} MiB")
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise SourceError(f"{told} cannot be read: {reason}") from None
        return bytes(data)


def _pieces() -> Iterator[bytes]:
    """Yield what comes, to the end; say after each pause how many lines that are."""
    descriptor = sys.stdin.fileno()
    lines: set[tuple[int | None, str]] = set()
    since_pause = b""
    while piece := os.read(descriptor, _PIECE):
        yield piece
        since_pause += piece
        if select.select([descriptor], [], [], _PAUSE)[0]:
            continue
        text = since_pause.decode("utf-8", "replace")
        lines.update((line.number, line.text) for line in typed.read(text, files.STREAM))
        say([f"{counted(len(lines), 'line')} so far."])
        since_pause = b""


@contextlib.contextmanager
def _unseen() -> Iterator[bool]:
    """
    Have the terminal not show what is typed, and yield whether it does so. It shows it again
    whatever ends what is done within, a signal too; what was not read by then goes to no other
    program.
    """
    try:
        import termios  # noqa: PLC0415 - not there on every system
    except ImportError:
        yield False
        return
    descriptor = sys.stdin.fileno()
    with contextlib.ExitStack() as stack:
        is_unseen = False
        with process.undisturbed(), contextlib.suppress(termios.error):
            modes = termios.tcgetattr(descriptor)
            stack.callback(_seen, descriptor, modes)
            unseen = [*modes]
            unseen[_LOCAL] &= ~termios.ECHO
            termios.tcsetattr(descriptor, termios.TCSADRAIN, unseen)
            is_unseen = True
        yield is_unseen


def _seen(descriptor: int, modes: list[Any]) -> None:
    """Give the terminal *descriptor* its *modes* back, if it is there still; drop what waits."""
    import termios  # noqa: PLC0415 - it is there, or there are no modes

    with process.undisturbed(), contextlib.suppress(termios.error):
        termios.tcsetattr(descriptor, termios.TCSAFLUSH, modes)
