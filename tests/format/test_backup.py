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
    SharesConflict,
    SharesDisagree,
    UnknownFormat,
)
from paperkey_alt.format import backup, payload
from paperkey_alt.format.backup import (
    COMMITMENT_BYTES,
    Joined,
    Terms,
    certificate_sets,
    certificates,
    join,
    split,
    standings,
)
from paperkey_alt.format.body import PlainBody, flagged
from paperkey_alt.format.head_line import Share
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, Line, encode
from paperkey_alt.format.payload import Certificate
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import recover
from paperkey_alt.format.shares import FIELD, interpolate

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


def body_of(line_set):
    """The body of a set."""
    (found,) = recover(raw_lines_of([line_set])).sets
    return found.body


def forged(line_set, keep=COMMITMENT_BYTES, **others):
    """
    A share of other bytes under the same numbers, of which the first *keep* bytes are kept: with
    the commitment, by default; with 14 bytes its backup number alone.
    """
    head, body = line_set.head, body_of(line_set)
    other = bytes(byte ^ 0x5A for byte in body[keep:])
    return relaid(line_set, body[:keep] + other, share=others.get("share", head.share))


def relaid(line_set, body=None, **others):
    """The same body, or another, laid out otherwise."""
    head = line_set.head
    said = {"sealed": head.sealed, "share": head.share, "spare": head.spare_lines} | others
    return lay_out(body_of(line_set) if body is None else body, **said)


def found_in(*line_sets):
    """What is found of sets."""
    return recover(raw_lines_of(line_sets))


@pytest.mark.parametrize("sealed", [False, True])
def test_any_of_the_threshold_join(sealed):
    """Every three of five shares give the body back, and whether it is sealed."""
    line_sets = split_up(sealed=sealed)
    for few in combinations(line_sets, 3):
        joined = join(recover(raw_lines_of(few)))
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
    findings = recover(raw_lines_of(split_up()[1:4], leave_out=range(2, 8)))
    assert join(findings).body == PlainBody(BODY)


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
        join(recover(seen))
    with pytest.raises(NotEnoughShares, match="2 more shares are needed"):
        join(recover(raw_lines_of(line_sets[4:])))


def test_a_forged_share_is_told_where_there_are_more_than_needed():
    """With one share more than needed, sealed or not, the commitment tells which does not fit."""
    for sealed in (False, True):
        line_sets = split_up(sealed=sealed)
        bad = forged(line_sets[1])
        joined = join(found_in(line_sets[0], bad, line_sets[2], line_sets[4]))
        assert joined == Joined(flagged(BODY, sealed=sealed), (bad.head.mark,))


def test_a_forged_share_among_just_enough_is_refused():
    """With no share more than needed it cannot be told which is forged, only that one is."""
    line_sets = split_up()
    with pytest.raises(SharesDisagree):
        join(found_in(line_sets[0], forged(line_sets[1]), line_sets[2]))


def test_two_that_claim_to_be_the_same_share():
    """
    A forged share beside the true one of the same number is a conflict, until a third or one of the
    two is named.
    """
    line_sets = split_up()
    bad = forged(line_sets[1])
    findings = found_in(*line_sets[:3], bad)
    sides = f"{line_sets[1].head.mark} (share 2)", f"{bad.head.mark} (share 2)"
    for look in (join, standings):
        with pytest.raises(SharesConflict, match="the same share number") as told:
            look(findings)
        assert all(side in told.value.what for side in sides)
    marks = [line_set.head.mark for line_set in line_sets]
    assert join(findings, [marks[0]]) == Joined(PlainBody(BODY), (bad.head.mark,))
    assert join(findings, [marks[1].lower()]) == Joined(PlainBody(BODY), (), (bad.head.mark,))
    assert join(findings, [marks[1], bad.head.mark]).body == PlainBody(BODY)
    with pytest.raises(SharesDisagree):
        join(findings, [bad.head.mark])


