"""RSA keys from their primes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.keys import rsa

PRIMES = [2**521 - 1, 2**607 - 1, 2**1279 - 1]  # Mersenne's


@pytest.mark.parametrize("rule", rsa.EXPONENT_RULES)
@given(st.sampled_from(PRIMES), st.sampled_from(PRIMES), st.sampled_from([3, 17, 65537]))
def test_a_private_exponent_undoes_the_public_one(rule, p, q, e):
    """Their product is 1 modulo p − 1 and q − 1, and the private one is reduced."""
    modulus = {rsa.LCM: math.lcm(p - 1, q - 1), rsa.PHI: (p - 1) * (q - 1)}[rule]
    if math.gcd(e, modulus) != 1:
        with pytest.raises(ValueError, match="not invertible"):
            rsa.EXPONENT_RULES[rule](e, p, q)
        return
    d = rsa.EXPONENT_RULES[rule](e, p, q)
    assert d < modulus
    assert e * d % (p - 1) == e * d % (q - 1) == 1


@pytest.mark.parametrize("rule", rsa.EXPONENT_RULES)
def test_a_key_of_these_numbers(rule):
    """The library takes them for a key, with these numbers and no other."""
    e, (p, q, _) = 65537, PRIMES
    d = rsa.EXPONENT_RULES[rule](e, p, q)
    numbers = rsa.private_key(e, d, p, q).private_numbers()
    assert (numbers.d, numbers.p, numbers.q) == (d, p, q)
    assert (numbers.public_numbers.e, numbers.public_numbers.n) == (e, p * q)


@pytest.mark.parametrize(
    "numbers",
    [(65537, 5, PRIMES[0], PRIMES[1]), (1, 1, 1, 1), (65537, 3, PRIMES[0], PRIMES[0])],
)
def test_numbers_that_make_no_key(numbers):
    """One of two errors, for the caller to word."""
    with pytest.raises((ValueError, ZeroDivisionError)):
        rsa.private_key(*numbers)
