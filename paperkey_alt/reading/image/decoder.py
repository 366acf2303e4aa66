"""
Pictures and PDFs as grey pages, decoded in a process of its own: `decoded`.

Their decoders are large and the file may be hostile. The process (`decoder_process`) is given the
bytes and gives pixels back; what it says is checked like a file. It is started, not forked: the
memory of a fork would hold what this one has read, secrets too.

Needs the extra ``scan``.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from typing import IO, TYPE_CHECKING

from paperkey_alt.errors import SourceError
from paperkey_alt.reading.image import decoder_process
from paperkey_alt.reading.image.decoder_process import (
    MOST_MEMORY,
    MOST_SECONDS,
    NUMBER,
    Answer,
)
from paperkey_alt.reading.image.grey import Grey

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_PIXELS = 150_000_000  # of a page, which `scans` keeps to as well
MOST_PAGES = 500
_LONGEST_REFUSAL = 4096
_LIBRARIES = ("PIL", "pypdfium2")
_KEPT = ("SYSTEMROOT", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")  # without which it may not start


@contextmanager
def decoded(data: bytes, name: str) -> Iterator[tuple[int, Iterator[Grey]]]:
    """
    Give how many pages the file *name* has, and these one by one, as `scans.pages` does.

    Raises SourceError as that does, and where the decoder reaches a limit of memory or time;
    ImportError where a library is missing.
    """
    process = _started()
    try:
        assert process.stdin
        assert process.stdout
        # One that has ended by now says nothing more, which is told below.
        with suppress(BrokenPipeError), process.stdin:
            process.stdin.write(decoder_process.numbers(len(data)))
            process.stdin.write(data)
        with _told(process, name):
            count = pull_count(process.stdout, name)
        yield count, _pages(process, count, name)
    finally:
        process.kill()
        assert process.stdout
        process.stdout.close()
        process.wait()


class Broken(Exception):
    """The process ended, or what it says is no answer."""


def pull_count(stream: IO[bytes], name: str) -> int:
    """Return how many pages the process announces; raises SourceError, Broken."""
    _require(stream, Answer.PAGES, name)
    count = _pull_number(stream)
    if not 1 <= count <= MOST_PAGES:
        raise Broken
    return count


def pull_page(stream: IO[bytes], name: str) -> Grey:
    """Return the page that the process gives next; raises SourceError, Broken."""
    _require(stream, Answer.PICTURE, name)
    width, height, cut_short = (_pull_number(stream) for _ in range(3))
    if not (1 <= width * height <= MOST_PIXELS and cut_short in (0, 1)):
        raise Broken
    return Grey(width, height, _pull(stream, width * height), bool(cut_short))


def _started() -> subprocess.Popen[bytes]:
    roots = [str(Path(__file__).parents[3])]
    for library in _LIBRARIES:
        spec = find_spec(library)
        if spec is None or spec.origin is None:
            raise ImportError(name=library)
        roots.append(str(Path(spec.origin).parents[1]))
    return subprocess.Popen(  # noqa: S603 - this interpreter and a module of ours
        [sys.executable, "-I", "-S", "-X", "utf8", decoder_process.__file__, *dict.fromkeys(roots)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={name: os.environ[name] for name in _KEPT if name in os.environ},
        # A key that ends the command ends this process, and that by this process.
        start_new_session=True,
    )


def _pages(process: subprocess.Popen[bytes], count: int, name: str) -> Iterator[Grey]:
    assert process.stdout
    for _ in range(count):
        with _told(process, name):
            page = pull_page(process.stdout, name)
        yield page


@contextmanager
def _told(process: subprocess.Popen[bytes], name: str) -> Iterator[None]:
    """Say by which limit the process ended, where it does not answer as it must."""
    try:
        yield
    except Broken:
        with suppress(subprocess.TimeoutExpired):
            process.wait(1)
        process.kill()
        if process.wait() == -getattr(signal, "SIGXCPU", 0):
            what = f"takes more than {MOST_SECONDS} s to decode, which is the limit"
        else:
            what = (
                f"cannot be decoded: it is damaged, or takes more than {MOST_MEMORY >> 20} MiB of "
                "memory, which is the limit"
            )
        raise SourceError(f"{name} {what}", advice=_LESS) from None


_LESS = "Scan it again with 300 dpi in grey, and save it as PNG or JPEG."


def _require(stream: IO[bytes], expected: Answer, name: str) -> None:
    answer = _pull_number(stream)
    if answer == Answer.REFUSED:
        raise _refusal(stream, name)
    if answer != expected:
        raise Broken


def _refusal(stream: IO[bytes], name: str) -> SourceError:
    length = _pull_number(stream)
    if length > _LONGEST_REFUSAL:
        raise Broken
    try:
        match json.loads(_pull(stream, length)):
            case [str(what), str(advice)]:
                return SourceError(f"{name}{what}", advice=advice)
    except (ValueError, RecursionError):
        raise Broken from None
    raise Broken


def _pull_number(stream: IO[bytes]) -> int:
    (number,) = NUMBER.unpack(_pull(stream, NUMBER.size))
    return int(number)


def _pull(stream: IO[bytes], length: int) -> bytes:
    data = stream.read(length)
    if len(data) != length:
        raise Broken
    return data
