"""
A backup: the one set of lines, or the several sets of shares, that together carry one body: `split`
and `join` (docs/format.md, "Shares", "Restoring").

Shares carry a commitment to their secret, so true ones recognise each other. Which of two
commitments is the true one cannot be told by counting, for one holder can print many shares:
`join` asks for the name of a set to be believed, and never chooses by itself.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import (
    NotEnoughShares,
    PaperError,
    SeveralSets,
    SharesConflict,
    SharesDisagree,
    UnknownFormat,
)
from paperkey_alt.format import body as bodies
from paperkey_alt.format import shares
from paperkey_alt.format.head_line import BACKUP_BITS, Share, backup_characters
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import BLIND_BYTES, KIND_CERTIFICATE
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from paperkey_alt.format.body import Body
    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.recover import Findings, SetFinding

COMMITMENT_BYTES = 15
DOMAIN = b"Ragleaf shares 1"


@dataclass(frozen=True)
class Terms:
    """Any *threshold* of *count* shares: 2 ≤ threshold ≤ count ≤ 16."""

    threshold: int
    count: int

    def __post_init__(self) -> None:
        if not shares.FEWEST <= self.threshold <= self.count <= shares.MOST:
            raise ValueError(
                f"from {shares.FEWEST} to {shares.MOST} shares, and no more needed than there are"
            )


@dataclass(frozen=True)
class Joined:
    """
    The body of a backup; the set marks of complete shares that carry its commitment and do not fit
    its secret (*wrong*), and of those that carry another commitment, or stand under the number of a
    set that was named (*left_out*).
    """

    body: Body
    wrong: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Standing:
    """
    Of which shares of a backup every line could be had; *needed* how many there must be, of
    *count*. *marks* are their set marks, *begins* the five characters with which line 1 begins.
    """

    backup: str
    complete: tuple[int, ...]
    needed: int
    count: int
    marks: tuple[str, ...] = ()


def shared_length(length: int) -> int:
    """Return how long a share of a body of *length* bytes is, in bytes."""
    return COMMITMENT_BYTES + length + BLIND_BYTES


def names(head: Head) -> set[str]:
    """Return what the set *head* can be called by: its set mark, the backup number of a share."""
    return {head.mark, backup_characters(head.share.backup)} if head.share else {head.mark}


def commitment(secret: bytes, terms: Terms) -> bytes:
    """Return the 15 bytes that commit to *secret*, the body proper with its blind, on *terms*."""
    covered = DOMAIN + bytes([terms.threshold, terms.count]) + secret
    return hashlib.sha256(covered).digest()[:COMMITMENT_BYTES]


def split(
    body: Body, terms: Terms, *, spare: int, random_bytes: Callable[[int], bytes]
) -> tuple[LineSet, ...]:
    """
    Return *body* as shares on these *terms*, each a set of its own with *spare* spare lines.

    *random_bytes* returns as many bytes as it is asked for, of the quality of a key.
    """
    secret = body.data + random_bytes(BLIND_BYTES)
    committed = commitment(secret, terms)
    dealt = shares.split(secret, terms.threshold, terms.count, random_bytes)
    return tuple(
        lay_out(
            committed + data,
            spare,
            sealed=body.sealed,
            share=Share(number, terms.threshold, terms.count, _backup_number(committed)),
        )
        for number, data in enumerate(dealt, 1)
    )


def join(findings: Findings, marks: Collection[str] = ()) -> Joined:
    """
    Return the one body that *findings* carry; *marks* are those set marks, or backup numbers, that
    the user named. A set that is named is believed.

    Raises SeveralSets where more than one backup is at hand and none named; SharesConflict where
    shares contradict each other and none of them is named; NotEnoughLines, NotEnoughShares,
    SharesDisagree, PaperError.
    """
    family = _family(findings.sets, frozenset(map(str.upper, marks)))
    share = family[0].head.share
    if share is None:
        if family[0].body is None:
            raise _named(family[0].problem or PaperError("it is not complete"), family[0])
        return Joined(bodies.flagged(family[0].body, sealed=family[0].head.sealed))
    for member in family:
        _require_backup_number(member)
    complete = [member for member in family if member.body is not None]
    believed = [member for member in complete if member.head.mark in set(map(str.upper, marks))]
    ours = _believed_side(complete, believed)
    numbered = _by_number(ours)
    if len(numbered) < share.threshold:
        raise _shortfall(family, ours)
    return _join(ours, complete, believed)


def standings(findings: Findings) -> tuple[Standing, ...]:
    """
    Return how each backup stands of which shares were given, shares with different commitments
    apart; none where the sets given are no shares.

    Raises the problem of a share that is not complete: a holder is told of that one share, whatever
    the others are. Raises SharesConflict where shares contradict each other.
    """
    found = []
    for family in _families(findings.sets).values():
        share = family[0].head.share
        if share is None:
            continue
        for member in family:
            if member.problem:
                raise _named(member.problem, member)
            _require_backup_number(member)
        _believed_side(family, ())
        complete = tuple(_by_number(family))
        found.append(Standing(_name(family), complete, share.threshold, share.count))
    return tuple(found)


def _backup_number(committed: bytes) -> int:
    return int.from_bytes(committed[:4], "big") >> 32 - BACKUP_BITS


def _committed(member: SetFinding) -> bytes:
    return (member.body or b"")[:COMMITMENT_BYTES]


def _require_backup_number(member: SetFinding) -> None:
    share = member.head.share
    if share and member.body is not None and _backup_number(_committed(member)) != share.backup:
        raise UnknownFormat(
            f"set {member.head.mark}: the backup number in line 0 is not that of line 1",
            advice="This is no share as Ragleaf prints it. Leave it out.",
        )


def _families(line_sets: Iterable[SetFinding]) -> dict[object, list[SetFinding]]:
    """Return the sets by what line 0 says that they are: one set, or shares of one backup."""
    families: dict[object, list[SetFinding]] = defaultdict(list)
    for member in line_sets:
        share = member.head.share
        key = (share.threshold, share.count, share.backup) if share else member.head.mark
        families[key].append(member)
    return families


def _family(line_sets: Iterable[SetFinding], marks: frozenset[str]) -> list[SetFinding]:
    """Return the sets of the one backup that is at hand, or that *marks* name."""
    families = list(_families(one for one in line_sets if not _is_certificate(one)).values())
    if marks:
        named = [family for family in families if marks & _names(family)]
        strange = marks.difference(*map(_names, families)) if families else marks
        if strange or not named:
            raise PaperError(
                f"no line of {', '.join(sorted(strange or marks))} was given",
                advice="The set mark is printed large on every sheet.",
            )
        families = named
    if not families:
        raise PaperError(
            "the sheets that were given carry a public certificate and no secret",
            advice="Give the sheets of the key as well.",
        )
    if len(families) > 1:
        listed = "; ".join(map(_described, families))
        raise SeveralSets(f"sheets of {len(families)} sets were given: {listed}")
    return families[0]


def _is_certificate(member: SetFinding) -> bool:
    """Tell whether a set carries what others are restored with."""
    head, body = member.head, member.body
    return (
        not head.sealed and head.share is None and body is not None and body[0] == KIND_CERTIFICATE
    )


def _names(family: Sequence[SetFinding]) -> set[str]:
    return set().union(*(names(member.head) for member in family))


def _described(family: Sequence[SetFinding]) -> str:
    complete = sum(member.body is not None for member in family)
    share = family[0].head.share
    if share is None:
        return f"{_name(family)} ({'complete' if complete else 'not complete'})"
    return f"backup {_name(family)} ({counted(complete, 'complete share')})"


def _by_number(line_sets: Iterable[SetFinding]) -> dict[int, list[SetFinding]]:
    """Return complete shares by their number."""
    numbered: dict[int, list[SetFinding]] = defaultdict(list)
    for member in line_sets:
        if member.head.share and member.body is not None:
            numbered[member.head.share.number].append(member)
    return dict(sorted(numbered.items()))


def _believed_side(
    complete: Sequence[SetFinding], believed: Sequence[SetFinding]
) -> list[SetFinding]:
    """
    Return the complete shares that carry one commitment: that of those that are *believed*, or the
    only one there is.

    Raises SharesConflict where that does not settle it.
    """
    sides: dict[bytes, list[SetFinding]] = defaultdict(list)
    for member in complete:
        sides[_committed(member)].append(member)
    wanted = {_committed(member) for member in believed}
    if len(wanted) > 1 or (not wanted and (len(sides) > 1 or _twins(complete))):
        raise SharesConflict(_conflict(list(sides.values())))
    ours = sides[wanted.pop()] if wanted else list(complete)
    taken = {member.head.share.number for member in believed if member.head.share}
    return [
        member
        for member in ours
        if member in believed or (member.head.share and member.head.share.number not in taken)
    ]


def _twins(complete: Iterable[SetFinding]) -> bool:
    """Tell whether two shares that differ have one number."""
    return any(len(members) > 1 for members in _by_number(complete).values())


def _conflict(sides: Sequence[Sequence[SetFinding]]) -> str:
    told = [
        ", ".join(
            f"{one.head.mark} (share {one.head.share.number})" for one in side if one.head.share
        )
        for side in sides
    ]
    name = _name(sides[0])
    if len(sides) == 1:
        return f"two different sets of backup {name} have the same share number: {told[0]}"
    return (
        f"the shares of backup {name} contradict each other, and which of them are true cannot be "
        f"told from here. On one side: {'. On another: '.join(told)}"
    )


def _join(
    ours: Sequence[SetFinding], complete: Sequence[SetFinding], believed: Sequence[SetFinding]
) -> Joined:
    head = ours[0].head
    assert head.share is not None  # join has sent single sets elsewhere
    terms, committed = Terms(head.share.threshold, head.share.count), _committed(ours[0])
    length = max((len(one.body or b"") for one in believed), default=0) or _usual_length(ours)
    numbered = _by_number(one for one in ours if len(one.body or b"") == length)
    candidates = {
        number: [(one.body or b"")[COMMITMENT_BYTES:] for one in members]
        for number, members in numbered.items()
    }
    if len(candidates) < terms.threshold:
        raise SharesDisagree("the shares that were given are not of one length")
    joined = shares.join(
        candidates,
        terms.threshold,
        lambda secret: commitment(secret, terms) == committed,
        [one.head.share.number for one in believed if one.head.share],
    )
    right = {numbered[number][at].head.mark for number, at in joined.right}
    sealed = {one.head.sealed for one in ours if one.head.mark in right}
    if len(sealed) > 1:
        raise SharesDisagree("the shares that were given do not agree on whether there is a seal")
    return Joined(
        bodies.flagged(joined.secret[:-BLIND_BYTES], sealed=sealed.pop()),
        tuple(one.head.mark for one in ours if one.head.mark not in right),
        tuple(one.head.mark for one in complete if one not in ours),
    )


def _usual_length(members: Iterable[SetFinding]) -> int:
    lengths = [len(one.body or b"") for one in members]
    return max(set(lengths), key=lengths.count)


def _named(problem: PaperError, member: SetFinding) -> PaperError:
    return type(problem)(f"set {member.head.mark}: {problem.what}")


def _shortfall(family: Sequence[SetFinding], ours: Sequence[SetFinding]) -> PaperError:
    share = family[0].head.share
    assert share is not None  # join has sent single sets elsewhere
    complete = list(_by_number(ours))
    lacking = [
        f"share {member.head.share.number}: {member.problem.what}"
        for member in family
        if member.head.share and member.problem
    ]
    more = counted(share.threshold - len(complete), "more share is", "more shares are")
    have = f"complete: {', '.join(map(str, complete))}" if complete else "none is complete"
    return NotEnoughShares(
        f"{more} needed of backup {_name(family)} "
        f"({share.threshold} of {share.count}; {'; '.join([have, *lacking])})"
    )


def _name(family: Sequence[SetFinding]) -> str:
    head = family[0].head
    return backup_characters(head.share.backup) if head.share else head.mark
