"""The kinds of field, both ways, and bytes that are none."""

from dataclasses import dataclass

import pytest

from paperkey_alt.format.buffer import Buffer, Truncated
from paperkey_alt.format.fields import (
    Integer,
    Number,
    Octets,
    Prefixed,
    Record,
    Rest,
    Text,
    ToEnd,
)


@dataclass(frozen=True)
class Buoy:
    """A record with a value that it refuses."""

    number: int
    name: str

    def __post_init__(self):
        if not self.number:
            raise ValueError("buoys are numbered from 1")


BUOY = Record(Buoy, (("number", Number(1)), ("name", Text(1))))

# A codec, a value, and its bytes.
FIELDS = {
    "a number": (Number(2), 258, b"\1\2"),
    "an integer without leading zeros": (Integer(1), 258, b"\2\1\2"),
    "an integer of 0": (Integer(1), 0, b"\0"),
    "so many bytes": (Octets(4), b"bell", b"bell"),
    "bytes behind their length": (Prefixed(2), b"bell", b"\0\4bell"),
    "text in UTF-8": (Text(1), "Boje ö", b"\7Boje \xc3\xb6"),
    "a record": (BUOY, Buoy(7, "lee"), b"\7\3lee"),
}
TO_THE_END = {
    "the rest": (Rest(), b"bell", b"bell"),
    "no rest": (Rest(), b"", b""),
    "items to the end": (ToEnd(BUOY), (Buoy(7, "lee"), Buoy(8, "")), b"\7\3lee\x08\0"),
    "no items to the end": (ToEnd(BUOY), (), b""),
}


@pytest.mark.parametrize("name", FIELDS | TO_THE_END)
def test_each_field_both_ways(name):
    """What is pulled is what was pushed, and nothing of what is behind it."""
    codec, value, data = (FIELDS | TO_THE_END)[name]
    assert codec.push(value) == data
    buffer = Buffer(data + (b"" if name in TO_THE_END else b"behind"))
    assert codec.pull(buffer) == value
    assert buffer.since(0) == data


@pytest.mark.parametrize("name", FIELDS)
def test_each_field_cut_short_is_truncated(name):
    """However much of it is there."""
    codec, _, data = FIELDS[name]
    for end in range(len(data)):
        with pytest.raises(Truncated):
            codec.pull(Buffer(data[:end]))


def test_leading_zeros_of_an_integer_are_read_over():
    """They are never written, and say nothing."""
    assert Integer(1).pull(Buffer(b"\3\0\1\2")) == 258


REFUSED = {
    "text that is not UTF-8": lambda: Text(1).pull(Buffer(b"\1\xff")),
    "a record that refuses its fields": lambda: BUOY.pull(Buffer(b"\0\0")),
    "items of which the last ends too soon": lambda: ToEnd(BUOY).pull(Buffer(b"\7\0\7")),
    "bytes of another length": lambda: Octets(4).push(b"bells"),
    "text longer than its length can say": lambda: Text(1).push("ö" * 128),
    "an integer longer than its length can say": lambda: Integer(1).push(1 << 8 * 255),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_is_refused(name):
    """Read or written, it is a ValueError, and never half a value."""
    with pytest.raises(ValueError, match=r"."):
        REFUSED[name]()
