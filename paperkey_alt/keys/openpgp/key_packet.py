"""
A key packet, and the line through it: public fields before, secret part behind (RFC 9580 §5.5).

The secret part is taken as it stands. Its outer form is checked as far as it can be without a
passphrase, so that damage is noticed before it is printed: what protects it must fit into the
packet, and what is not protected must fill it exactly and, in version 4, agree with its checksum.
An unprotected version 6 secret has no checksum (§5.5.3).
"""

from __future__ import annotations

import enum
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.keys.openpgp import packets, rfc9580

if TYPE_CHECKING:
    from paperkey_alt.keys.openpgp.packets import Packet

TAGS = (packets.SECRET_KEY, packets.PUBLIC_KEY, packets.SECRET_SUBKEY, packets.PUBLIC_SUBKEY)
PRIMARY_TAGS = (packets.SECRET_KEY, packets.PUBLIC_KEY)
SECRET_TAGS = (packets.SECRET_KEY, packets.SECRET_SUBKEY)
SUPPORTED_VERSIONS = (4, 6)

KEY_ID_BYTES = 8

# The de-facto stub: S2K type 101 of the private range (RFC 9580 §3.7.1), a hash octet, this mark,
# and how the secret is kept.
STUB_S2K = 101
STUB_MARK = b"GNU"
STUB_ELSEWHERE = 1
STUB_ON_CARD = 2


class Secrecy(enum.Enum):
    """What a key packet has of its secret."""

    PUBLIC = "a public key packet"
    STUB = "its secret is kept elsewhere"
    UNPROTECTED = "no passphrase protects it"
    PROTECTED = "protected by a passphrase"


@dataclass(frozen=True)
class KeyPacket:
    """
    One public or secret (sub)key packet, as `parse` cuts it into *public* fields and *secret* part.

    *public* is the body of the public packet of the same key; *secret* begins with the S2K usage
    octet and is empty in a public packet. *secrecy* tells what the secret part is. *fingerprint* is
    20 bytes in version 4, 32 in versions 5 and 6, 16 before (RFC 9580 §5.5.4).
    """

    packet: Packet
    public: bytes
    secret: bytes
    secrecy: Secrecy
    fingerprint: bytes

    @property
    def version(self) -> int:
        """The key version: 4 or 6, or 2, 3 or 5, which are recognised and no more."""
        return self.public[0]

    @property
    def is_primary(self) -> bool:
        """Whether this is a primary key packet."""
        return self.packet.tag in PRIMARY_TAGS

    @property
    def has_secret(self) -> bool:
        """Whether the secret is in the packet, protected or not."""
        return self.secrecy in (Secrecy.PROTECTED, Secrecy.UNPROTECTED)

    @property
    def created(self) -> datetime:
        """The creation time, UTC."""
        return datetime.fromtimestamp(int.from_bytes(self.public[1:5], "big"), UTC)

    @property
    def algorithm(self) -> str:
        """The name of the public-key algorithm in the registry of RFC 9580 §9.1."""
        number = self.public[_algorithm_at(self.version)]
        return ALGORITHMS[number].name if number in ALGORITHMS else f"algorithm {number}"

    @property
    def is_divisible(self) -> bool:
        """Whether a secret packet of this version and algorithm tells where its secret begins."""
        return self.version > 4 or self.public[_algorithm_at(self.version)] in ALGORITHMS

    @property
    def key_id(self) -> bytes:
        """
        The key ID, 8 bytes: the end of a version 4 fingerprint, the beginning of a later one (RFC
        9580 §5.5.4).
        """
        return (
            self.fingerprint[:KEY_ID_BYTES]
            if self.version > 4
            else self.fingerprint[-KEY_ID_BYTES:]
        )

    @property
    def title(self) -> str:
        """How a message names this packet: key or subkey, fingerprint, algorithm."""
        return f"{'key' if self.is_primary else 'subkey'} {self.fingerprint.hex().upper()} ({self.algorithm})"


