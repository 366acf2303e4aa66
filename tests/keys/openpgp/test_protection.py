"""
Unlocking and locking: published vectors, keys of other makers, every usage, and what is refused.
"""

import base64
import time

import pgpy
import pytest
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import NAMES, PASSPHRASE, PUBLISHED, USAGES, sample, with_secrets

from paperkey_alt.errors import DamagedKeyFile, RagleafError, UnsupportedKey, WrongPassphrase
from paperkey_alt.keys.openpgp import (
    armor,
    key_file,
    key_packet,
    material,
    packets,
    protection,
    rfc9580,
    s2k,
)
from paperkey_alt.keys.openpgp.protection import PublicPart
from paperkey_alt.keys.openpgp.rfc9580 import S2KUsage
from paperkey_alt.keys.openpgp.s2k import Protection


def secrets(data):
    """Public and secret part of each secret key packet of a binary key file."""
    for packet in packets.split(data):
        if packet.tag in rfc9580.SECRET_KEY_TYPES:
            key = key_packet.parse(packet)
            yield PublicPart(packet.tag, key.version, key.public), key.secret


def published(name):
    """A published key file out of its armor."""
    return armor.dearmor(PUBLISHED[name].encode())[0].data


# NIST SP 800-38A, F.3.13 and F.3.17: CFB128-AES128.Encrypt and CFB128-AES256.Encrypt, the first two
# blocks.
PLAIN = "6bc1bee22e409f96e93d7e117393172aae2d8a571e03ac9c9eb76fac45af8e51"
CFB128 = {
    7: (
        "2b7e151628aed2a6abf7158809cf4f3c",
        "3b3fd92eb72dad20333449f8e83cfb4ac8a64537a0b3a93fcde3cdad9f1ce58b",
    ),
    9: (
        "603deb1015ca71be2b73aef0857d77811f352c073b6108d72d9810a30914dff4",
        "dc7e84bfda79164b7ecd8486985d386039ffed143b28b1c832113c6331e5407b",
    ),
}


@pytest.mark.parametrize("cipher", CFB128)
def test_cfb_is_that_of_nist(cipher):
    """SP 800-38A: the cipher construction under every CFB-protected secret."""
    key, expected = CFB128[cipher]
    made = protection._cfb(Protection(b"", 254, cipher, iv=bytes(range(16))), bytes.fromhex(key))
    assert made.encryptor().update(bytes.fromhex(PLAIN)).hex() == expected


@pytest.mark.long
def test_rfc_9580_a5_unlocks_to_a4():
    """
    RFC 9580 A.5 is A.4 under AEAD and Argon2: the secrets that come out are those of A.4. It takes
    2 GiB of memory, four times.
    """
    unlock_a5()


def unlock_a5():
    """Unlock both secrets of A.5, and fail to with a wrong passphrase."""
    open_parts = dict(secrets(published("rfc9580_a4")))
    for public, secret in secrets(published("rfc9580_a5")):
        clear = protection.unlock(secret, public, PUBLISHED["rfc9580_a5_passphrase"].encode())
        assert clear == protection.unlock(open_parts[public], public, b"")
        with pytest.raises(WrongPassphrase):
            protection.unlock(secret, public, b"correct horse battery stable")


# The keys that Argon2 makes of the passphrase of A.5, by salt.
A5_KEYS = {
    "5d6fd71c9e096d1eb6917b6e6e1eecae": (
        "832bd2662a5c2b251ee3fc82aec349a766ca539015880133002e5a21960b3bcf"
    ),
    "0e61846829da869abe0ea61545dc14cc": (
        "f74a6ce873a089ef13a3da9ac059777bb22340d15eaa6c9dc0f8ef09035c67cd"
    ),
}


def test_rfc_9580_a5_unlocks_to_a4_once_its_keys_are_derived(monkeypatch):
    """As the long test, with the answers of Argon2 put down here: AEAD, HKDF and all lengths."""

    def derive(specifier, passphrase, length):
        assert (specifier.argon2_cost, length) == ((1, 4, 21), 32)
        is_right = passphrase == PUBLISHED["rfc9580_a5_passphrase"].encode()
        key = bytes.fromhex(A5_KEYS[specifier.salt.hex()])
        return key if is_right else key[::-1]

    monkeypatch.setattr(protection, "_derive_argon2_key", derive)
    unlock_a5()


