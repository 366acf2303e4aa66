"""One key chosen among those of a file."""

import pytest
from make_corpus import USER_ID
from samples import (
    armored,
    file,
    only,
    sample,
)

from paperkey_alt.errors import (
    NoSuchKey,
    SeveralKeys,
)
from paperkey_alt.keys.openpgp import choice, key_file, packets
from paperkey_alt.keys.openpgp.key import Key

TWO = ("nist-p256", "v6-curve25519")
BINARY_PAIR = b"".join(sample(name).secret for name in TWO)
ARMORED_PAIR = b"\n".join(file(f"{name}.asc") for name in TWO)


@pytest.mark.parametrize("data", [BINARY_PAIR, ARMORED_PAIR, armored(BINARY_PAIR)])
def test_several_keys(data):
    """
    Keys of one file are told apart, in one armor, in several, in none; with no choice made they are
    listed.
    """
    keys = key_file.read(data)
    assert keys == tuple(only(sample(name).secret) for name in TWO)
    with pytest.raises(SeveralKeys) as caught:
        choice.choose(keys, None)
    assert all(key.title in caught.value.what for key in keys)
    assert "--fingerprint" in caught.value.advice


def renamed(count):
    """Keys of as many fingerprints: one key, created in as many seconds."""
    first, *others = only(sample("nist-p256").certificate).packets
    bodies = [
        first.body[:1] + second.to_bytes(4, "big") + first.body[5:] for second in range(count)
    ]
    return [Key((packets.with_body(first.tag, body, like=first), *others)) for body in bodies]


def test_a_long_list_is_cut():
    """Twenty keys are listed; of more, the number is told."""
    for count, more in ((20, False), (21, True)):
        with pytest.raises(SeveralKeys) as caught:
            choice.choose(renamed(count), None)
        assert caught.value.what.count(USER_ID) == 20
        assert caught.value.what.endswith("; and 1 more") is more


V4, V6 = (only(sample(name).secret) for name in TWO)
SPELLINGS = {
    "whole": (V4, V4.fingerprint.hex()),
    "upper case": (V4, V4.fingerprint.hex().upper()),
    "in groups": (V4, V4.fingerprint.hex(" ", 2)),
    "with colons": (V4, V4.fingerprint.hex(":")),
    "led in by 0x": (V4, "0x" + V4.fingerprint.hex()),
    "led in by 0X": (V4, " 0X" + V4.fingerprint.hex().upper()),
    "the last sixteen": (V4, V4.fingerprint.hex()[-16:]),
    "the last seventeen": (V4, V4.fingerprint.hex()[-17:]),
    "version 6": (V6, V6.fingerprint.hex()),
    "the end of version 6": (V6, V6.fingerprint.hex()[-16:]),
    "the key ID of version 6": (V6, V6.fingerprint.hex()[:16]),
}


@pytest.mark.parametrize("name", SPELLINGS)
def test_a_fingerprint_chooses(name):
    """However it is written, the fingerprint names its key."""
    key, fingerprint = SPELLINGS[name]
    assert choice.choose((V4, V6), fingerprint) == key


NO_CHOICE = {
    "fifteen digits": (V4.fingerprint.hex()[-15:], "is not a fingerprint"),
    "nothing": ("", "is not a fingerprint"),
    "no digits": ("Saltmarrow Buoy Keepers", "is not a fingerprint"),
    "another key": ("0" * 40, "the file has no key"),
    "the beginning of version 4": (V4.fingerprint.hex()[:16], "the file has no key"),
    "a middle": (V4.fingerprint.hex()[4:30], "the file has no key"),
}


@pytest.mark.parametrize("name", NO_CHOICE)
def test_a_fingerprint_of_no_key(name):
    """What names no key of the file is refused; what might have been meant is listed."""
    fingerprint, words = NO_CHOICE[name]
    with pytest.raises(NoSuchKey, match=words) as caught:
        choice.choose((V4, V6), fingerprint)
    assert words == "is not a fingerprint" or V4.title in caught.value.what


def test_the_only_key_need_not_be_named():
    """One key is chosen with no name, and refused under a wrong one."""
    assert choice.choose((V4,), None) == V4
    with pytest.raises(NoSuchKey):
        choice.choose((V4,), "0" * 40)


def test_copies_of_one_key():
    """
    Of a secret and a public copy the secret one is meant; equal copies are one; different secret
    copies are a question.
    """
    public = only(sample("nist-p256").certificate)
    assert choice.choose((public, V4), None) == V4
    assert choice.choose((public, V4), V4.fingerprint.hex()) == V4
    assert choice.choose((V4, V4), None) == V4
    other = Key(V4.packets[:1])
    with pytest.raises(SeveralKeys, match="2 different copies"):
        choice.choose((V4, other), None)
