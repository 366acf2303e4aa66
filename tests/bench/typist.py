"""
A scripted typist at the typing screen: ``python tests/bench/typist.py [SETS]``.

Sets of 40 lines are typed, each character wrong with a chance of 5 % (some are neighbours on the
keyboard, some left out, doubled or exchanged). Besides, of 100 lines 2 have two groups swapped, 1
lacks a group, 2 are not the line that is due but the row below it, and before 10 the printed number
is typed, with a blank behind it or without.

The typist looks at the screen when a line does not go on, types on where nothing is said, and takes
a proposal that agrees with the paper. Where there is none, the typist compares from the left, goes
to the first difference by the fewest keys, mends it and looks again; a line that is all different
is typed anew. Told are keys against what would be needed without a slip, and whether any slip
passed.
"""

import argparse
import random
import sys
from collections import Counter, deque

from paperkey_alt.entry import screen
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET

KEYBOARD = ("QWERTYUIOP", "ASDFGHJKL", "ZXCVBNM", "234567")
MOVES = ("left", "right", "home", "end", "next group", "group before")
MOST_MENDS = 6  # differences above which a line is typed anew


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
    groups = [line[at : at + 4] for at in range(0, 24, 4)] + [line[24:]]
    if rng.random() < 0.02:
        one, other = rng.sample(range(6), 2)
        groups[one], groups[other] = groups[other], groups[one]
    if rng.random() < 0.01:
        del groups[rng.randrange(6)]
    characters = [slipped(one, rng) if rng.random() < chance else one for one in "".join(groups)]
    for at in range(len(characters) - 1):
        if rng.random() < chance / 20:
            characters[at], characters[at + 1] = characters[at + 1], characters[at]
    return "".join(characters)


class Typist:
    """Somebody with the lines of a set before them, and the screen."""

    def __init__(self, every, rng, chance):
        self.every, self.rng, self.chance = every, rng, chance
        self.shown, self.counts = screen.start(Transcript()), Counter()

    def press(self, *keys):
        """Press keys, one after the other."""
        for key in keys:
            self.shown = screen.press(self.shown, key)
            self.counts["keys"] += 1

    def type_set(self):
        """Type all that is needed; return what happened, counted."""
        while not self.shown.left:
            self.type_line()
        self.counts["lines taken that are not the paper's"] = sum(
            self.every[number] != text for number, text in self.shown.transcript.lines.items()
        )
        return self.counts

    def type_line(self):
        """Type the line that is due, and look until it is taken."""
        number, done = self.shown.number, self.shown.transcript
        # What was typed on is there already.
        attempt = typed(self.every[number][len(self.shown.text) :], self.rng, self.chance)
        is_skipped = not self.shown.text and 0 < number < 39 and self.rng.random() < 0.02
        if is_skipped:
            attempt = typed(self.every[number + 1], self.rng, self.chance)
        if not self.shown.text and self.rng.random() < 0.1:
            printed = f"{number + is_skipped}{self.rng.choice(['', ' '])}"
            self.counts["numbers typed"] += 1
            attempt = printed + attempt
        else:
            printed = ""
        self.counts["lines"] += 1
        is_right = attempt.removeprefix(printed) == self.every[number][len(self.shown.text) :]
        self.counts["lines with a slip"] += not is_right
        self.press(*attempt)
        if self.was_taken(number, done):
            return
        if self.shown.problem is None and self.shown.text:
            self.type_on(number)
        self.counts["caught at their line"] += self.shown.problem is not None
        while not self.was_taken(number, done):
            self.mend(self.shown.number)

    def was_taken(self, number, done):
        """Whether the line went into the transcript, or another one waits."""
        is_more = len(self.shown.transcript.lines) > len(done.lines)
        return (
            self.shown.left
            or (is_more and self.shown.problem is None)
            or (self.shown.number != number and self.shown.problem is None)
        )

    def type_on(self, number):
        """Begin the next line: that something is missing was not seen."""
        for key in self.every[min(number + 1, len(self.every) - 1)]:
            if self.shown.problem is not None:
                break
            self.press(key)
            self.counts["keys of the next line, kept"] += 1

    def mend(self, number):
        """Take what is proposed, or mend the first difference from the paper."""
        problem = self.shown.problem
        if problem and problem.proposal:
            if problem.proposal == self.every[problem.number]:
                self.press("enter")
                self.counts["mended with one key"] += 1
                return
            self.counts["proposals that were not the paper's"] += 1
        text, paper = self.shown.text, self.every[number]
        mends = differences(text, paper)
        if not text or len(mends) > MOST_MENDS:
            self.counts["typed anew"] += 1
            if text:
                self.press("empty")
            self.press(*typed(paper, self.rng, self.chance))
        elif mends:
            self.counts["differences mended by hand"] += 1
            self.go_to(mends[0][0])
            self.press(*keys_for(*mends[0][1:], is_short=len(text) < len(paper)))
        waits = self.shown.number == number and not self.shown.left
        if waits and self.shown.problem is None and self.shown.text:
            self.press("enter")

    def go_to(self, place):
        """Move to a place in the line by the fewest keys."""
        waiting, seen = deque([((), self.shown)]), {self.shown.cursor}
        while waiting:
            keys, shown = waiting.popleft()
            if shown.cursor == place:
                self.press(*keys)
                return
            for key in MOVES:
                moved = screen.press(shown, key)
                if moved.cursor not in seen:
                    seen.add(moved.cursor)
                    waiting.append(((*keys, key), moved))


def keys_for(was, now, *, is_short):
    """The keys that put characters in the place of others; over a whole line one types."""
    if not now:
        return ["delete"] * len(was)
    if was and is_short:
        return ["delete", *now]
    if was or is_short:
        return [*now]
    return [key for character in now for key in ("make room", character)]


def differences(text, paper):
    """Where a text differs from the paper, from the left: place, what is there, what belongs."""
    found, at, there = [], 0, 0
    while at < len(paper):
        if there < len(text) and text[there] == paper[at]:
            at, there = at + 1, there + 1
            continue
        ways = (
            [("sub", 1, 1)]
            + [("missing", count, 0) for count in (1, 4, 2, 3)]
            + [("surplus", 0, 1)]
        )
        _, belongs, is_there = max(
            ways,
            key=lambda way: sum(
                one == other
                for one, other in zip(
                    paper[at + way[1] : at + way[1] + 5],
                    text[there + way[2] : there + way[2] + 5],
                    strict=False,
                )
            ),
        )
        found.append((there, text[there : there + is_there], paper[at : at + belongs]))
        at, there = at + belongs, there + is_there
    return found


def main():
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("sets", type=int, nargs="?", default=100)
    given = parser.parse_args()
    total = Counter()
    for seed in range(given.sets):
        rng = random.Random(seed)
        made = lay_out(rng.randbytes(600), 10)
        total.update(Typist([made.head_line, *made.lines], rng, 0.05).type_set())
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
