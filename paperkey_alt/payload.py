"""
What the paper carries, as bytes: `pack` and `unpack`.

A payload is one kind byte, the content, and the SHA-256 of both (docs/format.md, "Payload"). The digest decides: what does not
agree with it is never handed on. All numbers are big-endian.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass

from paperkey_alt.errors import DigestMismatch, UnknownFormat

DIGEST_BYTES = 32
KIND_LEAN = 1
KIND_WHOLE = 2
FINGERPRINT_BYTES = (20, 32)


@dataclass(frozen=True)
class SecretPart:
    """
    The secret part of one OpenPGP secret-key packet, as it stands in the packet.

    *fingerprint* is 20 bytes for a version 4 key, 32 for version 6 (RFC 9580 §5.5.4); *secret* is everything in the packet body
    behind the public fields, from the S2K usage octet on (§5.5.3), 1 to 65,535 bytes.
    """

    fingerprint: bytes
    secret: bytes

    def __post_init__(self) -> None:
        if len(self.fingerprint) not in FINGERPRINT_BYTES:
            raise ValueError("a fingerprint is 20 or 32 bytes")
        if not 1 <= len(self.secret) <= 0xFFFF:
            raise ValueError("a secret part is 1 to 65535 bytes")


@dataclass(frozen=True)
class Lean:
    """Only the secret parts, 1 to 255 of them; the public certificate is needed to restore."""

    parts: tuple[SecretPart, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.parts) <= 0xFF:
            raise ValueError("a lean payload has 1 to 255 parts")


@dataclass(frozen=True)
class Whole:
    """OpenPGP packets as they stand, headers included; nothing else is needed to restore."""

    packets: bytes

    def __post_init__(self) -> None:
        if not self.packets:
            raise ValueError("a whole payload is not empty")


Payload = Lean | Whole


def pack(payload: Payload) -> bytes:
    """Return the payload as bytes, its digest last."""
    match payload:
        case Lean(parts):
            content = bytes([KIND_LEAN, len(parts)]) + b"".join(map(_pack_part, parts))
        case Whole(packets):
            content = bytes([KIND_WHOLE]) + packets
    return content + hashlib.sha256(content).digest()


def unpack(data: bytes) -> Payload:
    """
    Return the payload that `pack` made *data* from.

    Raises DigestMismatch where the digest does not agree, UnknownFormat for a kind or layout this version does not know.
    """
    content, digest = data[:-DIGEST_BYTES], data[-DIGEST_BYTES:]
    if not content or not hmac.compare_digest(hashlib.sha256(content).digest(), digest):
        raise DigestMismatch("the digest at the end of the payload does not agree with what stands before it")
    kind, rest = content[0], content[1:]
    try:
        if kind == KIND_LEAN:
            return Lean(_unpack_parts(rest))
        if kind == KIND_WHOLE:
            return Whole(rest)
    except (ValueError, IndexError):
        raise UnknownFormat(f"a payload of kind {kind} is not laid out as this version knows it") from None
    raise UnknownFormat(f"payload kind {kind} is not known to this version")


def _pack_part(part: SecretPart) -> bytes:
    return (
        bytes([len(part.fingerprint)])
        + part.fingerprint
        + len(part.secret).to_bytes(2, "big")
        + part.secret
    )  # fmt: skip


def _unpack_parts(data: bytes) -> tuple[SecretPart, ...]:
    count, at = data[0], 1
    parts = []
    for _ in range(count):
        fingerprint, at = _take(data, at + 1, data[at])
        length, at = _take(data, at, 2)
        secret, at = _take(data, at, int.from_bytes(length, "big"))
        parts.append(SecretPart(fingerprint, secret))
    if at != len(data):
        raise ValueError("bytes behind the last part")
    return tuple(parts)


def _take(data: bytes, at: int, length: int) -> tuple[bytes, int]:
    if at + length > len(data):
        raise ValueError("a part reaches past the end")
    return data[at : at + length], at + length
