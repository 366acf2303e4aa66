"""
A secret split among holders, any *threshold* of whom can join it: `split` and `join`
(docs/format.md, "Shares").

A. Shamir, "How to share a secret", Communications of the ACM 22 (11), 1979, byte by byte over
GF(256) with the polynomial 0x11b of FIPS 197 §4.2: each byte is the value at 0 of a polynomial of
degree threshold − 1, and share number x has its value at x. Values are computed by Horner's rule,
polynomials are found again by Lagrange's interpolation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from itertools import combinations, product
from operator import xor
from typing import TYPE_CHECKING

from paperkey_alt.errors import SharesDisagree
from paperkey_alt.format.field import Field, add

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

FIELD = Field(bits=8, polynomial=0x11B)
FEWEST = 2
MOST = 16

# tests/bench/liars.py: a trial takes some 3 µs for a secret of 600 bytes, so that all take some
# seconds. Honest shares need 12,870 at most (8 of 16).
MOST_TRIALS = 1_000_000
# By reasoning: hashing as much takes a few seconds, and it is ten times what 12,870 trials of the
# longest secret need.
MOST_HASHED = 2 << 30


def split(
    secret: bytes, threshold: int, count: int, random_bytes: Callable[[int], bytes]
) -> tuple[bytes, ...]:
    """
    Return *count* shares, numbered from 1, each as long as *secret*, any *threshold* of which give
    it back.

    *random_bytes* returns as many bytes as it is asked for, of the quality of a key: with it stands
    the secrecy.
    """
    if not FEWEST <= threshold <= count <= MOST:
        raise ValueError(f"{FEWEST} ≤ threshold ≤ count ≤ {MOST}")
    coefficients = [secret, *(random_bytes(len(secret)) for _ in range(threshold - 1))]
    return tuple(_evaluate(coefficients, x) for x in range(1, count + 1))


@dataclass(frozen=True)
class Joined:
    """
    The secret, and which of the candidates lie on its polynomials: pairs of a share number and a
    place among the candidates of that number.
    """

    secret: bytes
    right: frozenset[tuple[int, int]]


def join(
    candidates: Mapping[int, Sequence[bytes]],
    threshold: int,
    confirms: Callable[[bytes], bool],
    trusted: Collection[int] = (),
) -> Joined:
    """
    Return the secret of which *candidates* (number → what is given as that share, all of one
    length) are shares.

    *confirms* tells whether a secret is the one that was split; nothing else decides. Tried are all
    ways to take *threshold* numbers, the *trusted* ones among them, and one candidate for each,
    until one is confirmed. With one candidate a number that are 12,870 ways at most (8 of 16).
    Raises SharesDisagree where none is confirmed, or none within MOST_TRIALS and MOST_HASHED.
    """
    first = sorted({number for number in trusted if number in candidates})
    others = [number for number in sorted(candidates) if number not in first]
    few, further = min(len(first), threshold), max(0, threshold - len(first))
    length = max(1, *(len(given) for several in candidates.values() for given in several))
    most = left = min(MOST_TRIALS, MOST_HASHED // length)
    for some, more in product(combinations(first, few), combinations(others, further)):
        numbers = (*some, *more)
        for chosen, secret in _secrets(candidates, numbers):
            if confirms(secret):
                return Joined(secret, _right(candidates, numbers, chosen))
            left -= 1
            if not left:
                raise SharesDisagree(
                    f"there are too many ways to join these shares: {most:,} were tried",
                    advice="Name more sets that you trust with --mark, or leave out the others.",
                )
    raise SharesDisagree("the shares that were given do not join to the secret that they name")


def _secrets(
    candidates: Mapping[int, Sequence[bytes]], numbers: Sequence[int]
) -> Iterator[tuple[Sequence[int], bytes]]:
    """
    Yield what the candidates for *numbers* join to, with the place of each that was taken.

    A join is a sum of one term for each number. From one way to the next a single candidate is
    exchanged for a neighbour (a reflected Gray code of mixed radices; D. E. Knuth, The Art of
    Computer Programming 4A, 7.2.1.1, algorithm H), which costs one addition.
    """
    terms = []
    for x in numbers:
        weight = _weight(x, numbers, 0)
        terms.append([int.from_bytes(_times(share, weight), "big") for share in candidates[x]])
    length = len(candidates[numbers[0]][0])
    several = [at for at, given in enumerate(terms) if len(given) > 1]
    places, steps = [0] * len(terms), [1] * len(several)
    focus = list(range(len(several) + 1))
    total = reduce(xor, (given[0] for given in terms))
    while True:
        yield places, total.to_bytes(length, "big")
        at, focus[0] = focus[0], 0
        if at == len(several):
            return
        which = several[at]
        before = places[which]
        after = places[which] = before + steps[at]
        total ^= terms[which][before] ^ terms[which][after]
        if after in (0, len(terms[which]) - 1):
            steps[at] = -steps[at]
            focus[at], focus[at + 1] = focus[at + 1], at + 1


def _right(
    candidates: Mapping[int, Sequence[bytes]], numbers: Sequence[int], chosen: Sequence[int]
) -> frozenset[tuple[int, int]]:
    """Return which of *candidates* lie on the polynomials through the *chosen* ones."""
    shares = {x: candidates[x][at] for x, at in zip(numbers, chosen, strict=True)}
    values = {x: shares[x] if x in shares else interpolate(shares, numbers, x) for x in candidates}
    return frozenset(
        (x, at)
        for x, given in candidates.items()
        for at, one in enumerate(given)
        if one == values[x]
    )


def interpolate(shares: Mapping[int, bytes], numbers: Sequence[int], at: int) -> bytes:
    """Return the value at *at* of the polynomials through the shares *numbers* (Lagrange)."""
    return reduce(add, [_times(shares[x], _weight(x, numbers, at)) for x in numbers])


def _evaluate(coefficients: Sequence[bytes], x: int) -> bytes:
    return reduce(
        lambda value, coefficient: add(_times(value, x), coefficient), reversed(coefficients)
    )


def _weight(x: int, numbers: Sequence[int], at: int) -> int:
    """Return the factor of share *x* in Lagrange's formula."""
    others = [other for other in numbers if other != x]
    above = reduce(FIELD.multiply, [at ^ other for other in others], 1)
    return FIELD.multiply(
        above, FIELD.inverse(reduce(FIELD.multiply, [x ^ other for other in others], 1))
    )


def _times(data: bytes, factor: int) -> bytes:
    return data.translate(FIELD.products[factor])