def test_argon2_asks_the_library_for_what_the_specifier_says():
    """At a cost that a test can pay: the answer of Argon2id in the library's own words."""
    specifier = s2k.Specifier(4, bytes(range(16)) + bytes([2, 3, 6]))
    theirs = Argon2id(salt=bytes(range(16)), length=24, iterations=2, lanes=3, memory_cost=64)
    assert protection._derive_argon2_key(specifier, b"dawn", 24) == theirs.derive(b"dawn")


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_keys_of_three_libraries_unlock_and_lock_again(name):
    """
    Every key of the corpus: the identical bytes come back, and a wrong passphrase opens nothing.
    """
    one = sample(name)
    for public, secret in secrets(one.secret):
        clear = protection.unlock(secret, public, (one.passphrase or "").encode())
        assert (
            protection.lock(
                clear,
                protection.parse(secret, public.version),
                public,
                (one.passphrase or "").encode(),
            )
            == secret
        )
        if one.passphrase:
            with pytest.raises(WrongPassphrase):
                protection.unlock(secret, public, b"high tide at noon")


@pytest.mark.parametrize("usage", USAGES)
@pytest.mark.parametrize("base", ["curve25519-legacy-open", "rsa2048-open"])
def test_every_usage_unlocks_to_the_fields_that_were_protected(base, usage):
    """
    Protected by another implementation of RFC 9580 §3.7 (that of the tests), unlocked and locked by
    ours.
    """
    original = sample(base).secret
    protected = with_secrets(original, USAGES[usage])
    for (public, bare), (_, secret) in zip(secrets(original), secrets(protected), strict=True):
        clear = protection.unlock(secret, public, PASSPHRASE.encode())
        assert clear == protection.unlock(bare, public, b"")
        assert (
            protection.lock(
                clear, protection.parse(secret, public.version), public, PASSPHRASE.encode()
            )
            == secret
        )
        with pytest.raises(WrongPassphrase):
            protection.unlock(secret, public, b"high tide at noon")


PARAMETERS = {
    "AES-192": (4, bytes([254, 8, 0, 8])),
    "Blowfish": (4, bytes([254, 4, 0, 8])),
    "IDEA": (4, bytes([254, 1, 0, 8])),
    "Camellia-128": (4, bytes([254, 11, 0, 8])),
    "Camellia-192": (4, bytes([254, 12, 0, 8])),
    "Camellia-256": (4, bytes([254, 13, 0, 8])),
    "SHA-384": (4, bytes([254, 9, 1, 9]) + bytes(8)),
    "SHA-512": (4, bytes([254, 9, 1, 10]) + bytes(8)),
    "SHA-224 for a key of 32 bytes": (4, bytes([254, 9, 1, 11]) + bytes(8)),
    "SHA3-256": (4, bytes([254, 9, 1, 12]) + bytes(8)),
    "SHA3-512": (4, bytes([254, 9, 1, 14]) + bytes(8)),
    "Argon2 and CFB": (4, bytes([254, 9, 4]) + bytes(16) + bytes([1, 1, 10])),
    "EAX, version 4": (4, bytes([253, 9, 1, 3, 8]) + bytes(8) + b"\x10"),
    "GCM, version 4": (4, bytes([253, 7, 3, 3, 8]) + bytes(8) + b"\x10"),
    "EAX, version 6": (6, bytes([253, 30, 9, 1, 11, 3, 8]) + bytes(8) + b"\x10"),
    "OCB, version 6": (6, bytes([253, 29, 8, 2, 11, 3, 8]) + bytes(8) + b"\x10"),
    "GCM, version 6": (6, bytes([253, 26, 9, 3, 11, 3, 8]) + bytes(8) + b"\x10"),
    "CFB, version 6": (6, bytes([254, 29, 9, 11, 3, 8]) + bytes(8) + b"\x10"),
}


