"""
The keys that the tests use: the corpus as it stands, and forms of its keys that no library at hand
writes, put together here.
"""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.decrepit.ciphers import algorithms as old_ciphers
from cryptography.hazmat.decrepit.ciphers import modes
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms
from make_corpus import CORPUS, MAKERS, PASSPHRASE

from paperkey_alt.keys.openpgp import armor, key_file, key_packet, packets, rfc9580
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "vectors/openpgp-published-samples.json").read_text(
        encoding="utf-8"
    )
)
NAMES = tuple(MAKERS)


@dataclass(frozen=True)
class Sample:
    """
    A secret key and its certificate, binary, and the passphrase over the secret, None where there
    is none.
    """

    secret: bytes
    certificate: bytes
    passphrase: str | None


def sample(name):
    """Return a key of the corpus."""
    return Sample(
        binary(f"{name}.asc"),
        binary(f"{name}.cert.asc"),
        None if name.endswith("-open") else PASSPHRASE,
    )


def file(name):
    """Return a file of the corpus as it stands."""
    return (CORPUS / name).read_bytes()


def binary(name):
    """
    Return a file of the corpus out of its armor, which a library wrote and the standard library's
    base64 reads here.
    """
    rows = (
        file(name)
        .replace(b"\r\n", b"\n")
        .partition(b"\n\n")[2]
        .split(b"-----END")[0]
        .split(b"\n=")[0]
    )
    return base64.b64decode(rows)


def old_header(tag, length, width=None):
    """
    Return an old-format packet header (RFC 9580 §4.2.2) with a length of *width* bytes, the
    narrowest where that is None.
    """
    widths = (1, 2, 4)
    kind = (
        widths.index(width)
        if width
        else next(at for at, octets in enumerate(widths) if length < 1 << 8 * octets)
    )
    return bytes([0x80 | tag << 2 | kind]) + length.to_bytes(widths[kind], "big")


def new_header(tag, length):
    """Return a new-format packet header (RFC 9580 §4.2.1) with a length of five bytes."""
    return bytes([0xC0 | tag, 255]) + length.to_bytes(4, "big")


def with_headers(data, header):
    """
    Return the packets of *data* under headers that the function *header* makes from tag and length.
    """
    return b"".join(
        header(packet.tag, len(packet.body)) + packet.body for packet in packets.split(data)
    )


def with_secrets(data, secret):
    """
    Return the key *data*, binary, its secret parts replaced by what the function *secret* makes of
    each key packet.
    """
    out = []
    for packet in packets.split(data):
        key = key_packet.parse(packet) if packet.tag in rfc9580.SECRET_KEY_TYPES else None
        made = secret(key) if key else None
        out.append(
            packet
            if made is None
            else packets.with_body(packet.tag, key.public + made, like=packet)
        )
    return packets.join(out)


# What protects a secret, by RFC 9580 §3.7: usage octets and specifiers that the libraries at hand
# read and do not write.

SALT = bytes.fromhex("53616c746d617277")
IV = bytes(range(16))
COUNT_OCTET = 0x10  # 65,536 octets: RFC 9580 §3.7.1.3
HASHES = {1: "md5", 2: "sha1", 8: "sha256"}
CIPHERS = {
    2: (old_ciphers.TripleDES, 24, 8),
    3: (old_ciphers.CAST5, 16, 8),
    7: (algorithms.AES, 16, 16),
    9: (algorithms.AES, 32, 16),
}


def simple(number):
    """Return a simple S2K specifier (§3.7.1.1)."""
    return bytes([0, number])


def salted(number):
    """Return a salted S2K specifier (§3.7.1.2)."""
    return bytes([1, number]) + SALT


def iterated(number):
    """Return an iterated and salted S2K specifier (§3.7.1.3)."""
    return bytes([3, number]) + SALT + bytes([COUNT_OCTET])


