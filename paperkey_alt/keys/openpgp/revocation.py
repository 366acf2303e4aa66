"""
Key revocation signatures: `make` one with an unlocked key, `read` one that was made elsewhere (RFC
9580 §5.2, type 0x20).

A revocation is a signature packet that, once published with the certificate, ends the key for
everyone.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from paperkey_alt.errors import NotARevocation
from paperkey_alt.format.buffer import push_number, push_prefixed
from paperkey_alt.keys import pem
from paperkey_alt.keys.openpgp import armor, key_packet, material, packets, signature, signing
from paperkey_alt.keys.openpgp.rfc9580 import (
    HASHES,
    HashAlgorithm,
    PacketType,
    SignatureType,
    SubpacketType,
)

if TYPE_CHECKING:
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.rfc9580 import RevocationReason
    from paperkey_alt.keys.openpgp.unlocked import Unlocked

# OpenPGP programs put a colon before the armor of a revocation that they keep in store, so that it
# is not imported by mistake. Whoever prints it wants it read, and it stays as it is in the file.
_COLON = re.compile(rb"(?m)^[ \t]*:[ \t]*(-----BEGIN PGP )")
# The hashes with which a revocation that was made elsewhere is taken.
_HASHES_TAKEN = (
    HashAlgorithm.SHA2_256,
    HashAlgorithm.SHA2_384,
    HashAlgorithm.SHA2_512,
    HashAlgorithm.SHA2_224,
)


def make(
    primary: Unlocked, reason: RevocationReason, comment: str, created: int, salt: bytes
) -> bytes:
    """
    Return a revocation of the key *primary*, a signature packet with its header.

    *created* is in seconds since 1970; *salt* is 32 random bytes, used with version 6 keys. Raises
    UnsupportedKey where the algorithm cannot sign here.
    """
    key = primary.packet
    algorithm = material.algorithm(key.public)
    subpackets = (
        _subpacket(SubpacketType.SIGNATURE_CREATION_TIME, push_number(created, 4)),
        _subpacket(SubpacketType.ISSUER_FINGERPRINT, bytes([key.version]) + key.fingerprint),
        _subpacket(SubpacketType.REASON_FOR_REVOCATION, bytes([reason]) + comment.encode()),
    )
    unhashed = _subpacket(SubpacketType.ISSUER_KEY_ID, key.key_id) if key.version == 4 else b""
    count_bytes = signature.COUNT_BYTES[key.version]
    head = bytes([key.version, SignatureType.KEY_REVOCATION, algorithm, signing.HASH])
    hashed = head + push_prefixed(b"".join(subpackets), count_bytes)
    has_salt = key.version == 6
    digest = signature.digest(
        signing.HASH, key_packet.framed(key.public), hashed, salt if has_salt else b""
    )
    value = signing.sign(primary.clear, key.public, digest)
    body = (
        hashed
        + push_prefixed(unhashed, count_bytes)
        + digest[: signature.DIGEST_START_BYTES]
        + (push_prefixed(salt, 1) if has_salt else b"")
        + value
    )
    return _with_header(body)


def read(data: bytes, primary: KeyPacket) -> bytes:
    """
    Return the revocation of the key *primary* in a file, armored or binary, as a signature packet.

    Raises NotARevocation where the file holds something else, or a revocation that this key did not
    make or that expires (RFC 9580 §5.2.3.18); DamagedKeyFile.
    """
    # The reason in a binary one is text of somebody's.
    blocks = armor.dearmor(_COLON.sub(rb"\1", data)) if pem.is_text(data) else []
    packet = blocks[0].data if blocks else data
    if not blocks and not (data[:1] and data[0] & 0x80):
        raise NotARevocation("the file is neither armored nor binary OpenPGP data")
    body = _body(packet)
    claims = signature.parse(body)
    if claims.issuers and not claims.issuers & primary.names:
        raise NotARevocation("the revocation is of another key")
    _verify(body, primary)
    if claims.is_temporary:
        raise NotARevocation("the revocation expires by itself, and the key would be good again")
    return packet


def write(packet: bytes) -> bytes:
    """
    Return a revocation as an armored file: by common practice, no source, under the words of a
    public key block.

    Raises NotARevocation and DamagedKeyFile as `read` does, but that nothing is verified.
    """
    is_v6 = _body(packet)[0] == 6
    return armor.armor(packet, kind=armor.ArmorKind.PUBLIC_KEY, checksum=not is_v6).encode()


def _body(packet: bytes) -> bytes:
    """Return the body of the one packet there, a signature that revokes a key."""
    contents = packets.split(packet)
    if [content.tag for content in contents] != [PacketType.SIGNATURE]:
        raise NotARevocation(
            "a revocation certificate is one signature and nothing else, and this is not"
        )
    body = contents[0].body
    if signature.parse(body).kind != SignatureType.KEY_REVOCATION:
        raise NotARevocation("the signature does not revoke a key")
    return body


def _verify(body: bytes, key: KeyPacket) -> None:
    other = NotARevocation(
        "the revocation is of another kind than the key, or uses a hash that Ragleaf does not know"
    )
    forged = NotARevocation("the revocation is not signed by this key, or it is damaged")
    if body[0] != key.version:
        raise other
    try:
        made = signature.fields(body)
    except ValueError:
        raise forged from None
    if made.algorithm != material.algorithm(key.public) or made.hash not in _HASHES_TAKEN:
        raise other
    digest = signature.digest(
        HASHES[made.hash], key_packet.framed(key.public), made.hashed, made.salt
    )
    if not signing.verify(key.public, made.value, digest, made.hash):
        raise forged


def _subpacket(kind: SubpacketType, content: bytes) -> bytes:
    """RFC 9580 §5.2.3.7, with the shortest length."""
    return packets.push_new_lengths(1 + len(content))[0] + push_number(kind, 1) + content


def _with_header(body: bytes) -> bytes:
    """A packet under a new header with a length of five octets (RFC 9580 §4.2.1.3)."""
    first = push_number(packets.first_octet(PacketType.SIGNATURE), 1)
    return first + packets.push_new_lengths(len(body))[-1] + body
