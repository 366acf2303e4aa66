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
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.format.buffer import Buffer, Truncated, push_number, push_prefixed
from paperkey_alt.keys.openpgp import s2k
from paperkey_alt.keys.openpgp.material import LAYOUTS, mpi
from paperkey_alt.keys.openpgp.packets import Malformed
from paperkey_alt.keys.openpgp.rfc9580 import (
    ALGORITHMS,
    KEY_FRAMES,
    KEY_ID_BYTES,
    PRIMARY_KEY_TYPES,
    SECRET_KEY_TYPES,
    SUM_BYTES,
    S2KUsage,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.keys.openpgp.packets import Packet

SUPPORTED_VERSIONS = (4, 6)


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
        return self.packet.tag in PRIMARY_KEY_TYPES

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
        return ALGORITHMS[number].title if number in ALGORITHMS else f"algorithm {number}"

    @property
    def key_id(self) -> bytes:
        """
        The key ID, 8 bytes: the end of a version 4 fingerprint, the beginning of a later one (RFC
        9580 §5.5.4).
        """
        if self.version > 4:
            return self.fingerprint[:KEY_ID_BYTES]
        return self.fingerprint[-KEY_ID_BYTES:]

    @property
    def names(self) -> frozenset[bytes]:
        """By what a signature may name this key as its issuer: fingerprint and key ID."""
        return frozenset((self.fingerprint, self.key_id))

    @property
    def title(self) -> str:
        """How a message names this packet: key or subkey, fingerprint, algorithm."""
        kind = "key" if self.is_primary else "subkey"
        return f"{kind} {self.fingerprint.hex().upper()} ({self.algorithm})"


def parse(packet: Packet) -> KeyPacket:
    """
    Return the key packet in *packet*, whose tag is one of rfc9580.KEY_TYPES.

    Raises DamagedKeyFile where the body is no key, UnsupportedKey where the version, or the
    algorithm of a secret version 4 key, does not tell where the public fields end.
    """
    body = packet.body
    version = body[0] if body else 0
    if version not in _FINGERPRINTS:
        raise UnsupportedKey(f"the {packet.name} is of version {version}, which is unknown")
    buffer = Buffer(body)
    try:
        buffer.pull_bytes(_algorithm_at(version))
        algorithm = buffer.pull_number(1)
        if packet.tag in SECRET_KEY_TYPES:
            _pull_public(buffer, version, algorithm)
            public = buffer.since(0)
            secrecy = _pull_secrecy(buffer, version, algorithm)
        else:
            public, secrecy = body, Secrecy.PUBLIC
        fingerprint = _FINGERPRINTS[version](public)
    except (Truncated, Malformed) as error:
        raise DamagedKeyFile(f"the {packet.name} (version {version}) is damaged: {error}") from None
    return KeyPacket(packet, public, body[len(public) :], secrecy, fingerprint)


def framed(public: bytes) -> bytes:
    """
    Return the *public* part of a key of version 4 or later as it is hashed, for its fingerprint
    (RFC 9580 §5.5.4) and by signatures over it (§5.2.4).
    """
    lead, width = KEY_FRAMES[public[0]]
    return push_number(lead, 1) + push_prefixed(public, width)


def _algorithm_at(version: int) -> int:
    return 7 if version < 4 else 5  # versions 2 and 3 have a validity period before it


def _pull_public(buffer: Buffer, version: int, algorithm: int) -> None:
    """Pull all behind the algorithm to the end of the public fields."""
    layout = LAYOUTS.get(algorithm)
    stated = buffer.pull_number(4) if version > 4 else None
    if layout is None and stated is None:
        raise UnsupportedKey(
            f"a secret key of version {version} and algorithm {algorithm}, which Ragleaf does "
            "not know, does not tell where its secret begins"
        )
    start = buffer.at
    if layout is None:
        buffer.pull_bytes(stated or 0)
    else:
        for field in layout.public:
            field(buffer)
    if stated not in (None, buffer.at - start):
        raise Malformed("its public fields and their stated length do not agree")


def _pull_secrecy(buffer: Buffer, version: int, algorithm: int) -> Secrecy:
    """
    Look the secret part over, and return what it is.

    A specifier of the private range that is no stub is carried with whatever stands behind it, as a
    protected secret: better a secret printed that is none than one left out.
    """
    behind = buffer.ahead()
    usage = behind.pull_number(1)
    if version not in SUPPORTED_VERSIONS:
        return Secrecy.PROTECTED if usage else Secrecy.UNPROTECTED
    if usage == S2KUsage.UNPROTECTED:
        _require_unprotected(behind, version, algorithm)
        return Secrecy.UNPROTECTED
    if version == 4 and _is_clear(behind, algorithm):
        raise Malformed(
            f"its S2K usage octet is {usage}, which means a passphrase, and its secret is not "
            "encrypted"
        )
    protection = s2k.pull(buffer, version)
    if not protection.is_usage_known:
        raise Malformed(f"its S2K usage octet is {usage}, which names no cipher")
    specifier = protection.specifier
    if specifier and specifier.is_stub:
        return Secrecy.STUB
    if specifier and specifier.is_private:
        return Secrecy.PROTECTED
    if specifier and not specifier.is_known:
        raise Malformed(f"its S2K type is {specifier.kind}, which is unknown")
    if buffer.left <= protection.check_bytes:
        raise Malformed("it ends within its secret part")
    return Secrecy.UNPROTECTED if protection.is_plaintext else Secrecy.PROTECTED


def _is_clear(behind: Buffer, algorithm: int) -> bool:
    """
    Whether a version 4 secret is there unprotected, down to its checksum, as no ciphertext would be
    by chance.
    """
    try:
        _require_unprotected(behind, 4, algorithm)
    except (Truncated, Malformed):
        return False
    return True


def _require_unprotected(behind: Buffer, version: int, algorithm: int) -> None:
    """Raise where what is *behind* the usage octet is no unprotected secret (RFC 9580 §5.5.3)."""
    if algorithm not in LAYOUTS:
        return
    start = behind.at
    for field in LAYOUTS[algorithm].secret:
        field(behind)
    expected = s2k.checksum(behind.since(start))
    stated = behind.pull_number(SUM_BYTES) if version == 4 else None
    if behind.left:
        raise Malformed("its secret part does not fill it")
    if stated not in (None, expected):
        raise Malformed("its secret part does not agree with its checksum")


def _fingerprint_v3(public: bytes) -> bytes:
    """The MD5 of an RSA key's n and e without their lengths (RFC 9580 §5.5.4.1)."""
    buffer = Buffer(public, _algorithm_at(3) + 1)
    n, e = mpi(buffer), mpi(buffer)
    return hashlib.md5(n[2:] + e[2:], usedforsecurity=False).digest()


def _fingerprint_v4(public: bytes) -> bytes:
    """SHA-1 (RFC 9580 §5.5.4.2)."""
    longest = (1 << 8 * KEY_FRAMES[4][1]) - 1
    if len(public) > longest:
        raise Malformed(f"its public fields are longer than {longest} bytes")
    return hashlib.sha1(framed(public), usedforsecurity=False).digest()


def _fingerprint_v6(public: bytes) -> bytes:
    """SHA2-256 (RFC 9580 §5.5.4.3), of version 5 too."""
    return hashlib.sha256(framed(public)).digest()


_FINGERPRINTS: dict[int, Callable[[bytes], bytes]] = {
    2: _fingerprint_v3,
    3: _fingerprint_v3,
    4: _fingerprint_v4,
    5: _fingerprint_v6,
    6: _fingerprint_v6,
}
