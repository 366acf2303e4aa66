"""
Which secrets sheets carry, so that two prints can be compared without either: `contents`.

Each secret is named by a digest. Anyone with the register alone learns nothing of the secret from
it: what is hashed is long and random, or encrypted under a random salt. Of files of any kind, which
may be short and guessable, nothing is kept.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from paperkey_alt.format.payload import Compact, Lean, ReducedPart, Whole
from paperkey_alt.keys.openpgp import key_file
from paperkey_alt.keys.openpgp.rfc9580 import STUB_MARK, STUB_S2K_TYPE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from paperkey_alt.format.payload import Payload

_DOMAIN = b"ragleaf register\0"
_DIGEST_BYTES = 8


def contents(payload: Payload) -> dict[str, str]:
    """
    Return the secrets in *payload* as name → digest, both hexadecimal.

    Lean and whole payloads name a secret by the fingerprint of its key packet and hash it as it
    stands there, under its passphrase: of the same key under another passphrase the names are the
    same and the digests are not. A compact payload has neither fingerprints nor protection; there
    the digest is the name too. Empty for payloads of other kinds.
    """
    if isinstance(payload, Compact):
        return {
            digest: digest
            for digest in (
                _digest(part.value if isinstance(part, ReducedPart) else part.secret)
                for part in payload.parts
                if isinstance(part, ReducedPart) or not _is_stub(part.secret)
            )
        }
    return {
        fingerprint.hex().upper(): _digest(secret)
        for fingerprint, secret in _secrets(payload)
        if not _is_stub(secret)
    }


def _secrets(payload: Payload) -> Iterator[tuple[bytes, bytes]]:
    if isinstance(payload, Lean):
        yield from ((part.fingerprint, part.secret) for part in payload.parts)
    elif isinstance(payload, Whole):
        for key in key_file.read(payload.packets):
            yield from ((packet.fingerprint, packet.secret) for packet in key.secret_packets)


def _is_stub(secret: bytes) -> bool:
    # A stub carries no secret; sheets with a stub do not replace sheets with the secret. In version
    # 6 two lengths stand before it (RFC 9580 §5.5.3).
    return any(
        secret[at : at + 1] == bytes([STUB_S2K_TYPE]) and secret[at + 2 : at + 5] == STUB_MARK
        for at in (2, 4)
    )


def _digest(secret: bytes) -> str:
    return hashlib.sha256(_DOMAIN + secret).digest()[:_DIGEST_BYTES].hex()