def test_the_larger_side_is_not_believed():
    """
    Forged sheets for all numbers but one are no reason to call that one wrong: the sides are told,
    and what the user names counts, be it alone.
    """
    line_sets = split_up()
    theirs = [forged(one, keep=14) for one in line_sets]
    findings = found_in(line_sets[3], *theirs)
    with pytest.raises(
        SharesConflict, match="contradict each other, and Ragleaf cannot tell which"
    ):
        join(findings)
    with pytest.raises(NotEnoughShares, match="2 more shares are needed"):
        join(findings, [line_sets[3].head.mark])
    findings = found_in(*theirs, *line_sets[2:])
    joined = join(findings, [line_sets[3].head.mark])
    assert joined.body == PlainBody(BODY)
    assert set(joined.left_out) == {one.head.mark for one in theirs}
    assert joined.apart == ()


def test_names_of_both_sides_settle_nothing():
    """Two sets that contradict each other, both named: asked again; so with no set's name."""
    line_sets = split_up()
    bad = forged(line_sets[4], keep=14)
    findings = found_in(*line_sets[:3], bad)
    marks = [line_sets[0].head.mark, bad.head.mark]
    with pytest.raises(SharesConflict):
        join(findings, marks)
    number = standings(found_in(line_sets[0]))[0].backup
    with pytest.raises(SharesConflict):
        join(findings, [number])
    assert join(findings, [number, marks[0]]).body == PlainBody(BODY)
    for name in (marks[0][:4], marks[0] + "A", ""):
        with pytest.raises(PaperError, match="gave no line of"):
            join(findings, [name])


def test_forged_flags_and_lengths_do_not_stop_a_trusted_set():
    """
    A share that says that it is sealed, or is longer or shorter than the others, is a conflict, and
    left out where another is named.
    """
    line_sets = split_up()
    for bad in (
        relaid(line_sets[4], sealed=True),
        relaid(line_sets[4], body_of(line_sets[4]) + b"x"),
        relaid(line_sets[4], body_of(line_sets[4])[:-1]),
    ):
        findings = found_in(bad, *line_sets[:3])
        with pytest.raises(SharesConflict):
            join(findings)
        with pytest.raises(SharesConflict):
            standings(findings)
        mark = line_sets[0].head.mark
        assert join(findings, [mark]) == Joined(PlainBody(BODY), (), (bad.head.mark,))
        assert standings(findings, [mark])[0].left_out == (bad.head.mark,)


def test_forged_terms_are_another_backup():
    """Shares that say another threshold or count are asked about, and never joined with others."""
    line_sets = split_up()
    share = line_sets[4].head.share
    for terms in ((5, 2, 5), (5, 3, 6), (5, 5, 5)):
        bad = relaid(line_sets[4], share=Share(*terms, share.backup))
        findings = found_in(bad, *line_sets[:3])
        with pytest.raises(SeveralSets):
            join(findings)
        assert join(findings, [line_sets[1].head.mark]) == Joined(PlainBody(BODY))


def test_what_cannot_be_a_share_stops_nobody():
    """
    A set whose backup number is not that of its line 1, or too short for a share, is left out and
    told; by itself, or named, it is refused.
    """
    line_sets = split_up()
    share = line_sets[4].head.share
    strange = [
        forged(line_sets[4], keep=0),
        relaid(line_sets[4], share=Share(5, 3, 5, share.backup ^ 1)),
        *(relaid(line_sets[4], body_of(line_sets[4])[:length]) for length in (1, 14, 15, 31)),
    ]
    for bad in strange:
        findings = found_in(bad, *line_sets[:3])
        assert join(findings) == Joined(PlainBody(BODY), strange=(bad.head.mark,))
        assert standings(findings)[0].strange == (bad.head.mark,)
        for look in (join, standings):
            with pytest.raises(UnknownFormat, match=bad.head.mark):
                look(found_in(bad))
            with pytest.raises(UnknownFormat, match=bad.head.mark):
                look(findings, [bad.head.mark])
    with pytest.raises(UnknownFormat):
        join(found_in(*strange))


def test_the_same_share_twice_is_no_conflict():
    """A share given twice, or printed again with other spare lines, is the same one."""
    line_sets = split_up()
    again = relaid(line_sets[0], spare=2)
    for few in ([line_sets[0], *line_sets[:3]], [again, *line_sets[:3]]):
        assert join(recover(raw_lines_of(few))) == Joined(PlainBody(BODY))
        assert standings(recover(raw_lines_of(few)))[0].complete == (1, 2, 3)


