"""
The small print at the foot of a sheet: how to restore what it carries with no program of ours:
`by_hand` and `check`.

What is said of a payload is made from `payload.KINDS`, the table by which it is packed and read, so
the words follow the bytes; a test reads them off a sheet and does what they say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.format import spare_lines
from paperkey_alt.format.lines import DATA_BYTES
from paperkey_alt.format.payload import (
    KIND_CERTIFICATE,
    KIND_COMPACT,
    KIND_FILE,
    KIND_LEAN,
    KIND_OF,
    KIND_REVOCATION,
    KIND_RSA_FILE,
    KIND_WHOLE,
    KINDS,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.payload import Payload

# What the fields of each kind are called in print, where their own name is not for readers.
NAMES: dict[int, Mapping[str, str]] = {
    KIND_LEAN: {"parts": "secret"},
    KIND_WHOLE: {"packets": "the key file, not armored (RFC 9580, 10.2)"},
    KIND_COMPACT: {"parts": "secret"},
    KIND_FILE: {"blind": "random", "name": "name of the file", "data": "the file"},
    KIND_RSA_FILE: {
        "name": "name of the file",
        "style": "how it is written (1 PKCS #8 in PEM, 2 in DER, 3 PKCS #1 in PEM, 4 in DER)",
        "rule": "d is inverse to e modulo: 2 lcm(p-1, q-1), 3 (p-1)(q-1)",
        "exponent": "e",
    },
    KIND_REVOCATION: {"packet": "the revocation, not armored (RFC 9580, 5.2)"},
    KIND_CERTIFICATE: {"packets": "the certificate, not armored (RFC 9580, 10.1)"},
}
# What becomes of the fields.
_RESULTS = {
    KIND_LEAN: (
        "The key file is the certificate in which each key packet that has a secret here is the "
        "secret one: its body, then the secret (RFC 9580, 5.5.3)."
    ),
    KIND_COMPACT: (
        "A value is, by form (less 128 from 128 on): 1 the secret number; 2, 3 a prime of an RSA "
        "key; 4 a prime and d. All else is computed, and encrypted as before."
    ),
}
_OPEN = "The last 32 bytes are the SHA-256 of all before them. Before them, in order: "
_SEALED = (
    "In order: 1 byte: passes; 1 byte: lanes; 1 byte: memory, 2 to this power in KiB; 16 bytes: "
    "salt; to the end: what is sealed. Argon2id (RFC 9106) makes 32 bytes of key from passphrase "
    "(UTF-8, NFC) and salt; ChaCha20-Poly1305 (RFC 8439), nonce 12 zero bytes, opens what is "
    "sealed. In it, in order: "
)
_JOIN = (
    "Do so with {threshold} shares; leave out the first 15 bytes of each; join byte by byte in "
    "GF(256), 0x11b (Shamir, CACM 1979): XOR of each share's byte times the product of "
    "y / (y XOR x) over the others, x and y being share numbers. Leave out the last 16 bytes. "
)


def by_hand(head: Head, payload: Payload) -> str:
    """Return how *payload* is taken from the lines of a set with *head*, in sentences."""
    cut = f" Leave out the last {head.padding}." if head.padding else ""
    join = _JOIN.format(threshold=head.share.threshold) if head.share else ""
    return (
        f"By hand: type the first 24 characters of lines 1 to {head.data_lines} in order, as one "
        f"text (A to Z, 2 to 7); decode it as base32 (RFC 4648) to "
        f"{head.data_lines * DATA_BYTES} bytes.{cut} {join}"
        f"{_SEALED if head.sealed else _OPEN}{fields(KIND_OF[type(payload)])}"
    )


def fields(kind: int) -> str:
    """Return what a payload of *kind* is made of, byte by byte, and what becomes of it."""
    content = f"1 byte: {kind}, the kind; {KINDS[kind].recipe(NAMES[kind])}."
    return f"{content} {_RESULTS[kind]}" if kind in _RESULTS else content


def check(head: Head) -> str:
    """Return how the check characters and the spare lines of a set with *head* are made."""
    groups = len(spare_lines.groups(head.data_lines, head.spare_lines))
    grouped = f", dealt in turn into {groups} groups" if groups > 1 else ""
    return (
        "Check, the last 5 characters of a line: Reed–Solomon, GF(32), 0x25, first root 1, over 2 "
        "symbols of line number and 24 of data, XORed with the set mark (not in line 0). Spare "
        f"lines: the same, GF(256), 0x11d, byte by byte down the lines{grouped}."
    )
