"""Line 0 computed from the other lines, and sets for which that must not be."""

import os
import random
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from paperkey_alt.errors import NoHeadLine, PaperError, Place
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
