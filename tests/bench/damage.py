"""
Random damage to typed lines: ``python tests/bench/damage.py [TRIALS] [SEED]``.

Each trial writes the lines of a random payload as text, damages the text (wrong characters,
missing, surplus and swapped ones, lost, swapped and foreign lines, other spellings), and reads it
back. Three outcomes are counted: restored exactly, refused with the lines named, and restored
wrongly; the last must be 0. The promised limit: lines beyond repair (three or more wrong
characters) cost one spare line, or two where the check may mend them wrongly (four or more); lost
lines cost one.
"""

import random
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from paperkey_alt.errors import RagleafError
from paperkey_alt.format import payload
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import text_file

CHUNK = 500
# Three of four are short: the longest takes four times as long as they do.
PAYLOAD_BYTES = (40, 60, 80) * 4 + (60, 150, 300, 620)


def wrong_characters(line, choose):
    """Between 1 and 12 other characters; the cost is by the promise."""
    count = choose.choice((1, 1, 1, 2, 2, 3, 4, 5, 8, 12))
    columns = choose.sample(
        [at for at, character in enumerate(line) if character in ALPHABET], count
    )
    changed = [
        choose.choice(ALPHABET.replace(character, "")) if at in columns else character
        for at, character in enumerate(line)
    ]
    return "".join(changed), 0 if count <= 2 else 1 if count == 3 else 2


def missing(line, choose):
    """One character not typed."""
    at = choose.randrange(29)
    return line[:at] + line[at + 1 :], 0


def surplus(line, choose):
    """One character typed twice."""
    at = choose.randrange(29)
    return line[:at] + line[at] + line[at:], 0


def swapped(line, choose):
    """Two neighbours exchanged."""
    at = choose.randrange(28)
    return line[:at] + line[at + 1] + line[at] + line[at + 2 :], 0


def look_alikes(line, choose):
    """O, I and B typed as 0, 1 and 8."""
    return line.translate(str.maketrans("OIB", "018")), 0


def lower_case(line, choose):
    """Small letters and hyphens."""
    return "-".join(line[at : at + 4] for at in range(0, 29, 4)).lower(), 0


SLIPS = (
    wrong_characters,
    wrong_characters,
    wrong_characters,
    missing,
    surplus,
    swapped,
    look_alikes,
    lower_case,
)


def damaged(line_set, choose):
    """The typed text of a set, and how many spare lines its damage costs."""
    rows = dict(enumerate(line_set.lines, 1))
    cost = 0
    for number in choose.sample(list(rows), choose.randrange(0, 1 + len(rows) // 2)):
        rows[number], price = choose.choice(SLIPS)(rows[number], choose)
        cost += price
    for number in choose.sample(list(rows), choose.randrange(0, 1 + line_set.head.spare_lines)):
        del rows[number]
        cost += 1
    numbers = list(rows)
    for _ in range(choose.randrange(3)):
        # A line typed under another's number is told its own, if nothing else is wrong with it.
        first, second = choose.sample(numbers, 2)
        rows[first], rows[second] = rows[second], rows[first]
        cost += 4
    typed_rows = [
        f"{number}{choose.choice(('  ', ' ', '. ', ') '))}{line}" for number, line in rows.items()
    ]
    choose.shuffle(typed_rows)
    return [f"0 {line_set.head_line}", *typed_rows], cost


def chunk(seed):
    """Some trials; the outcomes counted."""
    choose = random.Random(seed)
    outcomes = Counter()
    for _ in range(CHUNK):
        carried = payload.Whole(choose.randbytes(choose.choice(PAYLOAD_BYTES)))
        body = payload.pack(carried)
        line_set = lay_out(body, spare_count(-(-len(body) // 15)))
        rows, cost = damaged(line_set, choose)
        foreign = text_file.write(lay_out(choose.randbytes(90), 4), ()).splitlines()[1:]
        rows += choose.sample(foreign, choose.randrange(3))
        within = "within" if cost <= line_set.head.spare_lines else "beyond"
        outcomes[within, outcome("\n".join(rows), carried)] += 1
    return outcomes


def outcome(rows, carried):
    """What became of one trial."""
    try:
        findings = recover(typed.read(rows, "typed"))
        bodies = [found.body for found in findings.sets if found.body is not None]
        if not bodies:
            (found,) = findings.sets
            named = any(line.status is not Status.FINE for line in found.lines)
            return "refused, lines named" if named else "refused, no line named"
        restored = [payload.unpack(body) for body in bodies]
    except RagleafError:
        return "refused by an error"
    return "exact" if restored == [carried] else "WRONG KEY"


def main(trials=100_000, seed=1):
    """Run the trials on two cores and print the table."""
    start = time.perf_counter()
    total = Counter()
    with ProcessPoolExecutor(2) as pool:
        for outcomes in pool.map(chunk, range(seed, seed + trials // CHUNK)):
            total += outcomes
    for (within, what), count in sorted(total.items()):
        print(f"{within:<8}{what:<24}{count:>9,}")
    print(f"{sum(total.values()):,} trials in {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
