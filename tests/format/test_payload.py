"""Payloads, both ways, and bytes that are none."""

import hashlib
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.errors import DigestMismatch, RagleafError, UnknownFormat
from paperkey_alt.format.payload import (
    Certificate,
    Compact,
    CompactPart,
    File,
    Lean,
    ReducedPart,
    Revocation,
    RsaFile,
    SecretPart,
    Whole,
    decode,
    encode,
    pack,
    unpack,
)

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
names = st.text(max_size=60)
payloads = (
    st.builds(File, names, st.binary(min_size=1), st.binary(min_size=16, max_size=16))
    | st.builds(RsaFile, names, *[st.integers(1, 255)] * 2, *[st.integers(1, 1 << 2000)] * 3)
    | st.builds(Revocation, fingerprints, st.binary(min_size=1))
    | st.builds(Lean, st.lists(parts, min_size=1, max_size=4).map(tuple))
    | st.builds(Whole, st.binary(min_size=1))
    | st.builds(Certificate, st.binary(min_size=1))
    | st.builds(Compact, st.lists(reduced | parts, min_size=1, max_size=4).map(tuple))
)


@given(payloads)
def test_both_ways(payload):
    """Every payload comes back from its bytes, and its bytes from it."""
    data = pack(payload)
    assert unpack(data) == decode(encode(payload)) == payload
    assert pack(unpack(data)) == data


# Byte by byte, from the tables in docs/format.md, "Payload": the bytes, and what they are.
LAID_OUT = {
    "lean": (
        b"\1\2\0\3\1\2" + b"\x14" + b"f" * 20 + b"\x20" + b"g" * 32 + b"\0ab" + b"s" * 258,
        Lean((SecretPart(b"f" * 20, b"\0ab"), SecretPart(b"g" * 32, b"s" * 258))),
    ),
    "whole": (b"\2packets", Whole(b"packets")),
    "compact": (
        b"\3"
        b"\1\0\2vw\1pchecksum"
        b"\x84\1\0" + b"v" * 256 + b"\2pqCHECKSUM" + b"\0\x14" + b"f" * 20 + b"\0\1s",
        Compact(
            (
                ReducedPart(1, b"vw", b"p", b"checksum"),
                ReducedPart(4, b"v" * 256, b"pq", b"CHECKSUM", other_passphrase=True),
                SecretPart(b"f" * 20, b"s"),
            )
        ),
    ),
    "compact of an even form": (
        b"\3\2\0\1v\1pchecksum",
        Compact((ReducedPart(2, b"v", b"p", b"checksum"),)),
    ),
    "file": (
        b"\4" + bytes(range(16)) + b"\3\xc3\xa9tall the rest",
        File("ét", b"all the rest", bytes(range(16))),
    ),
    "file without a name": (b"\4" + bytes(16) + b"\0x", File("", b"x", bytes(16))),
    "RSA file": (b"\5\1n\2\3\3\1\0\1\0\2\1\2\0\1\7", RsaFile("n", 2, 3, 65537, 258, 7)),
    "revocation": (b"\6\x14" + b"f" * 20 + b"packet", Revocation(b"f" * 20, b"packet")),
    "certificate": (b"\7packets", Certificate(b"packets")),
}


@pytest.mark.parametrize("name", LAID_OUT)
def test_every_kind_as_docs_format_lays_it_out(name):
    """Both ways, from one table."""
    content, payload = LAID_OUT[name]
    assert pack(payload) == content + hashlib.sha256(content).digest()
    assert unpack(signed(content)) == decode(content) == payload


@given(payloads, st.data())
def test_any_damage_is_a_mismatch(payload, draw):
    """One flipped bit, a byte less or more: the digest says no."""
    data = bytearray(pack(payload))
    data[draw.draw(st.integers(0, len(data) - 1))] ^= 1 << draw.draw(st.integers(0, 7))
    for damaged in (bytes(data), pack(payload)[:-1], pack(payload) + b"\0", pack(payload)[1:]):
        with pytest.raises(
            DigestMismatch, match=r"^the digest at the end of the payload does not agree with"
        ):
            unpack(damaged)


def signed(content):
    """Content with a digest that agrees, so that only the layout is at fault."""
    return content + hashlib.sha256(content).digest()


