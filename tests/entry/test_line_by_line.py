"""
Typing line by line, with answers instead of a terminal: what is asked, what is said, and what is
saved.
"""

import random

import pytest
from keyboards import typed

from paperkey_alt.entry import line_by_line
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.sheet import qr

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


def test_help_is_there():
    """At any line, as at the beginning; the same line is asked for then."""
    desk = Desk(EVERY[0], "help", "stop")
    desk.type()
    assert sum("Other answers: skip" in text for text in desk.said) == 2
    assert numbers(desk.asked) == [0, 1, 1]


def test_several_pasted_lines_are_all_taken():
    """One that is wrong among them does not cost the others, and is asked for again."""
    pasted = [f"{number} {line}" for number, line in enumerate(EVERY[: DATA + 1])]
    pasted[2] = f"2 {wrong(EVERY[2])}"
    desk = Desk(*pasted, EVERY[2])
    left = desk.type()
    assert left.needed == 0
    assert any("line 2 is still wrong" in text for text in desk.said)


def test_a_line_is_read_aloud():
    """The one that was typed last, in words, group by group."""
    desk = Desk(EVERY[0], "AB23", "aloud", "stop")
    desk.type()
    assert "Alfa Bravo two three" in desk.said


def test_a_bell_rings_at_a_wrong_line():
    """Once for each."""
    rung = []
    desk = Desk(EVERY[0], wrong(EVERY[1]), "n", EVERY[1][:20], "stop")
    line_by_line.run(
        Transcript(),
        desk.saved.append,
        say=desk.said.extend,
        ask=desk.ask,
        ring=lambda: rung.append(1),
    )
    assert len(rung) == 2


def test_where_the_line_is():
    """Sheet, symbol and row, once for each symbol."""
    desk = Desk(*EVERY[:4])
    desk.type()
    assert [text for text in desk.said if text.startswith("Sheet")] == [
        "Sheet 1 of 1, beside symbol 1 of 1 from the top, row 1."
    ]


@pytest.mark.parametrize("computer", ["US", "German", "French"])
def test_a_scanner_types_a_symbol(computer):
    """An answer that is the text of a QR symbol gives all its lines, whatever the keyboards."""
    text = qr.encode_block(EVERY[0], 1, EVERY[1:3])
    desk = Desk(typed(text, "US", computer), *EVERY[3 : DATA + 1])
    assert desk.type().needed == 0
    assert "Symbol with lines 1–2 taken." in desk.said
    assert any("0 of 1 symbol. Missing" in text for text in desk.said)
    assert any("repaired" in text for text in desk.said) == (computer != "US")
