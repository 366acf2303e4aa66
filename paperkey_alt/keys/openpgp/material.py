"""
Key material: the fields of a public part and of an unlocked secret part, one by one: `split` and
`join`.

RFC 9580 §3.2 (multiprecision integers) and §5.5.5 (fields by algorithm).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.format.buffer import Buffer, Truncated, push_number
from paperkey_alt.keys.openpgp.packets import Malformed
from paperkey_alt.keys.openpgp.rfc9580 import PublicKeyAlgorithm

Field = Callable[[Buffer], bytes]
"""Pulls a field from a buffer and returns it as it stands; raises Truncated or Malformed."""


def mpi(buffer: Buffer) -> bytes:
    """
    A multiprecision integer (RFC 9580 §3.2); leading zeros may stand in it, for the bytes are
    carried as they are.
    """
    start = buffer.at
    buffer.pull_bytes((buffer.pull_number(2) + 7) // 8)
    return buffer.since(start)


def _octets(count: int) -> Field:
    return lambda buffer: buffer.pull_bytes(count)


def _prefixed(buffer: Buffer) -> bytes:
    """
    Octets behind their count, 0 and 255 being reserved: a curve OID or KDF parameters (RFC 9580
    §5.5.5.4, §5.5.5.6).
    """
    start = buffer.at
    length = buffer.ahead().pull_number(1)
    if length in (0, 0xFF):
        raise Malformed(f"a curve or its parameters are {length} bytes long, which is reserved")
    buffer.pull_prefixed(1)
    return buffer.since(start)


@dataclass(frozen=True)
class Layout:
    """
    The fields of an algorithm's *public* and *secret* key material, in their order (RFC 9580
    §5.5.5).
    """

    public: tuple[Field, ...]
    secret: tuple[Field, ...]


def _raw(public: tuple[int, ...], secret: tuple[int, ...]) -> Layout:
    """Return a layout of octets alone, by their counts."""
    return Layout(tuple(map(_octets, public)), tuple(map(_octets, secret)))


_RSA = Layout((mpi, mpi), (mpi, mpi, mpi, mpi))

LAYOUTS: dict[int, Layout] = {
    PublicKeyAlgorithm.RSA: _RSA,
    PublicKeyAlgorithm.RSA_ENCRYPT_ONLY: _RSA,
    PublicKeyAlgorithm.RSA_SIGN_ONLY: _RSA,
    PublicKeyAlgorithm.ELGAMAL: Layout((mpi, mpi, mpi), (mpi,)),
    PublicKeyAlgorithm.DSA: Layout((mpi, mpi, mpi, mpi), (mpi,)),
    PublicKeyAlgorithm.ECDH: Layout((_prefixed, mpi, _prefixed), (mpi,)),
    PublicKeyAlgorithm.ECDSA: Layout((_prefixed, mpi), (mpi,)),
    PublicKeyAlgorithm.EDDSA_LEGACY: Layout((_prefixed, mpi), (mpi,)),
    PublicKeyAlgorithm.X25519: _raw((32,), (32,)),
    PublicKeyAlgorithm.X448: _raw((56,), (56,)),
    PublicKeyAlgorithm.ED25519: _raw((32,), (32,)),
    PublicKeyAlgorithm.ED448: _raw((57,), (57,)),
    # The lengths of draft-ietf-openpgp-pqc are from memory, and keys that an OpenPGP library made
    # of each of these agree with them.
    PublicKeyAlgorithm.ML_DSA_65_ED25519: _raw((32, 1952), (32, 32)),
    PublicKeyAlgorithm.ML_DSA_87_ED448: _raw((57, 2592), (57, 32)),
    PublicKeyAlgorithm.SLH_DSA_SHAKE_128S: _raw((32,), (64,)),
    PublicKeyAlgorithm.SLH_DSA_SHAKE_128F: _raw((32,), (64,)),
    PublicKeyAlgorithm.SLH_DSA_SHAKE_256S: _raw((64,), (128,)),
    PublicKeyAlgorithm.ML_KEM_768_X25519: _raw((32, 1184), (32, 64)),
    PublicKeyAlgorithm.ML_KEM_1024_X448: _raw((56, 1568), (56, 64)),
}

WITH_ONE_MPI = tuple(algorithm for algorithm, layout in LAYOUTS.items() if layout.secret == (mpi,))
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
    return split(public[start:], _layout(public).public)


def secret_fields(clear: bytes, public: bytes) -> tuple[bytes, ...]:
    """
    Return the fields of an unlocked secret part; raises DamagedKeyFile where they do not fill it.
    """
    return split(clear, _layout(public).secret)


def split(data: bytes, fields: tuple[Field, ...]) -> tuple[bytes, ...]:
    """
    Return *data* cut into *fields*, each as it stands; raises DamagedKeyFile where they do not fill
    it exactly.
    """
    buffer = Buffer(data)
    try:
        values = tuple(field(buffer) for field in fields)
    except (Truncated, Malformed):
        raise DamagedKeyFile("the key material ends inside a field") from None
    if buffer.left:
        raise DamagedKeyFile("there are bytes behind the key material")
    return values


def join(fields: tuple[bytes, ...]) -> bytes:
    """Return fields as key material."""
    return b"".join(fields)


def number(field: bytes) -> int:
    """Return the value of a multiprecision integer field."""
    return int.from_bytes(field[2:], "big")


def integer(value: int) -> bytes:
    """
    Return *value* as a multiprecision integer field in its one canonical form; raises ValueError
    above 65,535 bits.
    """
    bits = value.bit_length()
    return push_number(bits, 2) + push_number(value, (bits + 7) // 8)


def _layout(public: bytes) -> Layout:
    known = LAYOUTS.get(algorithm(public))
    if known is None:
        raise UnsupportedKey(f"Ragleaf does not know algorithm {algorithm(public)}")
    return known
