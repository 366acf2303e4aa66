"""
The process in which pictures and PDFs are decoded: `main` is what it runs, `Answer` what it says.

Started by `decoder`. Beyond its standard streams it has nothing: no environment, no other
descriptor, and, where the system has such limits, no way to open, write or start anything, and no
more than so much memory and time.

    request:  length, bytes of the file
    answers:  PAGES, count; PICTURE, width, height, whether it is cut short, pixels for each page;
              END
              at any place instead: REFUSED, length, what and advice as a JSON array

All numbers are unsigned, of 64 bits, big-endian.
"""

from __future__ import annotations

import json
import math
import struct
import sys
from contextlib import suppress
from enum import IntEnum

MOST_SECONDS = 8  # of CPU, and so many more for each page:
SECONDS_A_PAGE = 0.5
MOST_MEMORY = 1 << 30
NUMBER = struct.Struct(">Q")


class Answer(IntEnum):
    """What comes next in the stream of answers."""

    PAGES = 1
    PICTURE = 2
    END = 3
    REFUSED = 4


def main() -> None:
    """Decode the file on standard input; the arguments are the folders of the libraries."""
    _limit("RLIMIT_CORE", 0)
    _limit("RLIMIT_AS", MOST_MEMORY)
    sys.path[:0] = sys.argv[1:]
    # Loaded before the file is there, while the other process loads its own.
    from paperkey_alt.errors import SourceError  # noqa: PLC0415 - its folder is an argument
    from paperkey_alt.reading.image import grey, scans  # noqa: PLC0415 - its folder is an argument

    requests, answers = sys.stdin.buffer, sys.stdout.buffer
    (length,) = NUMBER.unpack(requests.read(NUMBER.size))
    data = requests.read(length)
    scans.load(data)
    for limit in ("RLIMIT_NOFILE", "RLIMIT_NPROC", "RLIMIT_FSIZE"):
        _limit(limit, 0)
    _limit("RLIMIT_CPU", MOST_SECONDS, MOST_SECONDS + math.ceil(SECONDS_A_PAGE * grey.MOST_PAGES))
    try:
        # The other process puts the name in front.
        count = scans.count(data, "")
        answers.write(numbers(Answer.PAGES, count))
        for number, page in enumerate(scans.pages(data, ""), 1):
            size = page.width, page.height
            answers.write(numbers(Answer.PICTURE, *size, page.is_cut_short))
            answers.write(page.pixels)
            answers.flush()
            _limit("RLIMIT_CPU", MOST_SECONDS + int(SECONDS_A_PAGE * number))
        answers.write(numbers(Answer.END))
    except SourceError as error:
        refusal = json.dumps([error.what, error.advice]).encode()
        answers.write(numbers(Answer.REFUSED, len(refusal)) + refusal)
    answers.flush()


def numbers(*values: int) -> bytes:
    """Return *values* as they stand in requests and answers."""
    return b"".join(map(NUMBER.pack, values))


def _limit(name: str, soft: int, hard: int | None = None) -> None:
    """Set a limit of the system, where it has it; *hard* stays as it is where none is given."""
    with suppress(ImportError, AttributeError, OSError, ValueError):
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


if __name__ == "__main__":
    main()
