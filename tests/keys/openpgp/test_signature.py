"""What signature packets say, against an OpenPGP library, and signatures that say nothing."""

import base64

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pysequoia.packet import PacketPile, SignatureType, Tag
from samples import NAMES, PUBLISHED, sample

from paperkey_alt.keys.openpgp import packets, signature
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

# RFC 9580 §5.2.1
KINDS = {
    0x13: SignatureType.PositiveCertification,
    0x18: SignatureType.SubkeyBinding,
    0x1F: SignatureType.DirectKey,
}
NOTHING = signature.Claims(None, frozenset(), 0, None)


@pytest.mark.parametrize("name", NAMES)
def test_signatures_as_another_program_sees_them(name):
    """
    Kind, issuers, time and key expiration of every signature of the corpus are those that an
    OpenPGP library finds.
    """
    data = sample(name).certificate
    ours = [
        signature.parse(packet.body)
        for packet in packets.split(data)
        if packet.tag == PacketType.SIGNATURE
    ]
    theirs = [packet for packet in PacketPile.from_bytes(data) if packet.tag == Tag.Signature]
    assert len(ours) == len(theirs) > 0
    for mine, other in zip(ours, theirs, strict=True):
        assert KINDS[mine.kind] == other.signature_type
        assert bytes.fromhex(other.issuer_fingerprint) in mine.issuers
        assert mine.created == int(other.signature_created.timestamp())
        assert (mine.lifetime or None) == (
            other.key_validity_period and int(other.key_validity_period.total_seconds())
        )


def test_the_signature_of_the_standard():
    """
    RFC 9580 A.2: a binary signature of 2015-09-16 by the key of A.1, which it names by key ID
    alone.
    """
    (packet,) = packets.split(signature_of_a2())
    key_id = bytes.fromhex(PUBLISHED["rfc9580_a1_fingerprint"])[-8:]
    assert signature.parse(packet.body) == signature.Claims(
        0, frozenset([key_id]), 0x55F95F95, None
    )


def signature_of_a2():
    """The signature packet of RFC 9580 A.2."""
    text = PUBLISHED["rfc9580_a2_signature"]
    return base64.b64decode(text)


def v4(hashed=b"", unhashed=b"", kind=0x13):
    """The body of a version 4 signature with these subpacket areas (RFC 9580 §5.2.3)."""
    areas = len(hashed).to_bytes(2, "big") + hashed + len(unhashed).to_bytes(2, "big") + unhashed
    return bytes([4, kind, 1, 8]) + areas + b"\0\0\0\1\1"


ISSUER = b"\x09\x10" + b"k" * 8
CASES = {
    "version 3": (
        b"\3\5\x10" + b"\0\0\0\7" + b"k" * 8 + b"\1\x08\0\0",
        signature.Claims(0x10, frozenset([b"k" * 8]), 7, None),
    ),
    "an issuer in the unhashed area": (
        v4(unhashed=ISSUER),
        signature.Claims(0x13, frozenset([b"k" * 8]), 0, None),
    ),
    "a critical key expiration": (
        v4(b"\5\x89\0\0\1\0"),
        signature.Claims(0x13, frozenset(), 0, 256),
    ),
    "a key expiration that is not hashed": (
        v4(b"", b"\5\x09\0\0\1\0"),
        signature.Claims(0x13, frozenset(), 0, None),
    ),
    "a length of two octets": (
        v4(b"\xc0\x0a\x14" + b"n" * 201 + ISSUER),
        signature.Claims(0x13, frozenset([b"k" * 8]), 0, None),
    ),
    "a length of five octets": (
        v4(b"\xff\0\0\0\x09" + ISSUER[1:]),
        signature.Claims(0x13, frozenset([b"k" * 8]), 0, None),
    ),
    "nothing": (b"", NOTHING),
    "an unknown version": (b"\7" + v4(ISSUER)[1:], NOTHING),
    "cut in a subpacket": (v4(ISSUER[:-1]), NOTHING),
    "a subpacket of no length": (v4(b"\0"), NOTHING),
    "cut in an area": (v4(ISSUER)[:12], NOTHING),
    "cut in a version 3 signature": (b"\3\5\x10\0\0\0\7kkkk", NOTHING),
}


@pytest.mark.parametrize("name", CASES)
def test_what_a_signature_says(name):
    """By the layouts of RFC 9580 §5.2.2 and §5.2.3; what cannot be understood says nothing."""
    body, expected = CASES[name]
    assert signature.parse(body) == expected


@given(
    st.binary(max_size=80)
    | st.tuples(st.sampled_from(b"\2\3\4\5\6"), st.binary(max_size=80)).map(
        lambda of: bytes([of[0]]) + of[1]
    )
)
def test_noise_says_something_or_nothing(body):
    """Arbitrary bytes never raise."""
    assert isinstance(signature.parse(body), signature.Claims)
