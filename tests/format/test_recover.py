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
    LineError,
    NoHeadLine,
    NoLines,
    NotEnoughLines,
    Place,
    SeveralSets,
    UnknownFormat,
)
from paperkey_alt.format import backup, payload
from paperkey_alt.format import recover as recovering
from paperkey_alt.format.head_line import Head, Share, pack
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, NO_MARK, DecodedLine, Line, Mend, decode, encode
from paperkey_alt.format.payload import Whole
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import LineFinding, Status, Stray, recover
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
    (short,) = recover([*raw_lines_of(line_set, range(10, 16)), forged]).sets
    assert short.body is None
    assert (
        next(line for line in short.lines if line.number == 4).remark
        == "read more than once, with different results"
    )


@pytest.mark.parametrize("columns", [(), (3, 20)], ids=["fine", "two wrong characters"])
@pytest.mark.parametrize(
    ("numbers", "restored"), [((4,), True), ((4, 7), True), ((4, 7, 9), False)]
)
def test_of_lines_read_twice_the_digest_decides_where_spare_lines_are_used_up(
    columns, numbers, restored
):
    """
    As many lines are lost as are spare, and up to two others have a second reading that is as good
    as the true one: they are restored. With a third, nothing is.
    """
    choose = random.Random(5)
    line_set = lay_out(body_of(300), 5)
    seen = raw_lines_of(line_set, range(10, 15))
    for number in numbers:
        forged = encode(Line(number, choose.randbytes(15)), line_set.head.mark)
        true = line_set.lines[number - 1]
        seen = replaced(seen, number, with_wrong(true, columns, choose))
        seen.append(RawLine(Place(), ((number, with_wrong(forged, columns, choose)),)))
    (found,) = recover(seen).sets
    assert (found.body == body_of(300)) == restored
    assert (found.body is None) == (not restored)


def test_two_readings_of_a_line_are_chosen_one_line_and_two_lines_at_a_time():
    """
    Each reading of one line that has several, the others lost; then each of two; those on which
    more was spent count for nothing; no more than there may be hypotheses.
    """

    def placed(number, letter, spent):
        decoded = DecodedLine(Line(number, letter * 15), (), spent)
        return recovering._Placed(RawLine(Place(), ((number, "A"),)), number, decoded)

    seen = {
        1: [placed(1, b"a", 2), placed(1, b"b", 2), placed(1, b"c", 4)],
        2: [placed(2, b"d", 0)],
        3: [placed(3, b"e", 0), placed(3, b"f", 0), placed(3, b"f", 0)],
    }
    readings = recovering._readings(seen)
    assert [
        "".join(chr(known[number][0]) if number in known else "-" for number in (1, 2, 3))
        for known in recovering._by_choice(seen, readings)
    ] == ["ad-", "bd-", "-de", "-df", "ade", "adf", "bde", "bdf"]
    assert list(recovering._by_choice({2: seen[2]}, readings)) == []
    many = {number: [placed(number, b"a", 0), placed(number, b"b", 0)] for number in range(1, 40)}
    assert len(list(recovering._by_choice(many, {}))) == recovering.MOST_HYPOTHESES


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


@pytest.mark.parametrize("copies", [1, 2, 3, 9])
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


@pytest.mark.long
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


@pytest.mark.parametrize("share", [None, Share(2, 2, 3, 33)])
@pytest.mark.parametrize("sealed", [False, True])
def test_a_set_that_is_known_in_full_is_laid_out_as_it_was(sealed, share):
    """Line by line, those that were lost too; nothing where too many are lost."""
    line_set = lay_out(random.Random(5).randbytes(200), 4, sealed=sealed, share=share)
    seen = raw_lines_of(line_set)
    (complete,) = recover(seen[:1] + seen[5:]).sets
    assert complete.laid_out() == line_set
    (incomplete,) = recover(seen[:1] + seen[6:]).sets
    assert incomplete.laid_out() is None


SHORT_LINE = "line too short: 12 characters, expected 29"
SIX_UNREADABLE = "6 characters cannot be read; the check can replace at most 4"


def at(*rows):
    """Places in a text."""
    return tuple(Place(row=row) for row in rows)


