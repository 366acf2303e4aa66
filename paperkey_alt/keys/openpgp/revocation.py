"""
Key revocation signatures: `make` one with an unlocked key, `read` one that was made elsewhere (RFC
9580 §5.2, type 0x20).

A revocation is a signature packet that, once published with the certificate, ends the key for
everyone.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric import dsa, ec, ed448, ed25519, padding, rsa
from cryptography.hazmat.primitives.asymmetric.utils import (
    Prehashed,
    decode_dss_signature,
    encode_dss_signature,
)
from cryptography.hazmat.primitives.hashes import SHA224, SHA256, SHA384, SHA512, HashAlgorithm

from paperkey_alt.errors import DamagedKeyFile, NotARevocation, UnsupportedKey
from paperkey_alt.keys.openpgp import armor, material, packets, signature
from paperkey_alt.keys.openpgp.key_packet import mpi
from paperkey_alt.keys.openpgp.key_pair import curve
from paperkey_alt.keys.openpgp.material import integer, number

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.keys.openpgp.compact import Unlocked
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.rfc9580 import RevocationReason

KEY_REVOCATION = 0x20
SALT_BYTES = 32  # of a version 6 signature with SHA-512: RFC 9580 §9.5, table 23
_SHA512 = 10
_HASHES: dict[int, HashAlgorithm] = {8: SHA256(), 9: SHA384(), 10: SHA512(), 11: SHA224()}
_CREATION_TIME, _ISSUER_KEY_ID, _REASON, _ISSUER_FINGERPRINT = 2, 16, 29, 33  # RFC 9580 §5.2.3.7


@dataclass(frozen=True)
class _Scheme:
    """
    How an algorithm signs a digest with its secret and public fields, and checks what it signed.
    """

    sign: Callable[[tuple[bytes, ...], tuple[bytes, ...], bytes], bytes]
    verify: Callable[[tuple[bytes, ...], bytes, bytes, HashAlgorithm], None]


def make(
    primary: Unlocked, reason: RevocationReason, comment: str, created: int, salt: bytes
) -> bytes:
    """
    Return a revocation of the key *primary*, a signature packet with its header.

    *created* is in seconds since 1970; *salt* is 32 random bytes, used with version 6 keys. Raises
    UnsupportedKey where the algorithm cannot sign here.
    """
    key = primary.packet
    public = material.public_fields(key.public)
    algorithm = material.algorithm(key.public)
    hashed = b"".join(
        (
            _subpacket(_CREATION_TIME, created.to_bytes(4, "big")),
            _subpacket(_ISSUER_FINGERPRINT, bytes([key.version]) + key.fingerprint),
            _subpacket(_REASON, bytes([reason]) + comment.encode()),
        )
    )
    unhashed = _subpacket(_ISSUER_KEY_ID, key.key_id) if key.version == 4 else b""
    width = 2 if key.version == 4 else 4
    signed = (
        bytes([key.version, KEY_REVOCATION, algorithm, _SHA512])
        + len(hashed).to_bytes(width, "big")
        + hashed
    )
    salted = salt if key.version == 6 else b""
    digest = _digest(key, signed, salted, _HASHES[_SHA512])
    value = _scheme(algorithm).sign(
        material.secret_fields(primary.clear, key.public), public, digest
    )
    length = bytes([len(salt)]) + salt if key.version == 6 else b""
    body = signed + len(unhashed).to_bytes(width, "big") + unhashed + digest[:2] + length + value
    return _with_header(body)


def read(data: bytes, primary: KeyPacket) -> bytes:
    """
    Return the revocation of the key *primary* in a file, armored or binary, as a signature packet.

    Raises NotARevocation where the file holds something else, or a revocation that this key did not
    make; DamagedKeyFile.
    """
    blocks = armor.dearmor(data)
    packet = blocks[0].data if blocks else data
    body = _body(packet)
    claims = signature.parse(body)
    if claims.issuers and not claims.issuers & {primary.key_id, primary.fingerprint}:
        raise NotARevocation("the revocation is of another key")
    _verify(body, primary)
    return packet


def write(packet: bytes) -> bytes:
    """
    Return a revocation as an armored file: by common practice, no source, under the words of a
    public key block.

    Raises NotARevocation and DamagedKeyFile as `read` does, but that nothing is verified.
    """
    is_v6 = _body(packet)[0] == 6
    return armor.armor(packet, kind=armor.ArmorKind.PUBLIC_KEY, checksum=not is_v6).encode()


def _body(packet: bytes) -> bytes:
    """Return the body of the one packet there, a signature that revokes a key."""
    found = packets.split(packet)
    if len(found) != 1 or found[0].tag != packets.SIGNATURE:
        raise NotARevocation(
            "there is not one signature and nothing else, as in a revocation certificate"
        )
    if signature.parse(found[0].body).kind != KEY_REVOCATION:
        raise NotARevocation("there is a signature that is no revocation of a key")
    return found[0].body


def _verify(body: bytes, key: KeyPacket) -> None:
    version, _, algorithm, hash_number = body[:4]
    if (
        version != key.version
        or algorithm != material.algorithm(key.public)
        or hash_number not in _HASHES
    ):
        raise NotARevocation(
            "the revocation is of another kind than the key, or uses a hash that is not known here"
        )
    width = 2 if version == 4 else 4
    end = 4 + width + int.from_bytes(body[4 : 4 + width], "big")
    at = end + width + int.from_bytes(body[end : end + width], "big")
    start, salt = at + 2, b""
    if version == 6:
        start, salt = at + 3 + body[at + 2], body[at + 3 : at + 3 + body[at + 2]]
    digest = _digest(key, body[:end], salt, _HASHES[hash_number])
    public = material.public_fields(key.public)
    try:
        _scheme(algorithm).verify(public, body[start:], digest, _HASHES[hash_number])
    except (InvalidSignature, ValueError, DamagedKeyFile):
        raise NotARevocation("the revocation is not signed by this key, or it is damaged") from None


def _digest(key: KeyPacket, signed: bytes, salt: bytes, algorithm: HashAlgorithm) -> bytes:
    """RFC 9580 §5.2.4: salt, key, the signature's hashed part, and its trailer."""
    lead = (b"\x99", 2) if key.version == 4 else (b"\x9b", 4)
    framed = lead[0] + len(key.public).to_bytes(lead[1], "big") + key.public
    trailer = bytes([key.version, 0xFF]) + len(signed).to_bytes(4, "big")
    return hashlib.new(algorithm.name, salt + framed + signed + trailer).digest()


