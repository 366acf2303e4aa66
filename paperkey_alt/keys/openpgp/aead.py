"""
The three AEAD modes of RFC 9580 §9.6 over AES, under one interface: `mode`.

OCB and GCM are the library's; it has no EAX, which is put together here from its CTR and CMAC
(Bellare, Rogaway and Wagner, "The EAX mode of operation", FSE 2004, figure 3).
"""

from __future__ import annotations

import hmac
from typing import TYPE_CHECKING, Protocol

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives import ciphers
from cryptography.hazmat.primitives.ciphers import algorithms, modes
from cryptography.hazmat.primitives.ciphers.aead import AESGCM, AESOCB3
from cryptography.hazmat.primitives.cmac import CMAC

from paperkey_alt.keys.openpgp.rfc9580 import AEAD_TAG_BYTES, AeadMode, Cipher

if TYPE_CHECKING:
    from collections.abc import Callable


class Mode(Protocol):
    """
    Authenticated encryption with a fixed key; `decrypt` raises cryptography.exceptions.InvalidTag.
    """

    def encrypt(self, nonce: bytes, data: bytes, associated_data: bytes | None, /) -> bytes:
        """Return the ciphertext of *data* with the tag behind it."""

    def decrypt(self, nonce: bytes, data: bytes, associated_data: bytes | None, /) -> bytes:
        """Return what `encrypt` made *data* from."""


class Eax:
    """AES-EAX with a 16-byte tag."""

    def __init__(self, key: bytes) -> None:
        self._aes = algorithms.AES(key)

    def encrypt(self, nonce: bytes, data: bytes, associated_data: bytes | None) -> bytes:
        """Return the ciphertext of *data* with the tag behind it."""
        sealed = self._ctr(nonce, data)
        return sealed + self._tag(nonce, sealed, associated_data or b"")

    def decrypt(self, nonce: bytes, data: bytes, associated_data: bytes | None) -> bytes:
        """Return what `encrypt` made *data* from."""
        sealed, tag = data[:-AEAD_TAG_BYTES], data[-AEAD_TAG_BYTES:]
        if not hmac.compare_digest(tag, self._tag(nonce, sealed, associated_data or b"")):
            raise InvalidTag
        return self._ctr(nonce, sealed)

    def _ctr(self, nonce: bytes, data: bytes) -> bytes:
        return ciphers.Cipher(self._aes, modes.CTR(self._omac(0, nonce))).encryptor().update(data)

    def _tag(self, nonce: bytes, sealed: bytes, associated_data: bytes) -> bytes:
        macs = (self._omac(0, nonce), self._omac(1, associated_data), self._omac(2, sealed))
        return bytes(a ^ b ^ c for a, b, c in zip(*macs, strict=True))

    def _omac(self, tweak: int, data: bytes) -> bytes:
        mac = CMAC(self._aes)
        mac.update(tweak.to_bytes(Cipher.AES_128.block_bytes, "big") + data)
        return mac.finalize()


_MODES: dict[int, Callable[[bytes], Mode]] = {
    AeadMode.EAX: Eax,
    AeadMode.OCB: AESOCB3,
    AeadMode.GCM: AESGCM,
}


def mode(identifier: int, key: bytes) -> Mode:
    """Return the mode with *identifier* of RFC 9580 §9.6 under *key*."""
    return _MODES[identifier](key)
