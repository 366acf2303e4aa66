"""
What of an unlocked secret cannot be computed from the public part: `reduce` and `expand`.

Of RSA it is one prime: the other is the modulus divided by it, and the private exponent follows by
the rule that made it; where neither rule did, the exponent is kept too. Of the other algorithms it
is their scalar.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import KeyPairMismatch
from paperkey_alt.keys.openpgp import material
from paperkey_alt.keys.openpgp.key_pair import prove
from paperkey_alt.keys.openpgp.material import integer, number

if TYPE_CHECKING:
    from collections.abc import Callable

SCALAR = 1
PRIME_LCM = 2  # d = e⁻¹ mod lcm(p − 1, q − 1): FIPS 186-4 §B.3.1
PRIME_PHI = 3  # d = e⁻¹ mod (p − 1)(q − 1)
PRIME_AND_EXPONENT = 4
FORMS = (SCALAR, PRIME_LCM, PRIME_PHI, PRIME_AND_EXPONENT)


@dataclass(frozen=True)
class Reduced:
    """
    *form* says how *value* stands for the secret fields.

    SCALAR: the one secret number, big-endian, or the secret octets; PRIME_…: p, big-endian;
    PRIME_AND_EXPONENT: p and then d as multiprecision integers (RFC 9580 §3.2).
    """

    form: int
    value: bytes

    def __post_init__(self) -> None:
        if self.form not in FORMS or not self.value:
            raise ValueError("no form of an essence")


def reduce(clear: bytes, public: bytes) -> Reduced | None:
    """
    Return the essence of the secret fields *clear*, None where `expand` could not give them back
    byte for byte.

    Raises KeyPairMismatch where they do not belong to *public*, UnsupportedKey where that cannot be
    told.
    """
    prove(clear, public)
    fields = material.secret_fields(clear, public)
    for essence in _candidates(fields, material.algorithm(public)):
        if expand(essence, public) == clear:
            return essence
    return None


def expand(essence: Reduced, public: bytes) -> bytes:
    """
    Return the secret fields that *essence* stands for; raises KeyPairMismatch where it does not
    belong to *public*.
    """
    algorithm = material.algorithm(public)
    if (essence.form == SCALAR) == (algorithm in material.RSA):
        raise KeyPairMismatch("the essence is of another algorithm than the public key")
    if essence.form == SCALAR:
        one = algorithm in material.WITH_ONE_MPI
        clear = integer(int.from_bytes(essence.value, "big")) if one else essence.value
    else:
        clear = _expand_rsa(essence, public)
    prove(clear, public)
    return clear


def _candidates(fields: tuple[bytes, ...], algorithm: int) -> tuple[Reduced, ...]:
    if algorithm not in material.RSA:
        return (
            Reduced(SCALAR, fields[0][2:] if algorithm in material.WITH_ONE_MPI else fields[0]),
        )
    d, p = fields[0], fields[1]
    return (
        Reduced(PRIME_LCM, p[2:]),
        Reduced(PRIME_PHI, p[2:]),
        Reduced(PRIME_AND_EXPONENT, p + d),
    )


def _expand_rsa(essence: Reduced, public: bytes) -> bytes:
    n, e = map(number, material.public_fields(public))
    d = None
    if essence.form == PRIME_AND_EXPONENT:
        bits = int.from_bytes(essence.value[:2], "big")
        end = 2 + (bits + 7) // 8
        p, d = number(essence.value[:end]), number(essence.value[end:])
    else:
        p = int.from_bytes(essence.value, "big")
    if p < 2 or n % p or n == p:
        raise KeyPairMismatch("the prime does not divide the modulus")
    q = n // p
    try:
        d = _EXPONENT[essence.form](e, p, q) if d is None else d
        return material.join(tuple(map(integer, (d, p, q, pow(p, -1, q)))))
    except ValueError:
        raise KeyPairMismatch("the primes have no private exponent") from None


_EXPONENT: dict[int, Callable[[int, int, int], int]] = {
    PRIME_LCM: lambda e, p, q: pow(e, -1, math.lcm(p - 1, q - 1)),
    PRIME_PHI: lambda e, p, q: pow(e, -1, (p - 1) * (q - 1)),
}
