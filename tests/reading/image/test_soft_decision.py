"""Which characters a row has: likely ones, until the check of the line agrees."""

import random

import numpy as np
import pytest

from paperkey_alt.format.lines import ALPHABET, CHARACTERS, Line, encode
from paperkey_alt.reading.image import soft_decision

MARK = "KQ7MB"


def seen(text, wrong=(), blank=(), *, seed=0):
    """
    How like each character the cells of *text* look; at *wrong* places another one looks likeliest
    and the right one second.
    """
    rng = np.random.default_rng(seed)
    likeness = rng.uniform(0.1, 0.5, (CHARACTERS, len(ALPHABET))).astype(np.float32)
    for at, character in enumerate(text):
        likeness[at, ALPHABET.index(character)] = 0.9
    for at in wrong:
        other = (ALPHABET.index(text[at]) + 1 + int(rng.integers(len(ALPHABET) - 1))) % len(
            ALPHABET
        )
        likeness[at, ALPHABET.index(text[at])], likeness[at, other] = 0.7, 0.72
    for at in blank:
        likeness[at] = rng.uniform(0.0, 0.3, len(ALPHABET))
    return likeness


def lines(count):
    """Some lines, with their numbers."""
    rng = random.Random(4)
    for _ in range(count):
        number = rng.randrange(1024)
        yield number, encode(Line(number, rng.randbytes(15)), MARK)


@pytest.mark.parametrize("slips", range(9))
def test_doubtful_characters_are_settled_by_the_check(slips):
    """
    Up to eight cells where the right character is only the second likeliest: the line comes out
    right.
    """
    for number, text in lines(40):
        wrong = random.Random(number).sample(range(CHARACTERS), slips)
        assert soft_decision.decode(seen(text, wrong, seed=number), number, MARK) == text


def test_noise_is_hardly_ever_taken_for_a_line():
    """
    8,192 choices against 2²⁵ checks: of 2,000 rows of noise, one in 4,000 is to be expected, and
    three are allowed.
    """
    taken = 0
    for number in range(2000):
        noise = (
            np.random.default_rng(number)
            .uniform(0.3, 0.9, (CHARACTERS, len(ALPHABET)))
            .astype(np.float32)
        )
        taken += soft_decision.decode(noise, number % 1024, MARK) is not None
    assert taken <= 3


def test_a_sharp_row_of_another_set_or_number_is_not_bent_into_a_line():
    """
    What looks unlike the characters that would be needed costs more than noise does, and is rare
    all the same.
    """
    taken = sum(
        soft_decision.decode(seen(text, seed=number), *other) is not None
        for number, text in lines(500)
        for other in (((number + 1) % 1024, MARK), (number, "AAAAA"))
    )
    assert taken <= 3


def test_what_does_not_look_like_a_character_is_unreadable():
    """
    A blank cell is a question mark, and the doubtful ones are, the least sure first, as many as are
    wanted.
    """
    text = next(text for _, text in lines(1))
    assert soft_decision.hard_decision(seen(text, blank=(3, 7))) == "".join(
        "?" if at in (3, 7) else one for at, one in enumerate(text)
    )
    unsure = soft_decision.erased(seen(text, wrong=(1, 2, 5)), 2)
    assert unsure.count("?") == 2
    assert {at for at, one in enumerate(unsure) if one == "?"} < {1, 2, 5}
