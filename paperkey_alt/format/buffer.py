"""
Fields one behind another in bytes: `Buffer` pulls them out from front to back, the `push_…`
functions of the same names write what it pulls (docs/format.md, "Payload").

Numbers are unsigned and big-endian, as everywhere in this format and in RFC 9580 §3.1. A field that
reaches past the end is Truncated, and nothing of it is handed on.
"""

from __future__ import annotations


class Truncated(ValueError):
    """The bytes end inside a field."""


class Buffer:
    """
    *data* with a place *at* in it, counted in bytes from 0, which each pull moves behind what it
    returns. A pull that raises leaves the place where it was.
    """

    def __init__(self, data: bytes, at: int = 0) -> None:
        if not 0 <= at <= len(data):
            raise ValueError(f"place {at} is not in {len(data)} bytes")
        self._data = data
        self._at = at

    @property
    def at(self) -> int:
        """The place of the next byte to be pulled."""
        return self._at

    @property
    def left(self) -> int:
        """The number of bytes from the place to the end."""
        return len(self._data) - self._at

    def ahead(self) -> Buffer:
        """Return a second buffer at the same place, to look ahead with."""
        return Buffer(self._data, self._at)

    def since(self, start: int) -> bytes:
        """Return the bytes between the earlier place *start* and this one."""
        return self._data[start : self._at]

    def pull_bytes(self, count: int) -> bytes:
        """Return the next *count* bytes; raises Truncated where there are fewer."""
        if count < 0:
            raise ValueError("a field has no fewer than 0 bytes")
        if count > self.left:
            raise Truncated("it ends within its fields")
        start = self._at
        self._at += count
        return self.since(start)

    def pull_number(self, width: int) -> int:
        """Return the number in the next *width* bytes; raises Truncated."""
        return int.from_bytes(self.pull_bytes(width), "big")

    def pull_prefixed(self, width: int) -> bytes:
        """Return the bytes behind their count, a number of *width* bytes; raises Truncated."""
        inside = self.ahead()
        content = inside.pull_bytes(inside.pull_number(width))
        self._at = inside.at
        return content

    def pull_rest(self) -> bytes:
        """Return all bytes that are left."""
        return self.pull_bytes(self.left)


def push_number(value: int, width: int) -> bytes:
    """Return *value* in *width* bytes; raises ValueError where it does not fit."""
    if not 0 <= value < 1 << 8 * width:
        raise ValueError(f"a number of {width} bytes is 0 to {(1 << 8 * width) - 1}")
    return value.to_bytes(width, "big")


def push_prefixed(data: bytes, width: int) -> bytes:
    """Return *data* behind its length, a number of *width* bytes; raises ValueError past it."""
    return push_number(len(data), width) + data
