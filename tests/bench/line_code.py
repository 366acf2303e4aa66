"""
The check of a line, tried in full: ``python tests/bench/line_code.py [EVERY]``.

One line is damaged in every way of a kind and decoded: every one and every two wrong characters,
every two neighbours exchanged, every character missing, every one too many, every four that cannot
be read; then 64 lines, every sixteenth, under each other number. Each must be mended to the line
that it was, with the places told, or be refused; none may be mended to another line. What one line
shows of wrong characters holds for all lines: the code is linear, so what it makes of a difference
depends on the difference alone. Of missing and surplus characters it does not, for the difference
depends on the line.

Four and more wrong characters are past what the check can tell, and are drawn at random; a line
that is mended wrongly then is a proposal. Each such proposal goes into a set, to see what the
digest makes of it, and so does every line of a set under every mistaken number.

EVERY greater than 1 tries only each so manieth case, for those in a hurry. The exit status is 1
where a line was mended to another one within the limit, or a set gave another body.
"""

import random
import sys
import time
from collections import Counter
from itertools import combinations, islice, product

from paperkey_alt.errors import LineError, Place, RagleafError
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import (
    ALPHABET,
    CHARACTERS,
    LAST_NUMBER,
    UNREADABLE,
    Line,
    Mend,
    decode,
    encode,
)
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import recover

MARK = "KQ7MB"
LINE = Line(517, bytes.fromhex("4d18f2a07be3591c66d0b8352e9f41"))
TEXT = encode(LINE, MARK)
DRAWN = 20_000
EACH_NUMBER = 16
OTHER_CHARACTERS = {character: ALPHABET.replace(character, "") for character in ALPHABET}

# A set that has to do with few lines, and one of usual size.
SMALL = (60, 4)
USUAL = (600, 10)


def changed(places, characters):
    """The line with other characters in these places, and what a mend must tell of them."""
    text = list(TEXT)
    for at, character in zip(places, characters, strict=True):
        text[at] = character
    told = tuple(
        Mend(at + 1, character, TEXT[at]) for at, character in zip(places, characters, strict=True)
    )
    return "".join(text), told


def wrong(count):
    """Every line with so many wrong characters."""
    for places in combinations(range(CHARACTERS), count):
        for characters in product(*(OTHER_CHARACTERS[TEXT[at]] for at in places)):
            yield changed(places, characters)


def exchanged():
    """Every line with two neighbours exchanged."""
    for at in range(CHARACTERS - 1):
        if TEXT[at] != TEXT[at + 1]:
            yield changed((at, at + 1), (TEXT[at + 1], TEXT[at]))


def missing():
    """Every line that lacks a character; of equal neighbours the first counts."""
    for at, character in enumerate(TEXT):
        first = len(TEXT[:at].rstrip(character))
        yield TEXT[:at] + TEXT[at + 1 :], (Mend(first + 1, "", character),)


def surplus():
    """Every line with a character too many."""
    for at in range(CHARACTERS + 1):
        for character in ALPHABET:
            first = len(TEXT[:at].rstrip(character))
            yield TEXT[:at] + character + TEXT[at:], (Mend(first + 1, character, ""),)


def unreadable(count):
    """Every line with so many characters that cannot be read."""
    for places in combinations(range(CHARACTERS), count):
        yield changed(places, UNREADABLE * count)


# kind → its cases, and whether the number is given
KINDS = {
    "one wrong character": (lambda: wrong(1), True),
    "two wrong characters": (lambda: wrong(2), True),
    "two neighbours swapped": (exchanged, True),
    "one character missing": (missing, True),
    "one character too many": (surplus, True),
    "four unreadable characters": (lambda: unreadable(4), True),
    "no number": (lambda: [(TEXT, ())], False),
    "no number, one wrong": (lambda: wrong(1), False),
    "no number, two wrong": (lambda: wrong(2), False),
    "no number, two swapped": (exchanged, False),
    "no number, one missing": (missing, False),
    "no number, one too many": (surplus, False),
    "no number, two unreadable": (lambda: unreadable(2), False),
}


def mistaken_numbers():
    """Some lines under every other number: the number, the text and the number given."""
    for number in range(1, LAST_NUMBER + 1, EACH_NUMBER):
        text = encode(Line(number, LINE.data), MARK)
        for given in range(LAST_NUMBER + 1):
            if given != number:
                yield number, text, given


