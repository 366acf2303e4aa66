"""
The process that handles a secret: its memory is dumped by nobody (`lock_down`), its standard
streams are there (`mend_streams`), a signal ends it in order (`end_on_signals`, `undisturbed`), and
what it is given to read takes no longer than it may (`limited`).

Imported before everything else, so it imports little.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from typing import TYPE_CHECKING

from paperkey_alt.errors import TooLarge

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import FrameType

_ENDING = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
_PR_SET_DUMPABLE = 4  # prctl(2)


class Ended(SystemExit):
    """
    A signal asked the process to end; the status is 128 and its number, as shells tell it.

    A SystemExit, which neither click nor an event loop takes for a mistake of theirs.
    *is_within_a_stream* tells that something was being written where it cannot be taken back.
    """

    is_within_a_stream = False

    def __init__(self, number: int) -> None:
        super().__init__(128 + number)
        self.name = signal.Signals(number).name


def end_on_signals() -> None:
    """
    Have SIGINT, SIGTERM and SIGHUP raise Ended, but for those that are ignored on purpose, as by
    nohup.
    """
    for number in _ENDING:
        if signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, _end)


def end_as_usual() -> None:
    """Have signals end the process at once: nothing is left to be put in order."""
    for number in _ENDING:
        if signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, signal.SIG_DFL)


def _end(number: int, _: FrameType | None) -> None:
    # What is put in order on the way out is not to be stopped by a second signal.
    for other in _ENDING:
        signal.signal(other, signal.SIG_IGN)
    raise Ended(number)


@contextlib.contextmanager
def undisturbed() -> Iterator[None]:
    """
    Put off what signals ask for until the steps within are done. A mask of signals would not do:
    other threads of a library receive them too.
    """
    asked: list[int] = []
    ours = [number for number in _ENDING if signal.getsignal(number) is _end]
    for number in ours:
        signal.signal(number, lambda number, _: asked.append(number))
    try:
        yield
    finally:
        for number in ours:
            signal.signal(number, _end)
        if asked:
            _end(asked[0], None)


@contextlib.contextmanager
def within_a_stream() -> Iterator[None]:
    """Have an end by a signal tell that what is written within is not complete."""
    try:
        yield
    except Ended as end:
        end.is_within_a_stream = True
        raise


@contextlib.contextmanager
def limited(work: str, seconds: int) -> Iterator[Callable[[float], None]]:
    """
    Raise TooLarge where what is done within takes more than so many *seconds* of CPU, where the
    system can tell; *work* says what that is. What is yielded grants it so many seconds more.
    """
    if (
        not hasattr(signal, "setitimer")
        or threading.current_thread() is not threading.main_thread()
    ):
        yield lambda _: None
        return

    def end(*_: object) -> None:
        raise TooLarge(
            f"{work} takes more than {seconds} s of computing, which is the limit",
            advice="Give less at once: only the pages of one set, or only the lines of a text.",
        )

    def grant(more: float) -> None:
        left, _ = signal.getitimer(signal.ITIMER_PROF)
        signal.setitimer(signal.ITIMER_PROF, left + more)

    before = signal.signal(signal.SIGPROF, end)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield grant
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def lock_down() -> None:
    """
    Forbid core dumps, and on Linux that other processes of this user look into the memory, where
    the system lets us.
    """
    if sys.platform == "win32":
        return
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource  # noqa: PLC0415 - not there on every system

        _, most = resource.getrlimit(resource.RLIMIT_CORE)
        resource.setrlimit(resource.RLIMIT_CORE, (0, most))
    if sys.platform == "linux":
        with contextlib.suppress(ImportError, OSError, AttributeError):
            import ctypes  # noqa: PLC0415 - not there in every build of Python

            ctypes.CDLL(None).prctl(_PR_SET_DUMPABLE, 0, 0, 0, 0)


def mend_streams() -> None:
    """
    See to it that the standard streams are open and take every character.

    A closed one would give its number to the next file that is opened, and a message would end up
    in a key. What is written to a standard output that was closed fails; messages to a standard
    error that was closed go nowhere.
    """
    for number, mode in enumerate((os.O_RDONLY, os.O_RDONLY, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            opened = os.open(os.devnull, mode)
            if opened != number:
                os.dup2(opened, number)
                os.close(opened)
    if sys.stdin is None:
        sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
    if sys.stdout is None:
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
