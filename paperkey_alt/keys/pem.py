"""
What kind of private-key file it is, by the label of its PEM (RFC 7468 §2) or the first byte of its
DER.
"""

from __future__ import annotations

import re

OPENSSH = "OPENSSH PRIVATE KEY"
_LABELS = {
    "PRIVATE KEY": "PKCS #8",
    "ENCRYPTED PRIVATE KEY": "PKCS #8",
    "RSA PRIVATE KEY": "PKCS #1",
    "EC PRIVATE KEY": "SEC 1",
    "DSA PRIVATE KEY": "DSA",
    OPENSSH: "OpenSSH",
}
_LABEL = re.compile(rb"(?m)^-----BEGIN ([A-Z0-9 ]+)-----\r?$")
_DER_SEQUENCE = 0x30
# Text has no control characters but these; in a packet of a key its version or length is one, in
# DER the tag of an integer.
_BINARY = re.compile(rb"[^\t\n\v\f\r\x1b-\xff]")
_BEGINNING = 512  # bytes


def is_text(data: bytes) -> bool:
    """
    Tell by the first bytes whether *data* is text, in which rows say what it is.

    What stands further on, in user IDs and the like, anyone may have written.
    """
    return not _BINARY.search(data, 0, _BEGINNING)


def label(data: bytes) -> str | None:
    """Return the first label in the text *data*, None where there is none."""
    match = _LABEL.search(data) if is_text(data) else None
    return match[1].decode() if match else None


def recognises(data: bytes) -> bool:
    """Tell whether *data* looks like a private-key file of one of these kinds."""
    own = label(data)
    if own is None:
        return data[:1] == bytes([_DER_SEQUENCE])
    return own in _LABELS


def kind(data: bytes) -> str:
    """Return the kind of the private-key file *data* in words."""
    own = label(data)
    return "PKCS #8 or PKCS #1, DER" if own is None else f"{_LABELS[own]}, PEM"
