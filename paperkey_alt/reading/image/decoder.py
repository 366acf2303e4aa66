"""
Pictures and PDFs as grey pages, decoded in a process of its own: `decoded`.

Their decoders are large and the file may be hostile. The process (`decoder_process`) is given the
bytes, and of each page it gives the QR symbols that are seen at once, or pixels; what it says is
checked like a file. It is started, not forked: the memory of a fork would hold what this one has
read, secrets too.

Needs the extra ``scan``.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from contextlib import contextmanager, suppress
from functools import cached_property
from importlib.util import find_spec
from pathlib import Path
from typing import IO, TYPE_CHECKING

from paperkey_alt.errors import SourceError
from paperkey_alt.reading.image import decoder_process
from paperkey_alt.reading.image.bounds import MOST_PAGES, MOST_PIXELS, MOST_PIXELS_A_SIDE
from paperkey_alt.reading.image.decoder_process import (
    CORNERS,
    MOST_MEMORY,
    MOST_SECONDS,
    NUMBER,
    Answer,
    Request,
    numbers,
)
from paperkey_alt.reading.image.grey import Grey

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.codes import Code

_LONGEST_REFUSAL = 4096
_MOST_CODES = 1 << 12
_LONGEST_CODE = 1 << 14  # bytes: the largest symbol holds 7,089 digits (ISO/IEC 18004)
_FARTHEST = 2 * MOST_PIXELS_A_SIDE  # of a corner: it may be beside the page
_LIBRARIES = ("PIL", "pypdfium2", "zxingcpp")
# A module that is imported was compiled before; one that is run is compiled each time.
_PROGRAM = (
    f"import sys; sys.path[:0] = sys.argv[1:]; from {decoder_process.__name__} import main; main()"
)
_KEPT = ("SYSTEMROOT", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")  # without which it may not start


class Broken(Exception):
    """The process ended, or what it says is no answer."""


class DecodedPage:
    """
    A page that the process has decoded: its size in pixels, and whether its file ends too early.
    What else there is of it, the process tells until the next page is asked for; asking raises
    SourceError as `decoded` does.
    """

    def __init__(
        self, size: tuple[int, int], process: _Process, *, is_cut_short: bool = False
    ) -> None:
        self.width, self.height = size
        self.is_cut_short = is_cut_short
        self._process = process

    def codes(self, binarizer: int) -> Sequence[Code]:
        """Return the QR symbols of anybody on it, as `codes.find` does."""
        with self._process.told():
            codes = pull_codes(self._process.asked(Request.CODES, binarizer), self._process.name)
        # Where that process lacks the memory, this one may have it.
        return self.grey.codes(binarizer) if codes is None else codes

    @cached_property
    def grey(self) -> Grey:
        """The page as its pixels."""
        with self._process.told():
            stream = self._process.asked(Request.PIXELS)
            pixels = pull_pixels(stream, self.width * self.height, self._process.name)
        return Grey(self.width, self.height, pixels, self.is_cut_short)

    def picture(self) -> Picture:
        """Return the page as a picture."""
        return self.grey.picture()


@contextmanager
def decoded(
    data: bytes, name: str, wanted: Collection[int] = ()
) -> Iterator[tuple[int, Iterator[DecodedPage]]]:
    """
    Give how many pages the file *name* has, and these one by one, or those with the numbers
    *wanted*, as `scans.pages` does.

    Raises SourceError as that refuses, and where the decoder reaches a limit of memory or time;
    ImportError where a library is missing.
    """
    process = _Process(name)
    try:
        with process.told():
            process.ask(len(data), more=data)
            count = pull_count(process.asked(len(wanted), *wanted), name)
        yield count, _pages(process, len(wanted) or count)
    finally:
        process.end()


def pull_count(stream: IO[bytes], name: str) -> int:
    """Return how many pages the process announces; raises SourceError, Broken."""
    _require(stream, Answer.PAGES, name)
    count = _pull_number(stream)
    if not 1 <= count <= MOST_PAGES:
        raise Broken
    return count


def pull_size(stream: IO[bytes], name: str) -> tuple[int, int, bool]:
    """
    Return width and height of the page that the process gives next, and whether it is cut short;
    raises SourceError, Broken.
    """
    _require(stream, Answer.PICTURE, name)
    width, height, cut_short = (_pull_number(stream) for _ in range(3))
    if not (1 <= width * height <= MOST_PIXELS and cut_short in (0, 1)):
        raise Broken
    return width, height, bool(cut_short)


def pull_pixels(stream: IO[bytes], count: int, name: str) -> bytes:
    """Return the *count* pixels that the process gives next; raises SourceError, Broken."""
    _require(stream, Answer.PIXELS, name)
    return _pull(stream, count)


def pull_codes(stream: IO[bytes], name: str) -> list[Code] | None:
    """
    Return the QR symbols that the process gives next, None where it lacks the memory to look for
    them; raises SourceError, Broken.
    """
    answer = _require(stream, (Answer.CODES, Answer.NO_MEMORY), name)
    if answer == Answer.NO_MEMORY:
        return None
    count = _pull_number(stream)
    if count > _MOST_CODES:
        raise Broken
    return [_pull_code(stream) for _ in range(count)]


def _pull_code(stream: IO[bytes]) -> Code:
    at = CORNERS.unpack(_pull(stream, CORNERS.size))
    if max(map(abs, at)) > _FARTHEST:
        raise Broken
    is_valid = _pull_number(stream)
    text = _pull_text(stream, _LONGEST_CODE)
    corners = tuple(zip(at[::2], at[1::2], strict=True))
    if not is_valid:
        return None, corners
    if not _is_square_seen(corners):
        raise Broken
    return text, corners


def _is_square_seen(corners: Sequence[tuple[int, int]]) -> bool:
    """Tell whether *corners* are those of a square, from whatever side: all of them turn alike."""
    turns = []
    for at, (x, y) in enumerate(corners):
        (x_before, y_before), (x_next, y_next) = corners[at - 1], corners[(at + 1) % len(corners)]
        turns.append((x - x_before) * (y_next - y) - (y - y_before) * (x_next - x))
    return min(turns) > 0 or max(turns) < 0


class _Process:
    """The process that decodes the file *name*."""

    def __init__(self, name: str) -> None:
        self.name = name
        roots = [str(Path(__file__).parents[3])]
        for library in _LIBRARIES:
            spec = find_spec(library)
            if spec is None or spec.origin is None:
                raise ImportError(name=library)
            roots.append(str(Path(spec.origin).parents[1]))
        self._process = subprocess.Popen(  # noqa: S603 - this interpreter and a module of ours
            [sys.executable, "-I", "-S", "-X", "utf8", "-c", _PROGRAM, *dict.fromkeys(roots)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={name: os.environ[name] for name in _KEPT if name in os.environ},
            # A key that ends the command ends this process, and that by this process.
            start_new_session=True,
        )

    def ask(self, *request: int, more: bytes = b"") -> None:
        """Tell it *request* and *more*."""
        assert self._process.stdin
        # One that has ended by now says nothing more, which its answers tell.
        with suppress(BrokenPipeError):
            self._process.stdin.write(numbers(*request))
            self._process.stdin.write(more)
            self._process.stdin.flush()

    def asked(self, *request: int) -> IO[bytes]:
        """Return its answers, after it was told *request*."""
        self.ask(*request)
        assert self._process.stdout
        return self._process.stdout

    @contextmanager
    def told(self) -> Iterator[None]:
        """Say by which limit the process ended, where it does not answer as it must."""
        try:
            yield
        except Broken:
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(1)
            self._process.kill()
            if self._process.wait() == -getattr(signal, "SIGXCPU", 0):
                what = f"takes more than {MOST_SECONDS} s to decode, which is the limit"
            else:
                what = (
                    f"cannot be decoded: it is damaged, or takes more than {MOST_MEMORY >> 20} MiB "
                    "of memory, which is the limit"
                )
            raise SourceError(f"{self.name} {what}", advice=_LESS) from None

    def end(self) -> None:
        """End it."""
        self._process.kill()
        for stream in (self._process.stdin, self._process.stdout):
            assert stream
            with suppress(BrokenPipeError):
                stream.close()
        self._process.wait()


_LESS = "Scan it again with 300 dpi in grey, and save it as PNG or JPEG."


def _pages(process: _Process, count: int) -> Iterator[DecodedPage]:
    for number in range(count):
        with process.told():
            request = (Request.NEXT,) if number else ()  # the first page comes unasked
            width, height, cut_short = pull_size(process.asked(*request), process.name)
        yield DecodedPage((width, height), process, is_cut_short=cut_short)


def _require(stream: IO[bytes], expected: int | tuple[int, ...], name: str) -> int:
    answer = _pull_number(stream)
    if answer == Answer.REFUSED:
        what, advice = (_pull_text(stream, _LONGEST_REFUSAL) for _ in range(2))
        raise SourceError(f"{name} {what}", advice=advice or None)
    if answer not in (expected if isinstance(expected, tuple) else (expected,)):
        raise Broken
    return answer


def _pull_text(stream: IO[bytes], longest: int) -> str:
    length = _pull_number(stream)
    if length > longest:
        raise Broken
    try:
        return _pull(stream, length).decode()
    except UnicodeDecodeError:
        raise Broken from None


def _pull_number(stream: IO[bytes]) -> int:
    (number,) = NUMBER.unpack(_pull(stream, NUMBER.size))
    return int(number)


def _pull(stream: IO[bytes], length: int) -> bytes:
    data = stream.read(length)
    if len(data) != length:
        raise Broken
    return data
