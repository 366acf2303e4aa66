"""
A backup: the one set of lines, or the several sets of shares, that together carry one body: `split`
and `join` (docs/format.md, "Shares").
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from paperkey_alt.errors import NotEnoughShares, PaperError, SeveralSets, SharesDisagree
from paperkey_alt.format import body as bodies
from paperkey_alt.format import shares
from paperkey_alt.format.head_line import BACKUP_BITS, Share, backup_characters
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from paperkey_alt.format.body import Body
    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.recover import Findings, SetFinding

CHECK_BYTES = 8


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
    """The body of a backup, and the set marks of complete shares that do not belong to it."""

    body: Body
    wrong: tuple[str, ...] = ()


@dataclass(frozen=True)
class Standing:
    """
    Of which shares of a backup every line could be had; *needed* how many there must be, of
    *count*.
    """

    backup: str
    complete: tuple[int, ...]
    needed: int
    count: int


def shared_length(length: int) -> int:
    """Return how long a share of a body of *length* bytes is, in bytes."""
    return length + CHECK_BYTES


def split(
    body: Body, terms: Terms, *, spare: int, random_bytes: Callable[[int], bytes]
) -> tuple[LineSet, ...]:
    """
    Return *body* as shares on these *terms*, each a set of its own with *spare* spare lines.

    The body is split with the first 8 bytes of its SHA-256 behind it, so that a forged share is
    told without a passphrase. *random_bytes* returns as many bytes as it is asked for, of the
    quality of a key.
    """
    backup = int.from_bytes(random_bytes(4), "big") >> (32 - BACKUP_BITS)
    secret = body.data + _check(body.data)
    return tuple(
        lay_out(
            data,
            spare,
            sealed=body.sealed,
            share=Share(number, terms.threshold, terms.count, backup),
        )
        for number, data in enumerate(
            shares.split(secret, terms.threshold, terms.count, random_bytes), 1
        )
    )


def join(findings: Findings, mark: str | None) -> Joined:
    """
    Return the one body that *findings* carry; *mark*, a set mark or a backup number, chooses among
    several.

    Raises NotEnoughLines, NotEnoughShares, SharesDisagree, SeveralSets, PaperError.
    """
    backups = _backups(findings.sets, mark)
    if not backups:
        raise PaperError(
            f"no line of {mark} was given", advice="The set mark is printed large on every sheet."
        )
    complete = [line_sets for line_sets in backups if _is_complete(line_sets)]
    if len(complete) > 1:
        names = ", ".join(map(_name, complete))
        raise SeveralSets(f"{len(complete)} complete sets were given: {names}")
    if not complete:
        raise _shortfall(min(backups, key=_distance))
    return _join(complete[0])


def standings(findings: Findings) -> tuple[Standing, ...]:
    """
    Return how each backup stands of which shares were given; none where the sets given are no
    shares.

    Raises the problem of a share that is not complete: a holder is told of that one share, whatever
    the others are.
    """
    found = []
    for line_sets in _backups(findings.sets, None):
        share = line_sets[0].head.share
        if share is None:
            continue
        for line_set in line_sets:
            if line_set.problem:
                raise _named(line_set.problem, line_set)
        complete = tuple(_by_number(line_sets))
        found.append(Standing(_name(line_sets), complete, share.threshold, share.count))
    return tuple(found)


def _backups(line_sets: Iterable[SetFinding], mark: str | None) -> list[list[SetFinding]]:
    """Return the sets of each backup that *mark* means, or of every one."""
    backups: dict[object, list[SetFinding]] = defaultdict(list)
    for line_set in line_sets:
        share = line_set.head.share
        backups[replace(share, number=1) if share else line_set.head.mark].append(line_set)
    return [
        members
        for members in backups.values()
        if mark in (None, _name(members), *(line_set.head.mark for line_set in members))
    ]


def _is_complete(line_sets: Sequence[SetFinding]) -> bool:
    share = line_sets[0].head.share
    return len(_by_number(line_sets)) >= (share.threshold if share else 1)


def _distance(line_sets: Sequence[SetFinding]) -> tuple[int, int]:
    """Return how far the nearest set of a backup is from complete: the less, the nearer."""
    return min((line_set.needed, -len(line_set.lines)) for line_set in line_sets)


def _by_number(line_sets: Sequence[SetFinding]) -> dict[int, list[SetFinding]]:
    """
    Return the complete sets of a backup by their share number; a set that is no share has number 0.
    """
    numbered: dict[int, list[SetFinding]] = defaultdict(list)
    for line_set in line_sets:
        if line_set.body is not None:
            numbered[line_set.head.share.number if line_set.head.share else 0].append(line_set)
    return dict(sorted(numbered.items()))


def _join(line_sets: Sequence[SetFinding]) -> Joined:
    head = line_sets[0].head
    numbered = _by_number(line_sets)
    if head.share is None:
        return Joined(bodies.flagged(numbered[0][0].body or b"", sealed=head.sealed))
    # Two sets that claim to be the same share: one of them is forged, and the join that leaves out
    # the fewest tells which.
    joins = [
        joined
        for chosen in product(*numbered.values())
        if (joined := _join_chosen(chosen, head.share.threshold))
    ]
    if not joins:
        raise SharesDisagree(
            f"the {len(numbered)} complete shares do not belong together, and they do not tell "
            "which is wrong"
        )
    secret, used = max(joins, key=lambda joined: len(joined[1]))
    marks = [line_set.head.mark for same in numbered.values() for line_set in same]
    return Joined(
        bodies.flagged(secret[:-CHECK_BYTES], sealed=head.sealed),
        tuple(mark for mark in marks if mark not in used),
    )


def _join_chosen(chosen: Sequence[SetFinding], threshold: int) -> tuple[bytes, set[str]] | None:
    """
    Return the secret that the *chosen* sets join to, and the marks of those that belong to it; None
    where they do not tell.
    """
    numbered = {line_set.head.share.number: line_set for line_set in chosen if line_set.head.share}
    data = {number: one.body for number, one in numbered.items() if one.body is not None}
    if len(set(map(len, data.values()))) != 1:
        return None
    try:
        secret, wrong = shares.join(
            data, threshold, lambda secret: _check(secret[:-CHECK_BYTES]) == secret[-CHECK_BYTES:]
        )
    except SharesDisagree:
        return None
    return secret, {one.head.mark for number, one in numbered.items() if number not in wrong}


def _named(problem: PaperError, line_set: SetFinding) -> PaperError:
    return type(problem)(f"set {line_set.head.mark}: {problem.what}", advice=problem.advice)


def _shortfall(line_sets: Sequence[SetFinding]) -> PaperError:
    share = line_sets[0].head.share
    if share is None:
        return _named(line_sets[0].problem or PaperError("it is not complete"), line_sets[0])
    complete = sorted(
        line_set.head.share.number
        for line_set in line_sets
        if line_set.head.share and line_set.body is not None
    )
    lacking = [
        f"share {line_set.head.share.number}: {line_set.problem.what}"
        for line_set in line_sets
        if line_set.head.share and line_set.problem
    ]
    more = counted(share.threshold - len(complete), "more share is", "more shares are")
    have = f"complete: {', '.join(map(str, complete))}" if complete else "none is complete"
    return NotEnoughShares(
        f"{more} needed of backup {_name(line_sets)} "
        f"({share.threshold} of {share.count}; {'; '.join([have, *lacking])})"
    )


def _name(line_sets: Sequence[SetFinding]) -> str:
    head = line_sets[0].head
    return backup_characters(head.share.backup) if head.share else head.mark


def _check(body: bytes) -> bytes:
    return hashlib.sha256(body).digest()[:CHECK_BYTES]