def parse(packet: Packet) -> KeyPacket:
    """
    Return the key packet in *packet*, whose tag is one of TAGS.

    Raises DamagedKeyFile where the body is no key, UnsupportedKey where the version, or the
    algorithm of a secret version 4 key, does not tell where the public fields end.
    """
    body = packet.body
    version = body[0] if body else 0
    if version not in _FINGERPRINTS:
        raise UnsupportedKey(f"the {packet.name} is of version {version}, which is unknown")
    reader = _Reader(body)
    try:
        reader.take(_algorithm_at(version))
        algorithm = reader.octet()
        if packet.tag in SECRET_TAGS:
            _skip_public(reader, version, algorithm)
            public = body[: reader.at]
            secrecy = _secrecy(reader, version, algorithm)
        else:
            public, secrecy = body, Secrecy.PUBLIC
        return KeyPacket(
            packet, public, body[len(public) :], secrecy, _FINGERPRINTS[version](public)
        )
    except _Malformed as error:
        raise DamagedKeyFile(f"the {packet.name} (version {version}) is damaged: {error}") from None


class _Malformed(Exception):
    """A field says what cannot be."""


class FieldTooLong(_Malformed):
    """A field reaches past the end of the bytes it stands in."""


class _Reader:
    """The body of a key packet, read from front to back; raises FieldTooLong at its end."""

    def __init__(self, body: bytes, at: int = 0) -> None:
        self.at = at
        self._body = body

    def ahead(self) -> _Reader:
        """Return a reader that begins where this one stands, to look ahead with."""
        return _Reader(self._body, self.at)

    @property
    def left(self) -> int:
        return len(self._body) - self.at

    def take(self, count: int) -> bytes:
        start = self.at
        self.at = _octets(count)(self._body, start)
        return self.since(start)

    def skip(self, fields: tuple[Field, ...]) -> None:
        for field in fields:
            self.at = field(self._body, self.at)

    def since(self, start: int) -> bytes:
        return self._body[start : self.at]

    def number(self, octets: int) -> int:
        return int.from_bytes(self.take(octets), "big")

    def octet(self) -> int:
        return self.number(1)


Field = Callable[[bytes, int], int]
"""
Takes bytes and the offset of a field in them, and returns the offset behind the field; raises
FieldTooLong.
"""


def _octets(count: int) -> Field:
    def octets(data: bytes, at: int) -> int:
        if at + count > len(data):
            raise FieldTooLong("it ends within its fields")
        return at + count

    return octets