def test_all_that_is_found_where_a_line_lacks():
    """Each line with its places, what cannot be read in it and why; what would do; no body."""
    line_set = lay_out(body_of(100), 4)
    seen = raw_lines_of(line_set, {1, 2, 3})
    seen = replaced(seen, 5, line_set.lines[4][:12])
    seen = replaced(seen, 9, line_set.lines[8][:2] + "??????" + line_set.lines[8][8:])
    (found,) = recover([*seen, RawLine(Place(row=77), ((6, line_set.lines[5]),))]).sets
    assert (type(found.problem), found.problem.what, found.needed) == (
        NotEnoughLines,
        "1 more line is needed (wrong 5, 9; missing 1–3)",
        1,
    )
    assert (found.head, found.body, found.first, found.computed) == (
        line_set.head,
        None,
        None,
        False,
    )
    unreadable = tuple(Mend(column, "?", "?") for column in range(3, 9))
    assert found.lines == (
        *(LineFinding(number, Status.MISSING) for number in (1, 2, 3)),
        LineFinding(4, Status.FINE, at(4)),
        LineFinding(5, Status.WRONG, at(5), (), SHORT_LINE),
        LineFinding(6, Status.FINE, at(6, 77)),
        LineFinding(7, Status.FINE, at(7)),
        LineFinding(8, Status.FINE, at(8)),
        LineFinding(9, Status.WRONG, at(9), unreadable, SIX_UNREADABLE),
        LineFinding(10, Status.FINE, at(10)),
        LineFinding(11, Status.FINE, at(11)),
    )
    assert [found.count(status) for status in Status] == [6, 0, 2, 3]


def test_all_that_is_found_where_the_digest_agrees():
    """Then it is known what a wrong line should be; of two readings the less mended one is told."""
    line_set = lay_out(body_of(100), 4)
    text = line_set.lines
    seen = replaced(raw_lines_of(line_set, {2}), 5, text[4][:12])
    seen = replaced(seen, 9, text[8][:2] + "??????" + text[8][8:])
    seen = replaced(seen, 7, "?" + text[6][1:])
    seen = [RawLine(Place(row=77), ((7, "??" + text[6][2:]),)), *seen]
    (found,) = recover(seen).sets
    assert (found.body, found.problem, found.needed, found.first) == (
        body_of(100),
        None,
        0,
        body_of(100)[:15],
    )
    told = {line.number: line for line in found.lines if line.status is not Status.FINE}
    assert told == {
        2: LineFinding(2, Status.MISSING),
        5: LineFinding(5, Status.WRONG, at(5), (), SHORT_LINE),
        7: LineFinding(7, Status.MENDED, at(77, 7), (Mend(1, "?", text[6][0]),)),
        9: LineFinding(
            9,
            Status.WRONG,
            at(9),
            tuple(Mend(column + 1, "?", text[8][column]) for column in range(2, 8)),
            SIX_UNREADABLE,
        ),
    }


@pytest.mark.parametrize("first", ["fine", "mended", "missing"])
def test_line_1_is_told_where_nothing_in_it_was_mended(first):
    """It has the commitment of a share: of a set that lacks lines nothing else is known."""
    line_set = lay_out(body_of(100), 4)
    seen = raw_lines_of(line_set, {2, 3, 4, 5, 6, 1 if first == "missing" else 7})
    if first == "mended":
        seen = replaced(seen, 1, "?" + line_set.lines[0][1:])
    (found,) = recover(seen).sets
    assert found.first == (body_of(100)[:15] if first == "fine" else None)
    assert isinstance(found.problem, NotEnoughLines)


def test_what_is_told_where_nothing_can_be_found():
    """No line; lines without line 0."""
    with pytest.raises(NoLines) as told:
        recover([])
    assert told.value.what == "no line was found"
    with pytest.raises(NoHeadLine) as told:
        recover(raw_lines_of(lay_out(body_of(100), 4), {0}))
    assert told.value.what == (
        "no line 0 was read, and the other lines are too few to compute it from them"
    )


