"""
RSA private keys from their primes p and q and public exponent e: `EXPONENT_RULES` and
`private_key`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from cryptography.hazmat.primitives.asymmetric import rsa

if TYPE_CHECKING:
    from collections.abc import Callable

LCM = 2  # d = e⁻¹ mod lcm(p − 1, q − 1): FIPS 186-4 §B.3.1
PHI = 3  # d = e⁻¹ mod (p − 1)(q − 1)

# Number of the rule, which is part of the format (docs/format.md, "Payload") → the private exponent
# d by e, p and q; it raises ValueError where there is none.
EXPONENT_RULES: dict[int, Callable[[int, int, int], int]] = {
    LCM: lambda e, p, q: pow(e, -1, math.lcm(p - 1, q - 1)),
    PHI: lambda e, p, q: pow(e, -1, (p - 1) * (q - 1)),
}


def private_key(e: int, d: int, p: int, q: int) -> rsa.RSAPrivateKey:
    """Return the key of these numbers; raises ValueError or ZeroDivisionError where it is none."""
    public = rsa.RSAPublicNumbers(e, p * q)
    numbers = rsa.RSAPrivateNumbers(p, q, d, d % (p - 1), d % (q - 1), pow(q, -1, p), public)
    return numbers.private_key()
