"""
What protects a secret part, as it says itself: `pull` (RFC 9580 §3.7 and §5.5.3).

One parser for printing, which needs no passphrase and judges only what cannot be, and for
unlocking, which must know every number. So what is unknown, such as a cipher to come, is told and
not refused here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.keys.openpgp.packets import Malformed
from paperkey_alt.keys.openpgp.rfc9580 import (
    AEAD_MODES,
    CIPHERS,
    PRIVATE_S2K_TYPES,
    S2K_TYPES,
    S2K_USAGES,
    STUB_ELSEWHERE,
    STUB_MARK,
    STUB_ON_CARD,
    STUB_S2K_TYPE,
    SUM_BYTES,
    HashAlgorithm,
    S2KType,
    S2KUsage,
)

if TYPE_CHECKING:
    from paperkey_alt.format.buffer import Buffer

_COUNTED_USAGES = (S2KUsage.AEAD, S2KUsage.CFB_SHA1)


@dataclass(frozen=True)
class Specifier:
    """
    A string-to-key specifier (RFC 9580 §3.7.1): its type (*kind*), and the octets behind it, none
    where the length of this type is not known.

    ValueError where a type of the RFC has another length.
    """

    kind: int
    octets: bytes = b""

    def __post_init__(self) -> None:
        if self.is_known and 1 + len(self.octets) != S2K_TYPES[self.kind].specifier_bytes:
            raise ValueError(f"no specifier of type {self.kind} is so long")

    @property
    def is_known(self) -> bool:
        """Whether the type is one of the RFC's."""
        return self.kind in S2K_TYPES

    @property
    def is_private(self) -> bool:
        """Whether the type is of the range for private use, and its meaning its maker's affair."""
        return self.kind in PRIVATE_S2K_TYPES

    @property
    def is_stub(self) -> bool:
        """Whether it is the de-facto stub of a secret that is kept elsewhere, or on a card."""
        return (
            self.kind == STUB_S2K_TYPE
            and self.octets[1:-1] == STUB_MARK
            and self.octets[-1] in (STUB_ELSEWHERE, STUB_ON_CARD)
        )

    @property
    def hash(self) -> int:
        """The number of the hash algorithm; not of Argon2."""
        return self.octets[0]

    @property
    def salt(self) -> bytes:
        """The salt: none, 8 octets (§3.7.1.2, §3.7.1.3), or 16 of Argon2 (§3.7.1.4)."""
        return self.octets[:16] if self.kind == S2KType.ARGON2 else self.octets[1:9]

    @property
    def count(self) -> int:
        """How many octets are hashed at least, of which 0 means once (§3.7.1.3)."""
        return decode_count(self.octets[9]) if self.kind == S2KType.ITERATED else 0

    @property
    def argon2_cost(self) -> tuple[int, int, int]:
        """Of Argon2: passes, lanes, and the binary logarithm of KiB of memory (§3.7.1.4)."""
        passes, lanes, memory_log = self.octets[16:]
        return passes, lanes, memory_log


@dataclass(frozen=True)
class Protection:
    """
    How a secret part is protected. *prefix* is everything before the encrypted octets, as it
    stands; the other fields say what it means.

    *usage* 0 has neither cipher nor specifier; a cipher's number as usage is the legacy form with
    an MD5 key. *iv* is the IV or nonce; where an unknown number leaves its length open it is empty,
    and *prefix* ends before it.
    """

    prefix: bytes
    usage: int
    cipher: int = 0
    aead: int = 0
    specifier: Specifier | None = None
    iv: bytes = b""

    @property
    def is_usage_known(self) -> bool:
        """Whether the usage octet is one of the RFC's, or names a cipher."""
        return self.usage in S2K_USAGES or self.usage in CIPHERS

    @property
    def is_plaintext(self) -> bool:
        """
        Whether the secret behind it is in the clear: without a specifier, or with cipher 0, which
        is plaintext (§9.3), whatever the usage octet speaks of.
        """
        if self.usage not in S2K_USAGES:
            return False
        return self.specifier is None or (self.specifier.is_known and self.cipher == 0)

    @property
    def check_bytes(self) -> int:
        """Octets of the check behind the secret fields: a tag, a digest or a sum (§5.5.3)."""
        return S2K_USAGES[self.usage].check_bytes if self.usage in S2K_USAGES else SUM_BYTES


def pull(buffer: Buffer, version: int) -> Protection:
    """
    Return the protection at the start of the secret part of a key of *version* 4 or 6, and leave
    the buffer behind it.

    Raises Truncated where the bytes end inside it, Malformed where lengths stated in it disagree.
    """
    start = buffer.at
    usage = buffer.pull_number(1)
    if usage == S2KUsage.UNPROTECTED:
        return Protection(buffer.since(start), usage)
    stated = buffer.pull_number(1) if version == 6 else None
    parameters = buffer.at
    if usage in S2K_USAGES:
        cipher = buffer.pull_number(1)
        mode = buffer.pull_number(1) if usage == S2KUsage.AEAD else 0
        specifier = _pull_specifier(buffer, is_counted=version == 6 and usage in _COUNTED_USAGES)
    else:
        cipher, mode, specifier = usage, 0, _LEGACY
    length = _iv_bytes(usage, cipher, mode)
    if length is None or not specifier.is_known:
        return Protection(buffer.since(start), usage, cipher, mode, specifier)
    iv = buffer.pull_bytes(length)
    if stated not in (None, buffer.at - parameters):
        raise Malformed("what protects it and the stated length of that do not agree")
    return Protection(buffer.since(start), usage, cipher, mode, specifier, iv)


def decode_count(coded: int) -> int:
    """Return the number of octets that the count octet *coded* stands for (RFC 9580 §3.7.1.3)."""
    return (16 + (coded & 15)) << ((coded >> 4) + 6)


def checksum(fields: bytes) -> int:
    """Return the sum of all octets modulo 65,536, the two-octet check (RFC 9580 §5.5.3)."""
    return sum(fields) & 0xFFFF


# What a cipher's number as usage octet stands for: simple, with MD5 (RFC 9580 §3.7.2.1).
_LEGACY = Specifier(S2KType.SIMPLE, bytes([HashAlgorithm.MD5]))


def _pull_specifier(buffer: Buffer, *, is_counted: bool) -> Specifier:
    stated = buffer.pull_number(1) if is_counted else None
    kind = buffer.pull_number(1)
    if kind == STUB_S2K_TYPE:
        octets = buffer.pull_bytes(1 + len(STUB_MARK))
        if octets.endswith(STUB_MARK):
            octets += buffer.pull_bytes(1)
        return Specifier(kind, octets)
    if kind not in S2K_TYPES:
        return Specifier(kind)
    length = S2K_TYPES[kind].specifier_bytes
    if stated not in (None, length):
        raise Malformed("its S2K specifier and the stated length of that do not agree")
    return Specifier(kind, buffer.pull_bytes(length - 1))


def _iv_bytes(usage: int, cipher: int, mode: int) -> int | None:
    if usage == S2KUsage.AEAD:
        return AEAD_MODES[mode].nonce_bytes if mode in AEAD_MODES else None
    return CIPHERS[cipher].block_bytes if cipher in CIPHERS else None
