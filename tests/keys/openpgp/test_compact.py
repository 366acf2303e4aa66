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
from samples import NAMES, PASSPHRASE, PUBLISHED, USAGES, sample, with_secrets

from paperkey_alt.errors import (
    CertificateError,
    DamagedKeyFile,
    DigestMismatch,
    KeyPairMismatch,
    RagleafError,
    UnsupportedKey,
    WrongPassphrase,
)
from paperkey_alt.format.payload import Compact, ReducedPart, SecretPart, decode, encode
from paperkey_alt.format.seal import seal, unseal
from paperkey_alt.keys.openpgp import (
    armor,
    compact,
    extraction,
    key_file,
    key_pair,
    material,
    packets,
    protection,
    reduction,
    unlocked,
)
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.material import integer, number
from paperkey_alt.keys.openpgp.reduction import (
    PRIME_AND_EXPONENT,
    PRIME_LCM,
    PRIME_PHI,
    SCALAR,
    Reduced,
)
from paperkey_alt.keys.openpgp.unlocked import Unlocked

POST_QUANTUM = [name for name in NAMES if "ml" in name]


def key_and_certificate(one):
    """The key and the certificate of a sample."""
    return key_file.read(one.secret)[0], key_file.read(one.certificate)[0]


def secrets_of(name):
    """The unlocked secrets of a key of the corpus."""
    one = sample(name)
    return unlocked.unlock(key_file.read(one.secret)[0], asks(one.passphrase))


def public(version, algorithm, *fields):
    """A public part put together by RFC 9580 §5.5.2."""
    body = b"".join(fields)
    return (
        bytes([version, 0, 0, 0, 1, algorithm])
        + (len(body).to_bytes(4, "big") if version == 6 else b"")
        + body
    )


def legacy(oid, point):
    """The public fields of a legacy curve key."""
    return bytes([len(oid)]) + oid + integer(int.from_bytes(point, "big"))


# Published pairs of secret and public key; from memory, and each proves itself by agreeing.
ED25519 = (
    "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
    "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
)
ED448 = (
    "6c82a562cb808d10d632be89c8513ebf6c929f34ddfa8c9f63c9960ef6e348a3528c8a3fcc2f044e39a3fc5b94492f8f032e7549a20098f95b",
    "5fd7449b59b461fd2ce787ec616ad46a1da1342485a70e1f8a0ea75d80e96778edf124769b46c7061bd6783df1e50f6cd1fa1abeafe8256180",
)
X25519 = (
    "5dab087e624a8a4b79e17f8b83800ee66f3bb1292618b6fd1c2f8b27ff88e0eb",
    "de9edb7d7b7dc1b4d35b61c2ece435373f8343c85b78674dadfc7e146f882b4f",
)
X448 = (
    "9a8f4925d1519f5775cf46b04b5800d4ee9ee8bae8bc5565d498c28dd9c9baf574a9419744897391006382a6f127ab1d9ac2d8c0a598726b",
    "9b08f7cc31b7e3e67d22d5aea121074a273bd2b83de09c63faa73d2c22c5d9bbc836647241d953d40c5b12da88120d53177f80e532c41fa0",
)
P256 = (
    "c9afa9d845ba75166b5c215767b1d6934e50c3db36e89b127b8a622b120f6721",
    "0460fed4ba255a9d31c961eb74c6356d68c049b8923b61fa6ce669622e60f29fb67903fe1008b8bc99a41ae9e95628bc64f2f1b20c2d7e9f5177a3c294d4462299",
)
OID_ED25519, OID_CURVE25519 = (
    bytes.fromhex("2b06010401da470f01"),
    bytes.fromhex("2b060104019755010501"),
)
OID_P256, KDF = bytes.fromhex("2a8648ce3d030107"), bytes([3, 1, 8, 7])


def pairs():
    """Public parts and secret fields made of the published pairs."""
    (ed_s, ed_p), (ed4_s, ed4_p), (x_s, x_p), (x4_s, x4_p), (p_s, p_p) = (
        tuple(map(bytes.fromhex, pair)) for pair in (ED25519, ED448, X25519, X448, P256)
    )
    mpi = lambda octets: integer(int.from_bytes(octets, "big"))  # noqa: E731
    return {
        "RFC 8032 §7.1, Ed25519": (public(6, 27, ed_p), ed_s),
        "RFC 8032 §7.1, Ed25519 as EdDSALegacy": (
            public(4, 22, legacy(OID_ED25519, b"\x40" + ed_p)),
            mpi(ed_s),
        ),
        "RFC 8032 §7.4, Ed448": (public(6, 28, ed4_p), ed4_s),
        "RFC 7748 §6.1, X25519": (public(4, 25, x_p), x_s),
        "RFC 7748 §6.1, X25519 as ECDH": (
            public(4, 18, legacy(OID_CURVE25519, b"\x40" + x_p), KDF),
            mpi(x_s[::-1]),
        ),
        "RFC 7748 §6.2, X448": (public(6, 26, x4_p), x4_s),
        "RFC 6979 §A.2.5, P-256 as ECDSA": (public(4, 19, legacy(OID_P256, p_p)), mpi(p_s)),
        "RFC 6979 §A.2.5, P-256 as ECDH": (public(6, 18, legacy(OID_P256, p_p), KDF), mpi(p_s)),
    }


