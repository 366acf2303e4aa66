"""
OpenPGP keys: `read` and `write` a key file, `extract` what goes on paper and `rebuild` the key from
it (RFC 9580 §10.1, §10.2).

Packets are never re-serialised: what this module does not replace it hands on byte for byte. No
signature is verified here; what proves a restored key is its fingerprint, which binds the public
fields, and the payload's digest, which binds the secret ones.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from paperkey_alt.errors import (
    CertificateError,
    DamagedKeyFile,
    NoSuchKey,
    NotASecretKey,
    SeveralKeys,
    TooLarge,
    UnprotectedSecret,
    UnsupportedKey,
)
from paperkey_alt.format.payload import Lean, SecretPart, Whole
from paperkey_alt.keys.openpgp import armor, key_packet, packets, signature
from paperkey_alt.keys.openpgp.armor import ArmorKind
from paperkey_alt.keys.openpgp.key_packet import Secrecy

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime

    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.packets import Packet

SHORTEST_FINGERPRINT_DIGITS = 16
MOST_LISTED = 20
MOST_PARTS = 0xFF
LONGEST_SECRET = 0xFFFF


@dataclass(frozen=True)
class Key:
    """
    A transferable key, public or secret: a primary key packet and the packets that belong to it, as
    they stand in the file.

    Packets that precede the primary key and mean nothing, such as a marker, are kept where they
    stand. ValueError where there is not exactly one primary key packet; the errors of
    `key_packet.parse` where a key packet is none.
    """

    packets: tuple[Packet, ...]

    def __post_init__(self) -> None:
        if [key.is_primary for key in self.key_packets].count(True) != 1 or not self.key_packets[
            0
        ].is_primary:
            raise ValueError("a key has one primary key packet, before its subkeys")

    @cached_property
    def key_packets(self) -> tuple[KeyPacket, ...]:
        """The primary key and its subkeys, in the order of the file."""
        return tuple(
            key_packet.parse(packet) for packet in self.packets if packet.tag in key_packet.TAGS
        )

    @property
    def primary(self) -> KeyPacket:
        """The primary key."""
        return self.key_packets[0]

    @property
    def fingerprint(self) -> bytes:
        """The fingerprint of the primary key."""
        return self.primary.fingerprint

    @property
    def version(self) -> int:
        """The version of the primary key."""
        return self.primary.version

    @property
    def created(self) -> datetime:
        """The creation time of the primary key, UTC."""
        return self.primary.created

    @property
    def user_ids(self) -> tuple[str, ...]:
        """The user IDs; what is not UTF-8 or would move a terminal's cursor is shown as U+FFFD."""
        return tuple(
            _printable(packet.body) for packet in self.packets if packet.tag == packets.USER_ID
        )

    @property
    def title(self) -> str:
        """How a message names this key: its fingerprint and its first user ID."""
        return f"{self.fingerprint.hex().upper()} {next(iter(self.user_ids), '(no user ID)')}"

    @property
    def secret_packets(self) -> tuple[KeyPacket, ...]:
        """The key packets that have their secret in them."""
        return tuple(key for key in self.key_packets if key.has_secret)

    @property
    def protected(self) -> bool:
        """Whether a passphrase protects every secret in the file."""
        return not any(key.secrecy is Secrecy.UNPROTECTED for key in self.key_packets)

    @property
    def expires(self) -> datetime | None:
        """
        When the primary key expires by the latest word of its own signatures, which are not
        verified; None for never.

        A direct-key signature counts before the certifications of user IDs (RFC 9580 §5.2.3.10).
        """
        mine = [
            made
            for made in map(signature.parse, self._signature_bodies())
            if made.issuers & _names([self.primary])
        ]
        for kinds in ((signature.DIRECT_KEY,), signature.CERTIFICATIONS):
            latest = max(
                (made for made in mine if made.kind in kinds),
                key=lambda made: made.created,
                default=None,
            )
            if latest and latest.lifetime is not None:
                return (
                    self.created + timedelta(seconds=latest.lifetime) if latest.lifetime else None
                )
        return None

    def _signature_bodies(self) -> Iterator[bytes]:
        return (packet.body for packet in self.packets if packet.tag == packets.SIGNATURE)