def test_strays_are_told_with_their_reason():
    """
    Of another set; a line 0 by itself; a number that the set has not; a text without a number that
    is no line.
    """
    ours, theirs, alone = (lay_out(body_of(100, seed), 4) for seed in range(3))
    strays = [
        RawLine(Place(row=50), ((0, alone.head_line),)),
        RawLine(Place(row=51), ((1, theirs.lines[0]),)),
        RawLine(Place(row=52), ((2, theirs.lines[1]),)),
        RawLine(Place(row=53), ((12, "A" * 12),)),
        RawLine(Place(row=54), ((None, "A" * 12),)),
        RawLine(Place(row=55), ((12, encode(Line(12, bytes(15)), ours.head.mark)),)),
        RawLine(Place(row=56), ((0, alone.head_line),)),
    ]
    findings = recover([*strays, *raw_lines_of(ours)])
    assert findings.strays == (
        Stray(Place(row=50), 0, alone.head.mark, "a line 0 without any other line of its set"),
        Stray(Place(row=51), 1, theirs.head.mark, "of another set"),
        Stray(Place(row=52), 2, theirs.head.mark, "of another set"),
        Stray(Place(row=53), 12, None, SHORT_LINE),
        Stray(Place(row=54), None, None, SHORT_LINE),
        Stray(Place(row=55), 12, None, "the set has 11 lines"),
    )
    assert [found.body for found in findings.sets] == [body_of(100)]


def test_a_head_line_by_itself_is_a_set_where_there_is_nothing_else():
    """Then it tells what is missing."""
    alone = lay_out(body_of(100), 4)
    (found,) = recover(raw_lines_of(alone, range(1, 12))).sets
    assert (found.head, found.needed) == (alone.head, 7)
    assert found.problem.what == "7 more lines are needed (missing 1–11)"


def head_copies(head, count, spent=0):
    """Copies of a head line, on each of which so many check symbols will be spent."""
    text = encode(pack(head), NO_MARK)
    return [RawLine(Place(), ((0, "?" * spent + text[spent:]),)) for _ in range(count)]


@pytest.mark.parametrize(("spent", "needed"), [(0, 1), (1, 4), (2, 16), (3, 64), (4, 256)])
def test_a_head_line_weighs_less_the_more_was_mended(spent, needed):
    """A quarter for each check symbol: so many copies weigh as much as a fine one."""
    head = lay_out(body_of(100), 4).head
    other = replace(head, spare_lines=5)
    fine = head_copies(other, 1)
    for count, first in ((needed - 1, other), (needed + 1, head)):
        heads, _, others = recovering._head_lines([*fine, *head_copies(head, count, spent)])
        assert heads[head.mark][0] == first
        assert others == []


def test_each_way_to_cut_a_raw_line_may_be_a_head_line():
    """With number 0 or none; another number, or another line without one, is no head line."""
    line_set = lay_out(body_of(100), 4)
    text = line_set.head_line
    heads = [
        ((0, text),),
        ((None, text),),
        ((3, text), (0, text)),
        ((0, "A" * 12), (None, "A" * 30), (0, text)),
    ]
    others = [
        ((3, text),),
        ((0, "A" * 12),),
        ((None, encode(Line(3, bytes(15)), NO_MARK)),),
        ((1, line_set.lines[0]),),
    ]
    raw_lines = [
        RawLine(Place(row=row), candidates) for row, candidates in enumerate([*others, *heads])
    ]
    found, places, left = recovering._head_lines(raw_lines)
    assert found == {line_set.head.mark: [line_set.head]}
    assert places == {line_set.head.mark: Place(row=4)}
    assert left == raw_lines[:4]


def test_a_head_line_of_another_version_is_told_by_its_place():
    """Where there is no other; beside one of this version it is nothing, before or behind it."""
    later = RawLine(Place(row=7), ((0, encode(Line(0, b"\x10" + bytes(14)), NO_MARK)),))
    with pytest.raises(UnknownFormat) as told:
        recover([later])
    assert (told.value.what, told.value.place) == (
        "the head line is of format version 2; this program knows version 1",
        Place(row=7),
    )
    seen = raw_lines_of(lay_out(body_of(100), 4))
    for lines in ([later, *seen], [*seen, later]):
        findings = recover(lines)
        assert [found.body for found in findings.sets] == [body_of(100)]
        assert findings.strays == ()


