"""
The process in which pictures and PDFs are decoded, and QR symbols looked for on them first: `main`
is what it runs, `Answer` what it says, `Request` what it is told.

Started by `decoder`. Beyond its standard streams it has nothing: no environment, no other
descriptor, and, where the system has such limits, no way to open, write or start anything, and no
more than so much memory and time.

    request:  length, bytes of the file; how many pages are wanted, 0 for all, and their numbers
    answers:  PAGES, count
    for each page that is wanted:
    answers:  PICTURE, width, height, whether it is cut short
    request:  CODES, how black is told from white; or PIXELS; as often as wanted, or NEXT
    answers:  CODES, count, and for each symbol its eight coordinates, whether it could be read,
              length and text; or NO_MEMORY
              PIXELS, the pixels
              at any place instead: REFUSED, and what and advice, each with its length before it

All numbers have 64 bits and are big-endian; coordinates alone may be negative.

Its start is in the time of each reading, so it imports little: not even typing, which takes longer
than all that PDFs need.
"""

from __future__ import annotations

import struct
import sys

from paperkey_alt.reading.image import codes, scans
from paperkey_alt.reading.image.bounds import MOST_PAGES, Refused

TYPE_CHECKING = False  # as said above
if TYPE_CHECKING:
    from typing import BinaryIO

    from paperkey_alt.reading.image.scans import Decoded

MOST_SECONDS = 8  # of CPU, and so many more for each page:
SECONDS_A_PAGE = 1  # half for decoding it, half for its symbols
MOST_MEMORY = 1 << 30
NUMBER = struct.Struct(">Q")
CORNERS = struct.Struct(">8q")


class Answer:
    """What comes next in the stream of answers."""

    PAGES, PICTURE, REFUSED, CODES, PIXELS, NO_MEMORY = range(1, 7)


class Request:
    """What is wanted of the page that was decoded last."""

    CODES, PIXELS, NEXT = range(1, 4)


def main() -> None:
    """Decode the file on standard input."""
    _limit("RLIMIT_CORE", 0)
    _limit("RLIMIT_AS", MOST_MEMORY)
    # Before the file is there, while the other process does its own.
    codes.load()
    requests, answers = sys.stdin.buffer, sys.stdout.buffer
    data = requests.read(_pull(requests))
    wanted = [_pull(requests) for _ in range(_pull(requests))]
    scans.load(data)
    for limit in ("RLIMIT_NOFILE", "RLIMIT_NPROC", "RLIMIT_FSIZE"):
        _limit(limit, 0)
    _limit("RLIMIT_CPU", MOST_SECONDS, MOST_SECONDS + SECONDS_A_PAGE * MOST_PAGES)
    try:
        answers.write(numbers(Answer.PAGES, scans.count(data)))
        for number, page in enumerate(scans.pages(data, wanted), 1):
            answers.write(numbers(Answer.PICTURE, page[0], page[1], page[3]))
            answers.flush()
            while (request := _pull(requests)) != Request.NEXT:
                if request == Request.CODES:
                    _answer_codes(answers, page, _pull(requests))
                else:
                    answers.write(numbers(Answer.PIXELS))
                    answers.write(page[2])
                answers.flush()
            _limit("RLIMIT_CPU", MOST_SECONDS + SECONDS_A_PAGE * number)
    except Refused as error:
        answers.write(numbers(Answer.REFUSED))
        for text in (error.what, error.advice):
            answers.write(_with_length(text))
    answers.flush()


def _answer_codes(answers: BinaryIO, page: Decoded, binarizer: int) -> None:
    width, height, pixels, _ = page
    try:
        found = codes.find(pixels, width, height, binarizer)
    except MemoryError:
        # A large picture may be held beside its pixels; the other process has no such limit.
        answers.write(numbers(Answer.NO_MEMORY))
        return
    answers.write(numbers(Answer.CODES, len(found)))
    for text, corners in found:
        answers.write(CORNERS.pack(*(value for corner in corners for value in corner)))
        answers.write(numbers(text is not None) + _with_length(text or ""))


def numbers(*values: int) -> bytes:
    """Return *values* as they stand in requests and answers."""
    return b"".join(map(NUMBER.pack, values))


def _with_length(text: str) -> bytes:
    data = text.encode(errors="replace")
    return numbers(len(data)) + data


def _pull(requests: BinaryIO) -> int:
    (number,) = NUMBER.unpack(requests.read(NUMBER.size))
    return int(number)


def _limit(name: str, soft: int, hard: int | None = None) -> None:
    """Set a limit of the system, where it has it; *hard* stays as it is where none is given."""
    try:
        import resource  # noqa: PLC0415 - not there on every system

        kind = getattr(resource, name)
        _, most = resource.getrlimit(kind)
        if name != "RLIMIT_CPU":
            hard = soft
        if hard is None or (most != resource.RLIM_INFINITY and most < hard):
            hard = most
        if hard != resource.RLIM_INFINITY:
            soft = min(soft, hard)
        resource.setrlimit(kind, (soft, hard))
    except (ImportError, AttributeError, OSError, ValueError):
        return
