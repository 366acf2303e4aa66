"""
What of an unlocked secret cannot be computed from the public part: `reduce` and `expand`.

Of RSA it is one prime: the other is the modulus divided by it, and the private exponent follows by
the rule that made it; where neither rule did, the exponent is kept too. Of the other algorithms it
is their scalar.
"""

from __future__ import annotations

from paperkey_alt.errors import KeyPairMismatch
from paperkey_alt.format.buffer import Buffer, Truncated
from paperkey_alt.format.payload import Reduced
from paperkey_alt.keys import rsa
from paperkey_alt.keys.openpgp import key_pair, material
from paperkey_alt.keys.openpgp.material import integer, mpi, number
from paperkey_alt.keys.openpgp.rfc9580 import RSA_ALGORITHMS

# Forms of payload.Reduced, and how they stand for the secret fields. SCALAR: by the one secret
# number, big-endian, or the secret octets; PRIME_…: by p, big-endian, and the rule of the private
# exponent; PRIME_AND_EXPONENT: by p and then d as multiprecision integers (RFC 9580 §3.2).
SCALAR = 1
PRIME_LCM = rsa.LCM
PRIME_PHI = rsa.PHI
PRIME_AND_EXPONENT = 4
FORMS = (SCALAR, PRIME_LCM, PRIME_PHI, PRIME_AND_EXPONENT)


def reduce(clear: bytes, public: bytes) -> Reduced | None:
    """
    Return the secret fields *clear* reduced, None where `expand` could not give them back byte for
    byte.

    Raises KeyPairMismatch where they do not belong to *public*, UnsupportedKey where that cannot be
    told.
    """
    key_pair.require(clear, public)
    fields = material.secret_fields(clear, public)
    for reduced in _candidates(fields, material.algorithm(public)):
        if expand(reduced, public) == clear:
            return reduced
    return None


def expand(reduced: Reduced, public: bytes) -> bytes:
    """
    Return the secret fields that *reduced* stands for; raises KeyPairMismatch where it does not
    belong to *public*.
    """
    if reduced.form not in FORMS:
        raise KeyPairMismatch(f"the reduced secret is of form {reduced.form}, which is unknown")
    algorithm = material.algorithm(public)
    if (reduced.form == SCALAR) == (algorithm in RSA_ALGORITHMS):
        raise KeyPairMismatch("the reduced secret is of another algorithm than the public key")
    if reduced.form != SCALAR:
        clear = _expand_rsa(reduced, public)
    elif algorithm in material.WITH_ONE_MPI:
        clear = _expand_scalar(reduced.value)
    else:
        clear = reduced.value
    key_pair.require(clear, public)
    return clear


def _expand_scalar(value: bytes) -> bytes:
    try:
        return integer(int.from_bytes(value, "big"))
    except ValueError:
        raise KeyPairMismatch("the reduced secret is longer than any number of a key") from None


def _candidates(fields: tuple[bytes, ...], algorithm: int) -> tuple[Reduced, ...]:
    if algorithm in RSA_ALGORITHMS:
        d, p, *_ = fields
        return (
            Reduced(PRIME_LCM, p[2:]),
            Reduced(PRIME_PHI, p[2:]),
            Reduced(PRIME_AND_EXPONENT, p + d),
        )
    scalar = fields[0]
    return (Reduced(SCALAR, scalar[2:] if algorithm in material.WITH_ONE_MPI else scalar),)


def _expand_rsa(reduced: Reduced, public: bytes) -> bytes:
    n, e = map(number, material.public_fields(public))
    if reduced.form == PRIME_AND_EXPONENT:
        p, d = _pull_prime_and_exponent(reduced.value)
    else:
        p, d = int.from_bytes(reduced.value, "big"), None
    if p < 2 or n % p or n == p:
        raise KeyPairMismatch("the prime does not divide the modulus")
    q = n // p
    try:
        if d is None:
            d = rsa.EXPONENT_RULES[reduced.form](e, p, q)
        return material.join(tuple(map(integer, (d, p, q, pow(p, -1, q)))))
    except ValueError:
        raise KeyPairMismatch("the primes have no private exponent") from None


def _pull_prime_and_exponent(value: bytes) -> tuple[int, int]:
    buffer = Buffer(value)
    try:
        return number(mpi(buffer)), number(buffer.pull_rest())
    except Truncated:
        raise KeyPairMismatch("the reduced secret is cut short") from None
