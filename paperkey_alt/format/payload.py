"""
What the paper carries, as bytes: `pack` and `unpack`.

A payload is one kind byte, the content, and the SHA-256 of both (docs/format.md, "Payload"). The
digest decides: what does not agree with it is never handed on. All numbers are big-endian.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import DigestMismatch, UnknownFormat

if TYPE_CHECKING:
    from collections.abc import Callable

DIGEST_BYTES = 32
KIND_LEAN = 1
KIND_WHOLE = 2
KIND_COMPACT = 3
KIND_FILE = 4
KIND_RSA_FILE = 5
KIND_REVOCATION = 6
LONGEST_NAME = 0xFF
FINGERPRINT_BYTES = (20, 32)
CHECK_BYTES = 8
FORM_KEPT = 0
FORM_OTHER_PASSPHRASE = 0x80
FORM_MASK = 0x7F


@dataclass(frozen=True)
class SecretPart:
    """
    The secret part of one OpenPGP secret-key packet, as it stands in the packet.

    *fingerprint* is 20 bytes for a version 4 key, 32 for version 6 (RFC 9580 §5.5.4); *secret* is
    everything in the packet body behind the public fields, from the S2K usage octet on (§5.5.3), 1
    to 65,535 bytes.
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


@dataclass(frozen=True)
class ReducedPart:
    """
    One secret reduced to what cannot be computed, and what is needed to protect it again to the
    identical bytes.

    *form* (1 to 127) and *value* (1 to 65,535 bytes) are those of
    `paperkey_alt.keys.openpgp.key_file.reduction`; *prefix* (1 to 255 bytes) is the secret part up
    to its encrypted bytes; *check* is the first 8 bytes of the SHA-256 of the whole secret part;
    *other_passphrase* tells that the passphrase over it is not the one of the seal.
    """

    form: int
    value: bytes
    prefix: bytes
    check: bytes
    other_passphrase: bool = False

    def __post_init__(self) -> None:
        if not (
            0 < self.form <= FORM_MASK
            and 1 <= len(self.value) <= 0xFFFF
            and 1 <= len(self.prefix) <= 0xFF
        ):
            raise ValueError("a reduced part has a form, a value and a prefix")
        if len(self.check) != CHECK_BYTES:
            raise ValueError(f"the check of a reduced part is {CHECK_BYTES} bytes")


