"""
What a typed line may have been meant to be: each slip is found, and next to nothing by chance.
"""

import random

import pytest

from paperkey_alt.entry import slips
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET

SET = lay_out(random.Random(3).randbytes(600), 10)
EVERY = [SET.head_line, *SET.lines]
NUMBERS = range(1, SET.head.total + 1)


def wrong(text, *places, rng):
    """The text with other characters at these places."""
    return "".join(
        rng.choice(ALPHABET.replace(one, "")) if at in places else one
        for at, one in enumerate(text)
    )


def without(text, at):
    """The text without a character."""
    return text[:at] + text[at + 1 :]


def doubled(text, at):
    """The text with a character typed twice."""
    return text[:at] + text[at] + text[at:]


def swapped_groups(text, one, other):
    """The text with two groups of four swapped."""
    cut = [text[at : at + 4] for at in range(0, 24, 4)]
    cut[one], cut[other] = cut[other], cut[one]
    return "".join(cut) + text[24:]


def typed_twice(text, group):
    """The text with a group of four typed twice."""
    return text[: 4 * group + 4] + text[4 * group :]


# What a typist does to line *n*, and how many of 60 are found at the least.
SLIPS = {
    "a wrong character": (lambda n, r: wrong(EVERY[n], r.randrange(29), rng=r), 60),
    "two wrong characters": (lambda n, r: wrong(EVERY[n], *r.sample(range(29), 2), rng=r), 60),
    "a missing character": (lambda n, r: without(EVERY[n], r.randrange(29)), 60),
    "a missing character, and the next line begun": (
        lambda n, r: without(EVERY[n], r.randrange(29)) + EVERY[n + 1][: r.randrange(1, 9)],
        60,
    ),
    "a doubled character": (lambda n, r: doubled(EVERY[n], r.randrange(29)), 60),
    "two doubled characters": (
        lambda n, r: doubled(doubled(EVERY[n], r.randrange(14)), r.randrange(16, 30)),
        56,
    ),
    "a doubled and a wrong character": (
        lambda n, r: wrong(doubled(EVERY[n], r.randrange(29)), r.randrange(30), rng=r),
        56,
    ),
    "a doubled and a missing character": (
        lambda n, r: doubled(without(EVERY[n], r.randrange(14)), r.randrange(16, 28)),
        56,
    ),
    "two groups swapped": (lambda n, r: swapped_groups(EVERY[n], *r.sample(range(6), 2)), 60),
    "two groups swapped and a wrong character": (
        lambda n, r: wrong(
            swapped_groups(EVERY[n], *r.sample(range(6), 2)), r.randrange(29), rng=r
        ),
        54,
    ),
    "a group typed twice": (
        lambda n, r: typed_twice(EVERY[n], r.randrange(6)),
        60,
    ),
    "a row skipped": (lambda n, r: EVERY[n + r.randrange(1, 9)], 60),
    "a row skipped and a wrong character": (
        lambda n, r: wrong(EVERY[n + 1], r.randrange(29), rng=r),
        57,
    ),
}


@pytest.mark.parametrize("name", SLIPS)
def test_slips_are_found(name):
    """The line of the set that was meant, in nearly every case; another one never in these."""
    make, least = SLIPS[name]
    rng = random.Random(name)
    found = 0
    for number in [*range(1, 41)][:30] * 2:
        slip = slips.explain(make(number, rng), number, SET.head.mark, NUMBERS)
        if slip is not None:
            assert slip.exact == EVERY[slip.number]
            found += 1
    assert found >= least


def test_what_is_of_the_next_line_is_not_used():
    """28 characters of a line that lacks one; 30 of one that has one too many."""
    mark = SET.head.mark
    fewer = slips.explain(without(EVERY[5], 9) + EVERY[6][:5], 5, mark, NUMBERS)
    assert (fewer.used, fewer.exact) == (28, EVERY[5])
    more = slips.explain(EVERY[5][:9] + "Q" + EVERY[5][9:] + EVERY[6][:5], 5, mark, NUMBERS)
    assert (more.used, more.exact) == (30, EVERY[5])


def test_the_place_and_the_words():
    """What is said of each slip, and where the first of it is."""
    mark = SET.head.mark
    told = slips.explain(swapped_groups(EVERY[5], 1, 3), 5, mark, NUMBERS)
    assert (told.what, told.column) == ("groups 2 and 4 seem to be swapped", 5)
    told = slips.explain(EVERY[5][:12] + EVERY[5][8:], 5, mark, NUMBERS)
    assert (told.what, told.column) == ("group 3 is typed twice", 9)
    told = slips.explain(EVERY[8], 5, mark, NUMBERS)
    assert (told.what, told.number) == ("this seems to be line 8, not line 5", 8)


def test_a_group_left_out_is_found_by_its_place():
    """Among the places that the check allows is always the right one; mostly it is the only one."""
    rng, alone = random.Random(5), 0
    for number in range(1, 41):
        group = rng.randrange(6)
        text = EVERY[number][: 4 * group] + EVERY[number][4 * group + 4 :]
        found = slips.left_out(text, number, SET.head.mark)
        assert group in found
        alone += found == (group,)
    assert alone >= 28
    assert slips.left_out(EVERY[1], 1, SET.head.mark) == ()
    assert slips.left_out("?" * 25, 1, SET.head.mark) == ()


def test_nearly_nothing_is_found_in_noise():
    """Of 150 lines of random characters no more than 6 are taken for something (1.3 % by count)."""
    rng = random.Random(7)
    found = sum(
        slips.explain("".join(rng.choices(ALPHABET, k=34)), 5, SET.head.mark, NUMBERS) is not None
        for _ in range(150)
    )
    assert found <= 6
