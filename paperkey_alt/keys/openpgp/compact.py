"""
Secret parts reduced to what cannot be computed, and back to the identical bytes: `compact` and
`restore`.

Both prove, packet by packet, that the secret belongs to its public key. A part is found in the
certificate by that proof, so no fingerprint needs to be carried.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import (
    CertificateError,
    DigestMismatch,
    NotASecretKey,
    RagleafError,
    UnsupportedKey,
    WrongPassphrase,
)
from paperkey_alt.format.payload import CHECK_BYTES, Compact, Lean, ReducedPart, SecretPart
from paperkey_alt.keys.openpgp import packets, protection, reduction
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.key_pair import prove
from paperkey_alt.keys.openpgp.protection import PublicPart
from paperkey_alt.keys.openpgp.reduction import Reduced

if TYPE_CHECKING:
    from collections.abc import Iterable

    from paperkey_alt.format.body import Ask
    from paperkey_alt.keys.openpgp.key_file import Key
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket

_SECRET_TYPE = {
    packets.PUBLIC_KEY: packets.SECRET_KEY,
    packets.PUBLIC_SUBKEY: packets.SECRET_SUBKEY,
}


@dataclass(frozen=True)
class Unlocked:
    """
    A secret key packet with its secret fields in the clear, and the passphrase that opened it (None
    where none protects it).
    """

    packet: KeyPacket
    clear: bytes
    passphrase: str | None


def unlock(key: Key, ask: Ask, known: Iterable[str] = ()) -> tuple[Unlocked, ...]:
    """
    Return all secrets of *key* unlocked; *known* passphrases and those that opened one are tried
    before another is asked for.

    Raises WrongPassphrase or UnsupportedKey, naming the packet.
    """
    tried = list(known)
    found = []
    for part in key.secret_packets:
        unlocked = _unlock(part, tried, ask)
        if unlocked.passphrase is not None and unlocked.passphrase not in tried:
            tried.append(unlocked.passphrase)
        found.append(unlocked)
    return tuple(found)


def unlock_primary(key: Key, ask: Ask) -> Unlocked:
    """
    Return the primary key's secret unlocked; raises NotASecretKey where the file does not have it.
    """
    if key.primary not in key.secret_packets:
        raise NotASecretKey(
            f"the file does not have the secret of the primary {key.primary.title}, which signs "
            "revocations"
        )
    return _unlock(key.primary, [], ask)


def prove_all(unlocked: Iterable[Unlocked]) -> tuple[str, ...]:
    """
    Prove that each secret belongs to its public key; return, in a sentence each, those for which
    there is no proof.

    Raises KeyPairMismatch, naming the packet.
    """
    unproven = []
    for one in unlocked:
        try:
            prove(one.clear, one.packet.public)
        except UnsupportedKey as error:
            unproven.append(f"the {one.packet.title}: {error.what}")
        except RagleafError as error:
            raise type(error)(f"{one.packet.title}: {error.what}") from None
    return tuple(unproven)


def compact(unlocked: Iterable[Unlocked], passphrase: str) -> tuple[Compact, tuple[str, ...]]:
    """
    Return the secrets reduced, for a seal under *passphrase*, and in a sentence each those that are
    carried as they stand.

    Raises KeyPairMismatch, naming the packet, where a secret does not belong to its public key.
    """
    parts: list[ReducedPart | SecretPart] = []
    kept = []
    for one in unlocked:
        reduced = _reduced(one, passphrase)
        if reduced is None:
            kept.append(
                f"The secret of the {one.packet.title} is carried as it stands: not computable "
                "to the same bytes."
            )
        parts.append(reduced or SecretPart(one.packet.fingerprint, one.packet.secret))
    return Compact(tuple(parts)), tuple(kept)


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
    return Lean(tuple(_restored(part, certificate, passphrase, ask) for part in payload.parts))


def _unlock(part: KeyPacket, known: list[str], ask: Ask) -> Unlocked:
    public = _public(part)
    if part.secrecy is Secrecy.UNPROTECTED:
        return Unlocked(part, protection.unlock(part.secret, public, b""), None)
    for passphrase in known:
        try:
            return Unlocked(
                part, protection.unlock(part.secret, public, passphrase.encode()), passphrase
            )
        except WrongPassphrase:
            continue
    while True:
        passphrase = ask(part.title)
        try:
            return Unlocked(
                part, protection.unlock(part.secret, public, passphrase.encode()), passphrase
            )
        except WrongPassphrase:
            continue


def _reduced(one: Unlocked, passphrase: str) -> ReducedPart | None:
    try:
        found = reduction.reduce(one.clear, one.packet.public)
    except UnsupportedKey:
        return None
    except RagleafError as error:
        raise type(error)(f"{one.packet.title}: {error.what}") from None
    how = protection.parse(one.packet.secret, one.packet.version)
    own = one.passphrase if one.passphrase is not None else passphrase
    if (
        found is None
        or protection.lock(one.clear, how, _public(one.packet), own.encode()) != one.packet.secret
    ):
        return None
    return ReducedPart(
        found.form, found.value, how.prefix, _check(one.packet.secret), own != passphrase
    )


def _restored(
    part: ReducedPart | SecretPart, certificate: Key, passphrase: str, ask: Ask
) -> SecretPart:
    if isinstance(part, SecretPart):
        return part
    key, clear = _owner(part, certificate)
    how = protection.parse(part.prefix, key.version)
    own = ask(key.title) if part.other_passphrase else passphrase
    while True:
        secret = protection.lock(clear, how, _public(key), own.encode())
        if _check(secret) == part.check:
            return SecretPart(key.fingerprint, secret)
        if not part.other_passphrase:
            raise DigestMismatch(f"the secret of the {key.title} does not come back as it was")
        own = ask(key.title)


def _owner(part: ReducedPart, certificate: Key) -> tuple[KeyPacket, bytes]:
    for key in certificate.key_packets:
        try:
            return key, reduction.expand(Reduced(part.form, part.value), key.public)
        except (RagleafError, ValueError):
            # Not the key of this secret; the next may be.
            continue
    raise CertificateError(
        f"the paper has a secret that belongs to no key of the certificate of {certificate.title}"
    )


def _public(part: KeyPacket) -> PublicPart:
    tag = part.packet.tag
    return PublicPart(_SECRET_TYPE.get(tag, tag), part.version, part.public)


def _check(secret: bytes) -> bytes:
    return hashlib.sha256(secret).digest()[:CHECK_BYTES]
