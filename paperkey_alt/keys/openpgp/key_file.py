"""
OpenPGP key files, armored or binary: `read` and `write` (RFC 9580 §6, §10.1, §10.2).

Packets are never re-serialised: what is not replaced is handed on byte for byte.
"""

from __future__ import annotations

import codecs
import re

from paperkey_alt.errors import DamagedKeyFile, NotASecretKey, TooLarge
from paperkey_alt.keys import pem
from paperkey_alt.keys.openpgp import armor, packets
from paperkey_alt.keys.openpgp.armor import ArmorKind
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.rfc9580 import PRIMARY_KEY_TYPES, SECRET_KEY_TYPES, PacketType


def read(data: bytes) -> tuple[Key, ...]:
    """
    Return the transferable keys, public and secret, of a key file, armored or binary; at least one.

    Raises NotASecretKey where the file is something else, DamagedKeyFile, UnsupportedKey.
    """
    data = _ascii(data)
    if not data.strip():
        raise DamagedKeyFile("the file is empty", advice="Check the name, and give the file.")
    is_text = pem.is_text(data)
    if not (is_text and _ARMOR.search(data)):
        if is_text:
            _require_no_pem(data)
        _require_keys(data)
        return _keys(data)
    blocks = armor.dearmor(data)
    key_blocks = [block for block in blocks if block.kind in _KEY_BLOCKS]
    if not key_blocks:
        what = _NOT_KEYS[blocks[0].kind] if blocks else "a signed message"
        raise NotASecretKey(f"the file holds {what}, not a key", advice=_MESSAGE)
    for block in key_blocks:
        _require_keys(block.data)
    return tuple(key for block in key_blocks for key in _keys(block.data))


def write(key: Key, *, armored: bool) -> bytes:
    """
    Return the key as a key file; armored with a checksum for version 4, without for version 6 (RFC
    9580 §6.1).
    """
    data = packets.join(key.packets)
    if not armored:
        return data
    is_secret = any(packet.tag in SECRET_KEY_TYPES for packet in key.packets)
    kind = ArmorKind.PRIVATE_KEY if is_secret else ArmorKind.PUBLIC_KEY
    return armor.armor(data, kind=kind, checksum=key.version < 6).encode("ascii")


_ARMOR = re.compile(rb"(?m)^[ \t]*-----BEGIN PGP [A-Z, /0-9]+-----")
_PEM = re.compile(rb"(?m)^[ \t]*-----BEGIN [A-Z0-9 ]+-----")
_SSH_PUBLIC = re.compile(rb"\s*(?:ssh|ecdsa|sk)-[a-z0-9@.-]+ AAAA")
_KEY_BLOCKS = (ArmorKind.PUBLIC_KEY, ArmorKind.PRIVATE_KEY)
_NOT_KEYS = {ArmorKind.MESSAGE: "a message", ArmorKind.SIGNATURE: "a signature"}
_KEYS_BEGIN = (*PRIMARY_KEY_TYPES, PacketType.MARKER, PacketType.PADDING)
_ENCRYPTED = "an encrypted message"
_OTHERS_BEGIN: dict[int, str] = {
    PacketType.PUBLIC_KEY_ENCRYPTED_SESSION_KEY: _ENCRYPTED,
    PacketType.SIGNATURE: "a signature without the key it belongs to",
    PacketType.SYMMETRIC_KEY_ENCRYPTED_SESSION_KEY: _ENCRYPTED,
    PacketType.ONE_PASS_SIGNATURE: "a signed message",
    PacketType.SECRET_SUBKEY: "a subkey without its primary key",
    PacketType.COMPRESSED_DATA: "compressed OpenPGP data",
    PacketType.SYMMETRICALLY_ENCRYPTED_DATA: _ENCRYPTED,
    PacketType.LITERAL_DATA: "a message",
    PacketType.USER_ID: "a user ID without the key it belongs to",
    PacketType.PUBLIC_SUBKEY: "a subkey without its primary key",
    PacketType.USER_ATTRIBUTE: "a picture without the key it belongs to",
    PacketType.SYMMETRICALLY_ENCRYPTED_INTEGRITY_PROTECTED_DATA: _ENCRYPTED,
    PacketType.AEAD_ENCRYPTED_DATA: _ENCRYPTED,
}
# The first bytes of gzip, zip, bzip2, xz, zstd and 7z.
_COMPRESSED = (b"\x1f\x8b", b"PK\3\4", b"BZh", b"\xfd7zXZ\0", b"\x28\xb5\x2f\xfd", b"7z\xbc\xaf")
_BYTE_ORDER_MARKS = {
    codecs.BOM_UTF8: "utf-8",
    codecs.BOM_UTF16_LE: "utf-16-le",
    codecs.BOM_UTF16_BE: "utf-16-be",
}