def test_a_share_that_is_not_complete_has_a_side_too():
    """
    What is known of it is its line 1: forged shares for all other numbers are not joined without a
    question; and one that is named counts by its line 1, or is told to lack it.
    """
    line_sets = split_up()
    theirs = [forged(one, keep=14) for one in line_sets[:3]]
    poor = raw_lines_of(line_sets[4:], range(3, 11))
    findings = recover([*poor, *raw_lines_of(theirs)])
    with pytest.raises(SharesConflict, match="share 5, not complete"):
        join(findings)
    mark = line_sets[4].head.mark
    with pytest.raises(NotEnoughShares, match="none is complete"):
        join(findings, [mark])
    findings = recover([*poor, *raw_lines_of([*theirs, *line_sets[:3]])])
    assert join(findings, [mark]).body == PlainBody(BODY)
    findings = recover([*raw_lines_of(line_sets[4:], range(1, 9)), *raw_lines_of(line_sets[:3])])
    with pytest.raises(NotEnoughLines, match=mark):
        join(findings, [mark])
    assert join(findings).body == PlainBody(BODY)


def test_holders_who_agree_make_nobody_a_forger():
    """
    Two of a threshold of three can alter theirs so that they still join with one true share. The
    secret is right, and of the sets that do not fit it is not said that they are forged.
    """
    line_sets = split_up()
    numbers = (1, 2, 3)
    unit = {1: b"\1\0", 2: b"\0\1", 3: bytes(2)}
    weight = interpolate(unit, numbers, 0)
    error = os.urandom(40)
    ratio = FIELD.multiply(weight[0], FIELD.inverse(weight[1]))
    bodies = [bytearray(body_of(one)) for one in line_sets]
    for at, byte in enumerate(error, COMMITMENT_BYTES):
        bodies[0][at] ^= byte
        bodies[1][at] ^= FIELD.multiply(byte, ratio)
    bad = [relaid(line_sets[at], bytes(bodies[at])) for at in (0, 1)]
    joined = join(found_in(*bad, *line_sets[2:]))
    assert joined.body == PlainBody(BODY)
    assert set(joined.apart) == {one.head.mark for one in line_sets[3:]}
    assert join(found_in(*bad, *line_sets[2:]), [line_sets[3].head.mark]).body == PlainBody(BODY)


def test_two_backups_are_told_apart():
    """
    Shares of two backups do not mix, and one must be chosen by its number or a set mark, be the
    other complete or not.
    """
    ours, theirs = split_up(), split_up(body=BODY[::-1])
    for few in (theirs[:2], theirs[2:]):
        both = found_in(*ours[:3], *few)
        with pytest.raises(SeveralSets, match=ours[0].head.mark):
            join(both)
        assert join(both, [ours[1].head.mark]) == Joined(PlainBody(BODY))
        assert join(both, [standings(both)[0].backup.lower()]).body.data in (BODY, BODY[::-1])
        with pytest.raises(SeveralSets):
            join(both, [ours[1].head.mark, few[0].head.mark])
    with pytest.raises(PaperError, match="XXXXX"):
        join(both, ["XXXXX"])


def test_a_set_mark_goes_before_a_backup_number():
    """Who gives a backup the set mark of another's share as its number names nothing by it."""
    ours = split_up()
    mark = ours[0].head.mark
    number = sum(ALPHABET.index(one) << 5 * at for at, one in enumerate(reversed(mark)))
    begin = (number << 7).to_bytes(4, "big")
    share = ours[0].head.share
    bad = relaid(
        ours[0],
        begin + body_of(ours[0])[4:],
        share=Share(share.number, share.threshold, share.count, number),
    )
    findings = found_in(bad, *ours[:3])
    assert mark in backup.names(bad.head)
    assert join(findings, [mark]) == Joined(PlainBody(BODY))


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
    assert join(recover(raw_lines_of([line_set]))).body == PlainBody(BODY)
    assert standings(recover(raw_lines_of([line_set]))) == ()
    with pytest.raises(NotEnoughLines, match=line_set.head.mark):
        join(recover(raw_lines_of([line_set], leave_out=range(1, 6))))


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
            line_sets[at] = forged(line_sets[at], keep=choose.choice((0, 14, 15)))
        chosen = choose.sample(line_sets, choose.randrange(1, 5))
        seen = [
            one
            for line_set in chosen
            for one in raw_lines_of([line_set], choose.sample(range(1, 5), choose.randrange(5)))
        ]
        try:
            assert join(recover(seen)).body == PlainBody(body)
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