@dataclass(frozen=True)
class Extract:
    """What goes on paper, and what of the file does not, each in words."""

    payload: Lean | Whole
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class Rebuilt:
    """
    A restored key, as bytes in binary form and as packets, and in a sentence each what it has no
    secret of.
    """

    data: bytes
    key: Key
    left_out: tuple[str, ...]


def read(data: bytes) -> tuple[Key, ...]:
    """
    Return the transferable keys, public and secret, of a key file, armored or binary; at least one.

    Raises NotASecretKey where the file is something else, DamagedKeyFile, UnsupportedKey.
    """
    data = _ascii(data)
    if not data.strip():
        raise DamagedKeyFile("the file is empty")
    if not _ARMOR.search(data):
        _require_keys(data)
        return _keys(data)
    blocks = armor.dearmor(data)
    keys = [
        block for block in blocks if block.kind in (ArmorKind.PUBLIC_KEY, ArmorKind.PRIVATE_KEY)
    ]
    if not keys:
        raise NotASecretKey(
            f"the file holds {_NOT_KEYS[blocks[0].kind] if blocks else 'a signed message'}, not "
            "a key"
        )
    for block in keys:
        _require_keys(block.data)
    return tuple(key for block in keys for key in _keys(block.data))


def write(key: Key, *, armored: bool) -> bytes:
    """
    Return the key as a key file; armored with a checksum for version 4, without for version 6 (RFC
    9580 §6.1).
    """
    data = packets.join(key.packets)
    if not armored:
        return data
    is_secret = any(packet.tag in key_packet.SECRET_TAGS for packet in key.packets)
    kind = ArmorKind.PRIVATE_KEY if is_secret else ArmorKind.PUBLIC_KEY
    return armor.armor(data, kind=kind, checksum=key.version < 6).encode("ascii")


def choose(keys: Sequence[Key], fingerprint: str | None) -> Key:
    """
    Return the one key, or the one that *fingerprint* names.

    *fingerprint* is hexadecimal in either case, with or without blanks, colons and a leading 0x:
    whole, its last 16 digits or more, or the key ID. Of a public and a secret copy of one key the
    secret one is meant. Raises NoSuchKey or SeveralKeys, with a list.
    """
    found = keys if fingerprint is None else _named(keys, fingerprint)
    copies: dict[bytes, list[Key]] = {}
    for key in found:
        copies.setdefault(key.fingerprint, []).append(key)
    if len(copies) > 1:
        raise SeveralKeys(f"the file has {len(copies)} keys: {_listed(found)}")
    return _one_copy(found)


def extract(key: Key, *, whole: bool = False, allow_unprotected: bool = False) -> Extract:
    """
    Return what of *key* goes on paper: its secret parts, or with *whole* all packets but other
    people's.

    Raises NotASecretKey where the file has no secret, UnsupportedKey for versions other than 4 and
    6, UnprotectedSecret where a secret has no passphrase over it and *allow_unprotected* is not
    set, TooLarge for what no lean payload holds.
    """
    _require_secret(key)
    _require_supported(key)
    bare = [part.title for part in key.secret_packets if part.secrecy is Secrecy.UNPROTECTED]
    if bare and not allow_unprotected:
        raise UnprotectedSecret(
            f"no passphrase protects the {' and the '.join(bare)}: who finds the sheet has the key"
        )
    _require_agreement(key)
    without = [
        _WITHOUT_SECRET[part.secrecy].format(part.title)
        for part in key.key_packets
        if not part.has_secret
    ]
    if whole:
        kept, others = _own(key)
        return Extract(Whole(packets.join(kept)), (*without, *others))
    return Extract(Lean(tuple(_parts(key))), tuple(without))


def rebuild(payload: Lean | Whole, certificate: Key | None) -> Rebuilt:
    """
    Return the key that *payload* was extracted from.

    A lean payload needs the *certificate*, as it was or newer; a secret key file serves for its
    public fields. Each part goes into the key packet with its fingerprint, everything else of the
    certificate stays as it stands. A whole payload needs none. Raises CertificateError where a part
    finds no packet: there is no half a key.
    """
    if isinstance(payload, Whole):
        return _rebuild_whole(payload.packets)
    return _rebuild_lean({part.fingerprint: part.secret for part in payload.parts}, certificate)


# What a file is.