@dataclass(frozen=True)
class Compact:
    """
    Secrets reduced to what cannot be computed; a SecretPart where one could not be reduced. Not to
    be printed unsealed.
    """

    parts: tuple[ReducedPart | SecretPart, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("a compact payload is not empty")


@dataclass(frozen=True)
class File:
    """Any file: its *name*, up to 255 bytes in UTF-8, and its bytes."""

    name: str
    data: bytes

    def __post_init__(self) -> None:
        if len(self.name.encode()) > LONGEST_NAME or not self.data:
            raise ValueError(f"a file has some bytes and a name of at most {LONGEST_NAME}")


@dataclass(frozen=True)
class RsaFile:
    """
    An RSA private-key file by its numbers: *style* (1 to 255) says how they are written, *rule* (2
    or 3, see `paperkey_alt.keys.openpgp.key_file.reduction`) how the private exponent follows from
    the public *exponent* and the primes *p* and *q*.
    """

    name: str
    style: int
    rule: int
    exponent: int
    p: int
    q: int

    def __post_init__(self) -> None:
        if len(self.name.encode()) > LONGEST_NAME or not (
            1 <= self.style <= 0xFF and 1 <= self.rule <= 0xFF
        ):
            raise ValueError("a name, a style and a rule of one byte each")
        if not (
            self.exponent > 0
            and self.exponent.bit_length() <= 8 * 0xFF
            and self.p > 0
            and self.q > 0
        ):
            raise ValueError("the numbers of a key are positive")


@dataclass(frozen=True)
class Revocation:
    """
    A revocation of the OpenPGP key with *fingerprint*: one signature *packet* with its header (RFC
    9580 §5.2).
    """

    fingerprint: bytes
    packet: bytes

    def __post_init__(self) -> None:
        if len(self.fingerprint) not in FINGERPRINT_BYTES or not self.packet:
            raise ValueError("a revocation has a fingerprint of 20 or 32 bytes and a packet")


Payload = Lean | Whole | Compact | File | RsaFile | Revocation


def pack(payload: Payload) -> bytes:
    """Return the payload as bytes, its digest last."""
    content = encode(payload)
    return content + hashlib.sha256(content).digest()


def unpack(data: bytes) -> Payload:
    """
    Return the payload that `pack` made *data* from.

    Raises DigestMismatch where the digest does not agree, UnknownFormat for a kind or layout this
    version does not know.
    """
    content, digest = data[:-DIGEST_BYTES], data[-DIGEST_BYTES:]
    if not content or not hmac.compare_digest(hashlib.sha256(content).digest(), digest):
        raise DigestMismatch(
            "the digest at the end of the payload does not agree with what stands before it"
        )
    return decode(content)


def encode(payload: Payload) -> bytes:
    """Return the payload's kind and content without a digest, for a seal, whose tag is one."""
    match payload:
        case Lean(parts):
            return bytes([KIND_LEAN, len(parts)]) + b"".join(map(_pack_part, parts))
        case Whole(packets):
            return bytes([KIND_WHOLE]) + packets
        case Compact(reduced):
            return bytes([KIND_COMPACT]) + b"".join(map(_pack_compact, reduced))
        case File(name, data):
            return bytes([KIND_FILE]) + _short(name.encode()) + data
        case Revocation(fingerprint, packet):
            return bytes([KIND_REVOCATION]) + _short(fingerprint) + packet
        case RsaFile(name, style, rule, exponent, p, q):
            numbers = _short(_bytes(exponent)) + _long(_bytes(p)) + _long(_bytes(q))
            return bytes([KIND_RSA_FILE]) + _short(name.encode()) + bytes([style, rule]) + numbers


def decode(content: bytes) -> Payload:
    """
    Return the payload that `encode` made *content* from; raises UnknownFormat for what this version
    does not know.
    """
    kind, rest = content[0], content[1:]
    if kind not in _UNPACK:
        raise UnknownFormat(f"payload kind {kind} is not known to this version")
    try:
        return _UNPACK[kind](rest)
    except (ValueError, IndexError):
        raise UnknownFormat(
            f"a payload of kind {kind} is not laid out as this version knows it"
        ) from None


def _pack_part(part: SecretPart) -> bytes:
    return _short(part.fingerprint) + _long(part.secret)


def _unpack_parts(data: bytes) -> tuple[SecretPart, ...]:
    count, at = data[0], 1
    parts = []
    for _ in range(count):
        fingerprint, at = _take(data, at, 1)
        secret, at = _take(data, at, 2)
        parts.append(SecretPart(fingerprint, secret))
    if at != len(data):
        raise ValueError("bytes behind the last part")
    return tuple(parts)


def _pack_compact(part: ReducedPart | SecretPart) -> bytes:
    if isinstance(part, SecretPart):
        return bytes([FORM_KEPT]) + _pack_part(part)
    form = part.form | (FORM_OTHER_PASSPHRASE if part.other_passphrase else 0)
    return bytes([form]) + _long(part.value) + _short(part.prefix) + part.check


def _unpack_compact(data: bytes) -> tuple[ReducedPart | SecretPart, ...]:
    parts: list[ReducedPart | SecretPart] = []
    at = 0
    while at < len(data):
        form = data[at]
        if form == FORM_KEPT:
            fingerprint, at = _take(data, at + 1, 1)
            secret, at = _take(data, at, 2)
            parts.append(SecretPart(fingerprint, secret))
            continue
        value, at = _take(data, at + 1, 2)
        prefix, at = _take(data, at, 1)
        check, at = data[at : at + CHECK_BYTES], at + CHECK_BYTES
        parts.append(
            ReducedPart(form & FORM_MASK, value, prefix, check, bool(form & FORM_OTHER_PASSPHRASE))
        )
    return tuple(parts)


def _unpack_file(data: bytes) -> File:
    name, at = _take(data, 0, 1)
    return File(name.decode(), data[at:])


def _unpack_revocation(data: bytes) -> Revocation:
    fingerprint, at = _take(data, 0, 1)
    return Revocation(fingerprint, data[at:])


def _unpack_rsa_file(data: bytes) -> RsaFile:
    name, at = _take(data, 0, 1)
    style, rule = data[at], data[at + 1]
    exponent, at = _take(data, at + 2, 1)
    p, at = _take(data, at, 2)
    q, at = _take(data, at, 2)
    if at != len(data):
        raise ValueError("bytes behind the last number")
    return RsaFile(
        name.decode(), style, rule, *(int.from_bytes(number, "big") for number in (exponent, p, q))
    )


def _bytes(number: int) -> bytes:
    return number.to_bytes((number.bit_length() + 7) // 8, "big")


def _short(data: bytes) -> bytes:
    return bytes([len(data)]) + data


def _long(data: bytes) -> bytes:
    return len(data).to_bytes(2, "big") + data


def _take(data: bytes, at: int, width: int) -> tuple[bytes, int]:
    """Return the bytes behind a length of *width* bytes at *at*, and the place behind them."""
    start = at + width
    end = start + int.from_bytes(data[at:start], "big")
    if end > len(data):
        raise ValueError("a part reaches past the end")
    return data[start:end], end


_UNPACK: dict[int, Callable[[bytes], Payload]] = {
    KIND_LEAN: lambda data: Lean(_unpack_parts(data)),
    KIND_WHOLE: Whole,
    KIND_COMPACT: lambda data: Compact(_unpack_compact(data)),
    KIND_FILE: _unpack_file,
    KIND_RSA_FILE: _unpack_rsa_file,
    KIND_REVOCATION: _unpack_revocation,
}
