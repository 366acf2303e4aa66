"""
Key material: the fields of a public part and of an unlocked secret part, one by one: `split` and
`join`.

RFC 9580 §3.2 (multiprecision integers) and §5.5.5 (fields by algorithm).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.keys.openpgp.key_packet import ALGORITHMS, FieldTooLong

if TYPE_CHECKING:
    from paperkey_alt.keys.openpgp.key_packet import Algorithm, Field

RSA = (1, 2, 3)
ELGAMAL, DSA, ECDH, ECDSA, EDDSA_LEGACY = 16, 17, 18, 19, 22
X25519, X448, ED25519, ED448 = 25, 26, 27, 28
WITH_ONE_MPI = (ELGAMAL, DSA, ECDH, ECDSA, EDDSA_LEGACY)
_FIXED_FROM = 4 + 1 + 1  # version, creation time, algorithm


def algorithm(public: bytes) -> int:
    """Return the number of the algorithm of a version 4 or 6 public part."""
    return public[5]


def public_fields(public: bytes) -> tuple[bytes, ...]:
    """
    Return the algorithm's fields of a version 4 or 6 public part; raises UnsupportedKey for an
    algorithm unknown here.
    """
    start = _FIXED_FROM + (4 if public[0] == 6 else 0)
    return split(public[start:], _known(public).public)


def secret_fields(clear: bytes, public: bytes) -> tuple[bytes, ...]:
    """
    Return the fields of an unlocked secret part; raises DamagedKeyFile where they do not fill it.
    """
    return split(clear, _known(public).secret)


def split(data: bytes, fields: tuple[Field, ...]) -> tuple[bytes, ...]:
    """
    Return *data* cut into *fields*, each as it stands; raises DamagedKeyFile where they do not fill
    it exactly.
    """
    found, at = [], 0
    try:
        for field in fields:
            end = field(data, at)
            found.append(data[at:end])
            at = end
    except FieldTooLong:
        raise DamagedKeyFile("the key material ends inside a field") from None
    if at != len(data):
        raise DamagedKeyFile("there are bytes behind the key material")
    return tuple(found)


def join(fields: tuple[bytes, ...]) -> bytes:
    """Return fields as key material."""
    return b"".join(fields)


def number(field: bytes) -> int:
    """Return the value of a multiprecision integer field."""
    return int.from_bytes(field[2:], "big")


def integer(value: int) -> bytes:
    """Return *value* as a multiprecision integer field in its one canonical form."""
    return value.bit_length().to_bytes(2, "big") + value.to_bytes(
        (value.bit_length() + 7) // 8, "big"
    )


def _known(public: bytes) -> Algorithm:
    known = ALGORITHMS.get(algorithm(public))
    if known is None:
        raise UnsupportedKey(f"algorithm {algorithm(public)} is not known here")
    return known