@pytest.mark.parametrize("name", PARAMETERS)
def test_every_cipher_hash_and_mode_goes_both_ways(name):
    """
    The other combinations: what is locked unlocks, a wrong passphrase and another packet type
    (AEAD) do not.
    """
    version, lead = PARAMETERS[name]
    public = PublicPart(5, version, bytes([version]) + bytes(30))
    how = protection.parse(lead + bytes(range(100, 200)), version)
    assert how.prefix[: len(lead)] == lead
    secret = protection.lock(b"fields of a secret", how, public, b"dawn")
    assert protection.unlock(secret, public, b"dawn") == b"fields of a secret"
    with pytest.raises(WrongPassphrase):
        protection.unlock(secret, public, b"dusk")
    if how.usage == S2KUsage.AEAD:
        with pytest.raises(WrongPassphrase):
            protection.unlock(secret, PublicPart(7, version, public.fields), b"dawn")


REFUSED = {
    "Twofish": (4, bytes([254, 10, 0, 8]) + bytes(60), UnsupportedKey),
    "a cipher that is none": (4, bytes([254, 99, 0, 8]) + bytes(60), UnsupportedKey),
    "a method that is none": (4, bytes([254, 9, 2, 8]) + bytes(60), UnsupportedKey),
    "a hash that is none": (4, bytes([254, 9, 0, 99]) + bytes(60), UnsupportedKey),
    "an AEAD mode that is none": (4, bytes([253, 9, 9, 0, 8]) + bytes(60), UnsupportedKey),
    "4 GiB of memory": (
        4,
        bytes([254, 9, 4]) + bytes(16) + bytes([1, 1, 22]) + bytes(60),
        UnsupportedKey,
    ),
    "no passes": (
        4,
        bytes([254, 9, 4]) + bytes(16) + bytes([0, 1, 10]) + bytes(60),
        UnsupportedKey,
    ),
    "parameters that break off": (4, bytes([254, 9, 3, 8]) + bytes(4), DamagedKeyFile),
    "nothing": (4, b"", DamagedKeyFile),
    "an unprotected secret that disagrees with its sum": (4, b"\0\0\x08\xff\0\0", DamagedKeyFile),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_refused(name):
    """By name, before anything is computed that could take an hour or all memory."""
    version, secret, error = REFUSED[name]
    with pytest.raises(error):
        protection.unlock(secret, PublicPart(5, version, bytes([version]) + bytes(30)), b"dawn")


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("pgpy-")])
def test_pgpy_unlocks_to_the_same_numbers(name):
    """An independent library unlocks its own keys to the same secret numbers."""
    one = sample(name)
    theirs, _ = pgpy.PGPKey.from_blob(base64.b64encode(one.secret) and one.secret)
    (key,) = key_file.read(one.secret)
    (public, secret), *_ = secrets(one.secret)
    clear = protection.unlock(secret, public, one.passphrase.encode())
    ours = [material.number(field) for field in material.secret_fields(clear, key.primary.public)]
    with theirs.unlock(one.passphrase):
        numbers = theirs._key.keymaterial
        names = ("d", "p", "q", "u") if hasattr(numbers, "d") else ("s",)
        assert ours == [int(getattr(numbers, one)) for one in names]


@given(
    st.sampled_from(["curve25519-legacy", "v6-curve25519", "nist-p256"]),
    st.integers(0, 500),
    st.integers(1, 255),
)
@settings(max_examples=60)
def test_any_damage_is_an_error_of_ours(name, at, flip):
    """A flipped byte in a protected secret never opens it, and never raises another exception."""
    one = sample(name)
    (public, secret), *_ = secrets(one.secret)
    at %= len(secret)
    if at == 0 or at in range(3, 40):
        # An unprotected version 6 secret has no checksum, so a usage octet that turned to 0 is
        # noticed by the check of the key pair alone; a specifier with more memory or a larger
        # count may take long, and what it may ask for is tested above.
        return
    damaged = secret[:at] + bytes([secret[at] ^ flip]) + secret[at + 1 :]
    with pytest.raises(RagleafError):
        protection.unlock(damaged, public, one.passphrase.encode())


@pytest.mark.parametrize(("passes", "memory_log"), [(255, 21), (3, 21), (5, 20), (255, 15)])
def test_argon2_that_takes_minutes_is_refused_at_once(passes, memory_log):
    """More than 4 GiB in all passes together are refused before any is made."""
    specifier = s2k.Specifier(4, bytes(16) + bytes([passes, 4, memory_log]))
    start = time.process_time()
    with pytest.raises(UnsupportedKey, match="4 GiB in all passes together"):
        protection._derive_key(specifier, b"low water", 32)
    assert time.process_time() - start < 0.1