BAD_LAYOUTS = {
    "an unknown kind": b"\xff",
    "lean without a count": b"\1",
    "lean without parts": b"\1\0",
    "lean with a length too few": b"\1\2" + b"\0\1",
    "lean with a fingerprint too few": b"\1\2" + b"\0\1\0\1" + b"\x14" + b"f" * 20 + b"\0\0",
    "lean with a part too few": b"\1\2" + b"\0\1\0\1" + 2 * (b"\x14" + b"f" * 20) + b"\0",
    "lean with a byte too many": b"\1\1" + b"\0\1" + b"\x14" + b"f" * 20 + b"\0\0",
    "a fingerprint of another length": b"\1\1" + b"\0\1" + b"\x15" + b"f" * 21 + b"\0",
    "a secret part that reaches past the end": b"\1\1" + b"\xff\xff" + b"\x14" + b"f" * 20 + b"\0",
    "a secret part of no bytes": b"\1\1" + b"\0\0" + b"\x14" + b"f" * 20,
    "whole of nothing": b"\2",
    "compact of nothing": b"\3",
    "compact with a part that ends in its check": b"\3\1\0\1v\1p" + b"c" * 7,
    "compact with a value that reaches past the end": b"\3\1\xff\xffv",
    "compact with an empty value": b"\3\1\0\0\1p" + b"c" * 8,
    "compact with a form of no number": b"\3\x80\0\1v\1p" + b"c" * 8,
    "a file without a blind": b"\4",
    "a file with a blind too short": b"\4" + bytes(15),
    "a file without a length of its name": b"\4" + bytes(16),
    "a file with a name that reaches past the end": b"\4" + bytes(16) + b"\5name",
    "a file of nothing": b"\4" + bytes(16) + b"\4name",
    "a file with a name that is not UTF-8": b"\4" + bytes(16) + b"\1\xffx",
    "an RSA file without its numbers": b"\5\1n\2\3",
    "an RSA file with a byte too many": b"\5\1n\2\3\1\3\0\1\5\0\1\7\0",
    "an RSA file with a prime too few": b"\5\1n\2\3\1\3\0\1\5",
    "an RSA file of style 0": b"\5\1n\0\3\1\3\0\1\5\0\1\7",
    "an RSA file with a prime of 0": b"\5\1n\1\3\1\3\0\0\0\1\7",
    "a revocation of nothing": b"\6\x14" + b"f" * 20,
    "a revocation with a fingerprint of another length": b"\6\x13" + b"f" * 19 + b"packet",
    "a certificate of nothing": b"\7",
}


@pytest.mark.parametrize("name", BAD_LAYOUTS)
def test_layouts_that_cannot_be_are_refused(name):
    """A digest that agrees does not excuse a layout that this version does not know."""
    kind = BAD_LAYOUTS[name][0]
    new = f"^this version does not know payload kind {kind}$"
    message = (
        new if kind == 255 else rf"payload of kind {kind} is not laid out as this version knows it$"
    )
    with pytest.raises(UnknownFormat, match=message):
        unpack(signed(BAD_LAYOUTS[name]))


@given(st.binary(max_size=200))
def test_noise_is_an_error_of_ours(data):
    """Arbitrary bytes are never a payload, and never another exception."""
    with pytest.raises(RagleafError):
        unpack(data)


PART = SecretPart(b"f" * 20, b"s")
REDUCED = ReducedPart(1, b"v", b"p", bytes(8))
RSA = RsaFile("n", 1, 2, 3, 5, 7)
FINGERPRINT, SECRET = "^a fingerprint is 20 or 32 bytes$", "^a secret part is 1 to 65535 bytes$"
PARTS, FIELDS, PREFIX = (
    "^a lean payload has 1 to 255 parts$",
    "^a reduced secret has a form and a value$",
    "^a reduced part has a prefix of 1 to 255 bytes$",
)
FILE, STYLE = (
    "^a file has some bytes and a name of at most 255$",
    "^a name, a style and a rule of one byte each$",
)
NUMBERS, REVOCATION = (
    "^the numbers of a key are positive$",
    "^a revocation has a fingerprint of 20 or 32 bytes and a packet$",
)

