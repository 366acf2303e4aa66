"""
What the lines of a set carry: a payload with its digest, or sealed: `wrap` and `unwrap`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import UnprotectedSecret, WrongPassphrase
from paperkey_alt.format import payload as payloads
from paperkey_alt.format.payload import Compact

if TYPE_CHECKING:
    from paperkey_alt.cli.passphrases import Ask
    from paperkey_alt.format.payload import Payload


@dataclass(frozen=True)
class Seal:
    """The passphrase over a body, and its salt: 16 bytes that were never used before."""

    passphrase: str
    salt: bytes


@dataclass(frozen=True)
class Unwrapped:
    """A payload, and the passphrase of the seal that was over it, if one was."""

    payload: Payload
    passphrase: str | None


def wrap(payload: Payload, seal: Seal | None) -> bytes:
    """
    Return the body that carries *payload*, under *seal* if there is one.

    Raises UnprotectedSecret for a compact payload without a seal: its secrets are in the clear.
    """
    if seal is None:
        if isinstance(payload, Compact):
            raise UnprotectedSecret(
                "a compact payload holds the secrets in the clear; it is printed under a seal or "
                "not at all"
            )
        return payloads.pack(payload)
    from paperkey_alt.format import seal as seals  # noqa: PLC0415 - its library is slow to load

    return seals.seal(payloads.encode(payload), seal.passphrase, seal.salt)


def unwrap(body: bytes, *, sealed: bool, ask: Ask | None) -> Unwrapped:
    """
    Return the payload that *body* carries; *ask* is called for the passphrase until one opens the
    seal, and ends it by raising. It may be None where nothing is sealed.

    Raises DigestMismatch or UnknownFormat.
    """
    if not sealed or ask is None:
        return Unwrapped(payloads.unpack(body), None)
    from paperkey_alt.format import seal as seals  # noqa: PLC0415 - its library is slow to load

    while True:
        passphrase = ask("seal")
        try:
            return Unwrapped(payloads.decode(seals.unseal(body, passphrase)), passphrase)
        except WrongPassphrase:
            continue