@pytest.mark.parametrize("mended", [False, True])
def test_what_is_told_where_the_digest_does_not_agree(mended):
    """Where something was mended, that it is compared with the paper first."""
    line_set = lay_out(body_of(60), 0)
    forged = encode(Line(2, bytes(15)), line_set.head.mark)
    seen = replaced(raw_lines_of(line_set), 2, ("?" if mended else forged[0]) + forged[1:])
    (found,) = recover(seen).sets
    assert found.problem.what == (
        "the lines pass their checks, but the digest in the head line does not agree with them"
    )
    compare = (
        "Compare the mended lines with the paper first. Then read all lines of this set again."
    )
    assert found.problem.advice == (compare if mended else DigestMismatch("").advice)
    assert (found.needed, found.body) == (0, None)


@pytest.mark.parametrize(("most", "status"), [(1, Status.WRONG), (2, Status.MENDED)])
def test_only_so_many_sets_are_tried_for_a_line_that_names_none(monkeypatch, most, status):
    """Those of which most lines were read."""
    monkeypatch.setattr(recovering, "MOST_SETS", most)
    many, few = lay_out(body_of(100), 4), lay_out(body_of(100, 1), 4)
    damaged = with_wrong(few.lines[2], [4], random.Random(3))
    for order in (1, -1):
        lines = [raw_lines_of(many, {5}), replaced(raw_lines_of(few, {9, 10}), 3, damaged)]
        findings = recover([one for raw_lines in lines[::order] for one in raw_lines])
        found = {found.head.mark: found for found in findings.sets}
        assert found[many.head.mark].count(Status.MISSING) == 1
        assert found[few.head.mark].lines[2].status is status


def test_how_many_that_agree_make_a_set_that_is_not_here():
    """Two for a line that cannot be read here, three for a doubtful one, none for others."""
    line = Line(1, bytes(15))
    for spent, alike, foreign in (
        (None, 1, False),
        (None, 2, True),
        (0, 9, False),
        (2, 9, False),
        (3, 2, False),
        (3, 3, True),
        (4, 2, False),
        (4, 3, True),
    ):
        decoded = None if spent is None else DecodedLine(line, (), spent)
        assert recovering._is_foreign(decoded, alike) is foreign


def test_a_line_that_was_chosen_by_the_check_is_doubtful():
    """Three check symbols are spent on it, or four; what was mended is told by its look."""
    line_set = lay_out(body_of(100), 4)
    text, mark = line_set.lines[2], line_set.head.mark
    line = Line(3, body_of(100)[30:45])
    seen = "?" + text[1:5] + "?" + text[6:]
    chosen = RawLine(Place(row=3), ((3, text),), seen)
    mends = (Mend(1, "?", text[0]), Mend(6, "?", text[5]))
    assert recovering._decode(chosen, text, 3, mark) == DecodedLine(line, mends, 3)
    assert recovering._decode(chosen, "????" + text[4:], 3, mark) == DecodedLine(line, mends, 4)
    assert recovering._decode(chosen, "?" + text[1:], 3, mark).spent == 3
    other_length = RawLine(Place(row=3), ((3, text),), "A" * 12)
    assert recovering._decode(other_length, text, 3, mark) == DecodedLine(line, (), 3)
    (found,) = recover([*raw_lines_of(line_set, {3}), chosen]).sets
    assert found.lines[2] == LineFinding(3, Status.MENDED, at(3), mends)


def test_the_hypotheses_in_their_order():
    """
    All lines; without each doubtful one, the most mended first; without each two; then without all
    that were mended, step by step.
    """
    spent = {1: 0, 2: 2, 3: 3, 4: 4, 5: 4, 6: 1}
    readings = {number: DecodedLine(Line(number, bytes(15)), (), spent[number]) for number in spent}
    dropped = [sorted(set(spent) - set(known)) for known in recovering._hypotheses(readings)]
    assert dropped == [
        *([], [5], [4], [3], [4, 5], [3, 5], [3, 4]),
        *([4, 5], [3, 4, 5], [2, 3, 4, 5], [2, 3, 4, 5, 6]),
    ]
    assert next(recovering._hypotheses(readings)) == dict.fromkeys(spent, bytes(15))
    many = {number: DecodedLine(Line(number, bytes(15)), (), 4) for number in range(1, 31)}
    many[31] = DecodedLine(Line(31, bytes(15)), (), 0)
    sizes = [31 - len(known) for known in recovering._hypotheses(many)]
    assert sizes == [0] + [1] * 30 + [2] * 169 + [30]


