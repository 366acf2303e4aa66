"""Shares: the scheme, its secrecy, and forged ones."""

import os
import random
from collections import Counter
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_galois_answers import field_of, recorded

from paperkey_alt.errors import SharesDisagree
from paperkey_alt.format.shares import Joined, interpolate, join, split


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
            joined = join({x: [shares[x]] for x in few}, threshold, anything)
            assert joined.secret == secret
            assert joined.right == {(x, 0) for x in few}


@pytest.mark.long
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
def test_forged_shares_are_found(secret, threshold, more, choose):
    """
    With one share more than needed a forged one is found by what confirms the secret, among the
    others or beside the true one of its number.
    """
    shares = {
        x: [share]
        for x, share in enumerate(split(secret, threshold, threshold + more, choose.randbytes), 1)
    }
    everything = {(x, 0) for x in shares}
    assert join(shares, threshold, anything) == Joined(secret, frozenset(everything))
    forged = choose.choice(list(shares))
    (true,) = shares[forged]
    false = bytes([true[0] ^ choose.randrange(1, 256)]) + true[1:]
    if more:
        joined = join(shares | {forged: [false]}, threshold, secret.__eq__)
        assert joined == Joined(secret, frozenset(everything - {(forged, 0)}))
    joined = join(shares | {forged: [false, true]}, threshold, secret.__eq__)
    assert joined == Joined(secret, frozenset(everything - {(forged, 0)} | {(forged, 1)}))


def test_the_larger_consistent_subset_is_not_believed():
    """
    Shares of another secret, be they more than the true ones, come to nothing: what is confirmed
    counts, and if nothing is, nothing is returned.
    """
    true = dict(enumerate(split(b"secret", 2, 6, os.urandom), 1))
    false = {x: interpolate({3: true[3], 1: b"forged"}, (1, 3), x) for x in range(1, 7)}
    given = {x: [false[x], true[x]] if x in (5, 6) else [false[x]] for x in true}
    assert false[3] == true[3]
    joined = join(given, 2, b"secret".__eq__)
    assert joined == Joined(b"secret", frozenset({(3, 0), (5, 1), (6, 1)}))
    with pytest.raises(SharesDisagree):
        join({x: [false[x]] for x in true}, 2, b"secret".__eq__)


def test_trusted_numbers_are_taken():
    """Of more ways to join only those with the trusted numbers are tried, named twice or not."""
    true = dict(enumerate(split(b"secret", 3, 6, os.urandom), 1))
    given = {x: [share] for x, share in true.items()} | {1: [b"forged"], 2: [b"false!"]}
    for trusted in ([5], [5, 5], [4, 5, 6], [3, 4, 5, 6]):
        joined = join(given, 3, b"secret".__eq__, trusted)
        assert joined == Joined(b"secret", frozenset({(3, 0), (4, 0), (5, 0), (6, 0)}))
    with pytest.raises(SharesDisagree):
        join(given, 3, b"secret".__eq__, [1])


@pytest.mark.parametrize("radices", [(1,), (2,), (1, 3, 2), (3, 1, 1, 4), (2, 2, 2, 2, 2)])
def test_each_way_is_tried_once(radices):
    """All choices of one candidate a number, each once, joined as by Lagrange's formula."""
    threshold = max(2, len(radices))
    radices = (*radices, *[1] * (threshold - len(radices)))
    numbers = range(1, threshold + 1)
    given = {
        x: [os.urandom(4) for _ in range(few)] for x, few in zip(numbers, radices, strict=True)
    }
    seen = []

    def never(secret):
        seen.append(secret)

    with pytest.raises(SharesDisagree):
        join(given, threshold, never)
    ways = product(*(given[x] for x in numbers))
    expected = [
        interpolate(dict(zip(numbers, way, strict=True)), tuple(numbers), 0) for way in ways
    ]
    assert sorted(seen) == sorted(expected)


def test_trials_are_bounded(monkeypatch):
    """Past the bound it is refused, with what to do: many copies of a share end soon."""
    monkeypatch.setattr("paperkey_alt.format.shares.MOST_TRIALS", 500)
    given = {x: [os.urandom(9) for _ in range(40)] for x in range(1, 9)}
    tried = []
    with pytest.raises(
        SharesDisagree, match=r"too many ways to join these shares: 500 were tried"
    ) as refused:
        join(given, 8, tried.append)
    assert len(tried) == 500
    assert "--mark" in refused.value.advice
    assert refused.value.advice == (
        "Name more sets that you trust with --mark, or leave out the others."
    )


def test_shares_that_do_not_tell_are_refused():
    """
    One share forged, and nothing to confirm a secret with: refused, not guessed.
    """
    shares = {x: [share] for x, share in enumerate(split(b"secret", 2, 3, os.urandom), 1)}
    shares[2] = [bytes(6)]
    with pytest.raises(
        SharesDisagree,
        match=r"^the shares that were given do not join to the secret that they name$",
    ):
        join(shares, 2, lambda _: False)


@pytest.mark.parametrize(("threshold", "count"), [(1, 3), (4, 3), (2, 17), (0, 0)])
def test_numbers_that_cannot_be_are_refused(threshold, count):
    """2 ≤ threshold ≤ count ≤ 16."""
    with pytest.raises(ValueError, match=r"^2 ≤ threshold ≤ count ≤ 16$"):
        split(b"secret", threshold, count, os.urandom)


@pytest.mark.parametrize(("hashed", "tried"), [(100, 11), (98, 10)])
def test_hashing_is_bounded(monkeypatch, hashed, tried):
    """So many bytes in all, in whole secrets: long shares are tried in fewer ways."""
    monkeypatch.setattr("paperkey_alt.format.shares.MOST_HASHED", hashed)
    given = {x: [os.urandom(9) for _ in range(40)] for x in (1, 2)}
    seen = []
    with pytest.raises(SharesDisagree, match=f"too many ways to join these shares: {tried} were"):
        join(given, 2, seen.append)
    assert len(seen) == tried