_ARMOR = re.compile(rb"(?m)^[ \t]*-----BEGIN PGP [A-Z, /0-9]+-----")
_PEM = re.compile(rb"(?m)^[ \t]*-----BEGIN [A-Z0-9 ]+-----|^(ssh|ecdsa|sk)-[a-z0-9@.-]+ AAAA")
_NOT_KEYS = {ArmorKind.MESSAGE: "a message", ArmorKind.SIGNATURE: "a signature"}
_KEYS_BEGIN = (*key_packet.PRIMARY_TAGS, packets.MARKER, packets.PADDING)
_OTHERS_BEGIN = {
    1: "an encrypted message",
    packets.SIGNATURE: "a signature without the key it belongs to",
    3: "an encrypted message",
    4: "a signed message",
    packets.SECRET_SUBKEY: "a subkey without its primary key",
    8: "compressed OpenPGP data",
    9: "an encrypted message",
    11: "a message",
    packets.USER_ID: "a user ID without the key it belongs to",
    packets.PUBLIC_SUBKEY: "a subkey without its primary key",
    packets.USER_ATTRIBUTE: "a picture without the key it belongs to",
    18: "an encrypted message",
    20: "an encrypted message",
}
_COMPRESSED = (b"\x1f\x8b", b"PK\3\4", b"BZh", b"\xfd7zXZ\0", b"\x28\xb5\x2f\xfd", b"7z\xbc\xaf")
_BYTE_ORDER_MARKS = {
    codecs.BOM_UTF8: "utf-8",
    codecs.BOM_UTF16_LE: "utf-16-le",
    codecs.BOM_UTF16_BE: "utf-16-be",
}


def _ascii(data: bytes) -> bytes:
    """
    Return a text file with a byte order mark without it, in one byte a character; any other file as
    it is.
    """
    for mark, encoding in _BYTE_ORDER_MARKS.items():
        if data.startswith(mark):
            return data[len(mark) :].decode(encoding, "replace").encode("ascii", "replace")
    return data


def _require_keys(data: bytes) -> None:
    """Raise what fits where *data*, out of its armor, does not begin as a key does."""
    if data.startswith(_COMPRESSED):
        raise NotASecretKey(
            "the file is compressed", advice="Unpack it first and give the key file that is in it."
        )
    if _PEM.search(data):
        raise NotASecretKey(
            "the file holds a PEM or SSH key, which is not OpenPGP",
            advice="Give an OpenPGP key file.",
        )
    first = data[0] if data else 0
    tag = first & 0x3F if first & 0x40 else first >> 2 & 0x0F
    if not first & 0x80 or (tag not in _KEYS_BEGIN and tag not in _OTHERS_BEGIN):
        raise DamagedKeyFile(
            "the file is no OpenPGP file: it begins neither with armor nor with a packet of a key"
        )
    if tag not in _KEYS_BEGIN:
        raise NotASecretKey(f"the file holds {_OTHERS_BEGIN[tag]}, not a key")


def _keys(data: bytes) -> tuple[Key, ...]:
    """Return the keys of binary *data*, each from its primary key packet to the next."""
    found = packets.split(data)
    starts = [at for at, packet in enumerate(found) if packet.tag in key_packet.PRIMARY_TAGS]
    if not starts:
        raise NotASecretKey("the file holds no key")
    starts[0] = 0
    return tuple(
        Key(found[start:end]) for start, end in zip(starts, [*starts[1:], len(found)], strict=True)
    )


def _printable(body: bytes) -> str:
    return "".join(
        character if character.isprintable() else "\ufffd"
        for character in body.decode("utf-8", "replace")
    )


# Which key.


def _named(keys: Sequence[Key], fingerprint: str) -> list[Key]:
    digits = re.sub(r"[\s:]", "", fingerprint).lower().removeprefix("0x")
    if not re.fullmatch(rf"[0-9a-f]{{{SHORTEST_FINGERPRINT_DIGITS},}}", digits):
        raise NoSuchKey(
            f"{fingerprint!r} is no fingerprint",
            advice=f"Give the hexadecimal digits of the fingerprint, at least the last {SHORTEST_FINGERPRINT_DIGITS}.",
        )
    found = [
        key
        for key in keys
        if key.fingerprint.hex().endswith(digits) or key.primary.key_id.hex() == digits
    ]
    if not found:
        raise NoSuchKey(f"the file has no key {fingerprint.strip()}; it has {_listed(keys)}")
    return found


