"""Fields pulled out of bytes and pushed into them, and bytes that end too soon."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.format.buffer import Buffer, Truncated, push_number, push_prefixed

# The method that pulls, the function that pushes, the width, the value, and the bytes between them.
FIELDS = {
    "a number of one byte": ("number", 1, 0x2A, b"\x2a"),
    "a number with zeros before it": ("number", 2, 7, b"\0\7"),
    "the greatest number of four bytes": ("number", 4, 0xFFFFFFFF, b"\xff\xff\xff\xff"),
    "a number of no bytes": ("number", 0, 0, b""),
    "bytes behind one byte of length": ("prefixed", 1, b"bell", b"\4bell"),
    "bytes behind two bytes of length": ("prefixed", 2, b"x" * 258, b"\1\2" + b"x" * 258),
    "no bytes behind their length": ("prefixed", 2, b"", b"\0\0"),
}
PULL = {"number": Buffer.pull_number, "prefixed": Buffer.pull_prefixed}
PUSH = {"number": push_number, "prefixed": push_prefixed}


@pytest.mark.parametrize("name", FIELDS)
def test_each_field_both_ways(name):
    """What is pulled is what was pushed, and the place is behind it."""
    kind, width, value, data = FIELDS[name]
    assert PUSH[kind](value, width) == data
    buffer = Buffer(data + b"behind")
    assert PULL[kind](buffer, width) == value
    assert (buffer.at, buffer.left) == (len(data), len(b"behind"))
    assert buffer.pull_rest() == b"behind"


@pytest.mark.parametrize("name", FIELDS)
def test_each_field_cut_short_is_truncated(name):
    """However much of it is there; the place stays, so that what was there can be pulled."""
    kind, width, _, data = FIELDS[name]
    for end in range(len(data)):
        buffer = Buffer(b"before" + data[:end], at=len(b"before"))
        with pytest.raises(Truncated, match=r"^it ends within its fields$"):
            PULL[kind](buffer, width)
        assert buffer.pull_rest() == data[:end]


widths = st.integers(1, 5)
fields = st.lists(
    widths.flatmap(
        lambda width: st.tuples(
            st.just("number"), st.just(width), st.integers(0, (1 << 8 * width) - 1)
        )
    )
    | st.tuples(st.just("prefixed"), widths, st.binary(max_size=255)),
    max_size=8,
)


@given(fields, st.binary(max_size=20))
def test_any_fields_come_back_in_their_order(several, rest):
    """Pushed one behind another, pulled one after another; what is behind them is the rest."""
    data = b"".join(PUSH[kind](value, width) for kind, width, value in several)
    buffer = Buffer(data + rest)
    assert [(kind, width, PULL[kind](buffer, width)) for kind, width, _ in several] == several
    assert buffer.since(0) == data
    assert (buffer.pull_rest(), buffer.left) == (rest, 0)


@given(st.binary(max_size=40), st.lists(st.sampled_from(["number", "prefixed"])), widths)
def test_noise_is_pulled_or_truncated(data, kinds, width):
    """Arbitrary bytes never give more than there is, and never another exception."""
    buffer = Buffer(data)
    with contextlib.suppress(Truncated):
        for kind in kinds:
            PULL[kind](buffer, width)
    assert buffer.since(0) + buffer.pull_rest() == data


def test_looking_ahead_moves_nothing():
    """A second buffer begins at the same place and goes its own way."""
    buffer = Buffer(b"\1\2\3")
    buffer.pull_number(1)
    ahead = buffer.ahead()
    assert ahead.pull_bytes(2) == b"\2\3"
    assert (buffer.at, buffer.left, ahead.at, ahead.left) == (1, 2, 3, 0)


def test_bytes_since_a_place():
    """What was pulled since then, in one piece."""
    buffer = Buffer(b"\1two\4")
    buffer.pull_number(1)
    start = buffer.at
    buffer.pull_bytes(2)
    buffer.pull_bytes(1)
    assert buffer.since(start) == b"two"


WRONG_USE = {
    "a number that is too large": lambda: push_number(256, 1),
    "a negative number": lambda: push_number(-1, 1),
    "a number in no bytes": lambda: push_number(1, 0),
    "bytes longer than their length can say": lambda: push_prefixed(bytes(256), 1),
    "a negative count": lambda: Buffer(b"bell").pull_bytes(-1),
    "a place before the bytes": lambda: Buffer(b"bell", at=-1),
    "a place behind them": lambda: Buffer(b"bell", at=5),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use_is_refused(name):
    """A mistake of ours is no damage: a ValueError, and not Truncated."""
    with pytest.raises(ValueError, match=r"\d") as caught:
        WRONG_USE[name]()
    assert not isinstance(caught.value, Truncated)


@pytest.mark.parametrize(("width", "greatest"), [(1, 255), (2, 65535), (0, 0)])
def test_the_greatest_number_is_told(width, greatest):
    """And is the last that is taken."""
    assert push_number(greatest, width) == b"\xff" * width
    with pytest.raises(ValueError, match=f"^a number of {width} bytes is 0 to {greatest}$"):
        push_number(greatest + 1, width)


def test_a_negative_count_is_told():
    """It is no place before the bytes."""
    with pytest.raises(ValueError, match=r"^a field has no fewer than 0 bytes$"):
        Buffer(b"bell").pull_bytes(-1)
