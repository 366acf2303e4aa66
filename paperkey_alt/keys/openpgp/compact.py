"""
Compact prints of OpenPGP keys: secret parts reduced to what cannot be computed, and back to the
identical bytes: `compact` and `restore`.

Both check, packet by packet, that the secret belongs to its public key. A part is found in the
certificate by that check, so no fingerprint needs to be carried.
"""

from __future__ import annotations

import hashlib
import unicodedata
from typing import TYPE_CHECKING

from paperkey_alt.errors import CertificateError, DigestMismatch, RagleafError, UnsupportedKey
from paperkey_alt.format.payload import CHECK_BYTES, Compact, Lean, ReducedPart, SecretPart
from paperkey_alt.keys.openpgp import protection, reduction
from paperkey_alt.keys.openpgp.unlocked import public_part
from paperkey_alt.keys.secret import NOT_REBUILT
from paperkey_alt.keys.spelling import spellings

if TYPE_CHECKING:
    from collections.abc import Iterable

    from paperkey_alt.format.body import Ask
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.unlocked import Unlocked


def compact(
    secrets: Iterable[Unlocked], passphrase: str, stubs: Iterable[KeyPacket] = ()
) -> tuple[Compact, tuple[str, ...]]:
    """
    Return *secrets* reduced, for a seal under *passphrase*, with the *stubs* of the same key as
    they stand, and in a sentence each the secrets that are carried as they stand.

    Raises KeyPairMismatch, naming the packet, where a secret does not belong to its public key.
    """
    parts: list[ReducedPart | SecretPart] = []
    notes = []
    for secret in secrets:
        packet = secret.packet
        reduced = _reduce(secret, passphrase)
        if reduced is None:
            notes.append(
                f"The secret of the {packet.title} is printed in full: it cannot be computed back "
                "to the same bytes."
            )
        parts.append(reduced or SecretPart(packet.fingerprint, packet.secret))
    parts += [SecretPart(stub.fingerprint, stub.secret) for stub in stubs]
    return Compact(tuple(parts)), tuple(notes)


def restore(payload: Compact, certificate: Key | None, passphrase: str, ask: Ask) -> Lean:
    """
    Return the secret parts that *payload* stands for, each as it stood, for the key of
    *certificate*.

    *passphrase* is the seal's; *ask* is called where a secret had another one. Raises
    CertificateError where a part belongs to no key of the certificate, DigestMismatch where the
    bytes are not those that stood there.
    """
    if certificate is None:
        raise CertificateError(
            "compact sheets carry only what cannot be computed from the public certificate: it "
            "is needed"
        )
    return Lean(tuple(_expand(part, certificate, passphrase, ask) for part in payload.parts))


def _reduce(secret: Unlocked, passphrase: str) -> ReducedPart | None:
    """Return *secret* reduced, None where `_expand` could not give its part back as it stands."""
    packet = secret.packet
    try:
        reduced = reduction.reduce(secret.clear, packet.public)
    except UnsupportedKey:
        return None
    except RagleafError as error:
        raise type(error)(f"{packet.title}: {error.what}") from None
    if reduced is None:
        return None
    how = protection.parse(packet.secret, packet.version)
    own = passphrase if secret.passphrase is None else secret.passphrase
    if protection.lock(secret.clear, how, public_part(packet), own.encode()) != packet.secret:
        return None
    # A seal opens in every spelling of its passphrase, and of these only the ones that are tried on
    # restoring give this secret back whichever was typed.
    other = own not in spellings(unicodedata.normalize("NFC", passphrase))
    return ReducedPart(reduced.form, reduced.value, how.prefix, _check(packet.secret), other)


def _expand(
    part: ReducedPart | SecretPart, certificate: Key, passphrase: str, ask: Ask
) -> SecretPart:
    if isinstance(part, SecretPart):
        return part
    packet, clear = _owner(part, certificate)
    how = protection.parse(part.prefix, packet.version)
    own = ask(packet.title) if part.other_passphrase else passphrase
    while True:
        # The seal opens in any spelling, and the key was protected in one.
        for spelling in spellings(own):
            secret = protection.lock(clear, how, public_part(packet), spelling.encode())
            if _check(secret) == part.check:
                return SecretPart(packet.fingerprint, secret)
        if not part.other_passphrase:
            raise DigestMismatch(
                f"the secret of the {packet.title} does not come back as it was", advice=NOT_REBUILT
            )
        own = ask(packet.title)


def _owner(part: ReducedPart, certificate: Key) -> tuple[KeyPacket, bytes]:
    """Return the key packet that *part* belongs to, and its secret fields."""
    for packet in certificate.key_packets:
        try:
            return packet, reduction.expand(part, packet.public)
        except RagleafError:
            # Not the key of this secret; the next may be.
            continue
    raise CertificateError(
        f"the paper has a secret that belongs to no key of the certificate of {certificate.title}"
    )


def _check(secret: bytes) -> bytes:
    return hashlib.sha256(secret).digest()[:CHECK_BYTES]
