"""
Typing line by line, with answers instead of a terminal: what is asked, what is said, and what is
saved.
"""

import random

import pytest
from keyboards import typed

from paperkey_alt.entry import line_by_line, read_aloud
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, group
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
    """It is said that there is no such line, and the same line is asked for again."""
    desk = Desk("go 7", EVERY[0], "go 9999", f"go {SET.head.total}", "stop")
    desk.type()
    assert numbers(desk.asked) == [0, 0, 1, 1, SET.head.total]
    assert "Line 0 comes first: it says how many lines there are." in desk.said
    last = SET.head.total
    assert f"There is no line 9999: the last line of this set is {last}." in desk.said


@pytest.mark.parametrize("answer", ["go", "go on", "go -1", "yes", "lines?", "7"])
def test_an_answer_that_is_none_is_met_with_what_there_is(answer):
    """Neither a line nor an order: what to type is told, and nothing else happens."""
    desk = Desk(EVERY[0], answer, "stop")
    assert set(desk.type().lines) == {0}
    assert numbers(desk.asked) == [0, 1, 1]
    assert any("for example: go 7" in text or "type help" in text for text in desk.said)


@pytest.mark.parametrize("end", ["quit", "EXIT", "q"])
def test_other_words_stop_too(end):
    """Those that people try."""
    desk = Desk(EVERY[0], EVERY[1], end, "not asked for")
    assert set(desk.type().lines) == {0, 1}
    assert desk.answers == ["not asked for"]


def test_the_line_before_is_gone_back_to():
    """Line 0 has none before it."""
    desk = Desk(EVERY[0], EVERY[1], "back", "back", "back", "stop")
    desk.type()
    assert numbers(desk.asked) == [0, 1, 2, 1, 0, 0]


def test_what_putting_off_means_is_told():
    """Line 0 cannot be; where nothing else would help, that is said before the end."""
    desk = Desk("skip", EVERY[0], *["skip"] * SET.head.total)
    desk.type()
    assert "Line 0 cannot be put off: it says how many lines there are." in desk.said
    assert "Line 1 is put off; a spare line may replace it." in desk.said
    assert f"Line {DATA + 1} is put off." in desk.said
    assert desk.said[-1].startswith("No other line would help")


@pytest.mark.parametrize("printed", ["1 ", "1. ", " 1: "])
def test_a_printed_number_is_no_part_of_a_wrong_line(printed):
    """The line is shown in its groups, with the place under the character that is wrong."""
    desk = Desk(EVERY[0], printed + wrong(EVERY[1], 6), "n", "aloud", "stop")
    desk.type()
    at = desk.said.index(f"    {group(wrong(EVERY[1], 6))}")
    assert desk.said[at + 1 : at + 2] == [f"{' ' * (4 + 6 + 1)}^"]
    assert desk.said[at + 3] == f"  1 {group(EVERY[1])}"
    assert len(desk.said[at]) < 40
    assert desk.said[at + 2].startswith("Line 1: character 7 is perhaps")
    assert read_aloud.spell(wrong(EVERY[1], 6))[0] in desk.said


def test_a_wrong_line_with_the_number_of_another_is_that_one():
    """Line 0 too, which may be typed again; the line that was asked for comes after it."""
    desk = Desk(
        EVERY[0], f"0 {wrong(EVERY[0])}", "n", EVERY[1], f"3 {wrong(EVERY[3])}", "y", "stop"
    )
    left = desk.type()
    assert any(text.startswith("Line 0: character 5 is perhaps") for text in desk.said)
    assert any(text.startswith("Line 3: character 5 is perhaps") for text in desk.said)
    assert set(left.lines) == {0, 1, 3}
    assert numbers(desk.asked)[:3] == [0, 1, 1]


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


def test_what_a_scanner_types_on_is_swallowed():
    """When all is there, until somebody says that it is put away."""
    text = qr.encode_block(EVERY[0], 1, EVERY[1 : DATA + 1])
    desk = Desk(text, text, "", "done", "not asked for")
    assert desk.type().needed == 0
    assert sum("Put the scanner away" in row for row in desk.said) == 3
    assert desk.answers == ["not asked for"]


def test_a_symbol_that_is_scanned_again_is_told_to_be_there():
    """Nothing is added."""
    text = qr.encode_block(EVERY[0], 1, EVERY[1:3])
    desk = Desk(text, text, "stop")
    assert set(desk.type().lines) == {0, 1, 2}
    assert [row for row in desk.said if row.startswith("Symbol")] == [
        "Symbol with lines 1–2 taken.",
        "Symbol with lines 1–2 taken again.",
    ]
