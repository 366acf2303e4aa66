"""
Proofs and compact sheets: published key pairs, every algorithm reduced and computed anew, and what
is refused, by name.
"""

import math
from dataclasses import replace

import pytest
from asking import asks
from hypothesis import given, settings
from hypothesis import strategies as st
from pairs import secrets_of
from samples import NAMES, PASSPHRASE, USAGES, sample, with_secrets

from paperkey_alt.errors import (
    CertificateError,
    DamagedKeyFile,
    DigestMismatch,
    KeyPairMismatch,
    RagleafError,
    WrongPassphrase,
)
from paperkey_alt.format.payload import Compact, ReducedPart, SecretPart, decode, encode
from paperkey_alt.format.seal import Cost, seal, unseal
from paperkey_alt.keys.openpgp import (
    compact,
    extraction,
    key_file,
    packets,
    protection,
    unlocked,
)
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.unlocked import Unlocked

POST_QUANTUM = [name for name in NAMES if "ml" in name]


def key_and_certificate(one):
    """The key and the certificate of a sample."""
    return key_file.read(one.secret)[0], key_file.read(one.certificate)[0]


@pytest.mark.parametrize("name", NAMES)
def test_every_key_comes_back_identical(name):
    """
    Keys of three libraries: unlocked, proven, reduced, sealed, and from the certificate alone the
    secret parts come back to the byte, so that what is tested of lean restores (they sign, they
    decrypt) holds for compact ones.
    """
    one = sample(name)
    key, certificate = key_and_certificate(one)
    opened = unlocked.unlock(key, asks(one.passphrase))
    passphrase = one.passphrase or "high tide at noon"
    reduced, kept = compact.compact(opened, passphrase)
    body = seal(encode(reduced), passphrase, bytes(16), Cost(1, 1, 10))
    restored = compact.restore(decode(unseal(body, passphrase)), certificate, passphrase, asks())
    assert restored == extraction.extract(key, allow_unprotected=True).payload
    assert bool(kept) is (name in POST_QUANTUM)
    if name not in POST_QUANTUM:
        assert all(isinstance(part, ReducedPart) for part in reduced.parts)


@pytest.mark.parametrize("usage", USAGES)
def test_every_usage_comes_back_identical(usage):
    """Salts, counts and IVs are kept, whatever protects the secret."""
    one = sample("rsa2048-open")
    key, certificate = (
        key_file.read(with_secrets(one.secret, USAGES[usage]))[0],
        key_file.read(one.certificate)[0],
    )
    reduced, kept = compact.compact(unlocked.unlock(key, asks(PASSPHRASE)), PASSPHRASE)
    assert kept == ()
    assert (
        compact.restore(reduced, certificate, PASSPHRASE, asks()) == extraction.extract(key).payload
    )


def test_an_rsa_4096_pair_is_42_lines():
    """
    Two primes of 256 bytes, what protects them, and the seal: 1,218 characters with their checks,
    of 1,250 allowed.
    """
    reduced, _ = compact.compact(secrets_of("rsa4096"), PASSPHRASE)
    length = len(seal(encode(reduced), PASSPHRASE, bytes(16)))
    assert math.ceil(length / 15) == 42
    assert math.ceil(length / 15) * 29 <= 1250


@pytest.mark.parametrize(
    "name",
    ["nist-p256", "brainpool-p256", "curve25519-legacy-open", "v6-curve25519-open", "curve448"],
)
def test_swapped_secrets_are_refused(name):
    """The secret of another key packet does not belong, and the refusal names the packet."""
    first, second, *_ = secrets_of(name)
    with pytest.raises(
        (KeyPairMismatch, DamagedKeyFile), match=first.packet.fingerprint.hex().upper()
    ):
        unlocked.check_pairs(
            [
                replace(
                    first,
                    clear=second.clear if first.clear != second.clear else b"\0" + first.clear,
                )
            ]
        )
    other = secrets_of("nist-p384")[0]
    with pytest.raises((KeyPairMismatch, DamagedKeyFile)):
        compact.compact([replace(first, clear=other.clear)], PASSPHRASE)


