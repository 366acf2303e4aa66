"""
What Ragleaf wants to know of an OpenPGP signature packet: who says to have made it, when, and what
it says of a key's end; and the digest that it signs.

`parse` verifies nothing: it only sorts packets and words a caption. A signature that cannot be
understood has no issuer.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import UnsupportedKey
from paperkey_alt.format.buffer import Buffer, push_number, push_prefixed
from paperkey_alt.keys.openpgp import material
from paperkey_alt.keys.openpgp.packets import pull_new_length
from paperkey_alt.keys.openpgp.rfc9580 import (
    CRITICAL,
    HASHES,
    KEY_ID_BYTES,
    USER_ID_FRAME,
    HashAlgorithm,
    SubpacketType,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from paperkey_alt.keys.openpgp.key_packet import KeyPacket

# Version → octets of the count before a subpacket area (RFC 9580 §5.2.3).
COUNT_BYTES = {4: 2, 5: 2, 6: 4}
DIGEST_START_BYTES = 2


@dataclass(frozen=True)
class Claims:
    """
    What a signature packet says of itself, verified or not (RFC 9580 §5.2).

    *issuers* are the key IDs (8 bytes) and fingerprints (20 or 32 bytes) it names; *created* is in
    seconds since 1970; *lifetime* is the Key Expiration Time in seconds after the key's creation, 0
    for never, None where it says nothing of it; *is_temporary* tells whether the signature itself
    expires (Signature Expiration Time, §5.2.3.18).
    """

    kind: int | None
    issuers: frozenset[bytes]
    created: int
    lifetime: int | None
    is_temporary: bool = False


@dataclass(frozen=True)
class Fields:
    """
    The fields of a signature of version 4 to 6 (RFC 9580 §5.2.3): *hashed* is all of its body that
    it signs, from the version to the end of the hashed subpackets; *unhashed* are the subpackets
    that it does not sign, and anyone can alter; *digest_start* the first two octets of the digest;
    *salt* is empty before version 6; *value* is the signature proper, in the fields of its
    algorithm.
    """

    hashed: bytes
    unhashed: bytes
    digest_start: bytes
    salt: bytes
    value: bytes

    @property
    def algorithm(self) -> int:
        """The number of the public-key algorithm."""
        return self.hashed[2]

    @property
    def hash(self) -> int:
        """The number of the hash algorithm."""
        return self.hashed[3]


@dataclass(frozen=True)
class Subpacket:
    """
    A subpacket: its type (*kind*), without the bit that makes it critical, its *content*, and all
    of it as it stands (*raw*).
    """

    kind: int
    content: bytes
    raw: bytes


def parse(body: bytes) -> Claims:
    """
    Return what the *body* of a signature packet says; one that says nothing intelligible has kind
    None and no issuers.
    """
    try:
        return _pull_v3(Buffer(body)) if body[:1] in (b"\2", b"\3") else _pull(Buffer(body))
    except ValueError:
        return Claims(None, frozenset(), 0, None)


def fields(body: bytes) -> Fields:
    """
    Return the fields of the *body* of a signature packet; raises ValueError where it is cut short
    or of a version before 4 or behind 6.
    """
    buffer = Buffer(body)
    count_bytes = _pull_count_bytes(buffer)
    buffer.pull_bytes(3)
    buffer.pull_prefixed(count_bytes)
    hashed = buffer.since(0)
    unhashed = buffer.pull_prefixed(count_bytes)
    digest_start = buffer.pull_bytes(DIGEST_START_BYTES)
    salt = buffer.pull_prefixed(1) if hashed[0] == 6 else b""
    return Fields(hashed, unhashed, digest_start, salt, buffer.pull_rest())


def body(made: Fields) -> bytes:
    """Return the body of the signature packet that has these fields; `fields` cuts it up again."""
    version = made.hashed[0]
    return (
        made.hashed
        + push_prefixed(made.unhashed, COUNT_BYTES[version])
        + made.digest_start
        + (push_prefixed(made.salt, 1) if version == 6 else b"")
        + made.value
    )


def is_made_by(body: bytes, key: KeyPacket, over: bytes) -> bool | None:
    """
    Tell whether *key* made the signature in this *body* of a packet; None where that cannot be told
    here, for the key's algorithm is not known. *over* is as in `digest`.

    A signature by a hash that is not known here, or of another version than the key, is not taken
    for made by it: that is what RFC 9580 §5.2.3 and §9.5 have a reader do.
    """
    from paperkey_alt.keys.openpgp import signing  # noqa: PLC0415 - the ciphers take long to load

    try:
        made = fields(body)
    except ValueError:
        return False
    if made.hashed[0] != key.version or made.algorithm != material.algorithm(key.public):
        return False
    if made.hash not in signing.HASHES_KNOWN:
        return False
    signed = digest(HASHES[made.hash], over, made.hashed, made.salt)
    if not signed.startswith(made.digest_start):
        return False
    try:
        return signing.verify(key.public, made.value, signed, made.hash)
    except UnsupportedKey:
        return None


def digest(algorithm: HashAlgorithm, over: bytes, hashed: bytes, salt: bytes) -> bytes:
    """
    Return the digest that a signature of version 4 or later signs (RFC 9580 §5.2.4).

    *over* is what the signature is made over: a framed key, and a framed user ID or subkey behind
    it; *hashed* and *salt* are those of `Fields`. Raises ValueError where the hash is not available
    here.
    """
    trailer = hashed[:1] + b"\xff" + push_number(len(hashed), 4)
    data = salt + over + hashed + trailer
    return hashlib.new(algorithm.title, data, usedforsecurity=False).digest()


def agrees(body: bytes, over: bytes) -> bool | None:
    """
    Tell whether the two octets of the digest in a signature packet are those of what it signs; None
    where that cannot be told.

    *over* is as in `digest`. It proves nothing against malice, and shows damage to what was signed
    in all but one of 65,536 cases.
    """
    try:
        made = fields(body)
        computed = digest(HASHES[made.hash], over, made.hashed, made.salt)
    except (KeyError, ValueError):
        return None
    return computed.startswith(made.digest_start)


def framed_user_id(body: bytes) -> bytes:
    """Return a user ID as a signature of version 4 or 6 hashes it (RFC 9580 §5.2.4)."""
    lead, width = USER_ID_FRAME
    return push_number(lead, 1) + push_prefixed(body, width)


def _pull_v3(buffer: Buffer) -> Claims:
    """RFC 9580 §5.2.2; behind the version stands the length of what is hashed, which is 5."""
    buffer.pull_bytes(2)
    kind, created = buffer.pull_number(1), buffer.pull_number(4)
    return Claims(kind, frozenset([buffer.pull_bytes(KEY_ID_BYTES)]), created, None)


def _pull(buffer: Buffer) -> Claims:
    """RFC 9580 §5.2.3; what is behind the subpacket areas is not looked at."""
    count_bytes = _pull_count_bytes(buffer)
    kind = buffer.pull_number(1)
    buffer.pull_bytes(2)  # the algorithms
    hashed = list(subpackets(buffer.pull_prefixed(count_bytes)))
    unhashed = list(subpackets(buffer.pull_prefixed(count_bytes)))
    signed = {subpacket.kind: subpacket.content for subpacket in hashed}
    lifetime = signed.get(SubpacketType.KEY_EXPIRATION_TIME)
    return Claims(
        kind=kind,
        issuers=frozenset(_issuers([*hashed, *unhashed])),
        created=int.from_bytes(signed.get(SubpacketType.SIGNATURE_CREATION_TIME, b""), "big"),
        lifetime=None if lifetime is None else int.from_bytes(lifetime[:4], "big"),
        is_temporary=any(signed.get(SubpacketType.SIGNATURE_EXPIRATION_TIME, b"")),
    )


def _pull_count_bytes(buffer: Buffer) -> int:
    version = buffer.pull_number(1)
    if version not in COUNT_BYTES:
        raise ValueError(f"a signature of version {version}")
    return COUNT_BYTES[version]


def subpackets(area: bytes) -> Iterator[Subpacket]:
    """Yield the subpackets of an area (RFC 9580 §5.2.3.7); raises ValueError."""
    buffer = Buffer(area)
    while buffer.left:
        start = buffer.at
        content = buffer.pull_bytes(pull_new_length(buffer))
        kind = Buffer(content).pull_number(1) & ~CRITICAL
        yield Subpacket(kind, content[1:], buffer.since(start))


def issuer(subpacket: Subpacket) -> bytes | None:
    """Return the key ID or fingerprint that a subpacket names as the issuer; None for no such."""
    if subpacket.kind == SubpacketType.ISSUER_KEY_ID:
        return subpacket.content
    if subpacket.kind == SubpacketType.ISSUER_FINGERPRINT:
        return subpacket.content[1:]  # its first octet is the version of the key
    return None


def _issuers(subpackets: Iterable[Subpacket]) -> Iterator[bytes]:
    named = map(issuer, subpackets)
    return (name for name in named if name is not None)
