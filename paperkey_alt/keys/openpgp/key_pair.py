"""
That an unlocked secret belongs to its public part, by arithmetic: `require`.

Sources: RFC 8017 §3.2 (RSA), FIPS 186-4 §4.1 (DSA), RFC 9580 §5.5.5 and §9.2 (fields, curves), RFC
7748 and RFC 8032 (25519 and 448).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric import ec, ed448, ed25519, x448, x25519
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from paperkey_alt.errors import KeyPairMismatch, UnsupportedKey
from paperkey_alt.keys.openpgp import material
from paperkey_alt.keys.openpgp.material import number
from paperkey_alt.keys.openpgp.rfc9580 import (
    NATIVE_POINT,
    RSA_ALGORITHMS,
    Curve,
    PublicKeyAlgorithm,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    Fields = tuple[bytes, ...]

_CURVES: dict[bytes, type[ec.EllipticCurve]] = {
    Curve.NIST_P256.value: ec.SECP256R1,
    Curve.NIST_P384.value: ec.SECP384R1,
    Curve.NIST_P521.value: ec.SECP521R1,
    Curve.SECP256K1.value: ec.SECP256K1,
    Curve.BRAINPOOL_P256.value: ec.BrainpoolP256R1,
    Curve.BRAINPOOL_P384.value: ec.BrainpoolP384R1,
    Curve.BRAINPOOL_P512.value: ec.BrainpoolP512R1,
}


def require(clear: bytes, public: bytes) -> None:
    """
    Return if the secret fields *clear* belong to the public part *public*.

    Raises KeyPairMismatch where they do not, UnsupportedKey where that cannot be told of this
    algorithm or curve.
    """
    secret = material.secret_fields(clear, public)
    _CHECKS.get(material.algorithm(public), _no_check)(secret, material.public_fields(public))


def curve(field: bytes) -> ec.EllipticCurve:
    """
    Return the curve whose OID stands in the public *field*, its length before it; raises
    UnsupportedKey.
    """
    if field[1:] not in _CURVES:
        raise UnsupportedKey("Ragleaf does not know this curve")
    return _CURVES[field[1:]]()


def _no_check(_secret: Fields, _public: Fields) -> None:
    raise UnsupportedKey("Ragleaf cannot check keys of this algorithm")


def _require(holds: bool, reason: str) -> None:  # noqa: FBT001
    if not holds:
        raise KeyPairMismatch(f"the secret does not belong to the public key: {reason}")


def _rsa(secret: Fields, public: Fields) -> None:
    n, e = map(number, public)
    d, p, q, u = map(number, secret)
    _require(p > 1 and q > 1 and p * q == n, "the primes do not make the modulus")
    _require(
        d * e % (p - 1) == 1 % (p - 1) and d * e % (q - 1) == 1 % (q - 1),
        "the private exponent does not undo the public one",
    )
    _require(u * p % q == 1, "u is not the inverse of p")


def _dsa(secret: Fields, public: Fields) -> None:
    p, q, g, y = map(number, public)
    x = number(secret[0])
    _require(p > 1 and 0 < x < q and pow(g, x, p) == y, "y is not g to the power of x")


def _elgamal(secret: Fields, public: Fields) -> None:
    p, g, y = map(number, public)
    x = number(secret[0])
    _require(p > 1 and 0 < x < p and pow(g, x, p) == y, "y is not g to the power of x")


def _ecdh(secret: Fields, public: Fields) -> None:
    _curve_point(secret, public, {Curve.CURVE25519_LEGACY.value: _curve25519_legacy})


def _ecdsa(secret: Fields, public: Fields) -> None:
    _curve_point(secret, public, {})


def _eddsa_legacy(secret: Fields, public: Fields) -> None:
    if public[0][1:] != Curve.ED25519_LEGACY.value:
        raise UnsupportedKey("Ragleaf cannot check keys on this curve")
    _require_native(_ed25519_point, _octets(secret[0], 32), public[1])


def _curve_point(
    secret: Fields, public: Fields, others: dict[bytes, Callable[[Fields, Fields], None]]
) -> None:
    oid, point = public[0][1:], public[1][2:]
    if oid in others:
        others[oid](secret, public)
        return
    try:
        key = ec.derive_private_key(number(secret[0]), curve(public[0]))
    except UnsupportedAlgorithm:
        raise UnsupportedKey("Ragleaf cannot check keys on this curve") from None
    except ValueError:
        raise KeyPairMismatch(
            "the secret does not belong to the public key: the scalar is out of range"
        ) from None
    computed = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    _require(computed == point, "the point is not the scalar times the generator")


def _curve25519_legacy(secret: Fields, public: Fields) -> None:
    # RFC 9580 §5.5.5.6.1.1: the scalar stands in reverse byte order.
    _require_native(_x25519_point, _octets(secret[0], 32)[::-1], public[1])


def _octets(field: bytes, length: int) -> bytes:
    value = number(field)
    _require(value >> 8 * length == 0, "the secret is too long")
    return value.to_bytes(length, "big")


def _require_native(point: Callable[[bytes], bytes], secret: bytes, public: bytes) -> None:
    _require(NATIVE_POINT + point(secret) == public[2:], "the point is not that of the secret")


def _x25519_point(secret: bytes) -> bytes:
    return x25519.X25519PrivateKey.from_private_bytes(secret).public_key().public_bytes_raw()


def _x448_point(secret: bytes) -> bytes:
    return x448.X448PrivateKey.from_private_bytes(secret).public_key().public_bytes_raw()


def _ed25519_point(secret: bytes) -> bytes:
    return ed25519.Ed25519PrivateKey.from_private_bytes(secret).public_key().public_bytes_raw()


def _ed448_point(secret: bytes) -> bytes:
    return ed448.Ed448PrivateKey.from_private_bytes(secret).public_key().public_bytes_raw()


def _native(point: Callable[[bytes], bytes]) -> Callable[[Fields, Fields], None]:
    def check(secret: Fields, public: Fields) -> None:
        _require(point(secret[0]) == public[0], "the point is not that of the secret")

    return check


_CHECKS: dict[int, Callable[[Fields, Fields], None]] = {
    **dict.fromkeys(RSA_ALGORITHMS, _rsa),
    PublicKeyAlgorithm.ELGAMAL: _elgamal,
    PublicKeyAlgorithm.DSA: _dsa,
    PublicKeyAlgorithm.ECDH: _ecdh,
    PublicKeyAlgorithm.ECDSA: _ecdsa,
    PublicKeyAlgorithm.EDDSA_LEGACY: _eddsa_legacy,
    PublicKeyAlgorithm.X25519: _native(_x25519_point),
    PublicKeyAlgorithm.X448: _native(_x448_point),
    PublicKeyAlgorithm.ED25519: _native(_ed25519_point),
    PublicKeyAlgorithm.ED448: _native(_ed448_point),
}
