"""
Key revocation signatures: `make` one with an unlocked key, `read` one that was made elsewhere (RFC
9580 §5.2, type 0x20).

A revocation is a signature packet that, once published with the certificate, ends the key for
everyone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric import dsa, ec, ed448, ed25519, padding, rsa
from cryptography.hazmat.primitives.asymmetric.utils import (
    Prehashed,
    decode_dss_signature,
    encode_dss_signature,
)
from cryptography.hazmat.primitives.hashes import SHA224, SHA256, SHA384, SHA512
from cryptography.hazmat.primitives.hashes import HashAlgorithm as LibraryHash

from paperkey_alt.errors import DamagedKeyFile, NotARevocation, UnsupportedKey
from paperkey_alt.format.buffer import push_number, push_prefixed
from paperkey_alt.keys import pem
from paperkey_alt.keys.openpgp import armor, key_packet, material, packets, signature
from paperkey_alt.keys.openpgp.key_pair import curve
from paperkey_alt.keys.openpgp.material import integer, mpi, number
from paperkey_alt.keys.openpgp.rfc9580 import (
    HASHES,
    RSA_ALGORITHMS,
    HashAlgorithm,
    PacketType,
    PublicKeyAlgorithm,
    SignatureType,
    SubpacketType,
)
from paperkey_alt.keys.rsa import private_key

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.rfc9580 import RevocationReason
    from paperkey_alt.keys.openpgp.unlocked import Unlocked

_HASH = HashAlgorithm.SHA2_512  # of the revocations made here
# OpenPGP programs put a colon before the armor of a revocation that they keep in store, so that it
# is not imported by mistake. Whoever prints it wants it read, and it stays as it is in the file.
_COLON = re.compile(rb"(?m)^[ \t]*:[ \t]*(-----BEGIN PGP )")
_LIBRARY_HASHES: dict[int, LibraryHash] = {
    HashAlgorithm.SHA2_256: SHA256(),
    HashAlgorithm.SHA2_384: SHA384(),
    HashAlgorithm.SHA2_512: SHA512(),
    HashAlgorithm.SHA2_224: SHA224(),
}


@dataclass(frozen=True)
class _Scheme:
    """
    How an algorithm signs a digest with its secret and public fields, and checks what it signed.
    """

    sign: Callable[[tuple[bytes, ...], tuple[bytes, ...], bytes], bytes]
    verify: Callable[[tuple[bytes, ...], bytes, bytes, LibraryHash], None]


def make(
    primary: Unlocked, reason: RevocationReason, comment: str, created: int, salt: bytes
) -> bytes:
    """
    Return a revocation of the key *primary*, a signature packet with its header.

    *created* is in seconds since 1970; *salt* is 32 random bytes, used with version 6 keys. Raises
    UnsupportedKey where the algorithm cannot sign here.
    """
    key = primary.packet
    algorithm = material.algorithm(key.public)
    subpackets = (
        _subpacket(SubpacketType.SIGNATURE_CREATION_TIME, push_number(created, 4)),
        _subpacket(SubpacketType.ISSUER_FINGERPRINT, bytes([key.version]) + key.fingerprint),
        _subpacket(SubpacketType.REASON_FOR_REVOCATION, bytes([reason]) + comment.encode()),
    )
    unhashed = _subpacket(SubpacketType.ISSUER_KEY_ID, key.key_id) if key.version == 4 else b""
    count_bytes = signature.COUNT_BYTES[key.version]
    head = bytes([key.version, SignatureType.KEY_REVOCATION, algorithm, _HASH])
    hashed = head + push_prefixed(b"".join(subpackets), count_bytes)
    has_salt = key.version == 6
    digest = signature.digest(
        _HASH, key_packet.framed(key.public), hashed, salt if has_salt else b""
    )
    value = _scheme(algorithm).sign(
        material.secret_fields(primary.clear, key.public),
        material.public_fields(key.public),
        digest,
    )
    body = (
        hashed
        + push_prefixed(unhashed, count_bytes)
        + digest[: signature.DIGEST_START_BYTES]
        + (push_prefixed(salt, 1) if has_salt else b"")
        + value
    )
    return _with_header(body)


def read(data: bytes, primary: KeyPacket) -> bytes:
    """
    Return the revocation of the key *primary* in a file, armored or binary, as a signature packet.

    Raises NotARevocation where the file holds something else, or a revocation that this key did not
    make; DamagedKeyFile.
    """
    # The reason in a binary one is text of somebody's.
    blocks = armor.dearmor(_COLON.sub(rb"\1", data)) if pem.is_text(data) else []
    packet = blocks[0].data if blocks else data
    if not blocks and not (data[:1] and data[0] & 0x80):
        raise NotARevocation("the file is neither armored nor binary OpenPGP data")
    body = _body(packet)
    claims = signature.parse(body)
    if claims.issuers and not claims.issuers & primary.names:
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
    contents = packets.split(packet)
    if [content.tag for content in contents] != [PacketType.SIGNATURE]:
        raise NotARevocation(
            "a revocation certificate is one signature and nothing else, and this is not"
        )
    body = contents[0].body
    if signature.parse(body).kind != SignatureType.KEY_REVOCATION:
        raise NotARevocation("the signature does not revoke a key")
    return body


def _verify(body: bytes, key: KeyPacket) -> None:
    other = NotARevocation(
        "the revocation is of another kind than the key, or uses a hash that Ragleaf does not know"
    )
    forged = NotARevocation("the revocation is not signed by this key, or it is damaged")
    if body[0] != key.version:
        raise other
    try:
        made = signature.fields(body)
    except ValueError:
        raise forged from None
    if made.algorithm != material.algorithm(key.public) or made.hash not in _LIBRARY_HASHES:
        raise other
    digest = signature.digest(
        HASHES[made.hash], key_packet.framed(key.public), made.hashed, made.salt
    )
    public = material.public_fields(key.public)
    try:
        _scheme(made.algorithm).verify(public, made.value, digest, _LIBRARY_HASHES[made.hash])
    except (InvalidSignature, ValueError, DamagedKeyFile):
        raise forged from None


def _subpacket(kind: SubpacketType, content: bytes) -> bytes:
    """RFC 9580 §5.2.3.7, with the shortest length."""
    return packets.push_new_lengths(1 + len(content))[0] + push_number(kind, 1) + content


def _with_header(body: bytes) -> bytes:
    """A packet under a new header with a length of five octets (RFC 9580 §4.2.1.3)."""
    first = push_number(packets.first_octet(PacketType.SIGNATURE), 1)
    return first + packets.push_new_lengths(len(body))[-1] + body


def _scheme(algorithm: int) -> _Scheme:
    if algorithm not in _SCHEMES:
        raise UnsupportedKey(
            f"Ragleaf cannot sign a revocation with a key of algorithm {algorithm}",
            advice=_ELSEWHERE,
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
    _require_ed25519(public)
    key = ed25519.Ed25519PrivateKey.from_private_bytes(number(secret[0]).to_bytes(32, "big"))
    made = key.sign(digest)
    return b"".join(integer(int.from_bytes(half, "big")) for half in (made[:32], made[32:]))


def _eddsa_legacy_verify(
    public: tuple[bytes, ...], value: bytes, digest: bytes, _algorithm: LibraryHash
) -> None:
    _require_ed25519(public)
    made = b"".join(push_number(half, 32) for half in _integers(value, 2))
    ed25519.Ed25519PublicKey.from_public_bytes(public[1][3:]).verify(made, digest)


def _require_ed25519(public: tuple[bytes, ...]) -> None:
    if len(public[1]) != 2 + 1 + 32:
        raise UnsupportedKey(
            "Ragleaf cannot sign a revocation with a key on this curve", advice=_ELSEWHERE
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
_SCHEMES: dict[int, _Scheme] = {
    **dict.fromkeys(RSA_ALGORITHMS, _Scheme(_rsa_sign, _rsa_verify)),
    PublicKeyAlgorithm.DSA: _Scheme(_dsa_sign, _dsa_verify),
    PublicKeyAlgorithm.ECDSA: _Scheme(_ecdsa_sign, _ecdsa_verify),
    PublicKeyAlgorithm.EDDSA_LEGACY: _Scheme(_eddsa_legacy_sign, _eddsa_legacy_verify),
    PublicKeyAlgorithm.ED25519: _Scheme(_ed25519_sign, _ed25519_verify),
    PublicKeyAlgorithm.ED448: _Scheme(_ed448_sign, _ed448_verify),
}
