"""
OpenPGP packets: `split` and `join` (RFC 9580 §4).

Headers are kept as they stand, so that `join` gives back what `split` was given, byte for byte.
Bodies are not looked into, and packets of types that nobody knows are carried along.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile, TooLarge
from paperkey_alt.format.buffer import Buffer, Truncated, push_number
from paperkey_alt.keys.openpgp.rfc9580 import PacketType
from paperkey_alt.wording import noun

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_PACKETS = 1 << 16

NAMES: dict[int, str] = {
    PacketType.SIGNATURE: "signature",
    PacketType.SECRET_KEY: "secret key",
    PacketType.PUBLIC_KEY: "public key",
    PacketType.SECRET_SUBKEY: "secret subkey",
    PacketType.MARKER: "marker",
    PacketType.TRUST: "trust",
    PacketType.USER_ID: "user ID",
    PacketType.PUBLIC_SUBKEY: "public subkey",
    PacketType.USER_ATTRIBUTE: "user attribute",
    PacketType.PADDING: "padding",
}

_IS_PACKET = 0x80
_IS_NEW = 0x40
_LAST_OLD_TAG = 15
_INDETERMINATE = 3
_TWO_OCTETS_FROM = 192
_PARTIAL_FROM = 224
_FIVE_OCTETS = 255
_LONGEST_TWO_OCTETS = 8383  # RFC 9580 §4.2.1.2
_OLD_WIDTHS = (1, 2, 4)


class Malformed(ValueError):
    """A field in the body of a packet says what cannot be."""


@dataclass(frozen=True, slots=True)
class Packet:
    """
    One packet: its type (*tag*, 1 to 63), its header as it stands (2 to 6 bytes), and its body.

    ValueError where the header does not announce this tag and this length.
    """

    tag: int
    header: bytes
    body: bytes

    def __post_init__(self) -> None:
        buffer = Buffer(self.header)
        try:
            announced = _pull_header(buffer)
        except DamagedKeyFile as error:
            raise ValueError(f"not a packet header: {error}") from None
        if announced != (self.tag, len(self.body)) or buffer.left:
            raise ValueError("the header announces another packet")

    @property
    def name(self) -> str:
        """The packet type in words, ``packet of type 60`` where there are none."""
        return f"{NAMES[self.tag]} packet" if self.tag in NAMES else f"packet of type {self.tag}"


def split(data: bytes) -> tuple[Packet, ...]:
    """
    Return the packets of *data*.

    Raises DamagedKeyFile, with the offset, for bytes that begin no packet, for a packet that
    reaches past the end, and for partial and indeterminate lengths, which are for data packets
    alone (RFC 9580 §4.2.1.4); TooLarge above 65,536 packets.
    """
    buffer = Buffer(data)
    packets: list[Packet] = []
    while buffer.left:
        if len(packets) == MOST_PACKETS:
            raise TooLarge(
                f"the file has more than {MOST_PACKETS} packets",
                advice="Export the one key alone and give that file.",
            )
        start = buffer.at
        tag, length = _pull_header(buffer)
        header = buffer.since(start)
        if length > buffer.left:
            raise DamagedKeyFile(
                f"the packet at byte {start} claims a body of {length} {noun(length, 'byte')}, "
                f"and {buffer.left} follow: the file is cut short or altered"
            )
        packets.append(Packet(tag, header, buffer.pull_bytes(length)))
    return tuple(packets)


def join(packets: Iterable[Packet]) -> bytes:
    """Return the packets as bytes, each header as it stands."""
    return b"".join(packet.header + packet.body for packet in packets)


def with_body(tag: int, body: bytes, like: Packet) -> Packet:
    """
    Return a packet of type *tag* with *body* under a header in the style of the packet *like*.

    Same header format, old or new, and a length field of the same width; of the next width that
    holds the length where that is too narrow. So a secret packet made from a public one gets the
    header that the program behind the public one gives it.
    """
    headers = _headers(tag, len(body), like)
    same_or_wider = [header for header in headers if len(header) >= len(like.header)]
    return Packet(tag, (same_or_wider or headers)[0], body)


def with_shorter_body(tag: int, body: bytes, like: Packet) -> Packet:
    """
    Return a packet of type *tag* with *body*, which is no longer than that of the packet *like*,
    under a header in its style.

    Same header format, and the widest length field that is not wider; of the next narrower width
    where one of the same cannot be written. `with_body` makes the header of *like* of it again,
    where that was as narrow as it can be.
    """
    not_wider = [
        header for header in _headers(tag, len(body), like) if len(header) <= len(like.header)
    ]
    return Packet(tag, not_wider[-1], body)


def first_octet(tag: int) -> int:
    """
    Return the first octet of a header of the new format, which signatures and AEAD put for the
    packet type (RFC 9580 §4.2).
    """
    return _IS_PACKET | _IS_NEW | tag


def _headers(tag: int, length: int, like: Packet) -> list[bytes]:
    """
    Return the headers of a packet of type *tag* with a body of *length* bytes, in the format of
    that of the packet *like*, old or new, as far as it can announce this type; narrowest first.
    """
    if like.header[0] & _IS_NEW or tag > _LAST_OLD_TAG:
        return [bytes([first_octet(tag)]) + encoded for encoded in push_new_lengths(length)]
    return [
        bytes([_IS_PACKET | tag << 2 | _OLD_WIDTHS.index(len(encoded))]) + encoded
        for encoded in _push_old_lengths(length)
    ]


def pull_new_length(buffer: Buffer) -> int:
    """
    Return a length in one octet, two or five, as packets (RFC 9580 §4.2.1) and signature subpackets
    (§5.2.3.7) have it; raises Truncated. Partial lengths (§4.2.1.4) are for the caller to notice.
    """
    first = buffer.pull_number(1)
    if first < _TWO_OCTETS_FROM:
        return first
    if first < _FIVE_OCTETS:
        return ((first - _TWO_OCTETS_FROM) << 8) + buffer.pull_number(1) + _TWO_OCTETS_FROM
    return buffer.pull_number(4)


def push_new_lengths(length: int) -> list[bytes]:
    """Return the encodings that `pull_new_length` reads as *length*, narrowest first."""
    encoded = [bytes([_FIVE_OCTETS]) + push_number(length, 4)]
    beyond = length - _TWO_OCTETS_FROM
    if 0 <= beyond <= _LONGEST_TWO_OCTETS - _TWO_OCTETS_FROM:
        encoded.insert(0, push_number((_TWO_OCTETS_FROM << 8) + beyond, 2))
    if beyond < 0:
        encoded.insert(0, push_number(length, 1))
    return encoded


def _push_old_lengths(length: int) -> list[bytes]:
    """Return the encodings of a length in the old format, narrowest first (RFC 9580 §4.2.2)."""
    return [push_number(length, width) for width in _OLD_WIDTHS if length >> 8 * width == 0]


def _pull_header(buffer: Buffer) -> tuple[int, int]:
    """Return the type and the length of the body of the packet that begins here."""
    at = buffer.at
    first = buffer.pull_number(1) if buffer.left else 0
    if not first & _IS_PACKET:
        raise DamagedKeyFile(f"byte {at} begins no OpenPGP packet")
    tag = tag_of(first)
    if tag == 0:
        raise DamagedKeyFile(f"the packet at byte {at} is of type 0, which does not exist")
    try:
        if first & _IS_NEW:
            return tag, _pull_whole_length(buffer, at)
        return tag, _pull_old_length(buffer, first, at)
    except Truncated:
        raise DamagedKeyFile(
            f"the file ends within the header of the packet at byte {at}: it is cut short"
        ) from None


def tag_of(first: int) -> int:
    """
    Return the packet type in the first octet of a header, old or new (RFC 9580 §4.2); 0, which is
    no type, where the octet begins no header.
    """
    if not first & _IS_PACKET:
        return 0
    return first & 0x3F if first & _IS_NEW else first >> 2 & 0x0F


def _pull_whole_length(buffer: Buffer, at: int) -> int:
    if _PARTIAL_FROM <= buffer.ahead().pull_number(1) < _FIVE_OCTETS:
        raise DamagedKeyFile(
            f"the packet at byte {at} is split into pieces (partial lengths), which no packet of "
            "a key may be"
        )
    return pull_new_length(buffer)


def _pull_old_length(buffer: Buffer, first: int, at: int) -> int:
    if first & 3 == _INDETERMINATE:
        raise DamagedKeyFile(
            f"the packet at byte {at} has no stated length (indeterminate), which no packet of a "
            "key may have"
        )
    return buffer.pull_number(_OLD_WIDTHS[first & 3])
