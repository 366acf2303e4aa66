"""Sets of lines: damaged, and recovered. The digest decides, never the mending."""

import random
import time
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from paperkey_alt.errors import (
    DigestMismatch,
    NoHeadLine,
    NoLines,
    NotEnoughLines,
    Place,
    SeveralSets,
    UnknownFormat,
)
from paperkey_alt.format import backup, payload
from paperkey_alt.format.head_line import Head, pack
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, NO_MARK, Line, encode
from paperkey_alt.format.payload import Whole
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.format.spare_lines import spare_count


def body_of(length, seed=0):
    """Some body."""
    return random.Random(seed).randbytes(length)


def raw_lines_of(line_set, leave_out=()):
    """All lines of a set as they stand, but for some."""
    rows = {0: line_set.head_line} | dict(enumerate(line_set.lines, 1))
    return [
        RawLine(Place(row=number), ((number, text),))
        for number, text in rows.items()
        if number not in leave_out
    ]


def replaced(raw_lines, number, text):
    """The same raw lines with the characters of one line changed."""
    return [
        RawLine(one.place, ((number, text),)) if one.number == number else one for one in raw_lines
    ]


def with_wrong(text, columns, choose):
    """The text with other characters at *columns*, counted from 0."""
    wrong = list(text)
    for column in columns:
        wrong[column] = choose.choice(
            [character for character in ALPHABET if character != text[column]]
        )
    return "".join(wrong)


