"""
The kinds of field that payloads are made of, each a codec: `pull` takes its value out of a Buffer,
`push` returns the bytes that it pulls (docs/format.md, "Payload").

A record is a table of names and codecs, from which both ways run.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

from paperkey_alt.format.buffer import Buffer, push_number, push_prefixed

T = TypeVar("T")


class Codec(Protocol[T]):
    """One kind of field; `pull` raises ValueError for bytes that cannot be one."""

    def pull(self, buffer: Buffer) -> T:
        """Return the value that stands at the place of *buffer*, which moves behind it."""

    def push(self, value: T) -> bytes:
        """Return *value* as `pull` takes it."""


@dataclass(frozen=True)
class Number:
    """A number of *width* bytes."""

    width: int

    def pull(self, buffer: Buffer) -> int:
        """Return the number."""
        return buffer.pull_number(self.width)

    def push(self, value: int) -> bytes:
        """Return *value* in *width* bytes."""
        return push_number(value, self.width)


@dataclass(frozen=True)
class Integer:
    """A number of any length: its bytes, leading zeros left out, behind a length of *width*."""

    width: int

    def pull(self, buffer: Buffer) -> int:
        """Return the number; leading zeros may stand before it."""
        return int.from_bytes(buffer.pull_prefixed(self.width), "big")

    def push(self, value: int) -> bytes:
        """Return *value* behind its length."""
        return push_prefixed(value.to_bytes((value.bit_length() + 7) // 8, "big"), self.width)


@dataclass(frozen=True)
class Octets:
    """*count* bytes."""

    count: int

    def pull(self, buffer: Buffer) -> bytes:
        """Return the bytes."""
        return buffer.pull_bytes(self.count)

    def push(self, value: bytes) -> bytes:
        """Return *value*, whose length must be *count*."""
        if len(value) != self.count:
            raise ValueError(f"the field is {self.count} bytes, not {len(value)}")
        return value


@dataclass(frozen=True)
class Prefixed:
    """Bytes behind their length, a number of *width* bytes."""

    width: int

    def pull(self, buffer: Buffer) -> bytes:
        """Return the bytes."""
        return buffer.pull_prefixed(self.width)

    def push(self, value: bytes) -> bytes:
        """Return *value* behind its length."""
        return push_prefixed(value, self.width)


@dataclass(frozen=True)
class Text:
    """Text in UTF-8 behind its length in bytes, a number of *width* bytes."""

    width: int

    def pull(self, buffer: Buffer) -> str:
        """Return the text."""
        return buffer.pull_prefixed(self.width).decode()

    def push(self, value: str) -> bytes:
        """Return *value* behind its length."""
        return push_prefixed(value.encode(), self.width)


@dataclass(frozen=True)
class Rest:
    """All bytes to the end."""

    def pull(self, buffer: Buffer) -> bytes:
        """Return the bytes, none where the end is reached."""
        return buffer.pull_rest()

    def push(self, value: bytes) -> bytes:
        """Return *value* as it is."""
        return value


@dataclass(frozen=True)
class ToEnd(Generic[T]):
    """Several *item*s one behind another, to the end."""

    item: Codec[T]

    def pull(self, buffer: Buffer) -> tuple[T, ...]:
        """Return as many as there are."""
        found = []
        while buffer.left:
            found.append(self.item.pull(buffer))
        return tuple(found)

    def push(self, value: tuple[T, ...]) -> bytes:
        """Return the items of *value*."""
        return b"".join(map(self.item.push, value))


Table = tuple[tuple[str, Codec[Any]], ...]
"""The fields of a record in the order of their bytes: name and codec."""


def pull_fields(fields: Table, buffer: Buffer) -> dict[str, Any]:
    """Return the value of each of *fields* by its name."""
    return {name: codec.pull(buffer) for name, codec in fields}


def push_fields(fields: Table, record: object) -> bytes:
    """Return *fields* one behind another; the values are the attributes of *record*."""
    return b"".join(codec.push(getattr(record, name)) for name, codec in fields)


@dataclass(frozen=True)
class Record(Generic[T]):
    """A value of the class *makes*, whose attributes are *fields*."""

    makes: type[T]
    fields: Table

    def pull(self, buffer: Buffer) -> T:
        """Return the value; raises ValueError where *makes* refuses its fields."""
        return self.makes(**pull_fields(self.fields, buffer))

    def push(self, value: T) -> bytes:
        """Return the fields of *value*."""
        return push_fields(self.fields, value)
