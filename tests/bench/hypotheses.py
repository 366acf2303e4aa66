"""
How many doubtful lines have to be dropped: ``python tests/bench/hypotheses.py [SETS]``.

A line with four or more wrong characters is mended into another one in 1 or 2 of 100 cases, and
costs two spare lines then instead of one. Each set here has as many such lines as spare lines, and
beside them as many with two wrong characters, which are mended rightly and spend as much: so only
the hypothesis that drops the false ones alone gives the body. Counted is what comes back where
none, one, two or three lines may be dropped, and how many hypotheses that took.
"""

import random
import sys
import time
from collections import Counter

from paperkey_alt.errors import Place
from paperkey_alt.format import recover as recovering
from paperkey_alt.format import spare_lines
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.format.raw_line import RawLine

DATA, SPARE = 80, 20


def wrong(text, count, choose):
    """The line with so many wrong characters."""
    places = choose.sample(range(len(text)), count)
    return "".join(
        choose.choice(ALPHABET.replace(character, "")) if at in places else character
        for at, character in enumerate(text)
    )


def damaged(choose):
    """The raw lines of a set at the limit of what can be recovered, and its body."""
    body = choose.randbytes(15 * DATA)
    line_set = lay_out(body, SPARE)
    numbers = choose.sample(range(1, DATA + SPARE + 1), 2 * SPARE)
    slips = {number: choose.randrange(4, 9) for number in numbers[:SPARE]}
    slips |= dict.fromkeys(numbers[SPARE:], 2)
    rows = {0: line_set.head_line} | {
        number: wrong(text, slips.get(number, 0), choose)
        for number, text in enumerate(line_set.lines, 1)
    }
    return [RawLine(Place(row=at), ((at, text),)) for at, text in rows.items()], body


def main(sets=1000):
    """Print the table."""
    tried = Counter()
    mend = spare_lines.mend

    def counting(*given):
        tried["now"] += 1
        return mend(*given)

    spare_lines.mend = counting
    print("dropped at most   came back  hypotheses at most  seconds at most")
    for most in range(4):
        recovering.MOST_DROPPED = most
        choose = random.Random(7)
        back, hypotheses, slowest = 0, 0, 0.0
        for _ in range(sets):
            raw_lines, body = damaged(choose)
            tried["now"], start = 0, time.process_time()
            (found,) = recovering.recover(raw_lines).sets
            slowest = max(slowest, time.process_time() - start)
            hypotheses = max(hypotheses, tried["now"])
            assert found.body in (body, None)
            back += found.body == body
        print(f"{most:<17}{100 * back / sets:>8.1f} %{hypotheses:>20}{slowest:>17.2f}", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
