"""Packets split and joined, headers that announce what cannot be, and headers made after others."""

import tracemalloc

import pysequoia
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pysequoia.packet import PacketPile
from samples import NAMES, new_header, old_header, sample

from paperkey_alt.errors import DamagedKeyFile, RagleafError, TooLarge
from paperkey_alt.keys.openpgp import packets
from paperkey_alt.keys.openpgp.packets import Packet, join, split, with_body
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

tags = st.integers(1, 63)
bodies = st.binary(max_size=300) | st.integers(0, 9000).map(bytes)


@st.composite
def anything(draw):
    """A packet under any header that can announce it."""
    tag, body = draw(tags), draw(bodies)
    headers = [new_header(tag, len(body))]
    if len(body) < 192:
        headers.append(bytes([0xC0 | tag, len(body)]))
    if tag < 16:
        headers += [
            old_header(tag, len(body), width) for width in (1, 2, 4) if len(body) < 1 << 8 * width
        ]
    return Packet(tag, draw(st.sampled_from(headers)), body)


@given(st.lists(anything(), max_size=5))
def test_both_ways(given_packets):
    """Packets come back from their bytes, headers as they stood, and the bytes from them."""
    data = join(given_packets)
    assert split(data) == tuple(given_packets)
    assert join(split(data)) == data


@pytest.mark.parametrize("name", NAMES)
def test_packets_as_another_program_sees_them(name):
    """Types and bodies are those that an OpenPGP library finds."""
    for data in (sample(name).secret, sample(name).certificate):
        theirs = [(int(packet.tag), bytes(packet.body)) for packet in PacketPile.from_bytes(data)]
        assert [(packet.tag, packet.body) for packet in split(data)] == theirs


# RFC 9580 §4.2.3 (§4.2.1 in number from memory): the worked examples of packet lengths.
LENGTHS = {
    "one octet": (bytes([0x64]), 100),
    "two octets": (bytes([0xC5, 0xFB]), 1723),
    "five octets": (bytes([0xFF, 0x00, 0x01, 0x86, 0xA0]), 100000),
}


@pytest.mark.parametrize("name", LENGTHS)
def test_the_lengths_of_the_standard(name):
    """The examples of RFC 9580, with a body as long, and one byte too short."""
    field, length = LENGTHS[name]
    (packet,) = split(b"\xcd" + field + bytes(length))
    assert (packet.tag, len(packet.body)) == (PacketType.USER_ID, length)
    with pytest.raises(
        DamagedKeyFile, match=f"claims a body of {length} bytes, and {length - 1} follow"
    ):
        split(b"\xcd" + field + bytes(length - 1))


