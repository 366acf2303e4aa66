"""
A passphrase over a payload's content: `seal` and `unseal` (docs/format.md, "A sealed body").

Argon2id (RFC 9106) makes the key, ChaCha20-Poly1305 (RFC 8439) encrypts and authenticates. The salt
is fresh for every seal, so the key is used once and the nonce is zero and not on the paper; the tag
is the digest.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

from paperkey_alt.errors import UnknownFormat, WrongPassphrase

SALT_BYTES = 16
KEY_BYTES = 32
TAG_BYTES = 16
OVERHEAD = 3 + SALT_BYTES + TAG_BYTES
_NONCE = bytes(12)


@dataclass(frozen=True)
class Cost:
    """
    What one try of a passphrase costs: *passes* 1 to 16, *lanes* 1 to 16, memory 2 to the power of
    *memory_log* KiB, 10 to 20.

    The bounds hold on reading too: no sheet can ask for more than 1 GiB, or for more than 4 GiB in
    all passes together.
    """

    passes: int
    lanes: int
    memory_log: int

    def __post_init__(self) -> None:
        if not (1 <= self.passes <= 16 and 1 <= self.lanes <= 16 and 10 <= self.memory_log <= 20):
            raise ValueError("more computing than this program allows")
        if self.passes << self.memory_log > 4 << 20:
            raise ValueError("more computing than this program allows")


# RFC 9106 §4, the second recommended option: 3 passes, 4 lanes, 64 MiB.
RECOMMENDED = Cost(passes=3, lanes=4, memory_log=16)


def seal(content: bytes, passphrase: str, salt: bytes, cost: Cost = RECOMMENDED) -> bytes:
    """
    Return *content* sealed under *passphrase*; *salt* is 16 bytes that were never used before.
    """
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt is {SALT_BYTES} bytes")
    key = _key(passphrase, salt, cost)
    return (
        bytes([cost.passes, cost.lanes, cost.memory_log])
        + salt
        + ChaCha20Poly1305(key).encrypt(_NONCE, content, None)
    )


def unseal(body: bytes, passphrase: str) -> bytes:
    """
    Return the content that `seal` made *body* from.

    Raises WrongPassphrase where the tag does not agree, UnknownFormat for parameters out of bounds.
    """
    if len(body) <= OVERHEAD:
        raise UnknownFormat("the sealed body is too short to be one")
    try:
        cost = Cost(*body[:3])
    except ValueError as reason:
        raise UnknownFormat(f"the seal asks for {reason}") from None
    try:
        return ChaCha20Poly1305(_key(passphrase, body[3 : 3 + SALT_BYTES], cost)).decrypt(
            _NONCE, body[3 + SALT_BYTES :], None
        )
    except InvalidTag:
        raise WrongPassphrase("the passphrase does not open the seal") from None


def _key(passphrase: str, salt: bytes, cost: Cost) -> bytes:
    # One passphrase has several spellings in Unicode, and another keyboard may give another one.
    secret = unicodedata.normalize("NFC", passphrase).encode()
    memory = 1 << cost.memory_log
    return Argon2id(
        salt=salt, length=KEY_BYTES, iterations=cost.passes, lanes=cost.lanes, memory_cost=memory
    ).derive(secret)