# A value that holds, what is changed in it so that it does no longer, and what is said; None where
# it holds still.
BOUNDS = [
    (PART, {"fingerprint": b"f" * 19}, FINGERPRINT),
    (PART, {"fingerprint": b"f" * 32}, None),
    (PART, {"secret": b""}, SECRET),
    (PART, {"secret": bytes(0xFFFF)}, None),
    (PART, {"secret": bytes(0x10000)}, SECRET),
    (Lean((PART,)), {"parts": ()}, PARTS),
    (Lean((PART,)), {"parts": (PART,) * 255}, None),
    (Lean((PART,)), {"parts": (PART,) * 256}, PARTS),
    (Whole(b"p"), {"packets": b""}, "^a whole payload is not empty$"),
    (REDUCED, {"form": 0}, FIELDS),
    (REDUCED, {"form": 127}, None),
    (REDUCED, {"form": 128}, FIELDS),
    (REDUCED, {"value": b""}, FIELDS),
    (REDUCED, {"value": bytes(0xFFFF)}, None),
    (REDUCED, {"value": bytes(0x10000)}, FIELDS),
    (REDUCED, {"prefix": b""}, PREFIX),
    (REDUCED, {"prefix": bytes(255)}, None),
    (REDUCED, {"prefix": bytes(256)}, PREFIX),
    (REDUCED, {"check": bytes(7)}, "^the check of a reduced part is 8 bytes$"),
    (REDUCED, {"check": bytes(9)}, "^the check of a reduced part is 8 bytes$"),
    (Compact((PART,)), {"parts": ()}, "^a compact payload is not empty$"),
    (File("n", b"x", bytes(16)), {"name": "é" * 127 + "n"}, None),
    (File("n", b"x", bytes(16)), {"name": "é" * 128}, FILE),
    (File("n", b"x", bytes(16)), {"data": b""}, FILE),
    (File("n", b"x", bytes(16)), {"blind": bytes(15)}, "^a blind is 16 bytes$"),
    (File("n", b"x", bytes(16)), {"blind": bytes(17)}, "^a blind is 16 bytes$"),
    (Certificate(b"p"), {"packets": b""}, "^a certificate is not empty$"),
    (
        RSA,
        {"name": "n" * 255, "style": 255, "rule": 255, "exponent": (1 << 2040) - 1, "p": 1, "q": 1},
        None,
    ),
    (RSA, {"name": "n" * 256}, STYLE),
    (RSA, {"style": 0}, STYLE),
    (RSA, {"style": 256}, STYLE),
    (RSA, {"rule": 0}, STYLE),
    (RSA, {"rule": 256}, STYLE),
    (RSA, {"style": 1, "rule": 1, "exponent": 1}, None),
    (RSA, {"exponent": 0}, NUMBERS),
    (RSA, {"exponent": 1 << 2040}, NUMBERS),
    (RSA, {"p": 0}, NUMBERS),
    (RSA, {"q": 0}, NUMBERS),
    (RSA, {"p": -5}, NUMBERS),
    (Revocation(b"f" * 20, b"p"), {"fingerprint": b"f" * 32}, None),
    (Revocation(b"f" * 20, b"p"), {"fingerprint": b"f" * 21}, REVOCATION),
    (Revocation(b"f" * 20, b"p"), {"packet": b""}, REVOCATION),
]


@pytest.mark.parametrize(("good", "change", "message"), BOUNDS)
def test_no_payload_holds_an_invalid_value(good, change, message):
    """At the bounds it exists and comes back from its bytes; past them it cannot exist."""
    if message is None:
        held = replace(good, **change)
        whole = {SecretPart: lambda: Lean((held,)), ReducedPart: lambda: Compact((held,))}.get(
            type(held), lambda: held
        )()
        assert decode(encode(whole)) == whole
    else:
        with pytest.raises(ValueError, match=message):
            replace(good, **change)


def test_how_a_compact_part_is_taken_apart_is_said():
    """By the byte of its form, for who has no program: docs/format.md says the same."""
    assert CompactPart().recipe("part") == (
        "1 byte: form of the part; if it is 0: 1 byte of length, then: fingerprint; 2 bytes of "
        "length, then: secret; if it is any other: 2 bytes of length, then: value; 1 byte of "
        "length, then: what was before the encrypted bytes (RFC 9580, 5.5.3); 8 bytes: of the "
        "SHA-256 of the whole secret"
    )