@given(
    st.binary(min_size=1, max_size=900),
    st.integers(0, 60),
    st.booleans(),
    st.randoms(use_true_random=False),
)
@settings(max_examples=60)
def test_both_ways_in_any_order(body, percent, sealed, choose):
    """A body comes back from its lines in any order, duplicates among them."""
    line_set = lay_out(body, spare_count(-(-len(body) // 15), percent), sealed=sealed)
    seen = raw_lines_of(line_set) * 2
    choose.shuffle(seen)
    (found,) = recover(seen).sets
    assert (found.body, found.head.sealed) == (body, sealed)
    assert found.count(Status.FINE) == len(line_set.lines)


def test_numbers_may_be_left_out():
    """Lines without numbers, in order or not, find their place."""
    line_set = lay_out(body_of(300), 5)
    bare = [RawLine(one.place, ((None, one.text),)) for one in raw_lines_of(line_set)]
    assert recover(bare).sets[0].body == body_of(300)
    assert recover(bare[::-1]).sets[0].body == body_of(300)


def test_as_many_lines_may_be_lost_as_are_spare():
    """
    Any P of the L + P lines may be lost; with one more, how many are needed and which are missing
    is told.
    """
    line_set = lay_out(body_of(2750), 46)
    choose = random.Random(1)
    for _ in range(10):
        lost = choose.sample(range(1, line_set.head.total + 1), 47)
        (found,) = recover(raw_lines_of(line_set, lost[:46])).sets
        assert found.body == body_of(2750)
        (short,) = recover(raw_lines_of(line_set, lost)).sets
        assert (short.body, short.needed) == (None, 1)
        assert isinstance(short.problem, NotEnoughLines)
        assert [line.number for line in short.lines if line.status is Status.MISSING] == sorted(
            lost
        )


def test_every_kind_of_line_is_named():
    """
    Fine, mended, wrong and missing lines are told apart, with the characters where they can be
    told.
    """
    line_set = lay_out(body_of(300), 5)
    seen = raw_lines_of(line_set, leave_out={7})
    text, choose = line_set.lines, random.Random(2)
    seen = replaced(seen, 3, with_wrong(text[2], [4], choose))
    seen = replaced(seen, 5, with_wrong(text[4], [0, 10, 20], choose))
    seen = replaced(seen, 9, text[8][:12])
    (found,) = recover(seen).sets
    assert found.body == body_of(300)
    status = {line.number: line for line in found.lines if line.status is not Status.FINE}
    assert {number: line.status.value for number, line in status.items()} == {
        3: "mended",
        5: "wrong",
        7: "missing",
        9: "wrong",
    }
    assert [(mend.column, mend.now) for mend in status[3].mends] == [(5, text[2][4])]
    assert [mend.column for mend in status[5].mends] == [1, 11, 21]
    assert "12 characters" in status[9].remark


def test_lines_of_another_set_are_left_aside():
    """
    Last year's lines among this year's, with and without their head line, do no harm and are named
    as such.
    """
    now, last_year = lay_out(body_of(300), 5), lay_out(body_of(300, seed=1), 5)
    for leave_out in ((), (0,)):
        findings = recover(raw_lines_of(now) + raw_lines_of(last_year, leave_out)[:12])
        restored = [found for found in findings.sets if found.body]
        assert [found.body for found in restored] == [body_of(300)]
        assert all(line.status is Status.FINE for line in restored[0].lines)
    assert {stray.mark for stray in findings.strays} == {last_year.head.mark}


def test_the_same_slip_in_two_lines_is_no_other_set():
    """
    Two lines with the same character wrong in the same way imply the same set mark, and are mended
    all the same.
    """
    line_set = lay_out(body_of(150), 4)
    seen = raw_lines_of(line_set, leave_out={1, 2, 3, 4})
    for number in (5, 6):
        text = line_set.lines[number - 1]
        other = ALPHABET[ALPHABET.index(text[3]) ^ 9]
        seen = replaced(seen, number, text[:3] + other + text[4:])
    findings = recover(seen)
    assert findings.sets[0].body == body_of(150)
    assert findings.strays == ()


def test_two_complete_sets_are_both_found():
    """Nothing is chosen between two sets that are both complete."""
    both = [lay_out(body_of(100), 4), lay_out(body_of(100, seed=1), 4)]
    seen = [one for pair in zip(*map(raw_lines_of, both), strict=True) for one in pair]
    assert {found.body for found in recover(seen).sets} == {body_of(100), body_of(100, seed=1)}


def test_a_line_read_twice_and_differently_decides_nothing():
    """
    Two fine lines with one number, one of them forged: neither is believed, the spare lines decide.
    """
    line_set = lay_out(body_of(300), 5)
    forged = RawLine(Place(), ((4, encode(Line(4, bytes(15)), line_set.head.mark)),))
    (found,) = recover([*raw_lines_of(line_set), forged]).sets
    assert found.body == body_of(300)
    (short,) = recover([*raw_lines_of(line_set, range(10, 15)), forged]).sets
    assert short.body is None
    assert (
        next(line for line in short.lines if line.number == 4).remark
        == "read more than once, with different results"
    )


def test_forged_lines_are_outvoted_or_refused():
    """
    Lines that pass their check and are wrong cost two spare lines each; past that nothing is
    restored.
    """
    line_set = lay_out(body_of(300), 4)
    seen = raw_lines_of(line_set)
    for number in (1, 2):
        seen = replaced(seen, number, encode(Line(number, bytes(15)), line_set.head.mark))
    (found,) = recover(seen).sets
    assert found.body == body_of(300)
    assert [line.status for line in found.lines[:3]] == [Status.WRONG, Status.WRONG, Status.FINE]
    seen = replaced(seen, 3, encode(Line(3, bytes(15)), line_set.head.mark))
    (found,) = recover(seen).sets
    assert found.body is None
    assert isinstance(found.problem, NotEnoughLines | DigestMismatch)


def test_without_a_head_line_nothing_is_guessed():
    """
    No head line, and nothing to confirm a computed one by, no set; nothing at all is said
    differently.
    """
    line_set = lay_out(body_of(100), 4)
    with pytest.raises(NoHeadLine, match="line 0"):
        recover(raw_lines_of(line_set, leave_out={0}))
    with pytest.raises(NoLines, match="no line"):
        recover([])


def test_a_head_line_of_another_version_is_said():
    """A later format is not taken for damage."""
    later = RawLine(Place(), ((0, encode(Line(0, b"\xff" * 15), NO_MARK)),))
    with pytest.raises(UnknownFormat):
        recover([later])


def test_a_damaged_head_line_is_outvoted():
    """The head line stands in many places: what most of them say counts."""
    line_set = lay_out(body_of(100), 4)
    damaged = RawLine(Place(), ((0, with_wrong(line_set.head_line, [3, 9], random.Random(0))),))
    assert recover([damaged, *raw_lines_of(line_set), damaged]).sets[0].body == body_of(100)
    assert recover([damaged, *raw_lines_of(line_set, {0})]).sets[0].body == body_of(100)


@pytest.mark.parametrize("copies", [1, 3, 9])
def test_a_forged_head_line_is_tried_and_no_more(copies):
    """
    Anyone who knows a set mark can print a line 0 with it: many that tell another shape, each
    another one, do not keep the true one from being found, or from being computed.
    """
    line_set = lay_out(payload.pack(Whole(body_of(100))), 4)
    head = line_set.head
    forged = [
        RawLine(Place("forged"), ((0, encode(pack(replace(head, spare_lines=number)), NO_MARK)),))
        for number in range(5, 5 + copies)
    ]
    for leave_out in ((), {0}):
        given = [*forged, *forged, *raw_lines_of(line_set, leave_out)]
        if copies == 1 and leave_out:
            continue  # one head line alone is believed
        (found,) = recover(given).sets
        assert found.body == payload.pack(Whole(body_of(100)))
        assert found.head == head
        assert found.computed is bool(leave_out or copies > 3)


def test_lines_forged_under_a_set_mark_are_told_by_their_source():
    """
    Lines that pass under the mark of another's set and tell other bytes do not keep that set from
    being read, before or behind them, if it is in a file of its own.
    """
    line_set = lay_out(body_of(100), 4)
    forged = [
        RawLine(Place("forged"), ((n, encode(Line(n, bytes(15)), line_set.head.mark)),))
        for n in range(1, line_set.head.total + 1)
    ]
    own = [replace(one, place=Place("own")) for one in raw_lines_of(line_set)]
    for lines in ([*forged, *own], [*own, *forged]):
        assert recover(lines).sets[0].body == body_of(100)
    with pytest.raises(NotEnoughLines):
        raise recover([replace(one, place=Place("one")) for one in (*forged, *own)]).sets[0].problem


def test_two_sets_of_one_mark_are_two_sets():
    """
    Who took pains for a set with another's set mark gets two sets out of it, of which none is
    chosen.
    """
    ours = lay_out(body_of(40), 2)
    theirs = replace(ours.head, padding=0, body_check="QQQQ")
    with pytest.MonkeyPatch.context() as patch:
        # Stands for the 2^25 trials it takes.
        patch.setattr(Head, "agrees_with", lambda *_: True)
        heads = [RawLine(Place("t"), ((0, encode(pack(theirs), NO_MARK)),))]
        findings = recover([*raw_lines_of(ours), *heads])
    assert [one.head for one in findings.sets] == [ours.head, theirs]
    with pytest.raises(SeveralSets):
        backup.join(findings, [ours.head.mark])


def test_many_head_lines_and_much_junk_end_soon():
    """200 sets of which line 0 alone is there, and 1,000 lines of nothing: some seconds."""
    choose = random.Random(12)
    heads = [lay_out(choose.randbytes(30), 1).head_line for _ in range(200)]
    junk = ["".join(choose.choices(ALPHABET, k=29)) for _ in range(1000)]
    given = [RawLine(Place(), ((0, head),)) for head in heads]
    given += [RawLine(Place(), ((number, text),)) for number, text in enumerate(junk, 1)]
    start = time.process_time()
    recover(given)
    assert time.process_time() - start < 15


def test_a_number_past_the_last_line_is_a_stray():
    """A line whose number the set has not is left aside and named."""
    line_set = lay_out(body_of(100), 4)
    extra = RawLine(Place(row=99), ((500, encode(Line(500, bytes(15)), line_set.head.mark)),))
    findings = recover([*raw_lines_of(line_set), extra])
    assert findings.sets[0].body == body_of(100)
    assert [(stray.place, stray.number) for stray in findings.strays] == [(Place(row=99), 500)]


def test_padding_that_is_not_zero_is_refused():
    """The body check does not cover the padding, so it must be what it was."""
    line_set = lay_out(b"x" * 16, 0)
    last = b"x" + bytes(13) + b"\1"
    seen = replaced(raw_lines_of(line_set), 2, encode(Line(2, last), line_set.head.mark))
    assert recover(seen).sets[0].body is None


def test_a_set_of_the_line_limit_comes_back():
    """1,023 lines are a set; as many may be lost as are spare."""
    line_set = lay_out(body_of(15 * 818), 205)
    assert recover(raw_lines_of(line_set, range(1, 206))).sets[0].body == body_of(15 * 818)


def test_random_damage_restores_exactly_or_refuses():
    """
    Wrong, lost, shuffled and foreign lines at random: the body, or none; within the promised limit
    always the body.
    """
    choose = random.Random(12)
    within = 0
    for round_number in range(150):
        body = choose.randbytes(choose.randrange(20, 400))
        line_set = lay_out(body, spare_count(-(-len(body) // 15)))
        foreign = lay_out(choose.randbytes(100), 4)
        seen, lost = [], 0
        for one in raw_lines_of(line_set):
            fate = choose.random()
            errors = 0 if fate < 0.75 or one.number == 0 else choose.randrange(1, 6)
            if fate > 0.95 and one.number:
                lost += 1
                continue
            lost += 2 if errors > 3 else errors > 2
            text = with_wrong(one.text, choose.sample(range(29), errors), choose)
            seen.append(RawLine(one.place, ((one.number, text),)))
        choose.shuffle(seen)
        seen += choose.sample(raw_lines_of(foreign), 2)
        bodies = [found.body for found in recover(seen).sets if found.body is not None]
        assert bodies in ([], [body]), round_number
        if lost <= line_set.head.spare_lines:
            within += 1
            assert bodies == [body], round_number
    assert within > 50


def test_one_foreign_line_in_a_lost_lines_place_costs_no_more_than_the_lost_line():
    """
    A line of another set that happens to be mended into a lost one is dropped alone, and the other
    mended lines are kept.
    """
    line_set, choose = lay_out(body_of(195), 4), random.Random(0)
    seen = raw_lines_of(line_set, leave_out={5, 8, 13})
    for number in (10, 14):
        seen = replaced(seen, number, with_wrong(line_set.lines[number - 1], [2, 20], choose))
    false = encode(Line(9, choose.randbytes(15)), line_set.head.mark)
    seen = replaced(seen, 9, with_wrong(false, [4, 9], choose))
    (found,) = recover(seen).sets
    assert found.body == body_of(195)
    assert found.lines[8].status is Status.WRONG
    assert [found.lines[number - 1].status for number in (10, 14)] == [Status.MENDED] * 2


def test_expected_numbers_follow_each_other():
    """
    Where a line has no number and a wrong pair of characters, its place in the order still finds
    it.
    """
    line_set = lay_out(body_of(150), 4)
    choose = random.Random(5)
    bare = [RawLine(one.place, ((None, one.text),)) for one in raw_lines_of(line_set)]
    bare[5] = RawLine(bare[5].place, ((None, with_wrong(bare[5].text, [2, 17], choose)),))
    (found,) = recover(bare).sets
    assert found.lines[4].status is Status.MENDED
    assert all(a.number + 1 == b.number for a, b in pairwise(found.lines))


@pytest.mark.parametrize("sealed", [False, True])
def test_a_set_that_is_known_in_full_is_laid_out_as_it_was(sealed):
    """Line by line, those that were lost too; nothing where too many are lost."""
    line_set = lay_out(random.Random(5).randbytes(200), 4, sealed=sealed)
    seen = raw_lines_of(line_set)
    (complete,) = recover(seen[:1] + seen[5:]).sets
    assert complete.laid_out() == line_set
    (incomplete,) = recover(seen[:1] + seen[6:]).sets
    assert incomplete.laid_out() is None
