"""
OpenPGP secrets in the clear: `unlock` them, and check that they belong to their public keys.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from paperkey_alt.errors import NotASecretKey, RagleafError, UnsupportedKey, WrongPassphrase
from paperkey_alt.keys.openpgp import protection
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.protection import PublicPart
from paperkey_alt.keys.openpgp.rfc9580 import TO_SECRET, PacketType
from paperkey_alt.keys.spelling import spellings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from paperkey_alt.format.body import Ask
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket


@dataclass(frozen=True)
class Unlocked:
    """
    A secret key packet with its secret fields in the clear, and the passphrase that opened it, in
    the spelling that did (None where none protects it).
    """

    packet: KeyPacket
    clear: bytes = field(repr=False)
    passphrase: str | None = field(repr=False)


def unlock(key: Key, ask: Ask, known: Iterable[str] = ()) -> tuple[Unlocked, ...]:
    """
    Return all secrets of *key* unlocked; *known* passphrases and those that opened one are tried
    before another is asked for.

    Raises WrongPassphrase or UnsupportedKey, naming the packet.
    """
    tried = list(known)
    secrets = []
    for packet in key.secret_packets:
        secret = unlock_part(packet, tried, ask)
        if secret.passphrase is not None and secret.passphrase not in tried:
            tried.append(secret.passphrase)
        secrets.append(secret)
    return tuple(secrets)


def unlock_primary(key: Key, ask: Ask, known: Iterable[str] = ()) -> Unlocked:
    """
    Return the primary key's secret unlocked, *known* passphrases being tried before *ask* is
    called; raises NotASecretKey where the file does not have it.
    """
    if key.primary not in key.secret_packets:
        raise NotASecretKey(
            f"the file does not have the secret of the primary {key.primary.title}, which signs "
            "revocations"
        )
    return unlock_part(key.primary, known, ask)


def check_pairs(secrets: Iterable[Unlocked]) -> tuple[str, ...]:
    """
    Check that each secret belongs to its public key; return, in words, those for which that cannot
    be told.

    Raises KeyPairMismatch, naming the packet.
    """
    # A lean print checks no key pair, and its library takes long to load.
    from paperkey_alt.keys.openpgp import key_pair  # noqa: PLC0415

    unchecked = []
    for secret in secrets:
        try:
            key_pair.require(secret.clear, secret.packet.public)
        except UnsupportedKey as error:
            unchecked.append(f"the {secret.packet.title}: {error.what}")
        except RagleafError as error:
            raise type(error)(f"{secret.packet.title}: {error.what}") from None
    return tuple(unchecked)


def public_part(packet: KeyPacket) -> PublicPart:
    """Return what the secret packet of *packet* shows of itself, which AEAD binds its secret to."""
    return PublicPart(TO_SECRET[PacketType(packet.packet.tag)], packet.version, packet.public)


def unlock_part(packet: KeyPacket, known: Iterable[str], ask: Callable[[str], str]) -> Unlocked:
    """
    Return the secret of one key packet unlocked: by a *known* passphrase, or by what *ask* gives
    for its title, in any spelling.

    Raises WrongPassphrase, UnsupportedKey, DamagedKeyFile.
    """
    if packet.secrecy is Secrecy.UNPROTECTED:
        return Unlocked(packet, protection.unlock(packet.secret, public_part(packet), b""), None)
    waiting = list(known)
    while True:
        passphrase = waiting.pop(0) if waiting else ask(packet.title)
        for spelling in spellings(passphrase):
            clear = _tried(packet, spelling)
            if clear is not None:
                return Unlocked(packet, clear, spelling)


def opens(secret: Unlocked, passphrase: str) -> bool:
    """Tell whether *passphrase* opens the packet of *secret* too, in any spelling."""
    if secret.passphrase is None:
        return False
    return any(
        _tried(secret.packet, spelling) == secret.clear for spelling in spellings(passphrase)
    )


def _tried(packet: KeyPacket, passphrase: str) -> bytes | None:
    try:
        return protection.unlock(packet.secret, public_part(packet), passphrase.encode())
    except WrongPassphrase:
        return None
