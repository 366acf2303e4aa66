"""Secrets reduced to what cannot be computed, and computed anew to the same bytes."""

import math

import pytest
from pairs import PAIRS, fields_of, secrets_of

from paperkey_alt.errors import (
    KeyPairMismatch,
)
from paperkey_alt.format.payload import Reduced
from paperkey_alt.keys.openpgp import (
    material,
    reduction,
)
from paperkey_alt.keys.openpgp.material import integer, number
from paperkey_alt.keys.openpgp.reduction import (
    PRIME_AND_EXPONENT,
    PRIME_LCM,
    PRIME_PHI,
    SCALAR,
)


@pytest.mark.parametrize("name", PAIRS)
def test_published_pairs_come_back(name):
    """Reduced to the scalar alone, and computed anew it is the same."""
    part, clear = PAIRS[name]
    reduced = reduction.reduce(clear, part)
    assert reduced.form == SCALAR
    assert reduction.expand(reduced, part) == clear


def rsa_parts(d_of):
    """
    The public part and the secret fields of an RSA key whose private exponent is made by *d_of* (e,
    p, q).
    """
    one = secrets_of("rsa2048-open")[0]
    n, e = map(number, material.public_fields(one.packet.public))
    _, p, q, u = map(number, material.secret_fields(one.clear, one.packet.public))
    assert n == p * q
    return one.packet.public, b"".join(map(integer, (d_of(e, p, q), p, q, u)))


EXPONENTS = {
    "lcm": (PRIME_LCM, lambda e, p, q: pow(e, -1, math.lcm(p - 1, q - 1))),
    "phi": (PRIME_PHI, lambda e, p, q: pow(e, -1, (p - 1) * (q - 1))),
    "neither": (
        PRIME_AND_EXPONENT,
        lambda e, p, q: pow(e, -1, (p - 1) * (q - 1)) + 5 * math.lcm(p - 1, q - 1),
    ),
}


@pytest.mark.parametrize("name", EXPONENTS)
def test_every_rule_of_the_private_exponent(name):
    """lcm, φ, and any other that is right: each comes back as it was."""
    form, d_of = EXPONENTS[name]
    part, clear = rsa_parts(d_of)
    found = reduction.reduce(clear, part)
    assert found.form in (form, PRIME_LCM)  # for some primes both rules agree
    assert reduction.expand(found, part) == clear


NO_SECRETS = {
    "a prime that does not divide": Reduced(PRIME_LCM, b"\3"),
    "one": Reduced(PRIME_LCM, b"\1"),
    "a scalar for RSA": Reduced(SCALAR, b"\1"),
    "a prime and no exponent": Reduced(PRIME_AND_EXPONENT, integer(3)),
    "a prime that is cut": Reduced(PRIME_AND_EXPONENT, b"\xff\xff\1"),
    "a form to come": Reduced(5, b"\1"),
}


@pytest.mark.parametrize("name", NO_SECRETS)
def test_what_stands_for_no_secret_of_the_key(name):
    """Refused, never another exception."""
    part, _ = fields_of("rsa2048-open")
    with pytest.raises(KeyPairMismatch):
        reduction.expand(NO_SECRETS[name], part)


NO_SCALARS = {
    "a prime for a curve": Reduced(PRIME_LCM, b"\3"),
    "another scalar": Reduced(SCALAR, b"\1"),
    "nothing but zeros": Reduced(SCALAR, bytes(32)),
    "more bits than a number can have": Reduced(SCALAR, b"\1" * 0x2001),
    "a form to come": Reduced(127, b"\1"),
}


@pytest.mark.parametrize("name", NO_SCALARS)
def test_what_stands_for_no_scalar_of_the_key(name):
    """As above, for a key on a curve."""
    part, _ = fields_of("nist-p256")
    with pytest.raises(KeyPairMismatch):
        reduction.expand(NO_SCALARS[name], part)


def test_a_secret_of_another_key_is_not_reduced():
    """Nothing is reduced that does not belong to the public key."""
    part, _ = fields_of("nist-p256")
    _, (other,) = fields_of("secp256k1")
    with pytest.raises(KeyPairMismatch):
        reduction.reduce(other, part)


def test_a_number_that_is_not_canonical_is_not_reduced():
    """Computed anew it would be other bytes, so that None is returned."""
    part, (scalar,) = fields_of("nist-p256")
    wide = (8 * 33).to_bytes(2, "big") + b"\0" + scalar[2:].rjust(32, b"\0")
    assert reduction.reduce(wide, part) is None