def verdict(text, given, line, told):
    """What became of one case, and the check symbols spent on it."""
    try:
        decoded = decode(text, given, MARK)
    except LineError:
        return "refused", None
    if decoded.line != line:
        return "another line", decoded.spent
    return "mended" if decoded.mends == told else "mended, other places told", decoded.spent


def row(name, verdicts):
    """Print the row of one kind; return whether no line was mended to another one."""
    counts = Counter(what for what, _ in verdicts.elements())
    spent = sorted({spent for _, spent in verdicts if spent is not None})
    elsewhere = counts["mended, other places told"]
    print(
        f"| {name} | {counts.total():,} | {counts['mended'] + elsewhere:,} | {counts['refused']:,} "
        f"| {counts['another line']:,} | {elsewhere:,} | {', '.join(map(str, spent)) or '–'} |",
        flush=True,
    )
    return not counts["another line"]


def tried_in_full(every):
    """Print the table of all that is tried in full; return whether none was mended wrongly."""
    print("| what is wrong | cases | mended | refused | another line | other places told | spent |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | --- |")
    fine = []
    for name, (cases, has_number) in KINDS.items():
        given = LINE.number if has_number else None
        verdicts = Counter(
            verdict(text, given, LINE, told) for text, told in islice(cases(), 0, None, every)
        )
        fine.append(row(name, verdicts))
    verdicts = Counter(
        verdict(text, given, Line(number, LINE.data), (Mend(0, str(given), str(number)),))
        for number, text, given in islice(mistaken_numbers(), 0, None, every)
    )
    fine.append(row("another line's number", verdicts))
    return all(fine)


def drawn(every):
    """Print the table of what is drawn at random; return whether three wrong ones are refused."""
    choose = random.Random(5)
    line_set = lay_out(choose.randbytes(USUAL[0]), USUAL[1])
    mark, fine = line_set.head.mark, True
    print()
    print(
        "| wrong characters | cases | refused | another line | in a set: the body | another body |"
    )
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for count in (3, 4, 5, 8, CHARACTERS):
        outcomes = Counter()
        for _ in range(DRAWN // every):
            number = choose.randrange(1, line_set.head.total + 1)
            text = list(line_set.lines[number - 1])
            for at in choose.sample(range(CHARACTERS), count):
                text[at] = choose.choice(OTHER_CHARACTERS[text[at]])
            try:
                decode("".join(text), number, mark)
            except LineError:
                outcomes["refused"] += 1
                continue
            outcomes["another line"] += 1
            outcomes[in_a_set(line_set, number, number, "".join(text))] += 1
        print(
            f"| {count} | {DRAWN // every:,} | {outcomes['refused']:,} "
            f"| {outcomes['another line']:,} | {outcomes['body']:,} "
            f"| {outcomes['another body']:,} |",
            flush=True,
        )
        fine = fine and not outcomes["another body"] and (count > 3 or not outcomes["another line"])
    return fine


def in_a_set(line_set, number, given, text):
    """What comes of a set of which one line was read as *text*, under the number *given*."""
    rows = [(0, line_set.head_line), *enumerate(line_set.lines, 1)]
    rows[number] = (given, text)
    try:
        findings = recover([RawLine(Place(row=at), (there,)) for at, there in enumerate(rows)])
    except RagleafError:
        return "refused"
    laid_out = {finding.laid_out() for finding in findings.sets} - {None}
    if laid_out - {line_set}:
        return "another body"
    return "body" if laid_out else "refused"


def numbers_in_a_set(every):
    """Print what comes of a set with a line under a mistaken number; return whether it is right."""
    line_set = lay_out(random.Random(6).randbytes(SMALL[0]), SMALL[1])
    cases = [
        (number, given)
        for number in range(1, line_set.head.total + 1)
        for given in range(LAST_NUMBER + 1)
        if given != number
    ]
    outcomes = Counter(
        in_a_set(line_set, number, given, line_set.lines[number - 1])
        for number, given in cases[::every]
    )
    print()
    print(
        f"Each line of a set of {line_set.head.total} under each other number, "
        f"{outcomes.total():,} sets: the body of {outcomes['body']:,}, refused "
        f"{outcomes['refused']:,}, another body {outcomes['another body']:,}."
    )
    return not outcomes["another body"]


def main(every=1):
    """Print the tables."""
    start = time.process_time()
    fine = [tried_in_full(every), drawn(every), numbers_in_a_set(every)]
    print(f"\n{time.process_time() - start:.0f} s of CPU")
    return 0 if all(fine) else 1


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
