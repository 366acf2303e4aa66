"""Backups of shares: split, damaged, mixed, forged, joined."""

import os
import random
from itertools import combinations

import pytest

from paperkey_alt.errors import (
    NotEnoughLines,
    NotEnoughShares,
    PaperError,
    Place,
    SeveralSets,
    SharesDisagree,
)
from paperkey_alt.format import backup
from paperkey_alt.format.backup import Joined, Terms, join, split, standings
from paperkey_alt.format.body import PlainBody, flagged
from paperkey_alt.format.head_line import Share
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import recover

BODY = random.Random(1).randbytes(300)


def split_up(threshold=3, count=5, *, body=BODY, sealed=False):
    """The sets of a backup."""
    terms = Terms(threshold, count)
    return split(flagged(body, sealed=sealed), terms, spare=6, random_bytes=os.urandom)


def raw_lines_of(line_sets, leave_out=()):
    """All lines of several sets, well mixed."""
    seen = [
        RawLine(Place(source=line_set.head.mark, row=number), ((number, text),))
        for line_set in line_sets
        for number, text in enumerate((line_set.head_line, *line_set.lines))
        if number not in leave_out
    ]
    random.Random(2).shuffle(seen)
    return seen


def forged(line_set):
    """A share that is another one, under the same numbers."""
    head = line_set.head
    length = head.body_length
    return lay_out(
        random.Random(3).randbytes(length), head.spare_lines, sealed=head.sealed, share=head.share
    )


@pytest.mark.parametrize("sealed", [False, True])
def test_any_of_the_threshold_join(sealed):
    """Every three of five shares give the body back, and whether it is sealed."""
    line_sets = split_up(sealed=sealed)
    for few in combinations(line_sets, 3):
        joined = join(recover(raw_lines_of(few)), None)
        assert joined == Joined(flagged(BODY, sealed=sealed), ())
        assert joined.body.sealed == sealed


def test_each_share_is_a_set_of_its_own():
    """Own set marks, one backup number, numbered from 1, all of the same size."""
    heads = [line_set.head for line_set in split_up()]
    assert len({head.mark for head in heads}) == 5
    assert len({head.share.backup for head in heads}) == 1
    assert [head.share.number for head in heads] == [1, 2, 3, 4, 5]
    assert {head.body_length for head in heads} == {backup.shared_length(len(BODY))}


def test_lost_lines_of_every_share_are_made_up_for():
    """Each share has spare lines of its own."""
    assert join(
        recover(raw_lines_of(split_up()[1:4], leave_out=range(2, 8))), None
    ).body == PlainBody(BODY)


def test_fewer_than_needed_are_refused_with_what_is_there():
    """
    Which shares are complete, what the others lack, how many more are needed; nothing of the body.
    """
    line_sets = split_up()
    seen = raw_lines_of(line_sets[:2]) + raw_lines_of(line_sets[2:3], leave_out=range(1, 10))
    with pytest.raises(
        NotEnoughShares,
        match=r"1 more share is needed .* complete: 1, 2; share 3: 3 more lines are needed",
    ):
        join(recover(seen), None)
    with pytest.raises(NotEnoughShares, match="2 more shares are needed"):
        join(recover(raw_lines_of(line_sets[4:])), None)


def test_a_forged_share_is_named_where_there_are_more_than_needed():
    """With one share more than needed, sealed or not, the check inside tells which is forged."""
    for sealed in (False, True):
        line_sets = split_up(sealed=sealed)
        bad = forged(line_sets[1])
        joined = join(recover(raw_lines_of([line_sets[0], bad, line_sets[2], line_sets[4]])), None)
        assert joined == Joined(flagged(BODY, sealed=sealed), (bad.head.mark,))


def test_a_forged_share_among_just_enough_is_refused():
    """With no share more than needed it cannot be told which is forged, only that one is."""
    line_sets = split_up()
    with pytest.raises(SharesDisagree):
        join(recover(raw_lines_of([line_sets[0], forged(line_sets[1]), line_sets[2]])), None)


def test_two_that_claim_to_be_the_same_share():
    """A forged share beside the true one of the same number is named."""
    line_sets = split_up()
    bad = forged(line_sets[1])
    joined = join(recover(raw_lines_of([*line_sets[:3], bad])), None)
    assert joined == Joined(PlainBody(BODY), (bad.head.mark,))


def test_two_backups_are_told_apart():
    """
    Shares of two backups do not mix; where both are complete one must be chosen by its number.
    """
    ours, theirs = split_up(), split_up(body=BODY[::-1])
    assert join(recover(raw_lines_of([*ours[:3], *theirs[:2]])), None).body == PlainBody(BODY)
    both = recover(raw_lines_of([*ours[:3], *theirs[2:]]))
    with pytest.raises(SeveralSets):
        join(both, None)
    number = standings(both)[0].backup
    assert join(both, number).body.data in (BODY, BODY[::-1])
    with pytest.raises(PaperError, match="XXXXX"):
        join(both, "XXXXX")


def test_a_holder_alone_learns_how_the_share_stands():
    """One complete share stands for itself; one that lacks lines says so."""
    (line_set,) = split_up()[1:2]
    (one,) = standings(recover(raw_lines_of([line_set])))
    assert (one.complete, one.needed, one.count) == ((2,), 3, 5)
    with pytest.raises(NotEnoughLines, match=line_set.head.mark):
        standings(recover(raw_lines_of([line_set], leave_out=range(1, 8))))


def test_a_set_that_is_no_share_joins_alone():
    """An ordinary set is a backup of one."""
    line_set = lay_out(BODY, 4)
    assert join(recover(raw_lines_of([line_set])), None).body == PlainBody(BODY)
    assert standings(recover(raw_lines_of([line_set]))) == ()
    with pytest.raises(NotEnoughLines, match=line_set.head.mark):
        join(recover(raw_lines_of([line_set], leave_out=range(1, 6))), None)


def test_random_trials_never_give_a_wrong_body():
    """Lost and damaged lines, and now and then a forged share: the body, or an error."""
    choose = random.Random(4)
    restored = 0
    for _ in range(60):
        body = choose.randbytes(choose.randrange(10, 120))
        line_sets = list(
            split(PlainBody(body), Terms(2, 4), spare=4, random_bytes=choose.randbytes)
        )
        if choose.random() < 0.5:
            at = choose.randrange(4)
            line_sets[at] = forged(line_sets[at])
        chosen = choose.sample(line_sets, choose.randrange(1, 5))
        seen = [
            one
            for line_set in chosen
            for one in raw_lines_of([line_set], choose.sample(range(1, 5), choose.randrange(5)))
        ]
        try:
            assert join(recover(seen), None).body == PlainBody(body)
            restored += 1
        except PaperError:
            continue
    assert restored > 20


@pytest.mark.parametrize(("threshold", "count"), [(1, 2), (3, 2), (2, 17)])
def test_terms_that_cannot_be(threshold, count):
    """From two to sixteen shares, and no more needed than there are."""
    with pytest.raises(ValueError, match="shares"):
        Terms(threshold, count)


def test_a_share_of_a_share_number_that_is_not_there_is_no_head():
    """Share 6 of 5 cannot exist, so no paper can claim it."""
    with pytest.raises(ValueError, match="share"):
        lay_out(BODY, 4, share=Share(6, 3, 5, 0))
