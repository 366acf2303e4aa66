"""
A scripted typist at the typing screen: ``python tests/bench/typist.py [SETS]``.

Sets of 40 lines are typed, each character wrong with a chance of 5 % (some are neighbours on the
keyboard, some left out, doubled or exchanged). The typist looks at the screen when a line does not
go on: takes a proposal that agrees with the paper, and types the line anew otherwise. Told are keys
against what would be needed without a slip, and whether any slip passed.
"""

import argparse
import random
import sys
from collections import Counter

from paperkey_alt.entry import screen
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET

KEYBOARD = ("QWERTYUIOP", "ASDFGHJKL", "ZXCVBNM", "234567")


def slipped(character, rng):
    """What is typed instead of a character."""
    row = next(row for row in KEYBOARD if character in row)
    at = row.index(character)
    beside = [row[other] for other in (at - 1, at + 1) if 0 <= other < len(row)]
    return rng.choices(
        (rng.choice(beside), rng.choice(ALPHABET), "", character * 2), weights=(60, 20, 10, 10)
    )[0]


def typed(line, rng, chance):
    """The characters of a line as they are typed, slips and all."""
    characters = [slipped(one, rng) if rng.random() < chance else one for one in line]
    for at in range(len(characters) - 1):
        if rng.random() < chance / 20:
            characters[at], characters[at + 1] = characters[at + 1], characters[at]
    return "".join(characters)


def type_set(every, rng, chance):
    """Type a set; return what happened, counted."""
    shown, counts = screen.start(Transcript()), Counter()
    while not shown.left:
        number = shown.number
        attempt = typed(every[number], rng, chance)
        counts["lines"] += 1
        counts["lines with a slip"] += attempt != every[number]
        for key in attempt:
            if shown.number != number:
                # The line was taken already; a careful typist stops here, a careless one has one
                # key too many.
                counts["keys after the line"] += 1
            shown = screen.press(shown, key)
            counts["keys"] += 1
        if shown.number == number and not shown.left and shown.problem is None:
            shown = screen.press(shown, "enter")
            counts["keys"] += 1
        if shown.number == number and not shown.left:
            counts["caught at their line"] += 1
            proposal = shown.problem.proposal if shown.problem else None
            if proposal == every[shown.problem.number]:
                shown = screen.press(shown, "enter")
                counts["keys"] += 1
                counts["mended with one key"] += 1
            else:
                counts["proposals that were not the paper's"] += proposal is not None
                shown = screen.press(shown, "empty")
                counts["keys"] += 1
                counts["typed anew"] += 1
        elif shown.number != number and shown.text:
            shown = screen.press(shown, "empty")
            counts["keys"] += 1
    counts["lines taken that are not the paper's"] = sum(
        every[number] != text for number, text in shown.transcript.lines.items()
    )
    return counts


def main():
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("sets", type=int, nargs="?", default=100)
    given = parser.parse_args()
    total = Counter()
    for seed in range(given.sets):
        rng = random.Random(seed)
        made = lay_out(rng.randbytes(600), 10)
        total.update(type_set([made.head_line, *made.lines], rng, 0.05))
    fewest = given.sets * 41 * 29
    print(f"{given.sets} sets of 40 data lines and a head line, one character in twenty wrong\n")
    for what, count in total.items():
        print(f"  {what:<38}{count:>9}")
    print(
        f"  {'keys that would do without a slip':<38}{fewest:>9}   ({total['keys'] / fewest:.2f} "
        "times as many were pressed)"
    )


if __name__ == "__main__":
    sys.exit(main())