def _subpacket(kind: int, content: bytes) -> bytes:
    """RFC 9580 §5.2.3.7, with the shortest length."""
    length = 1 + len(content)
    if length < 192:
        return bytes([length, kind]) + content
    return bytes([255]) + length.to_bytes(4, "big") + bytes([kind]) + content


def _with_header(body: bytes) -> bytes:
    return bytes([0xC0 | packets.SIGNATURE, 255]) + len(body).to_bytes(4, "big") + body


def _scheme(algorithm: int) -> _Scheme:
    if algorithm not in _SCHEMES:
        raise UnsupportedKey(
            f"keys of algorithm {algorithm} cannot sign a revocation here", advice=_ELSEWHERE
        )
    return _SCHEMES[algorithm]


def _rsa_sign(secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes) -> bytes:
    d, p, q, _ = map(number, secret)
    n, e = map(number, public)
    numbers = rsa.RSAPrivateNumbers(
        p, q, d, d % (p - 1), d % (q - 1), pow(q, -1, p), rsa.RSAPublicNumbers(e, n)
    )
    made = numbers.private_key().sign(digest, padding.PKCS1v15(), Prehashed(SHA512()))
    return integer(int.from_bytes(made, "big"))


def _rsa_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, algorithm: HashAlgorithm
) -> None:
    n, e = map(number, public)
    (made,) = _integers(value, 1)
    size = (n.bit_length() + 7) // 8
    key = rsa.RSAPublicNumbers(e, n).public_key()
    key.verify(made.to_bytes(size, "big"), digest, padding.PKCS1v15(), Prehashed(algorithm))


def _dsa_sign(secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes) -> bytes:
    numbers = dsa.DSAPrivateNumbers(number(secret[0]), _dsa_numbers(public))
    return _pair(numbers.private_key().sign(digest, Prehashed(SHA512())))


def _dsa_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, algorithm: HashAlgorithm
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
            "keys on this curve cannot sign a revocation here", advice=_ELSEWHERE
        ) from None
    return _pair(key.sign(digest, ec.ECDSA(Prehashed(SHA512()))))


def _ecdsa_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, algorithm: HashAlgorithm
) -> None:
    key = ec.EllipticCurvePublicKey.from_encoded_point(curve(public[0]), public[1][2:])
    key.verify(encode_dss_signature(*_integers(value, 2)), digest, ec.ECDSA(Prehashed(algorithm)))


def _eddsa_legacy_sign(
    secret: tuple[bytes, ...], public: tuple[bytes, ...], digest: bytes
) -> bytes:
    _require_ed25519(public)
    key = ed25519.Ed25519PrivateKey.from_private_bytes(number(secret[0]).to_bytes(32, "big"))
    made = key.sign(digest)
    return b"".join(integer(int.from_bytes(half, "big")) for half in (made[:32], made[32:]))


def _eddsa_legacy_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: HashAlgorithm
) -> None:
    _require_ed25519(public)
    made = b"".join(half.to_bytes(32, "big") for half in _integers(value, 2))
    ed25519.Ed25519PublicKey.from_public_bytes(public[1][3:]).verify(made, digest)


def _require_ed25519(public: tuple[bytes, ...]) -> None:
    if len(public[1]) != 2 + 1 + 32:
        raise UnsupportedKey("keys on this curve cannot sign a revocation here", advice=_ELSEWHERE)


def _ed25519_sign(secret: tuple[bytes, ...], _public: tuple[bytes, ...], digest: bytes) -> bytes:
    return ed25519.Ed25519PrivateKey.from_private_bytes(secret[0]).sign(digest)


def _ed25519_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: HashAlgorithm
) -> None:
    ed25519.Ed25519PublicKey.from_public_bytes(public[0]).verify(value, digest)


def _ed448_sign(secret: tuple[bytes, ...], _public: tuple[bytes, ...], digest: bytes) -> bytes:
    return ed448.Ed448PrivateKey.from_private_bytes(secret[0]).sign(digest)


def _ed448_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: HashAlgorithm
) -> None:
    ed448.Ed448PublicKey.from_public_bytes(public[0]).verify(value, digest)


def _pair(made: bytes) -> bytes:
    return b"".join(map(integer, decode_dss_signature(made)))


def _integers(value: bytes, count: int) -> list[int]:
    return [number(field) for field in material.split(value, (mpi,) * count)]


_ELSEWHERE = "Make the revocation in your OpenPGP program and give it with --certificate."
_SCHEMES = {
    **dict.fromkeys(material.RSA, _Scheme(_rsa_sign, _rsa_verify)),
    material.DSA: _Scheme(_dsa_sign, _dsa_verify),
    material.ECDSA: _Scheme(_ecdsa_sign, _ecdsa_verify),
    material.EDDSA_LEGACY: _Scheme(_eddsa_legacy_sign, _eddsa_legacy_verify),
    material.ED25519: _Scheme(_ed25519_sign, _ed25519_verify),
    material.ED448: _Scheme(_ed448_sign, _ed448_verify),
}