PAIRS = pairs()


@pytest.mark.parametrize("name", PAIRS)
def test_published_pairs_are_proven(name):
    """
    The secret belongs to the public key, a neighbouring secret does not; reduced and computed anew
    it is the same.
    """
    part, clear = PAIRS[name]
    key_pair.require(clear, part)
    found = reduction.reduce(clear, part)
    assert found.form == SCALAR
    assert reduction.expand(found, part) == clear
    for flip in (1, 64):
        # The lowest bits of X25519 and X448 secrets are fixed (RFC 7748 §5), so a higher one is
        # flipped too.
        at = len(clear) // 2
        with pytest.raises(KeyPairMismatch):
            key_pair.require(clear[:at] + bytes([clear[at] ^ flip]) + clear[at + 1 :], part)


def test_the_published_dsa_and_elgamal_keys_are_proven():
    """
    The sample key of the Internet-Draft of example keys: y = g^x for both; a flipped bit of x is
    refused.
    """
    (key,) = key_file.read(armor.dearmor(PUBLISHED["draft_dsa_elgamal_secret"].encode())[0].data)
    opened = unlocked.unlock(key, asks())
    assert {one.packet.algorithm for one in opened} == {"DSA", "ElGamal"}
    assert unlocked.check_pairs(opened) == ()
    for one in opened:
        assert (
            reduction.expand(reduction.reduce(one.clear, one.packet.public), one.packet.public)
            == one.clear
        )
        with pytest.raises(KeyPairMismatch, match=one.packet.fingerprint.hex().upper()):
            unlocked.check_pairs([replace(one, clear=one.clear[:-1] + bytes([one.clear[-1] ^ 1]))])


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
    body = seal(encode(reduced), passphrase, bytes(16))
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


def rsa_parts(d_of):
    """
    The public part and the secret fields of an RSA key whose private exponent is made by *d_of* (e,
    p, q).
    """
    one = secrets_of("rsa2048-open")[0]
    n, e = map(number, material.public_fields(one.packet.public))
    _, p, q, u = map(number, material.secret_fields(one.clear, one.packet.public))
    assert n == p * q
    return one.packet.public, b"".join(map(integer, (d_of(e, p, q), p, q, u)))


EXPONENTS = {
    "lcm": (PRIME_LCM, lambda e, p, q: pow(e, -1, math.lcm(p - 1, q - 1))),
    "phi": (PRIME_PHI, lambda e, p, q: pow(e, -1, (p - 1) * (q - 1))),
    "neither": (
        PRIME_AND_EXPONENT,
        lambda e, p, q: pow(e, -1, (p - 1) * (q - 1)) + 5 * math.lcm(p - 1, q - 1),
    ),
}


@pytest.mark.parametrize("name", EXPONENTS)
def test_every_rule_of_the_private_exponent(name):
    """lcm, φ, and any other that is right: each comes back as it was."""
    form, d_of = EXPONENTS[name]
    part, clear = rsa_parts(d_of)
    found = reduction.reduce(clear, part)
    assert found.form in (form, PRIME_LCM)  # for some primes both rules agree
    assert reduction.expand(found, part) == clear


def fields_of(name):
    """Public part and secret fields of an unlocked key of the corpus."""
    one = secrets_of(name)[0]
    return one.packet.public, material.secret_fields(one.clear, one.packet.public)


@pytest.mark.parametrize("at", range(4), ids=["d", "p", "q", "u"])
def test_a_flipped_bit_in_each_number_of_an_rsa_key(at):
    """In d, p, q and u alike."""
    part, fields = fields_of("rsa2048-open")
    for bit in (1, 1 << 40, 1 << 900):
        changed = [
            number(field) ^ (bit if place == at else 0) for place, field in enumerate(fields)
        ]
        with pytest.raises(KeyPairMismatch):
            key_pair.require(b"".join(map(integer, changed)), part)


def test_primes_in_the_other_order_are_refused():
    """U is the inverse of p modulo q (RFC 9580 §5.5.5.1), so p and q are not interchangeable."""
    part, (d, p, q, u) = fields_of("rsa2048-open")
    with pytest.raises(KeyPairMismatch, match="u is not the inverse"):
        key_pair.require(d + q + p + u, part)


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
    assert "carried as it stands" in kept[0]


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


ESSENCES = {
    "a prime that does not divide": Reduced(PRIME_LCM, b"\3"),
    "one": Reduced(PRIME_LCM, b"\1"),
    "a scalar for RSA": Reduced(SCALAR, b"\1"),
    "a prime and no exponent": Reduced(PRIME_AND_EXPONENT, integer(3)),
}


@pytest.mark.parametrize("name", ESSENCES)
def test_essences_that_belong_to_no_key(name):
    """Refused, never another exception."""
    part, _ = fields_of("rsa2048-open")
    with pytest.raises(KeyPairMismatch):
        reduction.expand(ESSENCES[name], part)


def test_an_algorithm_without_a_proof_is_said():
    """Post-quantum keys are carried as they stand; --prove says that there is no proof of them."""
    for name in POST_QUANTUM:
        assert unlocked.check_pairs(secrets_of(name))
    with pytest.raises(UnsupportedKey):
        key_pair.require(integer(1), public(4, 19, legacy(b"\x2b\x01", b"\4")))


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
