"""
A secret split among holders, any *threshold* of whom can join it: `split` and `join`
(docs/format.md, "Shares").

A. Shamir, "How to share a secret", Communications of the ACM 22 (11), 1979, byte by byte over
GF(256) with the polynomial 0x11b of FIPS 197 §4.2: each byte is the value at 0 of a polynomial of
degree threshold − 1, and share number x has its value at x. Values are computed by Horner's rule,
polynomials are found again by Lagrange's interpolation.
"""

from __future__ import annotations

from functools import reduce
from itertools import combinations
from typing import TYPE_CHECKING

from paperkey_alt.errors import SharesDisagree
from paperkey_alt.format.field import Field, add

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

FIELD = Field(bits=8, polynomial=0x11B)
FEWEST = 2
MOST = 16


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


def join(
    shares: Mapping[int, bytes], threshold: int, confirms: Callable[[bytes], bool]
) -> tuple[bytes, tuple[int, ...]]:
    """
    Return the secret of which *shares* (number → share, at least *threshold*, all of one length)
    are shares, and the numbers of those that do not belong to it.

    Where there are more than needed, the secret is the one that most of them agree on; *confirms*
    tells whether a secret can be the one, and decides where as many agree on another. Raises
    SharesDisagree where nothing can be told.
    """
    subsets = _consistent_subsets(shares, threshold)
    most = max(map(len, subsets))
    candidates = {
        interpolate(shares, subset[:threshold], 0): subset
        for subset in subsets
        if len(subset) == most
    }
    confirmed = [secret for secret in candidates if confirms(secret)]
    if len(confirmed) != 1:
        raise SharesDisagree(
            f"the {len(shares)} shares do not belong together, and they do not tell which is wrong"
        )
    (secret,) = confirmed
    return secret, tuple(x for x in shares if x not in candidates[secret])


def interpolate(shares: Mapping[int, bytes], numbers: Sequence[int], at: int) -> bytes:
    """Return the value at *at* of the polynomials through the shares *numbers* (Lagrange)."""
    return reduce(add, [_times(shares[x], _weight(x, numbers, at)) for x in numbers])


def _consistent_subsets(shares: Mapping[int, bytes], threshold: int) -> list[tuple[int, ...]]:
    """
    Return each largest subset of the shares that lie on common polynomials, once.

    All subsets of *threshold* shares are tried that are in none found so far, 12,870 at most (8 of
    16): any of them, and no fewer, fix the polynomials on which further shares may lie.
    """
    subsets: set[tuple[int, ...]] = set()
    for few in combinations(sorted(shares), threshold):
        if any(set(few) <= set(subset) for subset in subsets):
            continue
        subsets.add(
            tuple(x for x in sorted(shares) if x in few or interpolate(shares, few, x) == shares[x])
        )
    return sorted(subsets)


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
