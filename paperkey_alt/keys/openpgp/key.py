"""A transferable key, public or secret, as the packets of a file (RFC 9580 §10.1, §10.2)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from paperkey_alt.keys.openpgp import key_packet, signature
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.rfc9580 import (
    CERTIFICATIONS,
    KEY_TYPES,
    PacketType,
    SignatureType,
)

if TYPE_CHECKING:
    from datetime import datetime

    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.packets import Packet


@dataclass(frozen=True)
class Key:
    """
    A transferable key: a primary key packet and the packets that belong to it, as they stand in the
    file.

    Packets that precede the primary key and mean nothing, such as a marker, are kept where they
    stand. ValueError where there is not exactly one primary key packet; the errors of
    `key_packet.parse` where a key packet is none.
    """

    packets: tuple[Packet, ...]

    def __post_init__(self) -> None:
        are_primary = [packet.is_primary for packet in self.key_packets]
        if are_primary[:1] != [True] or any(are_primary[1:]):
            raise ValueError("a key has one primary key packet, before its subkeys")

    @cached_property
    def key_packets(self) -> tuple[KeyPacket, ...]:
        """The primary key and its subkeys, in the order of the file."""
        return tuple(key_packet.parse(packet) for packet in self.packets if packet.tag in KEY_TYPES)

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
            _printable(packet.body) for packet in self.packets if packet.tag == PacketType.USER_ID
        )

    @property
    def title(self) -> str:
        """How a message names this key: its fingerprint and its first user ID."""
        return f"{self.fingerprint.hex().upper()} {next(iter(self.user_ids), '(no user ID)')}"

    @property
    def secret_packets(self) -> tuple[KeyPacket, ...]:
        """The key packets that have their secret in them."""
        return tuple(packet for packet in self.key_packets if packet.has_secret)

    @property
    def stubs(self) -> tuple[KeyPacket, ...]:
        """The secret key packets with a stub in place of the secret."""
        return tuple(packet for packet in self.key_packets if packet.secrecy is Secrecy.STUB)

    @property
    def without_secret(self) -> tuple[KeyPacket, ...]:
        """The key packets that do not: public ones, and those with a stub."""
        return tuple(packet for packet in self.key_packets if not packet.has_secret)

    @property
    def protected_packets(self) -> tuple[KeyPacket, ...]:
        """The key packets over whose secret a passphrase is."""
        return tuple(packet for packet in self.key_packets if packet.secrecy is Secrecy.PROTECTED)

    @property
    def protected(self) -> bool:
        """Whether a passphrase protects every secret in the file."""
        return not any(packet.secrecy is Secrecy.UNPROTECTED for packet in self.key_packets)

    @property
    def expires(self) -> datetime | None:
        """
        When the primary key expires by the latest word of its own signatures, which are not
        verified; None for never.

        A direct-key signature counts before the certifications of user IDs (RFC 9580 §5.2.3.10).
        """
        claims = [
            signature.parse(packet.body)
            for packet in self.packets
            if packet.tag == PacketType.SIGNATURE
        ]
        for kinds in ((SignatureType.DIRECT_KEY,), CERTIFICATIONS):
            own = [
                claim
                for claim in claims
                if claim.kind in kinds and claim.issuers & self.primary.names
            ]
            latest = max(own, key=lambda claim: claim.created, default=None)
            if latest and latest.lifetime is not None:
                lifetime = timedelta(seconds=latest.lifetime)
                return self.created + lifetime if lifetime else None
        return None


def _printable(body: bytes) -> str:
    return "".join(
        character if character.isprintable() else "\ufffd"
        for character in body.decode("utf-8", "replace")
    )
