"""Line 0 computed from the other lines, and sets for which that must not be."""

import os
import random
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from paperkey_alt.errors import NoHeadLine, NotEnoughLines, PaperError, Place
from paperkey_alt.format import backup, computed_head
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import PlainBody, SealedBody
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, Line, encode
from paperkey_alt.format.payload import Whole, pack
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import recover
from paperkey_alt.format.spare_lines import spare_count


def body_of(length, seed=0):
    """A payload that is nothing but drawn, with its digest."""
    return pack(Whole(random.Random(seed).randbytes(length)))


def given_lines(*line_sets, leave_out=()):
    """The lines of sets without line 0, and without some more."""
    return [
        RawLine(Place(row=number), ((number, text),))
        for line_set in line_sets
        for number, text in enumerate(line_set.lines, 1)
        if number not in leave_out
    ]


@given(st.integers(10, 900), st.integers(0, 60), st.booleans(), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_a_set_without_its_head_line(length, percent, sealed, choose):
    """Whatever the length, the share of spare lines and the seal, if the last line is there."""
    body = choose.randbytes(length) if sealed else body_of(length)
    line_set = lay_out(body, spare_count(-(-len(body) // 15), percent), sealed=sealed)
    given = given_lines(line_set)
    choose.shuffle(given)
    (found,) = recover(given).sets
    assert (found.head, found.body, found.computed) == (line_set.head, body, True)


def test_data_lines_alone():
    """Where spare lines were not typed the usual number of them is guessed."""
    for length in (10, 77, 300, 1200):
        body = body_of(length)
        line_set = lay_out(body, spare_count(-(-len(body) // 15)))
        leave_out = range(line_set.head.data_lines + 1, line_set.head.total + 1)
        (found,) = recover(given_lines(line_set, leave_out=leave_out)).sets
        assert (found.head, found.body) == (line_set.head, body)


def test_with_lines_missing():
    """Spare lines stand in for data lines before the head is known."""
    body = body_of(300)
    line_set = lay_out(body, spare_count(-(-len(body) // 15)))
    for leave_out in ((1,), (2, 9, 17), (1, 2, 3, 4)):
        (found,) = recover(given_lines(line_set, leave_out=leave_out)).sets
        assert (found.head, found.body, found.computed) == (line_set.head, body, True)


@pytest.mark.parametrize("sealed", [False, True])
def test_shares(sealed):
    """Number, threshold and count of each share are guessed, and its backup number is in line 1."""
    body = SealedBody(os.urandom(120)) if sealed else PlainBody(body_of(90))
    spare = spare_count(-(-backup.shared_length(len(body.data)) // 15))
    line_sets = backup.split(body, Terms(3, 5), spare=spare, random_bytes=os.urandom)
    findings = recover(given_lines(line_sets[0], line_sets[2], line_sets[4]))
    assert {one.head for one in findings.sets} == {line_sets[at].head for at in (0, 2, 4)}
    assert backup.join(findings).body == body


def test_what_is_not_computed():
    """
    Two lines; lines of nothing; a plain body whose SHA-256 does not agree; lines too few for any
    shape: no set comes of them.
    """
    body = body_of(100)
    line_set = lay_out(body, 4)
    choose = random.Random(1)
    junk = ["".join(choose.choices(ALPHABET, k=29)) for _ in range(300)]
    wrong = lay_out(body[:-1] + bytes([body[-1] ^ 1]), 4)
    for lines in (
        given_lines(line_set)[:2],
        [RawLine(Place(), ((number, text),)) for number, text in enumerate(junk, 1)],
        given_lines(wrong),
        given_lines(line_set, leave_out=range(1, 6)),
    ):
        with pytest.raises(NoHeadLine):
            recover(lines)


def test_two_heads_that_both_pass_are_none(monkeypatch):
    """Where the set mark agrees with two guesses nothing is restored."""
    line_set = lay_out(os.urandom(100), 4, sealed=True)
    guesses = computed_head._guesses
    other = lay_out(os.urandom(95), 4, sealed=True).head

    def two(*shape):
        return (head for made in guesses(*shape) for head in (made, other))

    monkeypatch.setattr(computed_head, "_guesses", two)
    with pytest.raises(NoHeadLine):
        recover(given_lines(line_set))


@pytest.mark.parametrize("fill", [b"\0", b"\1"])
def test_it_ends_soon(fill):
    """Lines that agree on a set mark and are no set, as many as there may be: some seconds."""
    line_set = lay_out(fill * 15 * 60, 15)
    forged = line_set.head.of(b"x").mark
    given = [
        RawLine(Place(), ((number, encode(Line(number, fill * 15), forged)),))
        for number in range(1, 76)
    ]
    start = time.process_time()
    with pytest.raises(PaperError):
        recover(given)
    assert time.process_time() - start < 10


def shapes_by_definition(known):
    """The usual shapes and the others, looked for among all that there may be."""
    highest = max(known)
    every = [
        (data, spare)
        for data in range(1, 1024)
        for spare in sorted({spare_count(data), highest - data})
        if 0 <= spare <= 254 * data and highest <= data + spare <= 1023
        if sum(number <= data + spare for number in known) >= data
    ]
    usual = [shape for shape in every if shape[1] == spare_count(shape[0])]
    usual.sort(key=lambda shape: (sum(shape) != highest, shape[0]))
    others = [shape for shape in every if sum(shape) == highest]
    return usual, sorted(others, reverse=True)


@pytest.mark.parametrize(
    "numbers",
    [
        range(1, 6),
        range(2, 9),
        [1, 3, 4, 6, 7, 9],
        range(1, 256),
        [*range(1, 5), 257],
        range(1, 1024),
        range(100, 1020),
    ],
)
def test_the_shapes_that_are_tried(numbers):
    """All for which the lines may be enough, in their order, and no others."""
    known = dict.fromkeys(numbers, bytes(15))
    usual, others = shapes_by_definition(known)
    assert list(computed_head._usual_shapes(known)) == usual
    assert list(computed_head._other_shapes(known)) == others


def test_which_lines_are_known():
    """The fine ones under this mark; not those that are mended, unnumbered or of another set."""
    line_set, other = lay_out(body_of(100), 4), lay_out(body_of(100, 1), 4)
    texts = line_set.lines
    readings = [
        ((1, texts[0]),),
        ((2, texts[1][1:]),),
        ((3, "?" + texts[2][1:]),),
        ((None, texts[3]),),
        ((5, other.lines[4]),),
        ((6, "A"),),
        ((7, "A"), (7, texts[6])),
        ((0, encode(Line(0, bytes(15)), line_set.head.mark)),),
        ((8, texts[7]),),
        ((8, encode(Line(8, bytes(15)), line_set.head.mark)),),
    ]
    known = computed_head._fine_lines(
        [RawLine(Place(), candidates) for candidates in readings], line_set.head.mark
    )
    body = body_of(100)
    assert known == {1: body[:15], 8: body[105:120]}


def test_only_the_likeliest_reading_tells_a_mark():
    """A set mark that only second readings tell is none; three lines that tell it are enough."""
    line_set = lay_out(body_of(10), 4)
    texts = list(enumerate(line_set.lines, 1))[:3]
    second = [RawLine(Place(), ((number, "A" * 28), (number, text))) for number, text in texts]
    assert computed_head.compute(second, ()) == ()
    first = [RawLine(Place(), ((number, text), (number, "A" * 28))) for number, text in texts]
    assert computed_head.compute(first, ()) == (line_set.head,)
    assert computed_head.compute(first, [line_set.head.mark]) == ()
    assert computed_head.compute(first[:2], ()) == ()


def test_no_more_sets_are_computed_than_there_are_shares():
    """Those with most lines."""
    line_sets = [lay_out(body_of(10, seed), 4 + (seed != 3)) for seed in range(17)]
    heads = computed_head.compute(given_lines(*line_sets), ())
    assert set(heads) == {line_set.head for line_set in line_sets} - {line_sets[3].head}


@pytest.mark.parametrize("shares", [computed_head._SINGLE, computed_head._SHARES[:2]])
@pytest.mark.parametrize("zeros", [0, 3])
def test_guessing_ends_where_its_share_is_spent(shares, zeros):
    """
    Each guess costs the bytes that it hashes and 2,000 more; both seals and each padding are
    guesses. What was found before the end counts.
    """
    data = (b"\1" * 60)[: 60 - zeros] + bytes(zeros)
    known = {number: data[15 * number - 15 : 15 * number] for number in range(1, 5)}
    cost = 2 * len(shares) * (1 + zeros) * (2000 + 60)
    for most, count in ((3 * cost, 4), (3 * cost - 1, 3), (10 * cost, 9)):
        shapes = iter([(4, spare) for spare in range(9)])
        assert computed_head._found(known, shapes, "AAAAA", shares, most) == set()
        assert len(list(shapes)) == 9 - count


def test_what_was_found_before_the_end_counts():
    """The head is that of the first shape, and nothing is left to spend for another one."""
    body = body_of(27)
    line_set = lay_out(body, 4)
    known = {number: body[15 * number - 15 : 15 * number] for number in range(1, 5)}
    found = computed_head._found(
        known, [(4, 4), (4, 5)], line_set.head.mark, computed_head._SINGLE, 0
    )
    assert found == {line_set.head}


def test_spare_lines_are_decoded_for_some_shapes_only(monkeypatch):
    """32 of those that lack a data line; those that lack none are tried all the same."""
    decoded = []

    def mend(known, data, spare):
        decoded.append((data, spare))
        raise NotEnoughLines("none")

    monkeypatch.setattr(computed_head.spare_lines, "mend", mend)
    body = body_of(27)
    line_set = lay_out(body, 4)
    known = {number: body[15 * number - 15 : 15 * number] for number in (1, 2, 3, 4, 6)}
    lacking = [(5, spare) for spare in range(40)]
    found = computed_head._found(
        known, [*lacking, (4, 4)], line_set.head.mark, computed_head._SINGLE, 1 << 30
    )
    assert decoded == lacking[:32]
    assert found == {line_set.head}
    decoded.clear()
    lacking = [(4, spare) for spare in range(40)]
    del known[1]
    computed_head._found(known, lacking, line_set.head.mark, computed_head._SINGLE, 1 << 30)
    assert decoded == lacking[:32]


@pytest.mark.parametrize(("zeros", "padding"), [(0, 0), (1, 1), (14, 14), (15, 14), (30, 14)])
def test_as_many_zeros_may_be_padding_as_a_line_has_room_for(zeros, padding):
    """The last data line has a byte of the body."""
    assert computed_head._zeros(b"x" * (45 - zeros) + bytes(zeros)) == padding


def test_half_is_spent_on_one_set_and_half_on_shares(monkeypatch):
    """Of what there is for a set, on the usual shapes, and as much on the others."""
    spent = []

    def found(known, shapes, mark, shares, most):
        spent.append((len(shares), most))
        return set()

    monkeypatch.setattr(computed_head, "_found", found)
    line_sets = [lay_out(body_of(10, seed), 4) for seed in range(2)]
    assert computed_head.compute(given_lines(*line_sets), ()) == ()
    kinds = len(computed_head._SINGLE), len(computed_head._SHARES)
    assert spent == [(count, (1 << 30) // 4) for count in kinds] * 4
