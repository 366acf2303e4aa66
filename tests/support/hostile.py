"""
Files and keys that somebody makes who means harm: each is made here, none was found elsewhere.
"""

import base64
import random

from samples import only

from paperkey_alt.format import head_line, lines
from paperkey_alt.format.head_line import Head
from paperkey_alt.keys.openpgp import packets
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

# Every row by which some kind of file is told.
LABELS = tuple(
    row.encode()
    for row in (
        *(
            f"-----BEGIN {label}-----"
            for label in (
                "PRIVATE KEY",
                "ENCRYPTED PRIVATE KEY",
                "RSA PRIVATE KEY",
                "EC PRIVATE KEY",
                "DSA PRIVATE KEY",
                "OPENSSH PRIVATE KEY",
                "CERTIFICATE",
                "NOTE",
                "PGP PUBLIC KEY BLOCK",
                "PGP PRIVATE KEY BLOCK",
                "PGP MESSAGE",
                "PGP SIGNATURE",
                "PGP SIGNED MESSAGE",
                "PGP MESSAGE, PART 1/2",
            )
        ),
        "-----END PGP PUBLIC KEY BLOCK-----",
        "ssh-rsa AAAAB3Nz",
        "ssh-ed25519 AAAAC3Nz",
        "ecdsa-sha2-nistp256 AAAAE2Vj",
        "sk-ssh-ed25519@saltmarrow.example AAAAGnNr",
        "RAGLEAF 1",
        "%PDF-1.7",
    )
)


def packet(tag, body):
    """A packet of any length under a new header."""
    return packets.Packet(tag, bytes([0xC0 | tag, 255]) + len(body).to_bytes(4, "big"), body)


def _subpacket(kind, content):
    """A subpacket of a signature or of a user attribute (RFC 9580 §5.2.3.7, §5.12)."""
    return b"\xff" + (len(content) + 1).to_bytes(4, "big") + bytes([kind]) + content


def _notation(text):
    """An unsigned certification with *text* as the value of a notation (RFC 9580 §5.2.3.24)."""
    name = b"note@saltmarrow.example"
    fields = b"\x80\0\0\0" + len(name).to_bytes(2, "big") + len(text).to_bytes(2, "big")
    hashed = _subpacket(2, bytes(4)) + _subpacket(20, fields + name + text)
    body = bytes([4, 0x10, 22, 8]) + len(hashed).to_bytes(2, "big") + hashed
    return packet(PacketType.SIGNATURE, body + b"\0\x0a\x09\x10" + bytes(8) + b"\0\0")


# What anyone can add to a certificate, by the packet that it stands in.
ADDITIONS = {
    "user ID": lambda text: packet(PacketType.USER_ID, text),
    "notation": _notation,
    "attribute": lambda text: packet(PacketType.USER_ATTRIBUTE, _subpacket(1, text)),
    "unknown packet": lambda text: packet(60, text),
}


def with_additions(data, place, texts):
    """Return a binary key file with *texts* added, each in a packet of the kind *place*."""
    key = only(data)
    added = (ADDITIONS[place](text) for text in texts)
    return packets.join(Key((*key.packets, *added)).packets)


def heads_and_junk(heads=200, junk=1000):
    """Text of many head lines, each of a set of its own, and rows that are almost lines."""
    chance = random.Random(15)
    marks = ["".join(chance.choices(lines.ALPHABET, k=5)) for _ in range(heads)]
    rows = [
        lines.encode(
            head_line.pack(Head(data_lines=500, spare_lines=500, padding=0, mark=mark)),
            lines.NO_MARK,
        )
        for mark in marks
    ]
    return "\n".join(
        [f"0 {row}" for row in rows]
        + [f"{1 + at % 999} {''.join(chance.choices(lines.ALPHABET, k=29))}" for at in range(junk)]
    ).encode()


def base64_text(size):
    """Random base64 in rows of 76 characters, of about *size* bytes."""
    chance = random.Random(15)
    block = base64.encodebytes(chance.randbytes(57 * 4096))
    return block * (size // len(block) + 1)


def words_text(size):
    """One row of numbers and groups that may each begin a line, of about *size* bytes."""
    return b"7 ABCD " * (size // 7)


def short_rows(size):
    """Rows of a number each, of about *size* bytes."""
    return b"12\n" * (size // 3)
