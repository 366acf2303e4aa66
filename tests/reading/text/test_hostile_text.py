"""Text that is made to take long: the work grows with its length, and the length has a limit."""

import subprocess
import sys
import time

import pytest
from hostile import base64_text, heads_and_junk, short_rows, words_text

from paperkey_alt.errors import SourceError
from paperkey_alt.reading import sources
from paperkey_alt.reading.sources import MOST_CHARACTERS

TEXTS = {
    "base64": base64_text,
    "numbers and groups in one row": words_text,
    "rows of a number": short_rows,
    "numbers and dashes": lambda size: b"7 - - - - - - - - - - - - - - - - - " * (size // 36),
    "one word": lambda size: b"A" * size,
    "glued": lambda size: b"7ABCD " * (size // 6),
    "digits": lambda size: b"1" * size,
    "heads": lambda size: heads_and_junk(size // 40, size // 80),
}


# The less disturbed of two runs.
MEASURE = """
import sys, time
from paperkey_alt.reading import sources
data, taken = sys.stdin.buffer.read(), []
for _ in range(2):
    start = time.process_time()
    list(sources.read(data, "harbour.txt"))
    taken.append(time.process_time() - start)
print(min(taken))
"""


def seconds(data):
    """The seconds of CPU that reading takes, in a process in which nothing counts branches."""
    done = subprocess.run(
        [sys.executable, "-c", MEASURE], input=data, stdout=subprocess.PIPE, check=True
    )
    return float(done.stdout)


@pytest.mark.long
@pytest.mark.parametrize("kind", TEXTS)
def test_the_work_grows_with_the_length(kind):
    """Four times the text takes less than eight times as long, and a limit's worth 20 s."""
    once, four = seconds(TEXTS[kind](25_000)), seconds(TEXTS[kind](100_000))
    assert four < 8 * once + 0.1
    assert four * MOST_CHARACTERS / 100_000 < 20


@pytest.mark.parametrize("size", [MOST_CHARACTERS + 1, 60 << 20])
def test_long_text_is_refused_with_the_limit(size):
    """One character more than the limit, and much more, are refused at once."""
    start = time.process_time()
    with pytest.raises(SourceError, match="a million characters"):
        list(sources.read(b"A" * size, "harbour.txt"))
    assert time.process_time() - start < 1
