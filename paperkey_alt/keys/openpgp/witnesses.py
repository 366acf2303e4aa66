"""
Damage to the public fields of a key, which have no checksum: its own signatures are witnesses
against it.

Nothing is verified here: two octets of a signature's digest are compared (RFC 9580 §5.2.4).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile
from paperkey_alt.keys.openpgp import key_packet, signature
from paperkey_alt.keys.openpgp.rfc9580 import (
    CERTIFICATIONS,
    KEY_TYPES,
    PacketType,
    SignatureType,
)

if TYPE_CHECKING:
    from paperkey_alt.keys.openpgp.key import Key

_OVER_KEYS = (SignatureType.DIRECT_KEY, SignatureType.SUBKEY_BINDING, *CERTIFICATIONS)


def require_agreement(key: Key) -> None:
    """
    Raise DamagedKeyFile where no signature agrees with the public part of a key packet that has its
    secret here.

    Its fingerprint would be another one than that of the certificate, and the sheets of no use. A
    key packet without a signature that could be computed has no witness, and passes.
    """
    witnesses = agreements(key)
    for packet in key.secret_packets:
        if not any(witnesses.get(packet.fingerprint, [True])):
            raise DamagedKeyFile(
                f"the public part of the {packet.title} does not agree with any signature in the "
                "file"
            )


def agreements(key: Key) -> dict[bytes, list[bool]]:
    """
    Return for each key packet, by fingerprint, whether it agrees with each signature over it that
    could be computed; nothing for one without such a signature.

    A signature stands behind what it is made over: the primary key alone, or a user ID or subkey
    too, which *behind* has, framed.
    """
    primary = subject = key.primary
    behind = b""
    witnesses: dict[bytes, list[bool]] = {}
    for packet in key.packets:
        if packet.tag in KEY_TYPES:
            subject = next(candidate for candidate in key.key_packets if candidate.packet is packet)
            behind = b"" if subject is primary else key_packet.framed(subject.public)
        elif packet.tag == PacketType.USER_ID:
            behind = signature.framed_user_id(packet.body)
        elif packet.tag == PacketType.SIGNATURE:
            if packet.body[1:2] and packet.body[1] in _OVER_KEYS:
                over = key_packet.framed(primary.public) + behind
                agrees = signature.agrees(packet.body, over)
                if agrees is not None:
                    witnesses.setdefault(subject.fingerprint, []).append(agrees)
                    witnesses.setdefault(primary.fingerprint, []).append(agrees)
        elif packet.tag != PacketType.TRUST:
            behind = b""
    return witnesses
