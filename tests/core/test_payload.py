"""Payloads, both ways, and bytes that are none."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.errors import DigestMismatch, RagleafError, UnknownFormat
from paperkey_alt.payload import Compact, Lean, ReducedPart, SecretPart, Whole, decode, encode, pack, unpack

fingerprints = st.binary(min_size=20, max_size=20) | st.binary(min_size=32, max_size=32)
parts = st.builds(SecretPart, fingerprints, st.binary(min_size=1, max_size=400))
reduced = st.builds(
    ReducedPart,
    st.integers(1, 127),
    st.binary(min_size=1, max_size=300),
    st.binary(min_size=1, max_size=255),
    st.binary(min_size=8, max_size=8),
    st.booleans(),
)
payloads = (
    st.builds(Lean, st.lists(parts, min_size=1, max_size=4).map(tuple))
    | st.builds(Whole, st.binary(min_size=1))
    | st.builds(Compact, st.lists(reduced | parts, min_size=1, max_size=4).map(tuple))
)


@given(payloads)
def test_both_ways(payload):
    """Every payload comes back from its bytes, and its bytes from it."""
    data = pack(payload)
    assert unpack(data) == decode(encode(payload)) == payload
    assert pack(unpack(data)) == data


def test_lean_as_docs_format_lays_it_out():
    """Byte by byte, from the table in docs/format.md."""
    content = b"\1\1" + b"\x14" + b"f" * 20 + b"\0\3" + b"\0ab"
    assert pack(Lean((SecretPart(b"f" * 20, b"\0ab"),))) == content + hashlib.sha256(content).digest()


@given(payloads, st.data())
def test_any_damage_is_a_mismatch(payload, draw):
    """One flipped bit, a byte less or more: the digest says no."""
    data = bytearray(pack(payload))
    data[draw.draw(st.integers(0, len(data) - 1))] ^= 1 << draw.draw(st.integers(0, 7))
    for damaged in (bytes(data), pack(payload)[:-1], pack(payload) + b"\0", pack(payload)[1:]):
        with pytest.raises(DigestMismatch):
            unpack(damaged)


def signed(content):
    """Content with a digest that agrees, so that only the layout is at fault."""
    return content + hashlib.sha256(content).digest()


BAD_LAYOUTS = {
    "an unknown kind": b"\xff",
    "lean without a count": b"\1",
    "lean without parts": b"\1\0",
    "lean with a part too few": b"\1\2" + b"\x14" + b"f" * 20 + b"\0\1" + b"\0",
    "lean with a byte too many": b"\1\1" + b"\x14" + b"f" * 20 + b"\0\1" + b"\0\0",
    "a fingerprint of another length": b"\1\1" + b"\x15" + b"f" * 21 + b"\0\1" + b"\0",
    "a secret part that reaches past the end": b"\1\1" + b"\x14" + b"f" * 20 + b"\xff\xff" + b"\0",
    "a secret part of no bytes": b"\1\1" + b"\x14" + b"f" * 20 + b"\0\0",
    "whole of nothing": b"\2",
    "compact of nothing": b"\3",
    "compact with a part that ends in its check": b"\3\1\0\1v\1p" + b"c" * 7,
    "compact with a value that reaches past the end": b"\3\1\xff\xffv",
    "compact with an empty value": b"\3\1\0\0\1p" + b"c" * 8,
}


@pytest.mark.parametrize("name", BAD_LAYOUTS)
def test_layouts_that_cannot_be_are_refused(name):
    """A digest that agrees does not excuse a layout that this version does not know."""
    with pytest.raises(UnknownFormat):
        unpack(signed(BAD_LAYOUTS[name]))


@given(st.binary(max_size=200))
def test_noise_is_an_error_of_ours(data):
    """Arbitrary bytes are never a payload, and never another exception."""
    with pytest.raises(RagleafError):
        unpack(data)


@pytest.mark.parametrize(("fingerprint", "secret"), [(b"f" * 19, b"x"), (b"f" * 20, b""), (b"f" * 20, bytes(0x10000))])
def test_no_part_holds_an_invalid_value(fingerprint, secret):
    """A SecretPart outside its bounds cannot exist."""
    with pytest.raises(ValueError, match=r"."):
        SecretPart(fingerprint, secret)
