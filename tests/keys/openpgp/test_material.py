"""Key material cut into its fields and joined again, and what does not fill its fields."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples import NAMES, only, sample

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.format.buffer import Buffer, Truncated
from paperkey_alt.keys.openpgp import material, unlocked
from paperkey_alt.keys.openpgp.material import integer, mpi, number
from paperkey_alt.keys.openpgp.packets import Malformed
from paperkey_alt.keys.openpgp.rfc9580 import PublicKeyAlgorithm

OPEN = [name for name in NAMES if name.endswith("-open")]


# RFC 9580 §3.2: the examples of multiprecision integers.
EXAMPLES = {1: "000101", 511: "000901ff", 0: "0000"}


@pytest.mark.parametrize("value", EXAMPLES)
def test_the_integers_of_the_standard(value):
    """Written as there, and read back."""
    field = bytes.fromhex(EXAMPLES[value])
    assert integer(value) == field
    assert number(field) == value
    assert mpi(Buffer(field + b"behind")) == field


@given(st.integers(0, (1 << 4096) - 1))
def test_integers_both_ways(value):
    """Of any size that a key has."""
    assert number(integer(value)) == value
    assert material.split(integer(value), (mpi,)) == (integer(value),)


def test_the_largest_integer():
    """65,535 bits are written, one more is refused."""
    assert integer((1 << 0xFFFF) - 1).startswith(b"\xff\xff")
    with pytest.raises(ValueError, match="a number of 2 bytes"):
        integer(1 << 0xFFFF)


def test_leading_zeros_are_kept():
    """A field is handed on as it stands, canonical or not."""
    wide = b"\0\x10\0\1"
    assert material.split(wide, (mpi,)) == (wide,)
    assert number(wide) == 1


@pytest.mark.parametrize("name", NAMES)
def test_public_fields_both_ways(name):
    """The fields of every key of the corpus fill its public part, joined they are its end."""
    for packet in only(sample(name).secret).key_packets:
        fields = material.public_fields(packet.public)
        assert packet.public.endswith(material.join(fields))
        start = 10 if packet.version == 6 else 6
        assert len(material.join(fields)) == len(packet.public) - start
        assert PublicKeyAlgorithm(material.algorithm(packet.public)).title == packet.algorithm


@pytest.mark.parametrize("name", OPEN)
def test_secret_fields_both_ways(name):
    """The fields of every unprotected secret fill it."""
    for secret in unlocked.unlock(only(sample(name).secret), lambda _: ""):
        fields = material.secret_fields(secret.clear, secret.packet.public)
        assert material.join(fields) == secret.clear


DAMAGED = {
    "nothing": b"",
    "half a length": b"\0",
    "a number that is cut": b"\0\x10\1",
    "one number of two": integer(5),
    "a byte behind": integer(5) * 2 + b"\0",
}


@pytest.mark.parametrize("name", DAMAGED)
def test_what_does_not_fill_its_fields(name):
    """Cut short or with bytes behind it, it is refused."""
    with pytest.raises(DamagedKeyFile):
        material.split(DAMAGED[name], (mpi, mpi))


def test_reserved_lengths():
    """A curve's OID of 0 or 255 bytes is reserved (RFC 9580 §5.5.5.4)."""
    (prefixed, _) = material.LAYOUTS[PublicKeyAlgorithm.ECDSA].public
    assert prefixed(Buffer(b"\2ab")) == b"\2ab"
    for length in (0, 255):
        with pytest.raises(Malformed, match=f"{length} bytes long, which is reserved"):
            prefixed(Buffer(bytes([length]) + bytes(300)))
        with pytest.raises(DamagedKeyFile):
            material.split(bytes([length]) + bytes(300), (prefixed,))
    with pytest.raises(Truncated):
        prefixed(Buffer(b"\3ab"))


def test_an_algorithm_to_come():
    """What has no fields here is refused by its number."""
    public = b"\4\0\0\0\1\x63"
    with pytest.raises(UnsupportedKey, match="algorithm 99"):
        material.public_fields(public)
    with pytest.raises(UnsupportedKey, match="algorithm 99"):
        material.secret_fields(b"", public)
