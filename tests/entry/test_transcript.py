"""Typing a set line by line: right lines are taken, wrong ones never without a question."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.entry import transcript
from paperkey_alt.entry.transcript import Accepted, Problem, Transcript
from paperkey_alt.errors import SeveralSets
from paperkey_alt.format import head_line
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, NO_MARK, Line, encode, group
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import text_file

SET = lay_out(random.Random(3).randbytes(150), 4)
OTHER = lay_out(random.Random(4).randbytes(150), 4)
EVERY = [SET.head_line, *SET.lines]
LINE = EVERY[5]


def after(*numbers):
    """A transcript with these lines, the head line first."""
    done = Transcript()
    for number in (0, *numbers):
        answer = transcript.feed(done, number, EVERY[number])
        assert isinstance(answer, Accepted)
        done = answer.transcript
    return done


def swapped(line, at):
    """The line with two neighbours exchanged."""
    return line[:at] + line[at + 1] + line[at] + line[at + 2 :]


def changed(line, *places):
    """The line with other characters at these places."""
    return "".join(
        ALPHABET[ALPHABET.index(one) ^ 9] if at in places else one for at, one in enumerate(line)
    )


SPELLINGS = {
    "as printed": group(LINE),
    "small letters": LINE.lower(),
    "other groups": " ".join((LINE[:3], LINE[3:17], LINE[17:])),
    "look-alikes": LINE.replace("O", "0").replace("I", "1").replace("B", "8"),
}


@pytest.mark.parametrize("name", SPELLINGS)
def test_a_right_line_is_taken(name):
    """In any spelling that changes no character."""
    answer = transcript.feed(after(), 5, SPELLINGS[name])
    assert isinstance(answer, Accepted)
    assert (answer.number, answer.characters, answer.transcript.lines[5]) == (5, LINE, LINE)


# what was typed, the column pointed at, what is said, and what is proposed
WRONG = {
    "a character": (changed(LINE, 13), 14, "character 14 is perhaps", LINE),
    "two characters": (changed(LINE, 2, 20), 3, "character 21 is perhaps", LINE),
    "two exchanged": (swapped(LINE, 8), 9, "characters 9 and 10 seem to be swapped", LINE),
    "one missing": (LINE[:10] + LINE[11:], 11, "a character is missing at", LINE),
    "one too many": (LINE[:10] + "Q" + LINE[10:], 11, "is one too many", LINE),
    "one illegible": (LINE[:10] + "?" + LINE[11:], 11, "character 11 is perhaps", LINE),
    "three characters": (changed(LINE, 1, 2, 3), None, "more than two characters are wrong", None),
    "too short": (LINE[:20], None, "line too short: 20 characters, expected 29", None),
    "too long": (LINE + "AA", None, "line too long: 31 characters, expected 29", None),
    "nothing": ("", None, "0 characters", None),
    "another line": (EVERY[6], None, "this seems to be line 6, not line 5", EVERY[6]),
    "a line of another set": (
        OTHER.lines[4],
        None,
        f"if the set mark on the sheet is {OTHER.head.mark}",
        None,
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_line_is_a_problem(name):
    """It is not taken; the likely place is told, and what may be meant, if the check allows one."""
    given_, column, said, proposal = WRONG[name]
    answer = transcript.feed(after(), 5, given_)
    assert isinstance(answer, Problem)
    assert said in answer.what
    assert answer.proposal == proposal
    if name == "one missing":
        # In a run of equal characters any of them may be the missing one.
        assert answer.column in (10, 11)
    else:
        assert answer.column == column


@pytest.mark.parametrize("name", [name for name, (*_, proposal) in WRONG.items() if proposal])
def test_a_proposal_is_taken_when_it_is_accepted(name):
    """And only then: the line that is proposed, under its own number."""
    problem = transcript.feed(after(), 5, WRONG[name][0])
    answer = transcript.accept(after(), problem)
    assert isinstance(answer, Accepted)
    assert EVERY[answer.number] == answer.characters == problem.proposal


def test_nothing_is_taken_where_nothing_is_proposed():
    """Accepting a problem without a proposal leaves the problem."""
    problem = transcript.feed(after(), 5, LINE[:20])
    assert transcript.accept(after(), problem) is problem


@given(st.lists(st.tuples(st.integers(0, 28), st.sampled_from(ALPHABET)), min_size=1, max_size=6))
def test_no_slip_is_ever_taken_without_a_question(slips):
    """Up to six wrong characters: the line is taken only where nothing was changed after all."""
    typed_ = list(LINE)
    for at, character in slips:
        typed_[at] = character
    answer = transcript.feed(after(), 5, "".join(typed_))
    assert isinstance(answer, Accepted) == ("".join(typed_) == LINE)


def test_line_0_comes_first():
    """No other line is taken before it, for nothing tells what it belongs to."""
    answer = transcript.feed(Transcript(), 1, EVERY[1])
    assert isinstance(answer, Problem)
    assert "line 0 comes first" in answer.what
    assert Transcript().due() == 0


def test_which_line_is_due():
    """
    In order from where one is, then those left out; a spare line only when one was put off, and as
    many as are needed.
    """
    assert after().due() == 1
    assert after(1, 2).due() == 3
    assert after(1, 5).due(5) == 6
    assert after(*range(3, 11)).due(10) == 1
    put_off = transcript.skip(after(*range(1, 10)), 10)
    assert (put_off.due(), put_off.needed) == (11, 1)
    complete = transcript.feed(put_off, 11, EVERY[11]).transcript
    assert complete.needed == 0
    assert transcript.skip(put_off, 11).due() == 12
    assert after(*range(1, 11)).needed == 0


def test_the_head_line_cannot_be_put_off():
    """Nothing can be done without it."""
    assert transcript.skip(Transcript(), 0).due() == 0


def test_what_is_there_is_gone_on_with():
    """
    Lines of a file that are right are there; wrong ones, remarks and those of other numbers are
    not.
    """
    rows = [text_file.row(number, EVERY[number]) for number in (0, 1, 2)]
    rows += [
        text_file.row(3, changed(EVERY[3], 7)),
        "# a remark",
        text_file.row(9, EVERY[8]),
        text_file.row(700, EVERY[1]),
    ]
    begun = transcript.begin(typed.read("\n".join(rows), "l.txt"))
    assert begun.head == SET.head
    assert dict(begun.lines) == {0: EVERY[0], 1: EVERY[1], 2: EVERY[2]}
    assert transcript.begin(()) == Transcript()


def test_lines_of_two_sets_are_not_mixed():
    """Two head lines: one file for each set."""
    both = f"{text_file.row(0, SET.head_line)}\n{text_file.row(0, OTHER.head_line)}\n"
    with pytest.raises(SeveralSets):
        transcript.begin(typed.read(both, "l.txt"))


def test_another_head_line_is_refused():
    """A transcript stays with its set."""
    answer = transcript.feed(after(1), 0, OTHER.head_line)
    assert isinstance(answer, Problem)
    assert OTHER.head.mark in answer.what


def test_a_transcript_has_a_head_with_line_0_alone():
    """An impossible one cannot be made."""
    with pytest.raises(ValueError, match="has a head"):
        Transcript(None, {0: EVERY[0]})
    with pytest.raises(ValueError, match="has a head"):
        Transcript(SET.head, {})


def test_a_line_that_the_set_has_not_is_refused():
    """Line 900 of this set's mark is no line of it, however right its check."""
    beyond = encode(Line(900, bytes(15)), SET.head.mark)
    answer = transcript.feed(after(), 900, beyond)
    assert isinstance(answer, Problem)
    assert answer.what == "the set has no line 900"


def test_a_head_line_of_another_version_is_named():
    """Not taken, and said why; among lines that are gone on with it is passed over."""
    data = head_line.pack(SET.head).data
    newer = encode(Line(0, bytes([data[0] & 7 | 2 << 3, *data[1:]])), NO_MARK)
    answer = transcript.feed(Transcript(), 0, newer)
    assert isinstance(answer, Problem)
    assert answer.what == "the head line is of format version 2; this program knows version 1"
    assert (
        transcript.begin(typed.read(f"0 {newer}\n{LINE[:-1]}\n5 {changed(LINE, 1, 2, 3)}", "t"))
        == Transcript()
    )
