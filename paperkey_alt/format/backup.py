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
    UnknownFormat,
)
from paperkey_alt.format import body as bodies
from paperkey_alt.format import shares
from paperkey_alt.format.head_line import BACKUP_BITS, Share, backup_characters
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import BLIND_BYTES, KIND_CERTIFICATE, Certificate, unpack
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
    The body of a backup, and the set marks of complete shares that it was not joined from.

    *apart*: they carry its commitment and do not fit the sets that it was joined from. That tells
    that some holder altered a sheet, not who: holders who agree can alter theirs so that these
    still join with some true ones. *left_out*: they contradict a set that was named. *strange*:
    they are no shares as Ragleaf prints them.
    """

    body: Body
    apart: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    strange: tuple[str, ...] = ()


@dataclass(frozen=True)
class Standing:
    """
    Of which shares of a backup every line could be had; *needed* how many there must be, of
    *count*. *left_out* and *strange* as of a Joined.
    """

    backup: str
    complete: tuple[int, ...]
    needed: int
    count: int
    left_out: tuple[str, ...] = ()
    strange: tuple[str, ...] = ()


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
    SharesDisagree, UnknownFormat, PaperError.
    """
    named = frozenset(map(str.upper, marks))
    sound, strange = _sound(findings.sets, named)
    families = _families(sound, named, _certificate_marks(findings))
    if len(families) > 1:
        listed = "; ".join(map(_described, families))
        raise SeveralSets(f"you gave sheets of {len(families)} sets: {listed}")
    (family,) = families
    head, single = family[0].head, family[0].body
    told = tuple(member.head.mark for member in strange)
    if head.share is None:
        if single is None:
            raise _named(family[0].problem or PaperError("it is not complete"), family[0])
        return Joined(bodies.flagged(single, sealed=head.sealed), strange=told)
    believed = [member for member in family if member.head.mark in named]
    side = _believed_side(family, believed)
    if len(_by_number(side)) < head.share.threshold:
        raise _shortfall(family, side)
    joined = _join(side, believed)
    body = bodies.flagged(joined.secret[:-BLIND_BYTES], sealed=side[0].head.sealed)
    if not body.sealed and body.data[:1] == bytes([KIND_CERTIFICATE]):
        raise UnknownFormat(
            "a public certificate was split, which Ragleaf never does",
            advice="Leave these sheets out: they are not sheets as Ragleaf prints them.",
        )
    return Joined(
        body,
        tuple(one.head.mark for one in side if (_number(one), one.body) not in joined.right),
        tuple(one.head.mark for one in family if one.body is not None and one not in side),
        told,
    )


def standings(findings: Findings, marks: Collection[str] = ()) -> tuple[Standing, ...]:
    """
    Return how each backup stands of which shares were given, or that *marks* name; none where the
    sets given are no shares.

    Raises SharesConflict where shares contradict each other and none of them is named; the problem
    of a share that is not complete: a holder is told of that one share, whatever the others are.
    """
    named = frozenset(map(str.upper, marks))
    sound, strange = _sound(findings.sets, named)
    found = []
    for family in _families(sound, named, _certificate_marks(findings)):
        share = family[0].head.share
        if share is None:
            continue
        lacking = [(member.problem, member) for member in family if member.problem]
        if len(lacking) == len(family):
            raise _named(*lacking[0])
        side = _believed_side(family, [one for one in family if one.head.mark in named])
        if lacking:
            raise _named(*lacking[0])
        found.append(
            Standing(
                _name(family),
                tuple(_by_number(side)),
                share.threshold,
                share.count,
                tuple(one.head.mark for one in family if one not in side),
                tuple(one.head.mark for one in strange),
            )
        )
    return tuple(found)


def certificates(findings: Findings, marks: Collection[str] = ()) -> tuple[bytes, ...]:
    """Return the packets of the public certificates in `certificate_sets`."""
    payloads = (unpack(member.body) for member in certificate_sets(findings, marks) if member.body)
    return tuple(payload.packets for payload in payloads if isinstance(payload, Certificate))


def certificate_sets(findings: Findings, marks: Collection[str] = ()) -> tuple[SetFinding, ...]:
    """
    Return the sets of *findings* that carry public certificates, or those of them that *marks* name
    where they name any.
    """
    named = frozenset(map(str.upper, marks))
    found = tuple(member for member in findings.sets if _is_certificate(member))
    return tuple(member for member in found if member.head.mark in named) or found