def mpi(data: bytes, at: int) -> int:
    """
    A multiprecision integer (RFC 9580 §3.2); leading zeros may stand in it, for the bytes are
    carried as they are.
    """
    start = _octets(2)(data, at)
    return _octets((int.from_bytes(data[at:start], "big") + 7) // 8)(data, start)


def _prefixed(data: bytes, at: int) -> int:
    """
    Octets behind their count, 0 and 255 being reserved: a curve OID or KDF parameters (RFC 9580
    §5.5.5.4, §5.5.5.6).
    """
    start = _octets(1)(data, at)
    if data[at] in (0, 0xFF):
        raise _Malformed(f"a curve or its parameters are {data[at]} bytes long, which is reserved")
    return _octets(data[at])(data, start)


@dataclass(frozen=True)
class Algorithm:
    """
    A public-key algorithm: the fields of its public and its secret key material (RFC 9580 §5.5.5).
    """

    name: str
    public: tuple[Field, ...]
    secret: tuple[Field, ...]


_RSA = Algorithm("RSA", (mpi, mpi), (mpi, mpi, mpi, mpi))

ALGORITHMS = {
    1: _RSA,
    2: _RSA,
    3: _RSA,
    16: Algorithm("ElGamal", (mpi, mpi, mpi), (mpi,)),
    17: Algorithm("DSA", (mpi, mpi, mpi, mpi), (mpi,)),
    18: Algorithm("ECDH", (_prefixed, mpi, _prefixed), (mpi,)),
    19: Algorithm("ECDSA", (_prefixed, mpi), (mpi,)),
    22: Algorithm("EdDSALegacy", (_prefixed, mpi), (mpi,)),
    25: Algorithm("X25519", (_octets(32),), (_octets(32),)),
    26: Algorithm("X448", (_octets(56),), (_octets(56),)),
    27: Algorithm("Ed25519", (_octets(32),), (_octets(32),)),
    28: Algorithm("Ed448", (_octets(57),), (_octets(57),)),
    # From here on draft-ietf-openpgp-pqc, which allows 35 in version 4 too; its lengths are from
    # memory, and keys that an OpenPGP library made of each of these agree with them.
    30: Algorithm("ML-DSA-65+Ed25519", (_octets(32), _octets(1952)), (_octets(32), _octets(32))),
    31: Algorithm("ML-DSA-87+Ed448", (_octets(57), _octets(2592)), (_octets(57), _octets(32))),
    32: Algorithm("SLH-DSA-SHAKE-128s", (_octets(32),), (_octets(64),)),
    33: Algorithm("SLH-DSA-SHAKE-128f", (_octets(32),), (_octets(64),)),
    34: Algorithm("SLH-DSA-SHAKE-256s", (_octets(64),), (_octets(128),)),
    35: Algorithm("ML-KEM-768+X25519", (_octets(32), _octets(1184)), (_octets(32), _octets(64))),
    36: Algorithm("ML-KEM-1024+X448", (_octets(56), _octets(1568)), (_octets(56), _octets(64))),
}


def _algorithm_at(version: int) -> int:
    return 7 if version < 4 else 5  # versions 2 and 3 have a validity period before it


def _skip_public(reader: _Reader, version: int, algorithm: int) -> None:
    """Read on from the algorithm to the end of the public fields."""
    known = ALGORITHMS.get(algorithm)
    if version > 4:
        stated = reader.number(4)
        end = reader.at + stated
        if known:
            reader.skip(known.public)
        else:
            reader.take(stated)
        if reader.at != end:
            raise _Malformed("its public fields and their stated length do not agree")
    elif known:
        reader.skip(known.public)
    else:
        raise UnsupportedKey(
            f"a secret key of version {version} and algorithm {algorithm}, which Ragleaf does "
            "not know, "
            "does not tell where its secret begins"
        )


# S2K usage octets (RFC 9580 §3.7.2.1)
_UNPROTECTED = 0
_AEAD = 253
_CFB_SHA1 = 254
_CFB_CHECKSUM = 255

_PRIVATE_S2K = range(100, 111)
_CHECK_BYTES = {_AEAD: 16, _CFB_SHA1: 20}
_CHECKSUM_BYTES = 2


def _secrecy(reader: _Reader, version: int, algorithm: int) -> Secrecy:
    """Look the secret part over, and return what it is."""
    usage = reader.octet()
    if version not in SUPPORTED_VERSIONS:
        return Secrecy.PROTECTED if usage else Secrecy.UNPROTECTED
    if usage == _UNPROTECTED:
        _check_unprotected(reader, version, algorithm)
        return Secrecy.UNPROTECTED
    if version == 4 and _is_clear(reader.ahead(), algorithm):
        raise _Malformed(
            f"its S2K usage octet is {usage}, which speaks of a passphrase, and its secret is in "
            "the clear"
        )
    stated = reader.octet() if version == 6 else None
    start = reader.at
    if usage in (_AEAD, _CFB_SHA1, _CFB_CHECKSUM):
        unusual, nonce = _skip_specifier(
            reader, usage, is_counted=version == 6 and usage != _CFB_CHECKSUM
        )
        if unusual:
            return unusual
    elif usage in rfc9580.BLOCK_BYTES:
        nonce = rfc9580.BLOCK_BYTES[usage]
    else:
        raise _Malformed(f"its S2K usage octet is {usage}, which names no cipher")
    if nonce is not None:
        reader.take(nonce)
    if stated is not None and nonce is not None and reader.at - start != stated:
        raise _Malformed("what protects it and the stated length of that do not agree")
    if reader.left <= _CHECK_BYTES.get(usage, _CHECKSUM_BYTES):
        raise _Malformed("it ends within its secret part")
    return Secrecy.PROTECTED


def _is_clear(reader: _Reader, algorithm: int) -> bool:
    """
    Whether a version 4 secret is there unprotected, down to its checksum, as no ciphertext would be
    by chance.
    """
    try:
        _check_unprotected(reader, 4, algorithm)
    except _Malformed:
        return False
    return True


def _check_unprotected(reader: _Reader, version: int, algorithm: int) -> None:
    if algorithm not in ALGORITHMS:
        return
    start = reader.at
    reader.skip(ALGORITHMS[algorithm].secret)
    fields = reader.since(start)
    checksum = reader.number(_CHECKSUM_BYTES) if version == 4 else None
    if reader.left:
        raise _Malformed("its secret part does not fill it")
    if checksum not in (None, sum(fields) & 0xFFFF):
        raise _Malformed("its secret part does not agree with its checksum")


def _skip_specifier(
    reader: _Reader, usage: int, *, is_counted: bool
) -> tuple[Secrecy | None, int | None]:
    """
    Read the cipher, the AEAD mode and the S2K specifier; return what the specifier says of the
    secret, None where it is an ordinary one, and the length of the nonce or IV behind it, None
    where that is not known.

    A specifier of the private range without the stub's mark is carried with whatever stands behind
    it, as a protected secret: better a secret printed that is none than one left out.
    """
    nonce = rfc9580.BLOCK_BYTES.get(reader.octet())
    if usage == _AEAD:
        nonce = rfc9580.NONCE_BYTES.get(reader.octet())
    stated = reader.octet() if is_counted else None
    kind = reader.octet()
    if kind == STUB_S2K:
        is_stub = reader.take(1 + len(STUB_MARK))[1:] == STUB_MARK and reader.octet() in (
            STUB_ELSEWHERE,
            STUB_ON_CARD,
        )
        return (Secrecy.STUB if is_stub else Secrecy.PROTECTED), None
    if kind in _PRIVATE_S2K:
        return Secrecy.PROTECTED, None
    if kind not in rfc9580.SPECIFIER_BYTES:
        raise _Malformed(f"its S2K type is {kind}, which is unknown")
    if stated not in (None, rfc9580.SPECIFIER_BYTES[kind]):
        raise _Malformed("its S2K specifier and the stated length of that do not agree")
    reader.take(rfc9580.SPECIFIER_BYTES[kind] - 1)
    return None, nonce


_LONGEST_V4_PUBLIC = 0xFFFF


def _fingerprint_v3(public: bytes) -> bytes:
    start = _algorithm_at(3) + 1
    behind_n = mpi(public, start)
    behind_e = mpi(public, behind_n)
    return hashlib.md5(
        public[start + 2 : behind_n] + public[behind_n + 2 : behind_e], usedforsecurity=False
    ).digest()


def _fingerprint_v4(public: bytes) -> bytes:
    if len(public) > _LONGEST_V4_PUBLIC:
        raise _Malformed(f"its public fields are longer than {_LONGEST_V4_PUBLIC} bytes")
    return hashlib.sha1(
        b"\x99" + len(public).to_bytes(2, "big") + public, usedforsecurity=False
    ).digest()


def _fingerprint_v5(public: bytes) -> bytes:
    return hashlib.sha256(b"\x9a" + len(public).to_bytes(4, "big") + public).digest()


def _fingerprint_v6(public: bytes) -> bytes:
    return hashlib.sha256(b"\x9b" + len(public).to_bytes(4, "big") + public).digest()


_FINGERPRINTS: dict[int, Callable[[bytes], bytes]] = {
    2: _fingerprint_v3,
    3: _fingerprint_v3,
    4: _fingerprint_v4,
    5: _fingerprint_v5,
    6: _fingerprint_v6,
}
