"""The kinds of field, both ways, and bytes that are none."""

from dataclasses import dataclass

import pytest

from paperkey_alt.format.buffer import Buffer, Truncated
from paperkey_alt.format.fields import (
    Columns,
    Integer,
    Length,
    Measured,
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


COLUMNS = Columns(Buoy, 1, (("name", Length(2)), ("number", Number(1)), ("name", Measured())))


def test_columns_both_ways():
    """How many there are; then all lengths, all numbers, all names."""

    @dataclass(frozen=True)
    class Bell:
        sound: bytes
        pitch: int

    bells = Columns(Bell, 1, (("sound", Length(2)), ("pitch", Number(1)), ("sound", Measured())))
    value = (Bell(b"ding", 7), Bell(b"", 8), Bell(b"dong!", 9))
    data = b"\3" + b"\0\4\0\0\0\5" + b"\7\x08\x09" + b"dingdong!"
    assert bells.push(value) == data
    buffer = Buffer(data + b"behind")
    assert bells.pull(buffer) == value
    assert buffer.since(0) == data
    assert bells.pull(Buffer(b"\0")) == ()
    with pytest.raises(ValueError, match="buoys are numbered from 1"):
        COLUMNS.pull(Buffer(b"\1\0\0\0"))


# What is at the foot of a sheet, to be followed by hand: a codec and its words for "style".
RECIPES = {
    "a byte": (Number(1), "1 byte: style"),
    "two bytes": (Number(2), "2 bytes: style"),
    "an integer": (Integer(2), "2 bytes of length, then: style"),
    "so many bytes": (Octets(8), "8 bytes: style"),
    "bytes behind their length": (Prefixed(1), "1 byte of length, then: style"),
    "text": (Text(1), "1 byte of length, then: style (UTF-8)"),
    "the rest": (Rest(), "to the end: style"),
    "items": (ToEnd(Number(1)), "again and again, to the end: 1 byte: style"),
    "columns": (
        COLUMNS,
        (
            "1 byte: how many styles, n; n times 2 bytes: length of the name; n times 1 byte: the "
            "number; n times as many bytes as its length says: the name"
        ),
    ),
}


@pytest.mark.parametrize("name", RECIPES)
def test_what_is_done_is_said(name):
    """To the word, for it is all that a reader without a program has."""
    codec, words = RECIPES[name]
    assert codec.recipe("style") == words


def test_a_record_calls_its_fields_by_names_for_readers():
    """Those that have one; the others by their own."""
    words = "1 byte: of which buoy; 1 byte of length, then: name (UTF-8)"
    assert BUOY.recipe({"number": "of which buoy"}) == words


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


def test_bytes_of_another_length_are_counted():
    """What was expected and what came."""
    with pytest.raises(ValueError, match=r"^the field is 4 bytes, not 5$"):
        Octets(4).push(b"bells")
