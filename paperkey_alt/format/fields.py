"""
The kinds of field that payloads are made of, each a codec: `pull` takes its value out of a Buffer,
`push` returns the bytes that it pulls (docs/format.md, "Payload").

A record is a table of names and codecs, from which both ways run, and from which the words at the
foot of a sheet are made: `recipe` says in print what `pull` does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, Protocol, TypeVar

from paperkey_alt.format.buffer import Buffer, push_number, push_prefixed
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

T = TypeVar("T")


class Codec(Protocol[T]):
    """One kind of field; `pull` raises ValueError for bytes that cannot be one."""

    def pull(self, buffer: Buffer) -> T:
        """Return the value that stands at the place of *buffer*, which moves behind it."""

    def push(self, value: T) -> bytes:
        """Return *value* as `pull` takes it."""

    def recipe(self, name: str) -> str:
        """Return in words how `pull` takes the field called *name*: bytes first, then the name."""


class Number(NamedTuple):
    """A number of *width* bytes."""

    width: int

    def pull(self, buffer: Buffer) -> int:
        """Return the number."""
        return buffer.pull_number(self.width)

    def push(self, value: int) -> bytes:
        """Return *value* in *width* bytes."""
        return push_number(value, self.width)

    def recipe(self, name: str) -> str:
        """Return how many bytes the number has."""
        return f"{counted(self.width, 'byte')}: {name}"


class Integer(NamedTuple):
    """A number of any length: its bytes, leading zeros left out, behind a length of *width*."""

    width: int

    def pull(self, buffer: Buffer) -> int:
        """Return the number; leading zeros may stand before it."""
        return int.from_bytes(buffer.pull_prefixed(self.width), "big")

    def push(self, value: int) -> bytes:
        """Return *value* behind its length."""
        return push_prefixed(value.to_bytes((value.bit_length() + 7) // 8, "big"), self.width)

    def recipe(self, name: str) -> str:
        """Return how its length is told."""
        return f"{_behind_length(self.width)}: {name}"


class Octets(NamedTuple):
    """*length* bytes."""

    length: int

    def pull(self, buffer: Buffer) -> bytes:
        """Return the bytes."""
        return buffer.pull_bytes(self.length)

    def push(self, value: bytes) -> bytes:
        """Return *value*, whose length must be *length*."""
        if len(value) != self.length:
            raise ValueError(f"the field is {self.length} bytes, not {len(value)}")
        return value

    def recipe(self, name: str) -> str:
        """Return how many bytes there are."""
        return f"{counted(self.length, 'byte')}: {name}"


class Prefixed(NamedTuple):
    """Bytes behind their length, a number of *width* bytes."""

    width: int

    def pull(self, buffer: Buffer) -> bytes:
        """Return the bytes."""
        return buffer.pull_prefixed(self.width)

    def push(self, value: bytes) -> bytes:
        """Return *value* behind its length."""
        return push_prefixed(value, self.width)

    def recipe(self, name: str) -> str:
        """Return how its length is told."""
        return f"{_behind_length(self.width)}: {name}"


class Text(NamedTuple):
    """Text in UTF-8 behind its length in bytes, a number of *width* bytes."""

    width: int

    def pull(self, buffer: Buffer) -> str:
        """Return the text."""
        return buffer.pull_prefixed(self.width).decode()

    def push(self, value: str) -> bytes:
        """Return *value* behind its length."""
        return push_prefixed(value.encode(), self.width)

    def recipe(self, name: str) -> str:
        """Return how its length is told, and the encoding."""
        return f"{_behind_length(self.width)}: {name} (UTF-8)"


class Rest:
    """All bytes to the end."""

    def pull(self, buffer: Buffer) -> bytes:
        """Return the bytes, none where the end is reached."""
        return buffer.pull_rest()

    def push(self, value: bytes) -> bytes:
        """Return *value* as it is."""
        return value

    def recipe(self, name: str) -> str:
        """Return where it ends."""
        return f"to the end: {name}"


class ToEnd(NamedTuple, Generic[T]):
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

    def recipe(self, name: str) -> str:
        """Return what comes again and again."""
        return f"again and again, to the end: {self.item.recipe(name)}"


Table = tuple[tuple[str, Codec[Any]], ...]
"""The fields of a record in the order of their bytes: name and codec."""


def pull_fields(fields: Table, buffer: Buffer) -> dict[str, Any]:
    """Return the value of each of *fields* by its name."""
    return {name: codec.pull(buffer) for name, codec in fields}


def push_fields(fields: Table, record: object) -> bytes:
    """Return *fields* one behind another; the values are the attributes of *record*."""
    return b"".join(codec.push(getattr(record, name)) for name, codec in fields)


def recipe_of_fields(fields: Table, names: Mapping[str, str]) -> str:
    """
    Return in words how `pull_fields` takes *fields*; *names* says what to call those whose own name
    is not for readers.
    """
    return "; ".join(codec.recipe(names.get(name, name)) for name, codec in fields)


class Length(NamedTuple):
    """In a column of `Columns`: the length of a later field of the item, in *width* bytes."""

    width: int


class Measured:
    """In a column of `Columns`: bytes whose length stands in an earlier column."""


Column = tuple[str, "Length | Measured | Codec[Any]"]


@dataclass(frozen=True)
class Columns(Generic[T]):
    """
    Values of the class *makes* in columns: their number in *width* bytes; then, for one of
    *columns* after another, that field of each of them.
    """

    makes: type[T]
    width: int
    columns: tuple[Column, ...]

    def pull(self, buffer: Buffer) -> tuple[T, ...]:
        """Return the values; raises ValueError where *makes* refuses the fields of one."""
        items = range(buffer.pull_number(self.width))
        lengths: dict[str, list[int]] = {}
        fields: list[dict[str, Any]] = [{} for _ in items]
        for name, column in self.columns:
            if isinstance(column, Length):
                lengths[name] = [buffer.pull_number(column.width) for _ in items]
                continue
            for at, values in enumerate(fields):
                if isinstance(column, Measured):
                    values[name] = buffer.pull_bytes(lengths[name][at])
                else:
                    values[name] = column.pull(buffer)
        return tuple(self.makes(**values) for values in fields)

    def push(self, value: tuple[T, ...]) -> bytes:
        """Return *value* column by column."""
        pushed = [push_number(len(value), self.width)]
        for name, column in self.columns:
            fields = [getattr(item, name) for item in value]
            if isinstance(column, Length):
                pushed += [push_number(len(field), column.width) for field in fields]
            elif isinstance(column, Measured):
                pushed += fields
            else:
                pushed += map(column.push, fields)
        return b"".join(pushed)

    def recipe(self, name: str) -> str:
        """Return the number of the things called *name*, and the columns."""
        told = [f"{counted(self.width, 'byte')}: how many {name}s, n"]
        for field, column in self.columns:
            if isinstance(column, Length):
                told.append(f"n times {counted(column.width, 'byte')}: length of the {field}")
            elif isinstance(column, Measured):
                told.append(f"n times as many bytes as its length says: the {field}")
            else:
                told.append(f"n times {column.recipe(f'the {field}')}")
        return "; ".join(told)


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

    def recipe(self, names: Mapping[str, str]) -> str:
        """Return the fields in words; see `recipe_of_fields`."""
        return recipe_of_fields(self.fields, names)


def _behind_length(width: int) -> str:
    return f"{counted(width, 'byte')} of length, then"