def test_sources_are_believed_one_at_a_time():
    """
    Where fine lines contradict each other: the source with most lines first, no more than sixteen;
    where none do, or all are of one source, in no way.
    """
    lines = {
        ("a", 1): (b"a", 0),
        ("b", 1): (b"b", 0),
        ("b", 2): (b"b", 0),
        ("c", 2): (b"c", 2),
    }

    def placed(source, number, letter, spent):
        decoded = DecodedLine(Line(number, letter * 15), (), spent)
        raw_line = RawLine(Place(source), ((number, "A"),))
        return recovering._Placed(raw_line, number, decoded)

    def by_source(lines):
        seen = {}
        for (source, number), (letter, spent) in lines.items():
            seen.setdefault(number, []).append(placed(source, number, letter, spent))
        # What cannot be taken for a line belongs to no source.
        seen[3] = [recovering._Placed(RawLine(Place("d"), ((3, "A"),)), 3, None, "no line")]
        return list(recovering._by_source(seen))

    assert by_source(lines) == [
        {1: b"b" * 15, 2: b"b" * 15},
        {1: b"a" * 15},
        {2: b"c" * 15},
    ]
    assert by_source(lines | {("a", 1): (b"a", 2)}) == []
    assert by_source(lines | {("a", 1): (b"b", 0)}) == []
    assert by_source({("a", 1): (b"a", 0), ("a", 2): (b"b", 0)}) == []
    many = {(str(source), 1): (bytes([source]), 0) for source in range(20)}
    assert len(by_source(many)) == 16


def test_lines_are_needed_in_each_group():
    """A spare line of one group does not stand in for one of another."""
    head = Head(250, 10, 0)  # two groups: odd lines and even ones
    for lacking, needed in (
        (range(1, 11, 2), 0),
        (range(1, 13, 2), 1),
        (range(2, 16, 2), 2),
        ([*range(1, 13, 2), *range(2, 14, 2)], 2),
        (range(1, 261), 250),
    ):
        readings = {
            number: DecodedLine(Line(number, bytes(15)), (), 0)
            for number in range(1, 261)
            if number not in lacking
        }
        assert recovering._needed(head, readings) == needed


def test_of_several_heads_that_agree_with_nothing_the_likeliest_is_told():
    """Two shapes for one set mark, and lines too few for either: one finding, by the first."""
    line_set = lay_out(body_of(100), 4)
    other = replace(line_set.head, spare_lines=5)
    seen = [*head_copies(other, 2), *raw_lines_of(line_set, range(1, 9))]
    (found,) = recover(seen).sets
    assert (found.head, found.body, found.needed) == (other, None, 4)


def test_the_first_line_may_lack_its_number_and_have_two_characters_wrong():
    """Line 1 is expected first."""
    line_set = lay_out(body_of(150), 4)
    bare = [RawLine(one.place, ((None, one.text),)) for one in raw_lines_of(line_set)]
    text = with_wrong(line_set.lines[0], [2, 17], random.Random(5))
    bare[1] = RawLine(bare[1].place, ((None, text),))
    (found,) = recover(bare).sets
    assert found.lines[0].status is Status.MENDED


def test_of_the_ways_to_cut_a_foreign_line_the_one_that_most_agree_on_counts():
    """The set mark that other lines tell too, not one that a single line tells."""
    ours, theirs = lay_out(body_of(100), 4), lay_out(body_of(100, 1), 4)
    foreign = [
        RawLine(
            Place(row=number), ((number, text), (number, encode(Line(number, bytes(15)), mark)))
        )
        for number, text, mark in zip((1, 2), theirs.lines, ("ZZZZZ", "ZZZZY"), strict=False)
    ]
    findings = recover([*raw_lines_of(ours), *foreign])
    assert [(stray.place.row, stray.mark) for stray in findings.strays] == [
        (1, theirs.head.mark),
        (2, theirs.head.mark),
    ]


