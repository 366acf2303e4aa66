"""
Typing line by line, with answers instead of a terminal: what is asked, what is said, and what is
saved.
"""

import random

import pytest

from paperkey_alt.entry import line_by_line
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET

SET = lay_out(random.Random(3).randbytes(60), 2)
EVERY = [SET.head_line, *SET.lines]
DATA = SET.head.data_lines


class Desk:
    """Somebody with answers in a row; what was asked, said and saved."""

    def __init__(self, *answers):
        self.answers, self.asked, self.said, self.saved = list(answers), [], [], []

    def ask(self, prompt):
        """The next answer; None at the end of them."""
        self.asked.append(prompt)
        return self.answers.pop(0) if self.answers else None

    def type(self, begun=None):
        """Type, from the beginning or from a transcript; return it as it is left."""
        return line_by_line.run(
            begun or Transcript(), self.saved.append, say=self.said.extend, ask=self.ask
        )


def wrong(line, at=4):
    """The line with another character at a place."""
    return line[:at] + ALPHABET[ALPHABET.index(line[at]) ^ 5] + line[at + 1 :]


def numbers(asked):
    """The line numbers that were asked for."""
    return [int(prompt) for prompt in asked if prompt.strip().isdecimal()]


def test_right_lines_are_saved_one_by_one():
    """In any grouping and case, until no more are needed; each answer is saved at once."""
    desk = Desk(*(f"{line[:9]} {line[9:].lower()}" for line in EVERY[: DATA + 1]))
    left = desk.type()
    assert (left.needed, left.head) == (0, SET.head)
    assert numbers(desk.asked) == list(range(DATA + 1))
    assert [len(typed.lines) for typed in desk.saved] == list(range(1, DATA + 2))
    added = [
        later.lines_since(before)
        for before, later in zip([Transcript(), *desk.saved], desk.saved, strict=False)
    ]
    assert added == [[(number, EVERY[number])] for number in range(DATA + 1)]
    assert f"Set {SET.head.mark}: {DATA} more lines needed." in desk.said


@pytest.mark.parametrize("agreed", ["y", "YES"])
def test_what_is_proposed_is_taken_when_agreed_to(agreed):
    """The place is pointed at, the line proposed, and taken."""
    desk = Desk(EVERY[0], wrong(EVERY[1]), agreed)
    left = desk.type()
    assert left.lines[1] == EVERY[1]
    assert any("character 5 is perhaps" in text for text in desk.said)
    assert any(text.endswith("^") for text in desk.said)


@pytest.mark.parametrize("agreed", ["n", "", None])
def test_what_is_proposed_is_not_taken_otherwise(agreed):
    """Not when it is denied, nor at the end of the input: the line is asked for again."""
    desk = Desk(EVERY[0], wrong(EVERY[1]), *([] if agreed is None else [agreed]))
    left = desk.type()
    assert 1 not in left.lines
    assert numbers(desk.asked) == [0, 1, 1]
    assert len(desk.saved) == 1


def test_a_line_that_is_no_line_is_asked_for_again():
    """What is wrong is said, and nothing is proposed."""
    desk = Desk(EVERY[0], EVERY[1][:20], EVERY[1])
    left = desk.type()
    assert left.lines[1] == EVERY[1]
    assert numbers(desk.asked)[:3] == [0, 1, 1]
    assert any("line too short: 20 characters, expected 29" in text for text in desk.said)


def test_a_line_is_put_off_and_gone_to():
    """Skipped, it is not asked for but when it is gone to by its number; others are as usual."""
    desk = Desk(EVERY[0], "skip", EVERY[2], "go 1", EVERY[1], "stop")
    left = desk.type()
    assert numbers(desk.asked) == [0, 1, 2, 3, 1, 3]
    assert set(left.lines) == {0, 1, 2}
    assert left.skipped == frozenset()


def test_nothing_is_gone_to_behind_the_last_line():
    """A number that is too large means the last line; before line 0 is there, line 0."""
    desk = Desk("go 7", EVERY[0], "go 9999", "stop")
    desk.type()
    assert numbers(desk.asked) == [0, 0, 1, SET.head.total]


def test_spare_lines_stand_in_for_those_put_off():
    """They are asked for when the data lines are through."""
    desk = Desk(EVERY[0], "skip", *EVERY[2 : DATA + 1], EVERY[DATA + 1])
    left = desk.type()
    assert left.needed == 0
    assert numbers(desk.asked)[-1] == DATA + 1


def test_an_empty_answer_goes_on():
    """To the next line; nothing is saved of it."""
    desk = Desk(EVERY[0], "", EVERY[2])
    left = desk.type()
    assert set(left.lines) == {0, 2}


@pytest.mark.parametrize("end", [["stop"], [" STOP "], []])
def test_it_can_be_stopped(end):
    """By the word, or by the end of the input; what was typed is left."""
    desk = Desk(EVERY[0], EVERY[1], *end)
    assert set(desk.type().lines) == {0, 1}


def test_nothing_is_asked_where_nothing_is_needed():
    """A set that is complete already is left at once."""
    complete = Desk(*EVERY).type()
    desk = Desk()
    assert desk.type(complete) == complete
    assert desk.asked == []
