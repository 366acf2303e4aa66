"""
What protects a secret part, parsed: the same for printing and for unlocking, and cut anywhere.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples import NAMES, USAGES, only, sample, stub

from paperkey_alt.errors import DamagedKeyFile, RagleafError, UnsupportedKey
from paperkey_alt.format.buffer import Buffer, Truncated
from paperkey_alt.keys.openpgp import protection, s2k
from paperkey_alt.keys.openpgp.packets import Malformed
from paperkey_alt.keys.openpgp.rfc9580 import AeadMode, Cipher, HashAlgorithm, S2KType, S2KUsage
from paperkey_alt.keys.openpgp.s2k import Protection, Specifier

SALT = bytes(range(8))
IV = bytes(range(100, 116))
ITERATED = Specifier(3, b"\x08" + SALT + b"\x60")
ARGON2 = Specifier(4, bytes(range(16)) + bytes([1, 4, 21]))

# Version, the secret part up to its encrypted octets, and what it says (RFC 9580 §3.7.2.1, §5.5.3).
SAYINGS = {
    "unprotected": (4, b"\0", Protection(b"\0", 0)),
    "unprotected, version 6": (6, b"\0", Protection(b"\0", 0)),
    "AES-256 as usage": (4, b"\x09" + IV, (9, 9, 0, Specifier(0, b"\1"), IV)),
    "CAST5 as usage": (4, b"\x03" + IV[:8], (3, 3, 0, Specifier(0, b"\1"), IV[:8])),
    "AES-256 as usage, version 6": (
        6,
        b"\x09\x10" + IV,
        (9, 9, 0, Specifier(0, b"\1"), IV),
    ),
    "simple": (4, b"\xff\x07\0\x02" + IV, (255, 7, 0, Specifier(0, b"\2"), IV)),
    "salted": (
        4,
        b"\xfe\x02\1\x08" + SALT + IV[:8],
        (254, 2, 0, Specifier(1, b"\x08" + SALT), IV[:8]),
    ),
    "iterated": (4, b"\xfe\x09\3\x08" + SALT + b"\x60" + IV, (254, 9, 0, ITERATED, IV)),
    "iterated, version 6": (
        6,
        b"\xfe\x1d\x09\x0b\3\x08" + SALT + b"\x60" + IV,
        (254, 9, 0, ITERATED, IV),
    ),
    "a sum, version 6, whose specifier has no count": (
        6,
        b"\xff\x1c\x09\3\x08" + SALT + b"\x60" + IV,
        (255, 9, 0, ITERATED, IV),
    ),
    "OCB and Argon2, version 6": (
        6,
        b"\xfd\x26\x09\2\x14\4" + ARGON2.octets + IV[:15],
        (253, 9, 2, ARGON2, IV[:15]),
    ),
    "GCM, version 4": (
        4,
        b"\xfd\x07\3\3\x08" + SALT + b"\x60" + IV[:12],
        (253, 7, 3, ITERATED, IV[:12]),
    ),
}


def pulled(data, version):
    """What is pulled from bytes, and how many are left."""
    buffer = Buffer(data)
    return s2k.pull(buffer, version), buffer.left


@pytest.mark.parametrize("name", SAYINGS)
def test_what_protects_a_secret(name):
    """Every field by its name, the prefix to the byte, and what is encrypted is left alone."""
    version, prefix, said = SAYINGS[name]
    expected = said if isinstance(said, Protection) else Protection(prefix, *said)
    assert pulled(prefix + b"encrypted", version) == (expected, len(b"encrypted"))
    assert protection.parse(prefix + b"encrypted", version) == expected


@pytest.mark.parametrize("name", [name for name in SAYINGS if "unprotected" not in name])
def test_cut_anywhere(name):
    """A prefix that ends too soon is cut short, in printing as in unlocking."""
    version, prefix, _ = SAYINGS[name]
    for length in range(len(prefix)):
        with pytest.raises(Truncated):
            s2k.pull(Buffer(prefix[:length]), version)
        with pytest.raises(DamagedKeyFile):
            protection.parse(prefix[:length], version)


@pytest.mark.parametrize("name", [name for name in SAYINGS if "version 6" in name])
def test_a_wrong_length_is_noticed(name):
    """The lengths that version 6 states must be those that are there."""
    version, prefix, said = SAYINGS[name]
    if isinstance(said, Protection):
        return
    for change in (-1, 1):
        with pytest.raises(Malformed):
            pulled(prefix[:1] + bytes([prefix[1] + change]) + prefix[2:] + bytes(20), version)


# Numbers to come: told for printing, where an unknown length ends the prefix, and refused for
# unlocking.
UNKNOWN = {
    "a cipher": b"\xfe\x63\3\x08" + SALT + b"\x60",
    "a cipher as usage": b"\xc8",
    "a mode": b"\xfd\x09\x63\3\x08" + SALT + b"\x60",
    "a type": b"\xfe\x09\x09",
    "a private type": b"\xfe\x09\x66",
    "a stub": stub(),
    "a stub on a card": stub(how=2)[:8],
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_numbers_to_come(name):
    """They are told, and nothing behind them is guessed at."""
    prefix = UNKNOWN[name]
    told, left = pulled(prefix + IV, 4)
    assert (told.prefix, told.iv, left) == (prefix, b"", len(IV))
    with pytest.raises(UnsupportedKey):
        protection.parse(prefix + IV, 4)


def test_usages_that_are_none():
    """A usage octet is one of four, or names a cipher."""
    known = {usage for usage in range(256) if Protection(b"", usage).is_usage_known}
    assert known == {0, 1, 2, 3, 4, 7, 8, 9, 10, 11, 12, 13, 253, 254, 255}


def test_the_checks_behind_the_fields():
    """RFC 9580 §5.5.3: a tag of 16 octets, a SHA-1 of 20, a sum of 2 for all others."""
    checks = {usage: Protection(b"", usage).check_bytes for usage in (253, 254, 255, 9, 3)}
    assert checks == {253: 16, 254: 20, 255: 2, 9: 2, 3: 2}


def test_specifiers():
    """What a specifier says, by its type (RFC 9580 §3.7.1)."""
    assert (ITERATED.hash, ITERATED.salt, ITERATED.count) == (8, SALT, 65536)
    assert (ARGON2.salt, ARGON2.argon2_cost) == (bytes(range(16)), (1, 4, 21))
    simple, salted = Specifier(0, b"\2"), Specifier(1, b"\x0a" + SALT)
    assert (simple.hash, simple.salt, simple.count) == (2, b"", 0)
    assert (salted.hash, salted.salt, salted.count) == (10, SALT, 0)
    assert all(each.is_known and not each.is_private for each in (simple, salted, ITERATED, ARGON2))


@pytest.mark.parametrize(
    ("specifier", "is_stub", "is_private"),
    [
        (Specifier(101, b"\2GNU\1"), True, True),
        (Specifier(101, b"\0GNU\2"), True, True),
        (Specifier(101, b"\2GNU\3"), False, True),
        (Specifier(101, b"\2ABC"), False, True),
        (Specifier(102), False, True),
        (Specifier(111), False, False),
        (Specifier(2), False, False),
    ],
)
def test_stubs_and_private_types(specifier, is_stub, is_private):
    """A stub is told by its mark and its way; other types of the private range are not stubs."""
    assert (specifier.is_known, specifier.is_stub, specifier.is_private) == (
        False,
        is_stub,
        is_private,
    )


@pytest.mark.parametrize(("kind", "length"), [(0, 0), (0, 2), (1, 8), (3, 9), (3, 11), (4, 18)])
def test_no_specifier_holds_an_invalid_value(kind, length):
    """A type of the RFC has its one length."""
    with pytest.raises(ValueError, match=f"no specifier of type {kind} is so long"):
        Specifier(kind, bytes(length))


def test_the_count_octet():
    """RFC 9580 §3.7.1.3: 0x60 is 65,536 octets, 0xff is 65,011,712, the largest."""
    assert [s2k.decode_count(coded) for coded in (0x00, 0x60, 0xFF)] == [1024, 65536, 65011712]


def test_the_sum_of_the_fields():
    """RFC 9580 §5.5.3: modulo 65,536."""
    assert s2k.checksum(b"") == 0
    assert s2k.checksum(b"\xff\xff\2") == 512
    assert s2k.checksum(b"\xff" * 258) == 254


@pytest.mark.parametrize("name", NAMES)
def test_keys_of_three_libraries(name):
    """What protects every secret of the corpus is known, and ends before what is encrypted."""
    for packet in only(sample(name).secret).secret_packets:
        told, left = pulled(packet.secret, packet.version)
        assert told == protection.parse(packet.secret, packet.version)
        assert told.prefix + packet.secret[-left:] == packet.secret
        assert told.is_usage_known
        assert (told.usage == S2KUsage.UNPROTECTED) is name.endswith("-open")


@pytest.mark.parametrize("usage", USAGES)
def test_usages_put_together_by_the_tests(usage):
    """By another implementation of RFC 9580 §5.5.3: the prefix ends with its IV."""
    key = only(sample("rsa2048-open").secret).primary
    told, _ = pulled(USAGES[usage](key), 4)
    assert told.prefix.endswith(told.iv)
    assert told.iv == bytes(range(len(told.iv)))
    assert len(told.iv) == Cipher(told.cipher).block_bytes
    assert told.specifier.kind in list(S2KType)
    assert told.specifier.hash in list(HashAlgorithm)


@given(st.binary(max_size=60), st.sampled_from([4, 6]))
def test_noise(data, version):
    """Arbitrary bytes protect something, or are an error that is foreseen; both readers agree."""
    try:
        told = s2k.pull(Buffer(data), version)
    except (Truncated, Malformed):
        with pytest.raises(RagleafError):
            protection.parse(data, version)
        return
    assert data.startswith(told.prefix)
    try:
        assert protection.parse(data, version) == told
    except UnsupportedKey:
        assert not (
            told.specifier.is_known and told.cipher in list(Cipher) and told.aead in (0, *AeadMode)
        )
