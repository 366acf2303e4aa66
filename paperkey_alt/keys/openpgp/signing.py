"""
Signatures over a digest, by algorithm: `sign` with a secret and `verify` with its public part (RFC
9580 §5.2.3, §9.1).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric import dsa, ec, ed448, ed25519, padding, rsa
from cryptography.hazmat.primitives.asymmetric.utils import (
    Prehashed,
    decode_dss_signature,
    encode_dss_signature,
)
from cryptography.hazmat.primitives.hashes import (
    SHA1,
    SHA3_256,
    SHA3_512,
    SHA224,
    SHA256,
    SHA384,
    SHA512,
)
from cryptography.hazmat.primitives.hashes import HashAlgorithm as LibraryHash

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.format.buffer import push_number
from paperkey_alt.keys.openpgp import material
from paperkey_alt.keys.openpgp.key_pair import curve
from paperkey_alt.keys.openpgp.material import integer, mpi, number
from paperkey_alt.keys.openpgp.rfc9580 import (
    RSA_ALGORITHMS,
    HashAlgorithm,
    PublicKeyAlgorithm,
)
from paperkey_alt.keys.rsa import private_key

if TYPE_CHECKING:
    from collections.abc import Callable

HASH = HashAlgorithm.SHA2_512  # of what is signed here
_LIBRARY_HASHES: dict[int, LibraryHash] = {
    # Keys of the years before 2015 have self-signatures with it, and no others.
    HashAlgorithm.SHA1: SHA1(),  # noqa: S303
    HashAlgorithm.SHA2_256: SHA256(),
    HashAlgorithm.SHA2_384: SHA384(),
    HashAlgorithm.SHA2_512: SHA512(),
    HashAlgorithm.SHA2_224: SHA224(),
    HashAlgorithm.SHA3_256: SHA3_256(),
    HashAlgorithm.SHA3_512: SHA3_512(),
}
HASHES_KNOWN = frozenset(_LIBRARY_HASHES)


@dataclass(frozen=True)
class _Scheme:
    """
    How an algorithm signs a digest with its secret and public fields, and checks what it signed.
    """

    sign: Callable[[tuple[bytes, ...], tuple[bytes, ...], bytes], bytes]
    verify: Callable[[tuple[bytes, ...], bytes, bytes, LibraryHash], None]


def sign(clear: bytes, public: bytes, digest: bytes) -> bytes:
    """
    Return the signature over a *digest* by `HASH`, in the fields of its algorithm, that the secret
    fields *clear* of the key with this *public* part make.

    Raises UnsupportedKey where the algorithm cannot sign here.
    """
    scheme = _scheme(material.algorithm(public), _ELSEWHERE)
    return scheme.sign(
        material.secret_fields(clear, public), material.public_fields(public), digest
    )


def verify(public: bytes, value: bytes, digest: bytes, algorithm: int) -> bool:
    """
    Tell whether the key with this *public* part made the signature *value* over a *digest* by the
    hash of this number, one of HASHES_KNOWN.

    Raises UnsupportedKey where the key's algorithm is not known here.
    """
    scheme = _scheme(material.algorithm(public), _NEWER)
    try:
        scheme.verify(material.public_fields(public), value, digest, _LIBRARY_HASHES[algorithm])
    except (InvalidSignature, ValueError, DamagedKeyFile):
        return False
    except UnsupportedAlgorithm:
        raise UnsupportedKey("Ragleaf does not know this curve", advice=_NEWER) from None
    return True


def _scheme(algorithm: int, advice: str) -> _Scheme:
    """Return how *algorithm* signs; raises UnsupportedKey, with *advice*, where that is unknown."""
    if algorithm not in _SCHEMES:
        raise UnsupportedKey(
            f"Ragleaf can neither make nor verify signatures by a key of algorithm {algorithm}",
            advice=advice,
        )
    return _SCHEMES[algorithm]


def _rsa_sign(secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes) -> bytes:
    d, p, q, _ = map(number, secret)
    key = private_key(number(public[1]), d, p, q)
    made = key.sign(digest, padding.PKCS1v15(), Prehashed(SHA512()))
    return integer(int.from_bytes(made, "big"))


def _rsa_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, algorithm: LibraryHash
) -> None:
    n, e = map(number, public)
    (made,) = _integers(value, 1)
    size = (n.bit_length() + 7) // 8
    key = rsa.RSAPublicNumbers(e, n).public_key()
    key.verify(push_number(made, size), digest, padding.PKCS1v15(), Prehashed(algorithm))


def _dsa_sign(secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes) -> bytes:
    numbers = dsa.DSAPrivateNumbers(number(secret[0]), _dsa_numbers(public))
    return _pair(numbers.private_key().sign(digest, Prehashed(SHA512())))


def _dsa_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, algorithm: LibraryHash
) -> None:
    key = _dsa_numbers(public).public_key()
    key.verify(encode_dss_signature(*_integers(value, 2)), digest, Prehashed(algorithm))


def _dsa_numbers(public: tuple[bytes, ...]) -> dsa.DSAPublicNumbers:
    p, q, g, y = map(number, public)
    return dsa.DSAPublicNumbers(y, dsa.DSAParameterNumbers(p, q, g))


def _ecdsa_sign(secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes) -> bytes:
    try:
        key = ec.derive_private_key(number(secret[0]), curve(public[0]))
    except UnsupportedAlgorithm:
        raise UnsupportedKey(
            "Ragleaf cannot sign a revocation with a key on this curve", advice=_ELSEWHERE
        ) from None
    return _pair(key.sign(digest, ec.ECDSA(Prehashed(SHA512()))))


def _ecdsa_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, algorithm: LibraryHash
) -> None:
    key = ec.EllipticCurvePublicKey.from_encoded_point(curve(public[0]), public[1][2:])
    key.verify(encode_dss_signature(*_integers(value, 2)), digest, ec.ECDSA(Prehashed(algorithm)))


def _eddsa_legacy_sign(
    secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes
) -> bytes:
    _require_ed25519(public, _ELSEWHERE)
    key = ed25519.Ed25519PrivateKey.from_private_bytes(number(secret[0]).to_bytes(32, "big"))
    made = key.sign(digest)
    return b"".join(integer(int.from_bytes(half, "big")) for half in (made[:32], made[32:]))


def _eddsa_legacy_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: LibraryHash
) -> None:
    _require_ed25519(public, _NEWER)
    made = b"".join(push_number(half, 32) for half in _integers(value, 2))
    ed25519.Ed25519PublicKey.from_public_bytes(public[1][3:]).verify(made, digest)


def _require_ed25519(public: tuple[bytes, ...], advice: str) -> None:
    # A multiprecision integer: two bytes of length, the one that leads in a native point, 32.
    if len(public[1]) != 2 + 1 + 32:
        raise UnsupportedKey(
            "Ragleaf can neither make nor verify signatures on this curve", advice=advice
        )


def _ed25519_sign(secret: tuple[bytes, ...], _public: tuple[bytes, ...], digest: bytes) -> bytes:
    return ed25519.Ed25519PrivateKey.from_private_bytes(secret[0]).sign(digest)


def _ed25519_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: LibraryHash
) -> None:
    ed25519.Ed25519PublicKey.from_public_bytes(public[0]).verify(value, digest)


def _ed448_sign(secret: tuple[bytes, ...], _public: tuple[bytes, ...], digest: bytes) -> bytes:
    return ed448.Ed448PrivateKey.from_private_bytes(secret[0]).sign(digest)


def _ed448_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: LibraryHash
) -> None:
    ed448.Ed448PublicKey.from_public_bytes(public[0]).verify(value, digest)


def _pair(made: bytes) -> bytes:
    return b"".join(map(integer, decode_dss_signature(made)))


def _integers(value: bytes, count: int) -> list[int]:
    return [number(field) for field in material.split(value, (mpi,) * count)]


_ELSEWHERE = "Make the revocation in your OpenPGP program and give it with --certificate."
_NEWER = "Use a newer Ragleaf if there is one; ragleaf backup --plain prints any file as it is."
_SCHEMES: dict[int, _Scheme] = {
    **dict.fromkeys(RSA_ALGORITHMS, _Scheme(_rsa_sign, _rsa_verify)),
    PublicKeyAlgorithm.DSA: _Scheme(_dsa_sign, _dsa_verify),
    PublicKeyAlgorithm.ECDSA: _Scheme(_ecdsa_sign, _ecdsa_verify),
    PublicKeyAlgorithm.EDDSA_LEGACY: _Scheme(_eddsa_legacy_sign, _eddsa_legacy_verify),
    PublicKeyAlgorithm.ED25519: _Scheme(_ed25519_sign, _ed25519_verify),
    PublicKeyAlgorithm.ED448: _Scheme(_ed448_sign, _ed448_verify),
}
