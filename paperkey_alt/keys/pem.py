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


def label(data: bytes) -> str | None:
    """Return the first label in *data*, None where there is none."""
    match = _LABEL.search(data)
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