DAMAGED = {
    "a byte that begins no packet": (b"\xcd\1a" + b"\x30", "byte 3 begins no OpenPGP packet"),
    "type 0": (b"\xc0\0", "type 0"),
    "type 0, old": (b"\x80\0", "type 0"),
    "no length": (b"\xcd", "ends within the header of the packet at byte 0"),
    "no length, old": (b"\xcd\0\xb4", "ends within the header of the packet at byte 2"),
    "half a length of two": (b"\xcd\xc0", "ends within the header"),
    "half a length of five": (b"\xcd\xff\0\0\0", "ends within the header"),
    "half an old length of four": (b"\xb6\0\0\0", "ends within the header"),
    "partial lengths": (b"\xcd\xe1aa\0", "partial"),
    "the longest partial length": (b"\xcd\xfe", "partial"),
    "an indeterminate length": (b"\xb7aaaa", "indeterminate"),
    "a body one byte short": (b"\xcd\4abc", "claims a body of 4 bytes, and 3 follow"),
    "4 GiB": (b"\xc5\xff\xff\xff\xff\xffaaaa", "claims a body of 4294967295 bytes, and 4 follow"),
    "4 GiB, old": (b"\x96\xff\xff\xff\xffaaaaa", "claims a body of 4294967295 bytes, and 5 follow"),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_damage_is_named_with_its_offset(name):
    """What is no packet is refused, and the message says where it stands."""
    data, words = DAMAGED[name]
    with pytest.raises(DamagedKeyFile, match=words):
        split(data)


@pytest.mark.parametrize("name", ["4 GiB", "4 GiB, old"])
def test_a_claim_costs_no_memory(name):
    """Ten bytes that claim 4 GiB are refused within a mebibyte."""
    data, _ = DAMAGED[name]
    assert len(data) == 10
    tracemalloc.start()
    try:
        with pytest.raises(DamagedKeyFile):
            split(data)
        assert tracemalloc.get_traced_memory()[1] < 1 << 20
    finally:
        tracemalloc.stop()


@pytest.mark.long
def test_more_packets_than_a_key_file_has():
    """As many packets as the limit are split, one more is refused."""
    assert len(split(b"\xcd\0" * packets.MOST_PACKETS)) == packets.MOST_PACKETS
    with pytest.raises(TooLarge, match="more than 65536 packets"):
        split(b"\xcd\0" * (packets.MOST_PACKETS + 1))


@given(st.binary(max_size=60))
def test_noise_is_packets_or_an_error_of_ours(data):
    """Arbitrary bytes are split and joined exactly, or refused; no other exception leaves."""
    try:
        found = split(data)
    except RagleafError:
        return
    assert join(found) == data


MADE = {
    "new, one octet": (b"\xc6\x0a", 10, 5, 20, b"\xc5\x14"),
    "new, one octet is too narrow": (b"\xc6\xbf", 191, 5, 192, b"\xc5\xc0\0"),
    "new, two octets": (b"\xce\xc0\x00", 192, 7, 8383, b"\xc7\xdf\xff"),
    "new, two octets are too narrow": (b"\xc6\xc0\x00", 192, 5, 8384, b"\xc5\xff\0\0\x20\xc0"),
    "new, two octets are too wide": (b"\xc6\xc0\x00", 192, 5, 191, b"\xc5\xff\0\0\0\xbf"),
    "new, five octets": (b"\xc6\xff\0\0\0\x0a", 10, 5, 20, b"\xc5\xff\0\0\0\x14"),
    "old, one octet": (b"\x98\x0a", 10, 5, 20, b"\x94\x14"),
    "old, one octet is too narrow": (b"\x98\xff", 255, 5, 256, b"\x95\1\0"),
    "old, two octets": (b"\xb9\0\x0a", 10, 7, 20, b"\x9d\0\x14"),
    "old, two octets are too narrow": (b"\x99\1\0", 256, 5, 65536, b"\x96\0\1\0\0"),
    "old, four octets": (b"\x9a\0\0\0\x0a", 10, 5, 20, b"\x96\0\0\0\x14"),
    "old, for a type that only a new header can name": (b"\x98\x0a", 10, 17, 20, b"\xd1\x14"),
}


@pytest.mark.parametrize("name", MADE)
def test_a_header_after_another(name):
    """
    A new body gets a header in the format and width of the packet it is made after, wider only
    where it must be.
    """
    like, length, tag, new_length, header = MADE[name]
    (model,) = split(like + bytes(length))
    made = with_body(tag, bytes(new_length), like=model)
    assert (made.tag, made.header, len(made.body)) == (tag, header, new_length)


@given(anything(), tags, bodies)
def test_a_made_packet_is_one(like, tag, body):
    """Whatever it is made after, it is split as it was made."""
    made = with_body(tag, body, like=like)
    assert split(join([made])) == (made,)


@pytest.mark.parametrize(
    ("tag", "header", "body"),
    [
        (13, b"", b""),
        (13, b"\xcd\1", b""),
        (6, b"\xcd\0", b""),
        (13, b"\xcd\0\0", b""),
        (13, b"\xb7", b"a"),
    ],
)
def test_no_packet_holds_an_invalid_value(tag, header, body):
    """A packet whose header announces another one cannot exist."""
    with pytest.raises(ValueError, match="header"):
        Packet(tag, header, body)


def test_names():
    """A packet is named in words where there are any."""
    assert Packet(21, b"\xd5\0", b"").name == "padding packet"
    assert Packet(60, b"\xfc\0", b"").name == "packet of type 60"


def test_another_program_reads_joined_packets():
    """
    A certificate under five-octet and old headers is the same certificate to an OpenPGP library.
    """
    data = sample("nist-p256").certificate
    (expected,) = {pysequoia.Cert.from_bytes(data).fingerprint}
    for header in (old_header, new_header):
        joined = b"".join(
            header(packet.tag, len(packet.body)) + packet.body for packet in split(data)
        )
        assert pysequoia.Cert.from_bytes(join(split(joined))).fingerprint == expected