@pytest.mark.parametrize(("threshold", "count"), [(2, 2), (2, 16), (16, 16)])
def test_terms_at_their_limits(threshold, count):
    """All of them needed, two of sixteen, all of sixteen."""
    assert Terms(threshold, count).count == count


# Sets of few lines, for what is said of them: two of three shares are enough.
SHORT = BODY[:20]
SHARES = split(PlainBody(SHORT), Terms(2, 3), spare=4, random_bytes=random.Random(9).randbytes)
SINGLE = lay_out(BODY[60:120], 4)
OTHER_SINGLE = lay_out(b"x" * 60, 4)
CERTIFICATE = lay_out(payload.pack(Certificate(b"Saltmarrow")), 4)
OTHER_CERTIFICATE = lay_out(payload.pack(Certificate(b"Buoy")), 4)
STRANGE = relaid(SHARES[2], share=Share(3, 2, 3, SHARES[2].head.share.backup ^ 1))
OTHER_STRANGE = relaid(SHARES[2], body_of(SHARES[2])[:31])


def refusal(look, *given):
    """What is refused, and what to do about it."""
    with pytest.raises(PaperError) as told:
        look(*given)
    return type(told.value), told.value.what, told.value.advice


def short_of(line_set, *others):
    """What is found of a set that lacks all lines but the last three, and of others."""
    total = line_set.head.total
    return recover(
        [*raw_lines_of([line_set], range(1, total - 2)), *raw_lines_of(others)]
        if others
        else raw_lines_of([line_set], range(1, total - 2))
    )


def test_several_backups_are_listed():
    """Each by its name, with its shares or by itself, and whether it is complete."""
    findings = short_of(OTHER_SINGLE, SINGLE, *SHARES[:2])
    number = backup.backup_characters(SHARES[0].head.share.backup)
    marks = [found.head.mark for found in findings.sets if found.head.share]
    described = {
        OTHER_SINGLE.head: f"{OTHER_SINGLE.head.mark} (not complete)",
        SINGLE.head: f"{SINGLE.head.mark} (complete)",
        SHARES[0].head: f"backup {number}, 2 of 3 (2 complete shares: {', '.join(marks)})",
        SHARES[1].head: None,
    }
    first_of_shares = next(found.head for found in findings.sets if found.head.share)
    listed = [
        described[SHARES[0].head] if found.head == first_of_shares else described[found.head]
        for found in findings.sets
        if found.head.share is None or found.head == first_of_shares
    ]
    kind, what, _ = refusal(join, findings)
    assert (kind, what) == (SeveralSets, f"you gave sheets of 3 sets: {'; '.join(listed)}")


def test_a_backup_of_which_nothing_is_complete_is_listed_so():
    """No share is complete: so it says."""
    findings = short_of(SHARES[0], SINGLE)
    assert "2 of 3 (0 complete shares: " in refusal(join, findings)[1]


def test_a_single_set_is_joined_beside_what_is_no_share():
    """With its seal or without; what is no share is told."""
    for sealed in (False, True):
        single = lay_out(SHORT, 4, sealed=sealed)
        joined = join(found_in(single, STRANGE))
        assert joined == Joined(flagged(SHORT, sealed=sealed), strange=(STRANGE.head.mark,))
        assert joined.body.sealed == sealed


def test_why_something_is_no_share_is_told():
    """By which set, why, and what to do; where there is nothing else, by the first of them."""
    advice = "It is not a share as Ragleaf prints them. Leave it out."
    reasons = {
        STRANGE.head.mark: "the backup number in line 0 is not that of line 1",
        OTHER_STRANGE.head.mark: "it is too short for a share",
    }
    for bad in (STRANGE, OTHER_STRANGE):
        what = f"set {bad.head.mark}: {reasons[bad.head.mark]}"
        for look, findings in ((join, found_in(bad)), (standings, found_in(bad))):
            assert refusal(look, findings) == (UnknownFormat, what, advice)
        beside = found_in(bad, *SHARES[:2])
        for look in (join, standings):
            assert refusal(look, beside, [bad.head.mark]) == (UnknownFormat, what, advice)
    both = found_in(STRANGE, OTHER_STRANGE)
    first = both.sets[0].head.mark
    assert refusal(join, both) == (UnknownFormat, f"set {first}: {reasons[first]}", advice)