def _listed(keys: Iterable[Key]) -> str:
    titles = list(dict.fromkeys(key.title for key in keys))
    more = [f"and {len(titles) - MOST_LISTED} more"] if len(titles) > MOST_LISTED else []
    return "; ".join([*titles[:MOST_LISTED], *more])


def _one_copy(copies: Sequence[Key]) -> Key:
    preferred = [key for key in copies if key.secret_packets] or copies
    distinct = list(dict.fromkeys(preferred))
    if len(distinct) > 1:
        raise SeveralKeys(
            f"the file has {len(distinct)} different copies of the key {distinct[0].title}",
            advice="Give a file with one of them.",
        )
    return distinct[0]


# Onto paper.

_WITHOUT_SECRET = {
    Secrecy.STUB: "the secret of the {}: the file has a stub in its place, the secret is kept elsewhere, on a card or offline",
    Secrecy.PUBLIC: "the secret of the {}: the file has only its public part",
}


def _require_secret(key: Key) -> None:
    if key.secret_packets:
        return
    if any(part.secrecy is Secrecy.STUB for part in key.key_packets):
        raise NotASecretKey(
            f"every secret of the key {key.title} is kept elsewhere, on a card or offline; the "
            "file has stubs in their place",
            advice="Give the key file that has the secrets; what is only on a card cannot be printed.",
        )
    raise NotASecretKey(f"the file holds the public certificate of {key.title}, not the secret key")


def _require_supported(key: Key) -> None:
    strange = [
        part for part in key.key_packets if part.version not in key_packet.SUPPORTED_VERSIONS
    ]
    if strange:
        raise UnsupportedKey(
            f"the {strange[0].title} is of version {strange[0].version}; Ragleaf prints keys of "
            "version 4 and 6"
        )


def _require_agreement(key: Key) -> None:
    """
    Raise DamagedKeyFile where no signature agrees with the public part of a key packet that has its
    secret here.

    Its fingerprint would be another one than that of the certificate, and the sheets of no use. A
    key packet without a signature that could be computed has no witness, and passes.
    """
    witnesses = _witnesses(key)
    for part in key.secret_packets:
        told = witnesses.get(part.fingerprint, [])
        if told and not any(told):
            raise DamagedKeyFile(
                f"the public part of the {part.title} does not agree with any signature in the file"
            )


def _witnesses(key: Key) -> dict[bytes, list[bool]]:
    """Return for each key packet, by fingerprint, which of the signatures over it agree with it."""
    primary, subject, signed = key.primary, key.primary, b""
    told: dict[bytes, list[bool]] = {}
    for packet in key.packets:
        if packet.tag in key_packet.TAGS:
            subject = next(part for part in key.key_packets if part.packet is packet)
            signed = b"" if subject is primary else signature.framed_key(subject.public)
        elif packet.tag == packets.USER_ID:
            signed = signature.framed_user_id(packet.body)
        elif packet.tag == packets.SIGNATURE and packet.body[1:2] and packet.body[1] in _OVER_KEYS:
            agrees = signature.agrees(packet.body, signature.framed_key(primary.public) + signed)
            if agrees is not None:
                told.setdefault(subject.fingerprint, []).append(agrees)
                told.setdefault(primary.fingerprint, []).append(agrees)
        else:
            signed = signed if packet.tag in (packets.SIGNATURE, packets.TRUST) else b""
    return told


_OVER_KEYS = (signature.DIRECT_KEY, signature.SUBKEY_BINDING, *signature.CERTIFICATIONS)


def _parts(key: Key) -> Iterator[SecretPart]:
    if len(key.secret_packets) > MOST_PARTS:
        raise TooLarge(
            f"the key has {len(key.secret_packets)} secret parts; a sheet set takes {MOST_PARTS}"
        )
    for part in key.secret_packets:
        if len(part.secret) > LONGEST_SECRET:
            raise TooLarge(
                f"the secret of the {part.title} has {len(part.secret)} bytes; a sheet set takes "
                f"{LONGEST_SECRET}"
            )
        yield SecretPart(part.fingerprint, part.secret)


