"""
What the paper carries, as bytes: `pack` and `unpack` (docs/format.md, "Payload").

A payload is one kind byte, the content, and the SHA-256 of both. The digest decides: what does not
agree with it is never handed on. `KINDS` lays out each kind as a table of fields, by which it is
both packed and unpacked.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from typing import Any

from paperkey_alt.errors import DigestMismatch, UnknownFormat
from paperkey_alt.format.buffer import Buffer, push_number
from paperkey_alt.format.fields import (
    Columns,
    Integer,
    Length,
    Measured,
    Number,
    Octets,
    Prefixed,
    Record,
    Rest,
    Table,
    Text,
    ToEnd,
    pull_fields,
    push_fields,
    recipe_of_fields,
)

DIGEST_BYTES = 32
KIND_LEAN = 1
KIND_WHOLE = 2
KIND_COMPACT = 3
KIND_FILE = 4
KIND_RSA_FILE = 5
KIND_REVOCATION = 6
KIND_CERTIFICATE = 7
LONGEST_NAME = 0xFF
FINGERPRINT_BYTES = (20, 32)
CHECK_BYTES = 8
BLIND_BYTES = 16
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
class Reduced:
    """
    One secret reduced to what cannot be computed: *form* (1 to 127) says how *value* (1 to 65,535
    bytes) stands for it, as `paperkey_alt.keys.openpgp.reduction` does.
    """

    form: int
    value: bytes

    def __post_init__(self) -> None:
        if not (0 < self.form <= FORM_MASK and 1 <= len(self.value) <= 0xFFFF):
            raise ValueError("a reduced secret has a form and a value")


@dataclass(frozen=True)
class ReducedPart(Reduced):
    """
    A reduced secret, and what is needed to protect it again to the identical bytes.

    *prefix* (1 to 255 bytes) is the secret part up to its encrypted bytes; *check* is the first 8
    bytes of the SHA-256 of the secret part as it stood; *other_passphrase* tells that the
    passphrase over it is not the one of the seal.
    """

    prefix: bytes
    check: bytes
    other_passphrase: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 1 <= len(self.prefix) <= 0xFF:
            raise ValueError("a reduced part has a prefix of 1 to 255 bytes")
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
    """
    Any file: its *name*, up to 255 bytes in UTF-8, and its bytes; *blind* is 16 random bytes, so
    that what is known of a print does not let its content be guessed.
    """

    name: str
    data: bytes
    blind: bytes

    def __post_init__(self) -> None:
        if len(self.name.encode()) > LONGEST_NAME or not self.data:
            raise ValueError(f"a file has some bytes and a name of at most {LONGEST_NAME}")
        if len(self.blind) != BLIND_BYTES:
            raise ValueError(f"a blind is {BLIND_BYTES} bytes")


@dataclass(frozen=True)
class RsaFile:
    """
    An RSA private-key file by its numbers: *style* (1 to 255) says how they are written, *rule* (2
    or 3, see `paperkey_alt.keys.openpgp.reduction`) how the private exponent follows from
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


@dataclass(frozen=True)
class Certificate:
    """OpenPGP packets of a public certificate, headers included (RFC 9580 §10.1); no secret."""

    packets: bytes

    def __post_init__(self) -> None:
        if not self.packets:
            raise ValueError("a certificate is not empty")


Payload = Lean | Whole | Compact | File | RsaFile | Revocation | Certificate


SECRET_PART = Record(SecretPart, (("fingerprint", Prefixed(1)), ("secret", Prefixed(2))))

# What follows the byte of the form, which says whether the passphrase is another one as well.
REDUCED_PART: Table = (
    ("value", Prefixed(2)),
    ("prefix", Prefixed(1)),
    ("check", Octets(CHECK_BYTES)),
)


# The parts of a lean payload in columns: their number, lengths, fingerprints, secret parts.
LEAN_PARTS = Columns(
    SecretPart,
    1,
    (("secret", Length(2)), ("fingerprint", Prefixed(1)), ("secret", Measured())),
)

# What the fields of a reduced part are called in print.
REDUCED_NAMES = {
    "prefix": "what was before the encrypted bytes (RFC 9580, 5.5.3)",
    "check": "of the SHA-256 of the whole secret",
}


class CompactPart:
    """A part of a compact payload: the byte of its form, and the fields that this form has."""

    def pull(self, buffer: Buffer) -> ReducedPart | SecretPart:
        """Return a SecretPart for form 0, a ReducedPart for any other."""
        form = buffer.pull_number(1)
        if form == FORM_KEPT:
            return SECRET_PART.pull(buffer)
        return ReducedPart(
            form=form & FORM_MASK,
            other_passphrase=bool(form & FORM_OTHER_PASSPHRASE),
            **pull_fields(REDUCED_PART, buffer),
        )

    def push(self, value: ReducedPart | SecretPart) -> bytes:
        """Return *value* behind the byte of its form."""
        if isinstance(value, SecretPart):
            return push_number(FORM_KEPT, 1) + SECRET_PART.push(value)
        flag = FORM_OTHER_PASSPHRASE if value.other_passphrase else 0
        return push_number(value.form | flag, 1) + push_fields(REDUCED_PART, value)

    def recipe(self, name: str) -> str:
        """Return the byte of the form, and the fields of either kind of part."""
        return (
            f"1 byte: form of the {name}; if it is {FORM_KEPT}: "
            f"{SECRET_PART.recipe({})}; if it is any other: "
            f"{recipe_of_fields(REDUCED_PART, REDUCED_NAMES)}"
        )


KINDS: dict[int, Record[Any]] = {
    KIND_LEAN: Record(Lean, (("parts", LEAN_PARTS),)),
    KIND_WHOLE: Record(Whole, (("packets", Rest()),)),
    KIND_COMPACT: Record(Compact, (("parts", ToEnd(CompactPart())),)),
    KIND_FILE: Record(File, (("blind", Octets(BLIND_BYTES)), ("name", Text(1)), ("data", Rest()))),
    KIND_RSA_FILE: Record(
        RsaFile,
        (
            ("name", Text(1)),
            ("style", Number(1)),
            ("rule", Number(1)),
            ("exponent", Integer(1)),
            ("p", Integer(2)),
            ("q", Integer(2)),
        ),
    ),
    KIND_REVOCATION: Record(Revocation, (("fingerprint", Prefixed(1)), ("packet", Rest()))),
    KIND_CERTIFICATE: Record(Certificate, (("packets", Rest()),)),
}
KIND_OF: dict[type[Payload], int] = {record.makes: kind for kind, record in KINDS.items()}


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
            "the digest at the end of the payload does not agree with what is before it"
        )
    return decode(content)


def encode(payload: Payload) -> bytes:
    """Return the payload's kind and content without a digest, for a seal, whose tag is one."""
    kind = KIND_OF[type(payload)]
    return push_number(kind, 1) + KINDS[kind].push(payload)


def decode(content: bytes) -> Payload:
    """
    Return the payload that `encode` made *content*, at least one byte, from; raises UnknownFormat
    for what this version does not know.
    """
    buffer = Buffer(content)
    kind = buffer.pull_number(1)
    if kind not in KINDS:
        raise UnknownFormat(f"this version does not know payload kind {kind}")
    try:
        payload: Payload = KINDS[kind].pull(buffer)
    except ValueError:
        raise _unknown_layout(kind) from None
    if buffer.left:
        raise _unknown_layout(kind)
    return payload


def _unknown_layout(kind: int) -> UnknownFormat:
    return UnknownFormat(f"a payload of kind {kind} is not laid out as this version knows it")