def test_names_that_nothing_has_are_told():
    """All of them, in order, and where a set mark is found."""
    assert refusal(join, found_in(SINGLE), ["ZZZZZ", "YYYYY"])[1:] == (
        "you gave no line of YYYYY, ZZZZZ",
        "The set mark is printed large on every sheet.",
    )


def test_a_split_certificate_is_refused():
    """It is no secret, so nobody splits one; a sealed body that begins with the same byte is."""
    data = payload.pack(Certificate(b"Saltmarrow"))
    for sealed in (False, True):
        dealt = split(flagged(data, sealed=sealed), Terms(2, 2), spare=4, random_bytes=os.urandom)
        if sealed:
            assert join(found_in(*dealt)) == Joined(flagged(data, sealed=True))
        else:
            what = "a public certificate was split, which Ragleaf never does"
            assert refusal(join, found_in(*dealt))[:2] == (UnknownFormat, what)


def test_a_certificate_is_joined_where_it_alone_is_meant():
    """By itself, or named; beside a key it is what that is restored with, named or not."""
    certificate, key = CERTIFICATE.head.mark, SINGLE.head.mark
    alone = Joined(PlainBody(body_of(CERTIFICATE)))
    assert join(found_in(CERTIFICATE)) == alone
    both = found_in(CERTIFICATE, SINGLE)
    assert join(both, [certificate]) == alone
    for names in ([], [key], [key, certificate]):
        assert join(both, names) == Joined(PlainBody(BODY[60:120]))
    three = found_in(CERTIFICATE, OTHER_CERTIFICATE, SINGLE)
    assert join(three, [certificate]) == alone
    assert join(three, [key, certificate]) == Joined(PlainBody(BODY[60:120]))


def test_certificates_are_picked_out():
    """All of them, or those that are named; sealed bodies, shares and other payloads are none."""
    seven = bytes([payload.KIND_CERTIFICATE])
    others = (
        SINGLE,
        lay_out(seven + SHORT, 4, sealed=True),
        lay_out(seven + b"Saltmarrow", 4, share=Share(1, 2, 3, 0)),
        lay_out(b"x" + seven * 30, 4),
    )
    findings = found_in(CERTIFICATE, OTHER_CERTIFICATE, *others)
    assert set(certificates(findings)) == {b"Saltmarrow", b"Buoy"}
    marks = CERTIFICATE.head.mark, OTHER_CERTIFICATE.head.mark
    assert {found.head.mark for found in certificate_sets(findings)} == set(marks)
    for names in ([marks[0]], [marks[0].lower(), SINGLE.head.mark]):
        assert certificates(findings, names) == (b"Saltmarrow",)
        assert [found.head.mark for found in certificate_sets(findings, names)] == [marks[0]]
    assert set(certificates(findings, [SINGLE.head.mark])) == {b"Saltmarrow", b"Buoy"}
    assert certificates(found_in(*others)) == ()


def test_a_holder_beside_other_sets_learns_how_each_share_stands():
    """Sets that are no shares do not stop it; names choose; a share that lacks lines is told."""
    others = split(PlainBody(SHORT), Terms(2, 2), spare=4, random_bytes=random.Random(8).randbytes)
    findings = found_in(SINGLE, OTHER_SINGLE, *SHARES[:2], others[0], STRANGE)
    told = {(one.complete, one.needed, one.count) for one in standings(findings)}
    assert told == {((1, 2), 2, 3), ((1,), 2, 2)}
    assert all(one.strange == (STRANGE.head.mark,) for one in standings(findings))
    (one,) = standings(findings, [others[0].head.mark.lower()])
    assert one.backup == backup.backup_characters(others[0].head.share.backup)
    kind, what, _ = refusal(standings, short_of(SHARES[0], *SHARES[1:]))
    assert kind is NotEnoughLines
    assert what.startswith(f"set {SHARES[0].head.mark}: ")


