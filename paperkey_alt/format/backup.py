"""
A backup: the one set of lines, or the several sets of shares, that together carry one body: `deal`
and `assemble`.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from paperkey_alt.errors import NotEnoughShares, PaperError, SeveralSets, SharesDisagree
from paperkey_alt.format import shares
from paperkey_alt.format.head_line import BACKUP_BITS, Share, backup_characters
from paperkey_alt.format.line_set import lay_out

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

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
class Assembled:
    """
    A body, whether it is sealed, and the set marks of complete shares that were given and do not
    belong to it.
    """

    body: bytes
    sealed: bool
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
    """Return how long a share of a body of *length* bytes is."""
    return length + CHECK_BYTES


def deal(
    body: bytes, terms: Terms, *, sealed: bool, spare: int, random_bytes: Callable[[int], bytes]
) -> tuple[LineSet, ...]:
    """
    Return *body* as shares on these *terms*, each a set of its own with *spare* spare lines.

    The body is split with the first 8 bytes of its SHA-256 behind it, so that a forged share is
    told without a passphrase.
    """
    backup = int.from_bytes(random_bytes(4), "big") >> (32 - BACKUP_BITS)
    dealt = shares.split(body + _check(body), terms.threshold, terms.count, random_bytes)
    return tuple(
        lay_out(
            share, spare, sealed=sealed, share=Share(number, terms.threshold, terms.count, backup)
        )
        for number, share in enumerate(dealt, 1)
    )


def assemble(findings: Findings, mark: str | None) -> Assembled:
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
    able = [group for group in backups if _complete(group)]
    if len(able) > 1:
        raise SeveralSets(f"{len(able)} complete sets were given: {', '.join(map(_name, able))}")
    if not able:
        nearest = min(
            backups, key=lambda group: min((one.needed, -len(one.lines)) for one in group)
        )
        raise _shortfall(nearest)
    return _join(able[0])


def standings(findings: Findings) -> tuple[Standing, ...]:
    """
    Return how each backup stands of which shares were given; none where the sets given are no
    shares.

    Raises the problem of a share that is not complete: a holder is told of that one share, whatever
    the others are.
    """
    found = []
    for group in _backups(findings.sets, None):
        share = group[0].head.share
        if share is None:
            continue
        for one in group:
            if one.problem:
                raise type(one.problem)(f"set {one.head.mark}: {one.problem.what}")
        found.append(Standing(_name(group), tuple(_by_number(group)), share.threshold, share.count))
    return tuple(found)


def _backups(found: Iterable[SetFinding], mark: str | None) -> list[list[SetFinding]]:
    groups: dict[object, list[SetFinding]] = defaultdict(list)
    for one in found:
        share = one.head.share
        groups[replace(share, number=1) if share else one.head.mark].append(one)
    return [
        group
        for group in groups.values()
        if mark in (None, _name(group), *(one.head.mark for one in group))
    ]


def _complete(group: Sequence[SetFinding]) -> bool:
    share = group[0].head.share
    return len(_by_number(group)) >= (share.threshold if share else 1)


def _by_number(group: Sequence[SetFinding]) -> dict[int, list[SetFinding]]:
    """
    Return the complete sets of a backup by their share number; a set that is no share has number 0.
    """
    numbered: dict[int, list[SetFinding]] = defaultdict(list)
    for one in group:
        if one.body is not None:
            numbered[one.head.share.number if one.head.share else 0].append(one)
    return dict(sorted(numbered.items()))


def _join(group: Sequence[SetFinding]) -> Assembled:
    share, sealed = group[0].head.share, group[0].head.sealed
    numbered = _by_number(group)
    if share is None:
        return Assembled(numbered[0][0].body or b"", sealed)
    # Two sets that claim to be the same share: one of them is forged, and the join that leaves out
    # the fewest tells which.
    joins = [
        join
        for chosen in product(*numbered.values())
        if (join := _join_chosen(chosen, share.threshold))
    ]
    if not joins:
        raise SharesDisagree(
            f"the {len(numbered)} complete shares do not belong together, and they do not tell "
            "which is wrong"
        )
    secret, used = max(joins, key=lambda join: len(join[1]))
    wrong = tuple(
        one.head.mark for ones in numbered.values() for one in ones if one.head.mark not in used
    )
    return Assembled(secret[:-CHECK_BYTES], sealed, wrong)


def _join_chosen(chosen: Sequence[SetFinding], threshold: int) -> tuple[bytes, set[str]] | None:
    """
    Return the secret that the *chosen* sets join to, and the marks of those that belong to it; None
    where they do not tell.
    """
    numbered = {one.head.share.number: one for one in chosen if one.head.share}
    bodies = {number: one.body for number, one in numbered.items() if one.body is not None}
    if len(set(map(len, bodies.values()))) != 1:
        return None
    try:
        joined = shares.join(
            bodies, threshold, lambda secret: _check(secret[:-CHECK_BYTES]) == secret[-CHECK_BYTES:]
        )
    except SharesDisagree:
        return None
    return joined.secret, {
        one.head.mark for number, one in numbered.items() if number not in joined.wrong
    }


def _shortfall(group: Sequence[SetFinding]) -> PaperError:
    share = group[0].head.share
    if share is None:
        problem = group[0].problem or PaperError("it is not complete")
        return type(problem)(f"set {group[0].head.mark}: {problem.what}")
    whole = sorted(
        one.head.share.number for one in group if one.head.share and one.body is not None
    )
    lacking = [
        f"share {one.head.share.number}: {one.problem.what}"
        for one in group
        if one.head.share and one.problem
    ]
    more = share.threshold - len(whole)
    have = f"complete: {', '.join(map(str, whole))}" if whole else "none is complete"
    return NotEnoughShares(
        f"{more} more {'share is' if more == 1 else 'shares are'} needed of backup {_name(group)} "
        f"({share.threshold} of {share.count}; {'; '.join([have, *lacking])})"
    )


def _name(group: Sequence[SetFinding]) -> str:
    share = group[0].head.share
    return backup_characters(share.backup) if share else group[0].head.mark


def _check(body: bytes) -> bytes:
    return hashlib.sha256(body).digest()[:CHECK_BYTES]
