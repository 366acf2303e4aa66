"""
How well the passphrase over a secret protects it: `cautions`, and `opened_by_empty_passphrase`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.errors import KeyFileError, WrongPassphrase
from paperkey_alt.format.buffer import Buffer
from paperkey_alt.keys.openpgp import material, protection, s2k
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.rfc9580 import CIPHERS, SUM_BYTES, HashAlgorithm, S2KType
from paperkey_alt.keys.openpgp.unlocked import public_part
from paperkey_alt.keys.secret import Caution, Weak

if TYPE_CHECKING:
    from collections.abc import Iterator

    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.s2k import Protection

LOWEST_COUNT = 65_536  # octets that are hashed for a guess; below, a guess costs less than 0.1 ms
# An empty passphrase is tried where that is cheap: hashing and Argon2 go through some 10^9 octets a
# second, so that one secret takes less than a second, and all of a key a few.
_MOST_OCTETS = 1 << 28
_MOST_OCTETS_OF_KEY = 1 << 30


def cautions(key: Key) -> tuple[Weak, ...]:
    """Return what is weak in the protection of the secrets of *key*."""
    return tuple(
        Weak(packet.title, caution)
        for packet in key.secret_packets
        if packet.secrecy is Secrecy.PROTECTED
        for caution in _cautions(_protection(packet))
    )


def opened_by_empty_passphrase(key: Key) -> tuple[KeyPacket, ...]:
    """
    Return the protected packets of *key* that an empty passphrase opens, as far as that is cheap to
    try. Of one that is not returned nothing is said.
    """
    opened = []
    left = _MOST_OCTETS_OF_KEY
    for packet in key.secret_packets:
        if packet.secrecy is not Secrecy.PROTECTED:
            continue
        octets = _octets(_protection(packet))
        if octets is None or octets > min(left, _MOST_OCTETS):
            continue
        left -= octets
        if _opens_empty(packet):
            opened.append(packet)
    return tuple(opened)


def _protection(packet: KeyPacket) -> Protection:
    return s2k.pull(Buffer(packet.secret), packet.version)


def _cautions(how: Protection) -> Iterator[Caution]:
    specifier = how.specifier
    if specifier is None or not specifier.is_known:
        return
    if specifier.kind == S2KType.SIMPLE:
        yield Caution.SIMPLE_S2K
    elif specifier.kind != S2KType.ARGON2 and specifier.count < LOWEST_COUNT:
        yield Caution.LOW_COUNT
    if specifier.kind != S2KType.ARGON2 and specifier.hash == HashAlgorithm.MD5:
        yield Caution.MD5
    if how.check_bytes == SUM_BYTES:
        yield Caution.SUM


def _octets(how: Protection) -> int | None:
    """Return how many octets one try goes through, None where it cannot be tried here."""
    if how.specifier is None or not how.specifier.is_known or how.cipher not in CIPHERS:
        return None
    if how.specifier.kind == S2KType.ARGON2:
        passes, _, memory_log = how.specifier.argon2_cost
        return passes << (memory_log + 10)
    # A hash shorter than the key is computed twice, the shortest (MD5) too.
    return 2 * how.specifier.count


def _opens_empty(packet: KeyPacket) -> bool:
    try:
        clear = protection.unlock(packet.secret, public_part(packet), b"")
        # A sum of two bytes agrees by chance in one case of 65,536: the fields must fill it too.
        material.secret_fields(clear, packet.public)
    except (KeyFileError, WrongPassphrase):
        return False
    return True