def _own(key: Key) -> tuple[list[Packet], list[str]]:
    """
    Return the packets that are the key's own, and in words what the others are. A signature that
    names no issuer is kept.
    """
    mine = _names(key.key_packets)
    kept: list[Packet] = []
    others: Counter[str] = Counter()
    of_attribute = False
    for packet in key.packets:
        if packet.tag == packets.SIGNATURE:
            issuers = signature.parse(packet.body).issuers
            reason = (
                "signature on a picture"
                if of_attribute
                else "signature by another key"
                if issuers and not issuers & mine
                else None
            )
        else:
            of_attribute = packet.tag == packets.USER_ATTRIBUTE
            reason = None if packet.tag in (*key_packet.TAGS, packets.USER_ID) else packet.name
        if reason is None:
            kept.append(packet)
        else:
            others[reason] += 1
    return kept, [f"{count} × {reason}" for reason, count in others.items()]


def _names(keys: Iterable[KeyPacket]) -> frozenset[bytes]:
    return frozenset(name for key in keys for name in (key.fingerprint, key.key_id))


# And back.

_TO_SECRET = {
    packets.PUBLIC_KEY: packets.SECRET_KEY,
    packets.PUBLIC_SUBKEY: packets.SECRET_SUBKEY,
    packets.SECRET_KEY: packets.SECRET_KEY,
    packets.SECRET_SUBKEY: packets.SECRET_SUBKEY,
}

# A key packet for which there is no secret becomes a stub: in a trial with two independent OpenPGP
# libraries both load it and use the packets beside it, with usage 255 in version 4 and with usage
# 254 and its two counts in version 6; a public packet among secret ones makes one of them refuse
# the whole key.
_STUB_S2K = (
    bytes([key_packet.STUB_S2K, 0]) + key_packet.STUB_MARK + bytes([key_packet.STUB_ELSEWHERE])
)
_STUBS = {
    4: bytes([255, 0]) + _STUB_S2K,
    6: bytes([254, 2 + len(_STUB_S2K), 0, len(_STUB_S2K)]) + _STUB_S2K,
}


def _rebuild_whole(data: bytes) -> Rebuilt:
    key = choose(read(data), None)
    _require_secret(key)
    return Rebuilt(data, key, tuple(_came_without(key)))


def _rebuild_lean(secrets: dict[bytes, bytes], certificate: Key | None) -> Rebuilt:
    if certificate is None:
        raise CertificateError(
            "the paper carries the secret part alone: the public certificate is needed to "
            "rebuild the key"
        )
    _require_belongs(secrets, certificate)
    key = Key(tuple(_with_secret(packet, secrets) for packet in certificate.packets))
    _require_whole(secrets, key, certificate)
    return Rebuilt(packets.join(key.packets), key, tuple(_came_without(key)))


def _require_belongs(secrets: dict[bytes, bytes], certificate: Key) -> None:
    known = {key.fingerprint for key in certificate.key_packets}
    missing = [fingerprint for fingerprint in secrets if fingerprint not in known]
    if len(missing) == len(secrets):
        raise CertificateError(
            f"the paper is for the key {missing[0].hex().upper()}, and the certificate is of "
            f"{certificate.title}"
        )
    if missing:
        raise CertificateError(
            f"the certificate of {certificate.title} lacks what the paper has a secret for: "
            + ", ".join(fingerprint.hex().upper() for fingerprint in missing),
            advice="Give the certificate as it was when the sheets were printed, or a newer one with all its subkeys.",
        )


def _require_whole(secrets: dict[bytes, bytes], key: Key, certificate: Key) -> None:
    """
    Read the rebuilt key as any program will: the secrets must be in it, each under its fingerprint.
    """
    if {part.fingerprint: part.secret for part in key.secret_packets} != secrets:
        raise CertificateError(
            f"the key packets of the certificate of {certificate.title} and the secrets do not "
            "fit together"
        )


def _with_secret(packet: Packet, secrets: dict[bytes, bytes]) -> Packet:
    if packet.tag not in key_packet.TAGS:
        return packet
    key = key_packet.parse(packet)
    secret = secrets.get(key.fingerprint, _STUBS.get(key.version) if key.is_divisible else None)
    if secret is None:
        return packet
    return packets.with_body(_TO_SECRET[packet.tag], key.public + secret, like=packet)


def _came_without(key: Key) -> Iterator[str]:
    return (
        f"The {part.title} came back without its secret: the paper has none of it, a stub stands "
        "in its place."
        for part in key.key_packets
        if not part.has_secret
    )
