"""
What kind of private-key file it is, by the label of its PEM (RFC 7468 §2) or the first bytes of its
DER.
"""

from __future__ import annotations

import base64
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
_LEADING = "EC PARAMETERS"  # a block that stands before a SEC 1 key, and says what the key says too
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


_PKCS12 = re.compile(
    rb"\x30(?:[\0-\x80]|\x81.|\x82..|\x83...|\x84....)"  # a sequence, its length
    rb"\x02\x01\x03"  # version 3
    rb"\x30(?:[\0-\x80]|\x81.|\x82..|\x83...|\x84....)"
    rb"\x06\x09\x2a\x86\x48\x86\xf7\x0d\x01\x07[\x01\x02]",  # 1.2.840.113549.1.7.1 or .2
    re.DOTALL,
)


def label(data: bytes) -> str | None:
    """
    Return the first label in *data* that is not of parameters alone, None where there is none.
    """
    if not is_text(data):
        return None
    labels = (match[1].decode() for match in _LABEL.finditer(data))
    return next((own for own in labels if own != _LEADING), None)


def without_parameters(data: bytes) -> bytes:
    """Return *data* from its key's PEM on: the block of parameters is for other programs."""
    for match in _LABEL.finditer(data):
        if match[1].decode() != _LEADING:
            return data[match.start() :]
    return data


def is_pkcs12(data: bytes) -> bool:
    """
    Tell whether *data* is PKCS #12 (RFC 7292 §4): a DER or BER sequence that begins with version 3
    and the object identifier of PKCS #7 data or signed data. A PKCS #8 key begins with version 0 or
    1 and an algorithm.
    """
    return _PKCS12.match(data) is not None


_SALT = rb"\x30[\x01-\x7f]\x04([\0-\x40])"  # a sequence; the first in it, its length
# The object identifier of a derivation, and how many numbers behind the salt are its cost.
_DERIVATIONS = (
    # 1.2.840.113549.1.5.12, PBKDF2 (RFC 8018, appendix A.2): the iterations.
    (re.compile(rb"\x06\x09\x2a\x86\x48\x86\xf7\x0d\x01\x05\x0c" + _SALT, re.DOTALL), 1),
    # 1.3.6.1.4.1.11591.4.11, scrypt (RFC 7914 §7): N, r and p.
    (re.compile(rb"\x06\x09\x2b\x06\x01\x04\x01\xda\x47\x04\x0b" + _SALT, re.DOTALL), 3),
)
_DER_INTEGER = 2
_MOST_COUNT_BYTES = 8


def cost(data: bytes) -> int | None:
    """
    Return what it costs to try a passphrase on the PKCS #8 file *data*: iterations of PBKDF2, or
    blocks that scrypt mixes, which take about as long. None where neither protects it.
    """
    der = data
    if label(data) is not None:
        try:
            der = base64.b64decode(without_parameters(data).split(b"-----")[2])
        except ValueError:
            return None
    for derivation, numbers in _DERIVATIONS:
        match = derivation.search(der)
        if match is not None:
            return _product(der[match.end() + match[1][0] :], numbers)
    return None


def _product(der: bytes, numbers: int) -> int | None:
    """Return the product of so many integers with which *der* begins, None where they do not."""
    product = 1
    for _ in range(numbers):
        length = der[1] if len(der) > 1 else 0
        number = der[2 : 2 + length]
        is_integer = der[:1] == bytes([_DER_INTEGER]) and 0 < length <= _MOST_COUNT_BYTES
        if not is_integer or len(number) < length:
            return None
        product *= int.from_bytes(number)
        der = der[2 + length :]
    return product


def recognises(data: bytes) -> bool:
    """Tell whether *data* looks like a private-key file of one of these kinds."""
    own = label(data)
    if own is None:
        return data[:1] == bytes([_DER_SEQUENCE])
    return own in _LABELS


# The beginnings of PKCS #8, PKCS #1 and SEC 1 in DER: in a sequence a version, 0 or 1 (RFC 5958 §2,
# RFC 8017 appendix A.1.2, RFC 5915 §3), or what encrypts, of PKCS #5 or PKCS #12.
_LENGTH = rb"(?:[\0-\x7f]|\x81.|\x82..)"
_PRIVATE_KEY = re.compile(
    rb"\x30" + _LENGTH + rb"(?:\x02\x01[\0\x01]|\x30" + _LENGTH + rb"\x06."
    rb"\x2a\x86\x48\x86\xf7\x0d\x01(?:\x05|\x0c\x01))",
    re.DOTALL,
)


def is_private_key(data: bytes) -> bool:
    """
    Tell whether *data* is called a private key, by its label or the beginning of its DER; less than
    what `recognises` lets through to be tried passes.
    """
    own = label(data)
    return own in _LABELS if own else _PRIVATE_KEY.match(data) is not None


def kind(data: bytes) -> str:
    """Return the kind of the private-key file *data* in words."""
    own = label(data)
    return "PKCS #8 or PKCS #1, DER" if own is None else f"{_LABELS[own]}, PEM"
