"""Shares: the scheme, its secrecy, and forged ones."""

import os
import random
from collections import Counter
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_galois_answers import field_of, recorded

from paperkey_alt.errors import SharesDisagree
from paperkey_alt.format.shares import interpolate, join, split


def anything(_secret):
    """Confirms every secret."""
    return True


@pytest.mark.parametrize("answer", recorded()["shares"], ids=lambda answer: len(answer["shares"]))
def test_galois_split_and_joined_alike(answer):
    """
    An independent library evaluated and interpolated the same polynomials over the same field.
    """
    secret, *drawn = map(bytes.fromhex, answer["coefficients"])
    shares = tuple(map(bytes.fromhex, answer["shares"]))
    rows = iter(drawn)
    assert split(secret, answer["threshold"], len(shares), lambda _: next(rows)) == shares
    chosen = {x: shares[x - 1] for x in answer["chosen"]}
    assert interpolate(chosen, answer["chosen"], 0) == bytes.fromhex(answer["joined"]) == secret


@pytest.mark.long
@pytest.mark.parametrize(("threshold", "count"), [(2, 2), (2, 3), (3, 5), (5, 8), (16, 16)])
def test_galois_splits_and_joins_alike(threshold, count):
    """
    An independent library evaluates and interpolates the same polynomials over the same field.
    """
    import galois  # noqa: PLC0415 - it compiles for a minute, here alone

    field = field_of(8, 0x11B, element=3)
    drawn: list[bytes] = []

    def recorded(length):
        drawn.append(os.urandom(length))
        return drawn[-1]

    secret = os.urandom(20)
    shares = split(secret, threshold, count, recorded)
    for at, byte in enumerate(secret):
        polynomial = galois.Poly([*(row[at] for row in reversed(drawn)), byte], field=field)
        assert [share[at] for share in shares] == [int(polynomial(x)) for x in range(1, count + 1)]
        chosen = random.sample(range(1, count + 1), threshold)
        through = galois.lagrange_poly(field(chosen), field([shares[x - 1][at] for x in chosen]))
        assert int(through(0)) == byte
        assert interpolate({x: shares[x - 1] for x in chosen}, chosen, 0)[at] == byte


def test_a_polynomial_through_one_point_is_constant():
    """The smallest case of Lagrange's formula: empty products are 1."""
    assert interpolate({3: b"bell"}, (3,), 0) == interpolate({3: b"bell"}, (3,), 3) == b"bell"


@pytest.mark.parametrize("count", range(2, 7))
def test_every_subset_of_the_threshold_joins(count):
    """Any k of n shares give the secret back, for all k and n up to 6."""
    secret = b"the bell on Gannet Rock"
    for threshold in range(2, count + 1):
        shares = dict(enumerate(split(secret, threshold, count, os.urandom), 1))
        for few in combinations(shares, threshold):
            assert join({x: shares[x] for x in few}, threshold, anything) == (secret, ())


def test_fewer_shares_say_nothing():
    """
    With k = 2, over all random bytes, each value of a share occurs equally often for every secret;
    with k = 3 each pair does.
    """
    for x in (1, 2, 5):
        for secret in (0, 1, 0x57, 255):
            seen = Counter(
                split(bytes([secret]), 2, 5, lambda _, r=r: bytes([r]))[x - 1][0]
                for r in range(256)
            )
            assert seen == Counter(range(256))
    for secret in (0, 0x83):
        pairs = Counter()
        for first in range(256):
            for second in range(256):
                coefficients = iter([bytes([first]), bytes([second])])
                shares = split(bytes([secret]), 3, 3, lambda _, c=coefficients: next(c))
                pairs[shares[0][0], shares[2][0]] += 1
        assert set(pairs.values()) == {1}
        assert len(pairs) == 65536


@given(
    st.binary(min_size=1, max_size=60),
    st.integers(2, 5),
    st.integers(0, 3),
    st.randoms(use_true_random=False),
)
@settings(max_examples=40)
def test_forged_shares_are_named(secret, threshold, more, choose):
    """
    With two shares more than needed one forged is outvoted; with one more the secret that can be
    confirmed decides.
    """
    shares = dict(enumerate(split(secret, threshold, threshold + more, choose.randbytes), 1))
    assert join(shares, threshold, anything) == (secret, ())
    if more:
        forged = choose.choice(list(shares))
        shares[forged] = bytes([shares[forged][0] ^ choose.randrange(1, 256)]) + shares[forged][1:]
        joined = join(shares, threshold, lambda found: more > 1 or found == secret)
        assert joined == (secret, (forged,))


def test_the_larger_consistent_subset_is_believed():
    """
    Forgers who agree among themselves, and even with one true share, are outvoted by more true
    ones.
    """
    true = dict(enumerate(split(b"secret", 2, 6, os.urandom), 1))
    forged = {x: interpolate({3: true[3], 1: b"forged"}, (1, 3), x) for x in (1, 2)}
    assert join(true | forged, 2, anything) == (b"secret", (1, 2))


def test_shares_that_do_not_tell_are_refused():
    """
    One share too many and forged, and nothing to confirm the secret with: refused, not guessed.
    """
    shares = dict(enumerate(split(b"secret", 2, 3, os.urandom), 1))
    shares[2] = bytes(6)
    with pytest.raises(
        SharesDisagree,
        match=r"^the 3 shares do not belong together, and they do not tell which is wrong$",
    ):
        join(shares, 2, anything)
    with pytest.raises(SharesDisagree):
        join(shares, 2, lambda _: False)


@pytest.mark.parametrize(("threshold", "count"), [(1, 3), (4, 3), (2, 17), (0, 0)])
def test_numbers_that_cannot_be_are_refused(threshold, count):
    """2 ≤ threshold ≤ count ≤ 16."""
    with pytest.raises(ValueError, match=r"^2 ≤ threshold ≤ count ≤ 16$"):
        split(b"secret", threshold, count, os.urandom)
