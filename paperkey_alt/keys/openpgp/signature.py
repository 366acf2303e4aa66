"""
What Ragleaf wants to know of an OpenPGP signature packet: who says to have made it, when, and what
it says of a key's end.

Nothing is verified: this only sorts packets and words a caption. A signature that cannot be
understood has no issuer.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.keys.openpgp import rfc9580

if TYPE_CHECKING:
    from collections.abc import Iterator

DIRECT_KEY = 0x1F
SUBKEY_BINDING = 0x18
CERTIFICATIONS = (0x10, 0x11, 0x12, 0x13)

_CREATION_TIME = 2  # subpacket types: RFC 9580 §5.2.3.7
_KEY_EXPIRATION_TIME = 9
_ISSUER_KEY_ID = 16
_ISSUER_FINGERPRINT = 33

_CRITICAL = 0x80
_COUNT_BYTES = {4: 2, 5: 2, 6: 4}


@dataclass(frozen=True)
class Signature:
    """
    The claims of one signature packet (RFC 9580 §5.2).

    *issuers* are the key IDs (8 bytes) and fingerprints (20 or 32 bytes) it names; *created* is in
    seconds since 1970; *lifetime* is the Key Expiration Time in seconds after the key's creation, 0
    for never, None where it says nothing of it.
    """

    kind: int | None
    issuers: frozenset[bytes]
    created: int
    lifetime: int | None


def parse(body: bytes) -> Signature:
    """
    Return what the *body* of a signature packet says; one that says nothing intelligible has kind
    None and no issuers.
    """
    try:
        if body[0] in (2, 3):
            return Signature(
                body[2],
                frozenset([_exactly(body[7:15], 8)]),
                int.from_bytes(body[3:7], "big"),
                None,
            )
        hashed, unhashed = _areas(body, _COUNT_BYTES[body[0]])
        signed = dict(_subpackets(hashed))
        issuers = frozenset(_issuers([*_subpackets(hashed), *_subpackets(unhashed)]))
    except (IndexError, KeyError, ValueError):
        return Signature(None, frozenset(), 0, None)
    lifetime = signed.get(_KEY_EXPIRATION_TIME)
    return Signature(
        kind=body[1],
        issuers=issuers,
        created=int.from_bytes(signed.get(_CREATION_TIME, b""), "big"),
        lifetime=None if lifetime is None else int.from_bytes(lifetime[:4], "big"),
    )


def agrees(body: bytes, signed: bytes) -> bool | None:
    """
    Tell whether the two octets of the digest in a signature packet are those of what it signs; None
    where that cannot be told.

    *signed* is what is hashed before the signature's own fields (RFC 9580 §5.2.4): a framed key,
    and a framed user ID or subkey behind it. It proves nothing against malice, and shows damage to
    what was signed in all but one of 65,536 cases.
    """
    try:
        version, name = body[0], rfc9580.HASH_NAMES[body[3]]
        width = _COUNT_BYTES[version]
        _, end = _counted(body, 4, width)
        _, at = _counted(body, end, width)
        salt = _exactly(body[at + 3 : at + 3 + body[at + 2]], body[at + 2]) if version == 6 else b""
        trailer = bytes([version, 0xFF]) + end.to_bytes(4, "big")
        digest = hashlib.new(
            name, salt + signed + body[:end] + trailer, usedforsecurity=False
        ).digest()
        return digest[:2] == _exactly(body[at : at + 2], 2)
    except (IndexError, KeyError, ValueError):
        return None


def framed_key(public: bytes) -> bytes:
    """Return the public part of a version 4 or 6 key as a signature hashes it (RFC 9580 §5.2.4)."""
    lead, width = (b"\x99", 2) if public[0] == 4 else (b"\x9b", 4)
    return lead + len(public).to_bytes(width, "big") + public


def framed_user_id(body: bytes) -> bytes:
    """Return a user ID as a signature of version 4 or 6 hashes it (RFC 9580 §5.2.4)."""
    return b"\xb4" + len(body).to_bytes(4, "big") + body


def _areas(body: bytes, count_bytes: int) -> tuple[bytes, bytes]:
    hashed, at = _counted(body, 4, count_bytes)
    unhashed, _ = _counted(body, at, count_bytes)
    return hashed, unhashed


def _counted(data: bytes, at: int, count_bytes: int) -> tuple[bytes, int]:
    start = at + count_bytes
    end = start + int.from_bytes(_exactly(data[at:start], count_bytes), "big")
    return _exactly(data[start:end], end - start), end


def _subpackets(area: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield type and content of each subpacket (RFC 9580 §5.2.3.7)."""
    at = 0
    while at < len(area):
        first = area[at]
        width = 1 if first < 192 else 2 if first < 255 else 5
        field = _exactly(area[at : at + width], width)
        length = (
            first
            if width == 1
            else ((first - 192) << 8) + field[1] + 192
            if width == 2
            else int.from_bytes(field[1:], "big")
        )
        content = _exactly(area[at + width : at + width + length], length)
        yield content[0] & ~_CRITICAL, content[1:]
        at += width + length


def _issuers(subpackets: list[tuple[int, bytes]]) -> Iterator[bytes]:
    for kind, content in subpackets:
        if kind == _ISSUER_KEY_ID:
            yield content
        if kind == _ISSUER_FINGERPRINT:
            yield content[1:]  # its first octet is the version of the key


def _exactly(data: bytes, length: int) -> bytes:
    if len(data) != length:
        raise ValueError("cut short")
    return data