def test_a_number_with_leading_zeros_is_carried_as_it_stands():
    """What cannot be computed anew to the same bytes is kept whole, and that is said."""
    one = secrets_of("nist-p256")[0]
    wide = (8 * 33).to_bytes(2, "big") + b"\0" + one.clear[2:].rjust(32, b"\0")
    opened = Unlocked(one.packet, wide, one.passphrase)
    reduced, kept = compact.compact([opened], PASSPHRASE)
    assert reduced == Compact((SecretPart(one.packet.fingerprint, one.packet.secret),))
    assert "printed in full" in kept[0]


def two_passphrases():
    """A key whose subkey has another passphrase than the primary key."""
    one = sample("rsa2048-open")
    key, certificate = key_and_certificate(one)
    primary, subkey = unlocked.unlock(key, asks())
    how = protection.parse(bytes([254, 9, 0, 8]) + bytes(range(16)), 4)
    words = {primary.packet.fingerprint: "flood", subkey.packet.fingerprint: "ebb"}
    locked = tuple(
        packets.with_body(
            part.packet.tag,
            part.public
            + protection.lock(
                opened.clear, how, unlocked.public_part(part), words[part.fingerprint].encode()
            ),
            part.packet,
        )
        for part, opened in zip(key.key_packets, (primary, subkey), strict=True)
    )
    secret = iter(locked)
    return Key(
        tuple(next(secret) if packet.tag in (5, 7) else packet for packet in key.packets)
    ), certificate


def test_different_passphrases_are_asked_for_one_by_one():
    """
    At compacting and at restoring; a wrong second one is noticed and asked for again, and its end
    is an error.
    """
    key, certificate = two_passphrases()
    with pytest.raises(WrongPassphrase):
        unlocked.unlock(key, asks("flood", "surge"))
    reduced, _ = compact.compact(unlocked.unlock(key, asks("flood", "surge", "ebb")), "flood")
    assert [part.other_passphrase for part in reduced.parts] == [False, True]
    assert (
        compact.restore(reduced, certificate, "flood", asks("surge", "ebb"))
        == extraction.extract(key).payload
    )
    with pytest.raises(WrongPassphrase):
        compact.restore(reduced, certificate, "flood", asks("surge"))


def test_another_certificate_is_refused():
    """
    A compact payload finds its keys by what divides or makes them; none there, nothing is restored.
    """
    reduced, _ = compact.compact(secrets_of("rsa2048-open"), PASSPHRASE)
    (other,) = key_file.read(sample("pgpy-rsa2048").certificate)
    with pytest.raises(CertificateError):
        compact.restore(reduced, other, PASSPHRASE, asks())
    with pytest.raises(CertificateError):
        compact.restore(reduced, None, PASSPHRASE, asks())


def test_a_part_that_does_not_come_back_as_it_was_is_refused():
    """The check of each part decides, before anything is written."""
    key, certificate = key_and_certificate(sample("nist-p256"))
    reduced, _ = compact.compact(unlocked.unlock(key, asks(PASSPHRASE)), PASSPHRASE)
    first = reduced.parts[0]
    for changed in (
        replace(first, check=bytes(8)),
        replace(first, prefix=first.prefix[:-1] + bytes([first.prefix[-1] ^ 1])),
    ):
        with pytest.raises(DigestMismatch):
            compact.restore(Compact((changed,)), certificate, PASSPHRASE, asks())


@pytest.mark.long
@given(st.data())
@settings(max_examples=80)
def test_any_flipped_bit_of_a_compact_payload_restores_the_same_or_nothing(draw):
    """Past the seal, as if its tag did not exist: an error of ours, or the identical secrets."""
    data = bytearray(CONTENT)
    data[draw.draw(st.integers(1, len(data) - 1))] ^= 1 << draw.draw(st.integers(0, 7))
    try:
        restored = compact.restore(decode(bytes(data)), CERTIFICATE, PASSPHRASE, asks())
    except RagleafError:
        return
    assert restored == LEAN


KEY, CERTIFICATE = key_and_certificate(sample("curve25519-legacy"))
LEAN = extraction.extract(KEY).payload
CONTENT = encode(compact.compact(unlocked.unlock(KEY, asks(PASSPHRASE)), PASSPHRASE)[0])
