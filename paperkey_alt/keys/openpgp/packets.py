"""
OpenPGP packets: `split` and `join` (RFC 9580 §4).

Headers are kept as they stand, so that `join` gives back what `split` was given, byte for byte.
Bodies are not looked into, and packets of types that nobody knows are carried along.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile, TooLarge

if TYPE_CHECKING:
    from collections.abc import Iterable

SIGNATURE = 2
SECRET_KEY = 5
PUBLIC_KEY = 6
SECRET_SUBKEY = 7
MARKER = 10
TRUST = 12
USER_ID = 13
PUBLIC_SUBKEY = 14
USER_ATTRIBUTE = 17
PADDING = 21

MOST_PACKETS = 1 << 16

NAMES = {
    SIGNATURE: "signature",
    SECRET_KEY: "secret key",
    PUBLIC_KEY: "public key",
    SECRET_SUBKEY: "secret subkey",
    MARKER: "marker",
    TRUST: "trust",
    USER_ID: "user ID",
    PUBLIC_SUBKEY: "public subkey",
    USER_ATTRIBUTE: "user attribute",
    PADDING: "padding",
}

_IS_PACKET = 0x80
_IS_NEW = 0x40
_LAST_OLD_TAG = 15
_INDETERMINATE = 3
_TWO_OCTETS_FROM = 192
_PARTIAL_FROM = 224
_FIVE_OCTETS = 255
_LONGEST_TWO_OCTETS = 8383  # RFC 9580 §4.2.1.2


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
        try:
            announced = _read_header(self.header, 0)
        except DamagedKeyFile as error:
            raise ValueError(f"not a packet header: {error}") from None
        if announced != (self.tag, len(self.header), len(self.body)):
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
    found: list[Packet] = []
    at = 0
    while at < len(data):
        if len(found) == MOST_PACKETS:
            raise TooLarge(
                f"the file has more than {MOST_PACKETS} packets",
                advice="Export the one key alone and give that file.",
            )
        tag, header_length, length = _read_header(data, at)
        start = at + header_length
        if length > len(data) - start:
            raise DamagedKeyFile(
                f"the packet at byte {at} claims a body of {length} bytes, and "
                f"{len(data) - start} follow: "
                "the file is cut short or altered"
            )
        found.append(Packet(tag, data[at:start], data[start : start + length]))
        at = start + length
    return tuple(found)


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
    is_old = not like.header[0] & _IS_NEW and tag <= _LAST_OLD_TAG
    widths = [encoded for encoded in _lengths(len(body), is_old=is_old) if encoded is not None]
    same_or_wider = [encoded for encoded in widths if len(encoded) >= len(like.header) - 1]
    length = (same_or_wider or widths)[0]
    first = (
        _IS_PACKET | tag << 2 | _OLD_WIDTHS.index(len(length))
        if is_old
        else _IS_PACKET | _IS_NEW | tag
    )
    return Packet(tag, bytes([first]) + length, body)


_OLD_WIDTHS = (1, 2, 4)


def _lengths(length: int, *, is_old: bool) -> tuple[bytes | None, ...]:
    """Return the encodings of a length, narrowest first (RFC 9580 §4.2.1, §4.2.2)."""
    if is_old:
        return tuple(
            length.to_bytes(width, "big") if length >> 8 * width == 0 else None
            for width in _OLD_WIDTHS
        )
    beyond = length - _TWO_OCTETS_FROM
    return (
        bytes([length]) if length < _TWO_OCTETS_FROM else None,
        bytes([_TWO_OCTETS_FROM + (beyond >> 8), beyond & 0xFF])
        if 0 <= beyond <= _LONGEST_TWO_OCTETS - _TWO_OCTETS_FROM
        else None,
        bytes([_FIVE_OCTETS]) + length.to_bytes(4, "big"),
    )


def _read_header(data: bytes, at: int) -> tuple[int, int, int]:
    """Return tag, header length and body length of the packet at *at*."""
    first = data[at] if at < len(data) else 0
    if not first & _IS_PACKET:
        raise DamagedKeyFile(f"byte {at} begins no OpenPGP packet")
    is_new = bool(first & _IS_NEW)
    tag = first & 0x3F if is_new else first >> 2 & 0x0F
    if tag == 0:
        raise DamagedKeyFile(f"the packet at byte {at} is of type 0, which does not exist")
    width = _new_width(data, at) if is_new else _old_width(first, at)
    field = data[at + 1 : at + 1 + width]
    if len(field) < width:
        raise DamagedKeyFile(
            f"the file ends within the header of the packet at byte {at}: it is cut short"
        )
    return tag, 1 + width, _new_length(field) if is_new else int.from_bytes(field, "big")


def _old_width(first: int, at: int) -> int:
    if first & 3 == _INDETERMINATE:
        raise DamagedKeyFile(
            f"the packet at byte {at} has no stated length (indeterminate), which no packet of a "
            "key may have"
        )
    return _OLD_WIDTHS[first & 3]


def _new_width(data: bytes, at: int) -> int:
    octet = data[at + 1] if at + 1 < len(data) else 0
    if octet < _TWO_OCTETS_FROM:
        return 1
    if octet < _PARTIAL_FROM:
        return 2
    if octet < _FIVE_OCTETS:
        raise DamagedKeyFile(
            f"the packet at byte {at} is dealt into pieces (partial lengths), which no packet of "
            "a key may be"
        )
    return 5


def _new_length(field: bytes) -> int:
    if len(field) == 1:
        return field[0]
    if len(field) == 2:
        return ((field[0] - _TWO_OCTETS_FROM) << 8) + field[1] + _TWO_OCTETS_FROM
    return int.from_bytes(field[1:], "big")