def _backup_number(committed: bytes) -> int:
    return int.from_bytes(committed[:4], "big") >> 32 - BACKUP_BITS


def _committed(member: SetFinding) -> bytes | None:
    """Return the commitment of a share as far as it is known."""
    return member.first if member.body is None else member.body[:COMMITMENT_BYTES]


def _number(member: SetFinding) -> int:
    return member.head.share.number if member.head.share else 0


def _sound(
    line_sets: Sequence[SetFinding], named: frozenset[str]
) -> tuple[list[SetFinding], list[SetFinding]]:
    """
    Return the sets among which there is to choose, and those that say that they are shares and
    cannot be. A public certificate is chosen only where there is nothing else, or it alone is
    *named*.

    Raises UnknownFormat where one that cannot be a share is named or nothing else was given.
    """
    certificates = [member for member in line_sets if _is_certificate(member)]
    others = [member for member in line_sets if not _is_certificate(member)]
    if not others or (named and named <= {member.head.mark for member in certificates}):
        return certificates, []
    sound: list[SetFinding] = []
    strange: list[SetFinding] = []
    for member in others:
        problem = _strangeness(member)
        if problem and (member.head.mark in named or len(others) == 1):
            raise problem
        (strange if problem else sound).append(member)
    if not sound:
        raise _strangeness(strange[0]) or PaperError("no share is sound")
    return sound, strange


def _strangeness(member: SetFinding) -> PaperError | None:
    """Return why a set that says that it is a share cannot be one."""
    share, committed = member.head.share, _committed(member)
    if share is None or committed is None:
        return None
    if member.body is not None and len(member.body) <= COMMITMENT_BYTES + BLIND_BYTES:
        what = "it is too short for a share"
    elif _backup_number(committed) != share.backup:
        what = "the backup number in line 0 is not that of line 1"
    else:
        return None
    return UnknownFormat(
        f"set {member.head.mark}: {what}",
        advice="It is not a share as Ragleaf prints them. Leave it out.",
    )


def _families(
    line_sets: Sequence[SetFinding], named: frozenset[str], certificates: frozenset[str]
) -> tuple[list[SetFinding], ...]:
    """
    Return the sets by what line 0 says that they are, one set or shares of one backup; where sets
    are *named*, those alone that have one of them.

    A name is a set mark if it is one of any set, otherwise a backup number: so nobody can give a
    backup the set mark of another holder as its number.
    """
    families: dict[object, list[SetFinding]] = defaultdict(list)
    for member in line_sets:
        share = member.head.share
        key = (share.threshold, share.count, share.backup) if share else member.head
        families[key].append(member)
    if not named:
        return tuple(families.values())
    marks = {member.head.mark for member in line_sets}
    # Of a certificate that is named beside others it is known already.
    named -= certificates - marks
    numbers = {backup for member in line_sets for backup in names(member.head) - {member.head.mark}}
    unknown = sorted(named - marks - numbers)
    if unknown:
        raise PaperError(
            f"you gave no line of {', '.join(unknown)}",
            advice="The set mark is printed large on every sheet.",
        )
    return tuple(
        family
        for family in families.values()
        if any(
            member.head.mark in named or names(member.head) & (named - marks) for member in family
        )
    )


def _certificate_marks(findings: Findings) -> frozenset[str]:
    return frozenset(member.head.mark for member in findings.sets if _is_certificate(member))


def _is_certificate(member: SetFinding) -> bool:
    """Tell whether a set carries what others are restored with."""
    head, body = member.head, member.body
    return (
        not head.sealed and head.share is None and body is not None and body[0] == KIND_CERTIFICATE
    )


def _described(family: Sequence[SetFinding]) -> str:
    complete = sum(member.body is not None for member in family)
    share = family[0].head.share
    if share is None:
        return f"{_name(family)} ({'complete' if complete else 'not complete'})"
    marks = ", ".join(member.head.mark for member in family)
    return (
        f"backup {_name(family)}, {share.threshold} of {share.count} "
        f"({counted(complete, 'complete share')}: {marks})"
    )