def test_a_line_that_fits_two_sets_goes_to_that_of_the_line_before():
    """With four characters unreadable it may fit; the same set comes first, whatever the order."""
    choose = random.Random(1)
    ours, theirs = lay_out(body_of(100), 4).head.mark, lay_out(body_of(100, 1), 4).head.mark

    def fits(text, mark):
        try:
            return decode(text, 3, mark).spent == 4
        except LineError:
            return False

    def unreadable(text):
        columns = choose.sample(range(29), 4)
        return "".join("?" if at in columns else one for at, one in enumerate(text))

    # Whether it does depends on which characters they are.
    text = encode(Line(3, bytes(15)), ours)
    texts = (unreadable(text) for _ in range(1000))
    raw_line = RawLine(Place(), ((3, next(text for text in texts if fits(text, theirs))),))
    for totals in ({ours: 11, theirs: 11}, {theirs: 11, ours: 11}):
        for home in totals:
            mark, decoded, remark = recovering._nearest(raw_line, totals, home, 1)
            assert (mark, decoded.line.number, remark) == (home, 3, "")


def test_the_reason_why_a_line_is_none_is_that_of_the_likeliest_set_and_cut():
    """Of the set of the line before, and of the first way to cut it."""
    ours, theirs = lay_out(body_of(100), 4).head.mark, lay_out(body_of(100, 1), 4).head.mark
    raw_line = RawLine(Place(), ((3, "A" * 12), (None, "A" * 40)))
    for totals in ({ours: 11, theirs: 11}, {theirs: 11, ours: 11}):
        assert recovering._nearest(raw_line, totals, ours, 1) == (ours, None, SHORT_LINE)
    past = RawLine(Place(), ((12, encode(Line(12, bytes(15)), ours)),))
    assert recovering._nearest(past, {ours: 11}, ours, 1) == (ours, None, "")
    assert recovering._nearest(past, {ours: 12}, ours, 1)[1].line.number == 12
    zero = RawLine(Place(), ((0, encode(Line(0, bytes(15)), ours)),))
    assert recovering._nearest(zero, {ours: 11}, ours, 1) == (ours, None, "")
    one = RawLine(Place(), ((1, encode(Line(1, bytes(15)), ours)),))
    assert recovering._nearest(one, {ours: 11}, ours, 1)[1].line.number == 1


def test_a_number_that_is_only_expected_is_no_evidence():
    """A line without a number tells its own; a number that was given and is wrong is mended."""
    mark = lay_out(body_of(100), 4).head.mark
    line = Line(5, body_of(15))
    text = encode(line, mark)

    def nearest(*candidates):
        return recovering._nearest(RawLine(Place(), candidates), {mark: 11}, mark, 4)

    assert nearest((None, text)) == (mark, DecodedLine(line, (), 2), "")
    assert nearest((4, text)) == (mark, DecodedLine(line, (Mend(0, "4", "5"),), 2), "")
    assert nearest((5, text)) == (mark, DecodedLine(line, (), 0), "")
    assert nearest((3, "A" * 12), (None, "A" * 40), (5, text))[1] == DecodedLine(line, (), 0)
    # Two symbols of the expected number and a character would be one too many.
    far = Line(37, body_of(15))
    wrong = RawLine(Place(), ((None, with_wrong(encode(far, mark), [7], random.Random(1))),))
    assert recovering._nearest(wrong, {mark: 40}, mark, 4)[1].line == far
    expected = Line(4, body_of(15))
    assert nearest((None, encode(expected, mark)))[1] == DecodedLine(expected, (), 0)


def test_one_head_line_alone_is_believed():
    """Though the digest does not agree with it: another one is not computed."""
    line_set = lay_out(payload.pack(Whole(body_of(100))), 4)
    forged = replace(line_set.head, spare_lines=5)
    (found,) = recover([*head_copies(forged, 2), *raw_lines_of(line_set, {0})]).sets
    assert (found.head, found.body, found.computed) == (forged, None, False)


def test_that_line_0_was_computed_is_told_of_a_set_that_lacks_a_line():
    """
    Of two fine readings of three lines the first ones made the head; so many are not chosen from.
    """
    body = payload.pack(Whole(body_of(40)))
    line_set = lay_out(body, 0)
    forged = [
        RawLine(Place(row=9), ((number, encode(Line(number, bytes(15)), line_set.head.mark)),))
        for number in (2, 3, 4)
    ]
    (found,) = recover([*raw_lines_of(line_set, {0}), *forged]).sets
    assert (found.head, found.body, found.computed) == (line_set.head, None, True)