def test_a_shortfall_is_told_in_full():
    """How many more, of which backup, on which terms, what is there and what the others lack."""
    number = backup.backup_characters(SHARES[0].head.share.backup)
    findings = short_of(SHARES[0], SHARES[2])
    lacking = next(found.problem.what for found in findings.sets if found.body is None)
    assert refusal(join, findings)[:2] == (
        NotEnoughShares,
        f"1 more share is needed of backup {number} (2 of 3; complete: 3; share 1: {lacking})",
    )
    (missing,) = short_of(SHARES[0]).sets
    assert refusal(join, short_of(SHARES[0]))[:2] == (
        NotEnoughShares,
        (
            f"2 more shares are needed of backup {number} "
            f"(2 of 3; none is complete; share 1: {missing.problem.what})"
        ),
    )


def test_a_set_that_lacks_lines_keeps_its_advice():
    """By itself or believed: its name, what it lacks, and what to do."""
    (short,) = short_of(SINGLE).sets
    expected = NotEnoughLines, f"set {SINGLE.head.mark}: {short.problem.what}", short.problem.advice
    assert refusal(join, short_of(SINGLE)) == expected
    findings = short_of(SHARES[0], *SHARES[1:])
    problem = next(found.problem for found in findings.sets if found.body is None)
    expected = NotEnoughLines, f"set {SHARES[0].head.mark}: {problem.what}", problem.advice
    assert refusal(join, findings, [SHARES[0].head.mark]) == expected


def test_the_sides_of_a_conflict_are_told_in_full():
    """Each set with its share number, on the side of its commitment, be it complete or not."""
    number = backup.backup_characters(SHARES[0].head.share.backup)
    theirs = [forged(one, keep=14) for one in SHARES]
    findings = recover(
        [
            *raw_lines_of([SHARES[0]], range(2, 8)),
            *raw_lines_of([SHARES[1], theirs[1]]),
            *raw_lines_of([theirs[2]], range(2, 8)),
        ]
    )
    complete = [found.head for found in findings.sets if found.body is not None]
    sides = []
    for head in complete:
        ours = head == SHARES[1].head
        other = SHARES[0].head if ours else theirs[2].head
        sides.append(
            f"{head.mark} (share 2), {other.mark} (share {other.share.number}, not complete)"
        )
    assert refusal(join, findings)[:2] == (
        SharesConflict,
        (
            f"the shares of backup {number} contradict each other, and Ragleaf cannot tell which "
            f"of them are true. On one side: {'. On another: '.join(sides)}"
        ),
    )
    twin = forged(SHARES[1])
    findings = found_in(SHARES[1], twin)
    pair = ", ".join(f"{found.head.mark} (share 2)" for found in findings.sets)
    assert refusal(join, findings)[:2] == (
        SharesConflict,
        f"different sets of backup {number} have the same share number: {pair}",
    )


def test_two_lengths_are_a_conflict_and_so_are_two_seals():
    """Two shapes are enough, whatever the commitment says."""
    for bad in (relaid(SHARES[1], body_of(SHARES[1]) + b"x"), relaid(SHARES[1], sealed=True)):
        for look in (join, standings):
            assert refusal(look, found_in(SHARES[0], bad))[0] is SharesConflict


def test_a_share_that_is_named_is_one_of_those_that_are_joined():
    """If it is forged nothing is joined, though the others alone would be enough."""
    line_sets = split_up()
    bad = forged(line_sets[1])
    findings = found_in(line_sets[0], bad, *line_sets[2:4])
    with pytest.raises(SharesDisagree):
        join(findings, [bad.head.mark])
    named = join(findings, [line_sets[0].head.mark])
    assert named == Joined(PlainBody(BODY), (bad.head.mark,))


def test_a_set_that_does_not_agree_with_its_digest_keeps_its_advice():
    """Where something was mended, to compare that with the paper first."""
    line_set = lay_out(BODY[:60], 0)
    forged_line = encode(Line(2, bytes(15)), line_set.head.mark)
    texts = [line_set.head_line, *line_set.lines]
    texts[2] = "?" + forged_line[1:]
    findings = recover([RawLine(Place(), ((number, text),)) for number, text in enumerate(texts)])
    _, what, advice = refusal(join, findings)
    assert what.startswith(f"set {line_set.head.mark}: the lines pass their checks, but the digest")
    assert advice.startswith("Compare the mended lines with the paper first.")