def _by_number(line_sets: Iterable[SetFinding]) -> dict[int, list[SetFinding]]:
    """Return complete shares by their number."""
    numbered: dict[int, list[SetFinding]] = defaultdict(list)
    for member in line_sets:
        if member.body is not None:
            numbered[_number(member)].append(member)
    return dict(sorted(numbered.items()))


def _believed_side(
    family: Sequence[SetFinding], believed: Sequence[SetFinding]
) -> list[SetFinding]:
    """
    Return the complete shares of a backup that can be joined: all, or those that do not contradict
    the ones that are *believed*.

    Raises SharesConflict where shares contradict each other and that does not settle it; the
    problem of a believed one of which not even line 1 is known.
    """
    ours = [member for member in family if not believed or _agrees(member, believed)]
    known = {
        committed for member in believed or family if (committed := _committed(member)) is not None
    }
    if believed and not known:
        raise _named(believed[0].problem or PaperError("it is not complete"), believed[0])
    complete = [member for member in ours if member.body is not None]
    shapes = {(member.head.sealed, member.head.body_length) for member in complete}
    if len(known) > 1 or len(shapes) > 1 or (not believed and _twins(complete)):
        raise SharesConflict(_conflict(family))
    return complete


def _agrees(member: SetFinding, believed: Sequence[SetFinding]) -> bool:
    """Tell whether a share does not contradict those that are *believed*."""
    if member in believed:
        return True
    if _number(member) in map(_number, believed):
        return False
    committed = {_committed(one) for one in believed}
    complete = [one.head for one in believed if one.body is not None]
    shapes = {(head.sealed, head.body_length) for head in complete}
    shape = (member.head.sealed, member.head.body_length)
    return _committed(member) in committed and (shape in shapes or not shapes)


def _twins(complete: Iterable[SetFinding]) -> bool:
    """Tell whether two shares that differ have one number."""
    return any(
        len({member.body for member in members}) > 1 for members in _by_number(complete).values()
    )


def _conflict(family: Sequence[SetFinding]) -> str:
    """Return which shares of a backup are on which side, those of which that is known."""
    sides: dict[object, list[SetFinding]] = defaultdict(list)
    for member in family:
        if member.body is not None:
            side = (_committed(member), member.head.sealed, member.head.body_length)
            sides[side].append(member)
    for member in family:
        if member.body is None and member.first is not None:
            alike = [side for side in sides if isinstance(side, tuple) and side[0] == member.first]
            sides[alike[0] if alike else member.first].append(member)
    told = [", ".join(map(_side_member, members)) for members in sides.values()]
    name = _name(family)
    if len(told) == 1:
        return f"different sets of backup {name} have the same share number: {told[0]}"
    return (
        f"the shares of backup {name} contradict each other, and Ragleaf cannot tell which of them "
        f"are true. On one side: {'. On another: '.join(told)}"
    )


def _side_member(member: SetFinding) -> str:
    complete = "" if member.body is not None else ", not complete"
    return f"{member.head.mark} (share {_number(member)}{complete})"


@dataclass(frozen=True)
class _Secret:
    """What was joined, and the shares that fit: pairs of number and body."""

    secret: bytes
    right: frozenset[tuple[int, bytes]]


def _join(side: Sequence[SetFinding], believed: Sequence[SetFinding]) -> _Secret:
    head = side[0].head
    assert head.share is not None  # join has sent single sets elsewhere
    terms, committed = Terms(head.share.threshold, head.share.count), _committed(side[0])
    numbered = {
        number: list(dict.fromkeys(member.body or b"" for member in members))
        for number, members in _by_number(side).items()
    }
    joined = shares.join(
        {
            number: [body[COMMITMENT_BYTES:] for body in bodies_given]
            for number, bodies_given in numbered.items()
        },
        terms.threshold,
        lambda secret: commitment(secret, terms) == committed,
        [_number(member) for member in believed],
    )
    return _Secret(
        joined.secret, frozenset((number, numbered[number][at]) for number, at in joined.right)
    )


def _named(problem: PaperError, member: SetFinding) -> PaperError:
    return type(problem)(f"set {member.head.mark}: {problem.what}", advice=problem.advice)


def _shortfall(family: Sequence[SetFinding], side: Sequence[SetFinding]) -> PaperError:
    share = family[0].head.share
    assert share is not None  # join has sent single sets elsewhere
    complete = list(_by_number(side))
    lacking = [
        f"share {_number(member)}: {member.problem.what}" for member in family if member.problem
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
