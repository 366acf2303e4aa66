"""
What the lines of a set carry: a payload with its digest, or sealed: `wrap` and `unwrap`
(docs/format.md, "The body").

A plain body and a sealed one are two types: only `read_plain` takes the one and only `open_sealed`,
which must be able to ask for a passphrase, takes the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Protocol

from paperkey_alt.errors import UnknownFormat, UnprotectedSecret, WrongPassphrase
from paperkey_alt.format import payload as payloads
from paperkey_alt.format.payload import Certificate, Compact

if TYPE_CHECKING:
    from paperkey_alt.format.payload import Payload


class Ask(Protocol):
    """
    Called with the name of a secret, returns the next passphrase to try; raises WrongPassphrase
    when there is none left.
    """

    def __call__(self, what: str) -> str:
        """Return the next passphrase to try on *what*."""

    def new(self, what: str) -> str:
        """Return a new passphrase for *what*."""


@dataclass(frozen=True)
class Seal:
    """The passphrase over a body, and its salt: 16 bytes that were never used before."""

    passphrase: str
    salt: bytes


@dataclass(frozen=True)
class PlainBody:
    """A payload with its digest, as bytes."""

    data: bytes
    sealed: ClassVar[bool] = False


@dataclass(frozen=True)
class SealedBody:
    """A payload's kind and content under a seal, as bytes."""

    data: bytes
    sealed: ClassVar[bool] = True


Body = PlainBody | SealedBody


@dataclass(frozen=True)
class Unwrapped:
    """A payload, and the passphrase of the seal that was over it, if one was."""

    payload: Payload
    passphrase: str | None


def flagged(data: bytes, *, sealed: bool) -> Body:
    """Return the body *data* as the flag *sealed* of its head line says that it is."""
    return SealedBody(data) if sealed else PlainBody(data)


def wrap(payload: Payload, seal: Seal | None) -> Body:
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
        return PlainBody(payloads.pack(payload))
    from paperkey_alt.format import seal as seals  # noqa: PLC0415 - its library is slow to load

    return SealedBody(seals.seal(payloads.encode(payload), seal.passphrase, seal.salt))


def unwrap(body: Body, ask: Ask) -> Unwrapped:
    """
    Return the payload that *body* carries; *ask* is called where it is sealed, and only there.

    Raises as `read_plain` and `open_sealed` do.
    """
    match body:
        case PlainBody():
            return Unwrapped(read_plain(body), None)
        case SealedBody():
            return open_sealed(body, ask)


def read_plain(body: PlainBody) -> Payload:
    """Return the payload in *body*; raises DigestMismatch or UnknownFormat."""
    return payloads.unpack(body.data)


def open_sealed(body: SealedBody, ask: Ask) -> Unwrapped:
    """
    Return the payload in *body* and the passphrase that opened it; *ask* is called for one until
    one does, and ends it by raising WrongPassphrase.

    Raises UnknownFormat.
    """
    from paperkey_alt.format import seal as seals  # noqa: PLC0415 - its library is slow to load

    while True:
        passphrase = ask("seal")
        try:
            content = seals.unseal(body.data, passphrase)
        except WrongPassphrase:
            continue
        payload = payloads.decode(content)
        if isinstance(payload, Certificate):
            raise UnknownFormat(
                "a public certificate is sealed, which Ragleaf never does",
                advice="Leave these sheets out: they are not sheets as Ragleaf prints them.",
            )
        return Unwrapped(payload, passphrase)