def _ascii(data: bytes) -> bytes:
    """
    Return a text file with a byte order mark without it, in one byte a character; any other file as
    it is.
    """
    for mark, encoding in _BYTE_ORDER_MARKS.items():
        if data.startswith(mark):
            return data[len(mark) :].decode(encoding, "replace").encode("ascii", "replace")
    return data


def _require_no_pem(data: bytes) -> None:
    """Raise what fits where the text *data* is a key in another form than OpenPGP."""
    if _SSH_PUBLIC.match(data):
        raise NotASecretKey("the file holds an SSH public key, not a secret one", advice=_SSH)
    if _PEM.search(data):
        raise NotASecretKey(
            "the file holds PEM (a public key, a certificate, or a key of a kind that Ragleaf does "
            "not know), and no OpenPGP key",
            advice=_PRIVATE,
        )


def _require_keys(data: bytes) -> None:
    """Raise what fits where *data*, out of its armor, does not begin as a key does."""
    if data.startswith(_COMPRESSED):
        raise NotASecretKey(
            "the file is compressed", advice="Unpack it first and give the key file that is in it."
        )
    tag = packets.tag_of(data[0]) if data else None
    if tag in _OTHERS_BEGIN and _is_first_of(tag, data):
        raise NotASecretKey(f"the file holds {_OTHERS_BEGIN[tag]}, not a key", advice=_MESSAGE)
    if tag not in _KEYS_BEGIN:
        raise DamagedKeyFile(
            "the file is not an OpenPGP file: it begins neither with armor nor with a key packet",
            advice=_ANYTHING,
        )


def _is_first_of(tag: int, data: bytes) -> bool:
    """
    Tell whether *data* begins with a packet of type *tag*: its body begins with a version that
    there is, or the file is packets to its end. The first octet alone says little: one in three of
    all octets begins such a packet.
    """
    if tag in _FIRST_OCTETS:
        width = _header_width(data)
        return data[width : width + 1] in _FIRST_OCTETS[tag]
    try:
        packets.split(data)
    except (DamagedKeyFile, TooLarge):
        return False
    return True


def _header_width(data: bytes) -> int:
    """
    Return how many octets the header has with which *data* begins, of any form: also of a length
    that is partial or indeterminate, which packets of a key never have (RFC 9580 §4.2).
    """
    is_new = data[0] & 0x40
    if not is_new:
        return (2, 3, 5, 1)[data[0] & 3]
    length = data[1] if len(data) > 1 else 0
    if length == 255:
        return 6
    return 3 if 192 <= length < 224 else 2


# With what the body of a packet begins: a version, or of compressed and literal data an algorithm
# and a format (RFC 9580 §5).
_FIRST_OCTETS: dict[int, tuple[bytes, ...]] = {
    PacketType.PUBLIC_KEY_ENCRYPTED_SESSION_KEY: (b"\3", b"\6"),
    PacketType.SIGNATURE: (b"\3", b"\4", b"\5", b"\6"),
    PacketType.SYMMETRIC_KEY_ENCRYPTED_SESSION_KEY: (b"\4", b"\5", b"\6"),
    PacketType.ONE_PASS_SIGNATURE: (b"\3", b"\6"),
    PacketType.SECRET_SUBKEY: (b"\3", b"\4", b"\5", b"\6"),
    PacketType.COMPRESSED_DATA: (b"\0", b"\1", b"\2", b"\3"),
    PacketType.LITERAL_DATA: (b"b", b"t", b"u"),
    PacketType.PUBLIC_SUBKEY: (b"\3", b"\4", b"\5", b"\6"),
    PacketType.SYMMETRICALLY_ENCRYPTED_INTEGRITY_PROTECTED_DATA: (b"\1", b"\2"),
    PacketType.AEAD_ENCRYPTED_DATA: (b"\1",),
}


_MESSAGE = (
    "Give the secret key file. What an encrypted message holds, your OpenPGP program decrypts; a "
    "revocation certificate is printed by ragleaf revoke-sheet --certificate."
)
_SSH = "Give the private key: the file of the same name without .pub."
_PRIVATE = "Give the private key that belongs to it."
_ANYTHING = (
    "Give a secret key file. A word list, or any other file, is printed as it is by ragleaf backup "
    "--plain; --seal beside it puts a passphrase over it."
)


def _keys(data: bytes) -> tuple[Key, ...]:
    """Return the keys of binary *data*, each from its primary key packet to the next."""
    contents = packets.split(data)
    starts = [at for at, packet in enumerate(contents) if packet.tag in PRIMARY_KEY_TYPES]
    if not starts:
        raise NotASecretKey("the file holds no key")
    starts[0] = 0
    ends = [*starts[1:], len(contents)]
    return tuple(Key(contents[start:end]) for start, end in zip(starts, ends, strict=True))