def derive(specifier, octets):
    """Return the key that the S2K specifier makes of PASSPHRASE (§3.7.1)."""
    text = specifier[2:10] + PASSPHRASE.encode()
    if specifier[0] == 3:
        count = max((16 + (COUNT_OCTET & 15)) << ((COUNT_OCTET >> 4) + 6), len(text))
        text = (text * (count // len(text) + 1))[:count]
    key = b""
    for zeros in range(3):
        key += hashlib.new(HASHES[specifier[1]], bytes(zeros) + text).digest()
    return key[:octets]


def protect(usage, cipher=9, specifier=None):
    """
    Return a function that protects the secret part of an unprotected version 4 key packet (§5.5.3).
    """
    constructor, octets, block = CIPHERS[cipher]
    is_legacy = specifier is None

    def protected(key):
        fields = key.secret[1:-2]
        check = hashlib.sha1(fields).digest() if usage == 254 else key.secret[-2:]
        encryptor = Cipher(
            constructor(derive(specifier or simple(1), octets)), modes.CFB(IV[:block])
        ).encryptor()
        before = bytes([cipher]) if is_legacy else bytes([usage, cipher]) + specifier
        return before + IV[:block] + encryptor.update(fields + check)

    return protected


USAGES = {
    "usage 254, iterated": protect(254, 9, iterated(8)),
    "usage 254, salted": protect(254, 7, salted(8)),
    "usage 255, iterated": protect(255, 9, iterated(8)),
    "usage 255, simple": protect(255, 7, simple(2)),
    "usage 255, CAST5": protect(255, 3, iterated(2)),
    "usage 254, TripleDES": protect(254, 2, iterated(2)),
    "usage 7, AES-128": protect(7, 7),
    "usage 9, AES-256": protect(9, 9),
    "usage 3, CAST5": protect(3, 3),
}


def plaintext(usage):
    """
    Return a function that puts cipher 0, which is plaintext (§9.3), before the secret part of an
    unprotected version 4 key packet, with the check of the *usage* octet.
    """

    def bare(key):
        fields = key.secret[1:-2]
        check = hashlib.sha1(fields).digest() if usage == 254 else key.secret[-2:]
        return bytes([usage, 0, 3, 8]) + b"Saltmarw" + bytes([0x60]) + fields + check

    return bare


def stub(how=rfc9580.STUB_ELSEWHERE, usage=254):
    """
    Return the secret part of a version 4 packet that has none: the de-facto stub; *how* 2 is a
    card, its number behind.
    """
    return (
        bytes([usage, 9, 101, 2])
        + b"GNU"
        + bytes([how])
        + (b"\x06\xd2\x76\0\1\x24\1" if how == rfc9580.STUB_ON_CARD else b"")
    )


def armored(data, kind=armor.ArmorKind.PRIVATE_KEY, *, checksum=True):
    """Return *data* as an armored file."""
    return armor.armor(data, kind=kind, checksum=checksum).encode()


def only(data):
    """The one key of a file."""
    (key,) = key_file.read(data)
    return key


def packet_of(tag, body=b"x"):
    """A packet under a new header."""
    return packets.Packet(tag, bytes([0xC0 | tag, len(body)]), body)


def user_id(body):
    """A user ID packet."""
    return packets.Packet(PacketType.USER_ID, bytes([0xCD, len(body)]), body)


def signed(kind, created, lifetime, issuer):
    """A signature packet that says so; nobody verifies it (RFC 9580 §5.2.3)."""
    hashed = (
        b"\5\2"
        + created.to_bytes(4, "big")
        + (b"" if lifetime is None else b"\5\x09" + lifetime.to_bytes(4, "big"))
    )
    body = (
        bytes([4, kind, 22, 8])
        + len(hashed).to_bytes(2, "big")
        + hashed
        + b"\0\x0a\x09\x10"
        + issuer
        + b"\0\0"
    )
    return packets.Packet(PacketType.SIGNATURE, bytes([0xC2, len(body)]), body)


def rearranged(name, *others):
    """A key of the corpus with packets inserted behind its primary key packet."""
    key = only(sample(name).secret)
    return Key((key.packets[0], *others, *key.packets[1:]))
