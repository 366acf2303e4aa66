"""The line through a key packet, fingerprints, and secret parts whose outer form cannot be."""

import base64
import hashlib

import pysequoia
import pytest
from pysequoia.packet import PacketPile
from samples import (
    CIPHERS,
    NAMES,
    PUBLISHED,
    SALT,
    USAGES,
    binary,
    iterated,
    protect,
    sample,
    stub,
    with_secrets,
)

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey
from paperkey_alt.keys.openpgp import armor, key_packet, packets, rfc9580
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.rfc9580 import PacketType


def published(name):
    """The key packets of a published sample, binary or armored."""
    text = PUBLISHED[name]
    data = armor.dearmor(text.encode())[0].data if "BEGIN" in text else base64.b64decode(text)
    return keys_of(data)


def keys_of(data):
    """The key packets of binary data."""
    return [
        key_packet.parse(packet)
        for packet in packets.split(data)
        if packet.tag in rfc9580.KEY_TYPES
    ]


FINGERPRINTS = {
    "rfc9580_a1_public": ["rfc9580_a1_fingerprint"],  # RFC 9580 A.1
    "rfc9580_a3": ["rfc9580_primary_fingerprint", "rfc9580_subkey_fingerprint"],  # A.3
    "rfc9580_a4": ["rfc9580_primary_fingerprint", "rfc9580_subkey_fingerprint"],  # A.4, unprotected
    "rfc9580_a5": ["rfc9580_primary_fingerprint", "rfc9580_subkey_fingerprint"],  # A.5, AEAD
    "draft_dsa_elgamal_secret": ["draft_dsa_elgamal_fingerprint"],  # draft-bre-openpgp-samples
}


@pytest.mark.parametrize("name", FINGERPRINTS)
def test_fingerprints_of_the_standard(name):
    """The fingerprints that the publications state, from public and from secret packets."""
    expected = [bytes.fromhex(PUBLISHED[fingerprint]) for fingerprint in FINGERPRINTS[name]]
    assert [key.fingerprint for key in published(name)][: len(expected)] == expected


@pytest.mark.parametrize("name", NAMES)
def test_keys_as_another_program_sees_them(name):
    """
    Fingerprints, key IDs and creation times of every key of the corpus are those that an OpenPGP
    library finds.
    """
    tags = (
        PacketType.PUBLIC_KEY,
        PacketType.PUBLIC_SUBKEY,
        PacketType.SECRET_KEY,
        PacketType.SECRET_SUBKEY,
    )
    for data in (sample(name).secret, sample(name).certificate):
        theirs = [packet for packet in PacketPile.from_bytes(data) if int(packet.tag) in tags]
        ours = keys_of(data)
        assert [key.fingerprint.hex() for key in ours] == [packet.fingerprint for packet in theirs]
        assert [key.key_id.hex() for key in ours] == [packet.key_id for packet in theirs]
        assert [key.created for key in ours] == [packet.key_created for packet in theirs]


@pytest.mark.parametrize("name", NAMES)
def test_the_public_fields_are_the_public_packet(name):
    """What stands before the secret part is, byte for byte, the packet that the certificate has."""
    secret, public = keys_of(sample(name).secret), keys_of(sample(name).certificate)
    assert [key.public for key in secret] == [key.packet.body for key in public]
    assert [key.public + key.secret for key in secret] == [key.packet.body for key in secret]
    assert {key.secrecy for key in public} == {Secrecy.PUBLIC}
    assert {key.secrecy for key in secret} == {
        Secrecy.UNPROTECTED if name.endswith("-open") else Secrecy.PROTECTED
    }


ALGORITHMS = {
    "rsa4096": "RSA RSA",
    "nist-p384": "ECDSA ECDH",
    "brainpool-p512": "ECDSA ECDH",
    "curve25519-legacy": "EdDSALegacy ECDH EdDSALegacy",
    "curve25519": "Ed25519 X25519",
    "v6-curve448-argon2": "Ed448 X448",
    "sq-mlkem-open": "EdDSALegacy EdDSALegacy ML-KEM-768+X25519",
    "sq-v6-mldsa65-open": "ML-DSA-65+Ed25519 ML-DSA-65+Ed25519 ML-KEM-768+X25519",
}


@pytest.mark.parametrize("name", ALGORITHMS)
def test_algorithms_by_name(name):
    """Names of the registry, RFC 9580 §9.1."""
    assert " ".join(key.algorithm for key in keys_of(sample(name).secret)) == ALGORITHMS[name]


def test_dsa_and_elgamal():
    """
    The published DSA key with an ElGamal subkey is cut where its fields end, and is unprotected.
    """
    keys = published("draft_dsa_elgamal_secret")
    assert [(key.algorithm, key.secrecy) for key in keys] == [
        ("DSA", Secrecy.UNPROTECTED),
        ("ElGamal", Secrecy.UNPROTECTED),
    ]


# Suite and encryption algorithm of pysequoia → the algorithms that its keys must then have.
POST_QUANTUM = {
    ("MLDSA87_Ed448", "MLKEM1024_X448"): {"ML-DSA-87+Ed448", "ML-KEM-1024+X448"},
    ("Cv25519", "MLKEM768_X25519"): {"Ed25519", "ML-KEM-768+X25519"},
}
SIGNERS = {"SLHDSA128f": "SLH-DSA-SHAKE-128f"}


@pytest.mark.parametrize("suite", POST_QUANTUM)
def test_post_quantum_fields(suite):
    """
    The field lengths of draft-ietf-openpgp-pqc agree with unprotected keys that an OpenPGP library
    makes.
    """
    tsk = pysequoia.Tsk.generate(
        "Saltmarrow",
        profile=pysequoia.Profile.RFC9580,
        cipher_suite=getattr(pysequoia.CipherSuite, suite[0]),
        encryption_algorithm=getattr(pysequoia.EncryptionAlgorithm, suite[1]),
    )
    keys = keys_of(bytes(tsk))
    assert {key.algorithm for key in keys} == POST_QUANTUM[suite]
    assert {key.secrecy for key in keys} == {Secrecy.UNPROTECTED}


@pytest.mark.parametrize("signer", SIGNERS)
def test_post_quantum_signers(signer):
    """As above, for the signing algorithm that no cipher suite of the library has."""
    algorithm = getattr(pysequoia.SigningAlgorithm, signer)
    tsk = pysequoia.Tsk.generate(
        "Saltmarrow", profile=pysequoia.Profile.RFC9580, signing_algorithm=algorithm
    )
    assert SIGNERS[signer] in {key.algorithm for key in keys_of(bytes(tsk))}


def v3(secret=b"\0"):
    """A version 3 RSA key packet, n = 3 · 5 and e = 3 (RFC 9580 §5.5.2.1)."""
    body = b"\3" + b"\x30\0\0\0" + b"\0\0" + b"\1" + b"\0\4\x0f" + b"\0\2\3" + secret
    tag = PacketType.SECRET_KEY if secret else PacketType.PUBLIC_KEY
    return packets.Packet(tag, bytes([0xC0 | tag, len(body)]), body)


@pytest.mark.parametrize("secret", [b"\0\0\1\1", b""])
def test_version_3_is_recognised(secret):
    """Its fingerprint is the MD5 of n and e without their lengths (RFC 9580 §5.5.4.1)."""
    key = key_packet.parse(v3(secret))
    assert (key.version, key.algorithm, key.secret) == (3, "RSA", secret)
    assert key.fingerprint == hashlib.md5(b"\x0f\3").digest()


def test_version_5_is_recognised():
    """
    It has the count that version 6 has; its fingerprint is led in by 0x9A
    (draft-ietf-openpgp-rfc4880bis, from memory).
    """
    old = keys_of(sample("v6-curve25519").secret)[0]
    key = key_packet.parse(packets.with_body(5, b"\5" + old.packet.body[1:], like=old.packet))
    public = b"\5" + old.public[1:]
    assert (key.version, key.public) == (5, public)
    assert (
        key.fingerprint
        == hashlib.sha256(b"\x9a" + len(public).to_bytes(4, "big") + public).digest()
    )


OPEN, V6, V6_OPEN, AEAD = (
    keys_of(sample(name).secret)[0]
    for name in ("rsa2048-open", "v6-curve25519", "v6-curve25519-open", "curve25519-aead")
)
ARGON2 = keys_of(sample("v6-curve448-argon2").secret)[0]
P256 = keys_of(sample("nist-p256").secret)[0]


def parse(key, secret=None, public=None):
    """Parse the key with another secret part or other public fields."""
    body = (key.public if public is None else public) + (key.secret if secret is None else secret)
    return key_packet.parse(packets.with_body(PacketType.SECRET_KEY, body, like=key.packet))


@pytest.mark.parametrize("name", USAGES)
def test_every_usage_is_carried_as_it_stands(name):
    """
    Every S2K usage and specifier of RFC 9580 §3.7 is known as a protection, and the secret part is
    what was written.
    """
    secret = USAGES[name](OPEN)
    key = parse(OPEN, secret)
    assert (key.secret, key.secrecy) == (secret, Secrecy.PROTECTED)


@pytest.mark.parametrize("name", USAGES)
def test_a_protection_must_fit(name):
    """
    Cut down to its parameters, or to less than a ciphertext with its check, it is refused; with one
    byte more it is not.
    """
    secret = USAGES[name](OPEN)
    usage = secret[0]
    cipher = usage if usage < 253 else secret[1]
    parameters = (1 if usage < 253 else 2 + {0: 2, 1: 10, 3: 11}[secret[2]]) + CIPHERS[cipher][2]
    least = parameters + (20 if usage == 254 else 2)
    assert parse(OPEN, secret[: least + 1]).secrecy is Secrecy.PROTECTED
    for length in (1, parameters - 1, parameters, least):
        with pytest.raises(DamagedKeyFile, match="ends within"):
            parse(OPEN, secret[:length])


STUBS = {"elsewhere": stub(), "on a card": stub(how=2), "usage 255": stub(usage=255)}


@pytest.mark.parametrize("name", STUBS)
def test_a_stub_is_no_secret(name):
    """The de-facto stub, offline or on a card, is told from a secret."""
    assert parse(OPEN, STUBS[name]).secrecy is Secrecy.STUB


PRIVATE = {
    "another private type": b"\xfe\x09\x66\2GNU\1",
    "the private type without the mark": b"\xfe\x09\x65\2ABC\1",
    "the mark with another way": b"\xfe\x09\x65\2GNU\3secret",
}


@pytest.mark.parametrize("name", PRIVATE)
def test_a_private_protection_is_a_secret(name):
    """What might hold a secret is never taken for a stub."""
    assert parse(OPEN, PRIVATE[name]).secrecy is Secrecy.PROTECTED


def flip(data, at):
    """The data with one bit of the byte at *at* turned over."""
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


def change(data, at, value):
    """The data with another byte at *at*."""
    return data[:at] + bytes([value]) + data[at + 1 :]


SECRET_DAMAGE = {
    "no secret part": (OPEN, b"", "ends within"),
    "a usage octet that names no cipher": (
        OPEN,
        b"\xc8" + OPEN.secret[2:],
        "200, which names no cipher",
    ),
    "a reserved cipher as usage": (OPEN, b"\5" + OPEN.secret[2:], "5, which names no cipher"),
    "a usage octet that hides an unprotected secret": (
        OPEN,
        b"\x09" + OPEN.secret[1:],
        "its secret is not encrypted",
    ),
    "a usage octet that makes a specifier of it": (
        OPEN,
        b"\xfd" + OPEN.secret[1:],
        "its secret is not encrypted",
    ),
    "a flipped bit in an unprotected secret": (OPEN, flip(OPEN.secret, 100), "checksum"),
    "a flipped bit in its checksum": (OPEN, flip(OPEN.secret, len(OPEN.secret) - 1), "checksum"),
    "an unprotected secret cut short": (OPEN, OPEN.secret[:-1], "ends within"),
    "an unprotected secret with a byte behind": (OPEN, OPEN.secret + b"\0", "does not fill"),
    "a version 6 secret cut short": (V6_OPEN, V6_OPEN.secret[:-1], "ends within"),
    "a version 6 secret with a byte behind": (V6_OPEN, V6_OPEN.secret + b"\0", "does not fill"),
    "an unknown S2K type": (
        OPEN,
        change(protect(254, 9, iterated(8))(OPEN), 2, 9),
        "S2K type is 9, which is unknown",
    ),
    "the reserved S2K type": (
        OPEN,
        change(protect(254, 9, iterated(8))(OPEN), 2, 2),
        "S2K type is 2, which is unknown",
    ),
    "a wrong count of parameters": (V6, change(V6.secret, 1, V6.secret[1] + 1), "stated length"),
    "a count of parameters past the end": (V6, change(V6.secret, 1, 255), "stated length"),
    "a wrong length of the S2K specifier": (
        V6,
        change(V6.secret, 3, V6.secret[3] - 1),
        "S2K specifier and the stated length",
    ),
    "a wrong length of an Argon2 specifier": (
        ARGON2,
        change(ARGON2.secret, 4, 19),
        "S2K specifier and the stated length",
    ),
    "AEAD without room for its tag": (AEAD, AEAD.secret[:-33], "ends within"),
    "a stub cut short": (OPEN, stub()[:-1], "ends within"),
}


@pytest.mark.parametrize("name", SECRET_DAMAGE)
def test_damage_in_a_secret_part(name):
    """A secret part whose outer form cannot be is refused, and the message says why."""
    key, secret, words = SECRET_DAMAGE[name]
    assert secret != key.secret
    with pytest.raises(DamagedKeyFile, match=words):
        parse(key, secret)


PUBLIC_DAMAGE = {
    "a number that is too long": (OPEN, change(OPEN.public, 6, 0xFF), "ends within"),
    "a curve of no length": (P256, change(P256.public, 6, 0), "reserved"),
    "a curve of a reserved length": (P256, change(P256.public, 6, 255), "reserved"),
    "a count of public fields that is too small": (V6, change(V6.public, 9, 31), "stated length"),
    "a count of public fields that is too large": (V6, change(V6.public, 9, 33), "stated length"),
    "a count of public fields past the end": (V6, change(V6.public, 6, 255), "stated length"),
}


@pytest.mark.parametrize("name", PUBLIC_DAMAGE)
def test_damage_in_public_fields(name):
    """Public fields that do not add up are refused before anything is taken for a secret."""
    key, public, words = PUBLIC_DAMAGE[name]
    with pytest.raises(DamagedKeyFile, match=words):
        parse(key, public=public)


@pytest.mark.parametrize("length", range(6))
def test_a_public_packet_cut_short(length):
    """A public packet without version, time and algorithm is none."""
    with pytest.raises((DamagedKeyFile, UnsupportedKey), match=r"ends within|version 0"):
        key_packet.parse(
            packets.with_body(PacketType.PUBLIC_KEY, OPEN.public[:length], like=OPEN.packet)
        )


def test_a_public_packet_beyond_the_fingerprint():
    """
    A version 4 fingerprint has two octets for the length: as many bytes pass, one more does not.
    """
    for length, fails in ((0xFFFF, False), (0x10000, True)):
        packet = packets.with_body(
            PacketType.PUBLIC_KEY, OPEN.public.ljust(length, b"\0"), like=OPEN.packet
        )
        if fails:
            with pytest.raises(DamagedKeyFile, match="longer than 65535 bytes"):
                key_packet.parse(packet)
        else:
            assert key_packet.parse(packet).secrecy is Secrecy.PUBLIC


@pytest.mark.parametrize("version", [0, 1, 7, 255])
def test_unknown_versions(version):
    """A version that no standard has is named and refused."""
    with pytest.raises(UnsupportedKey, match=f"of version {version}, which is unknown"):
        parse(OPEN, public=change(OPEN.public, 0, version))


@pytest.mark.parametrize("algorithm", [0, 21, 24, 99, 110])
def test_unknown_algorithms(algorithm):
    """
    In version 4 nothing tells where the public fields of an unknown algorithm end; in version 6 the
    packet does.
    """
    with pytest.raises(UnsupportedKey, match=f"algorithm {algorithm}, which Ragleaf does not know"):
        parse(OPEN, public=change(OPEN.public, 5, algorithm))
    for known in (V6, V6_OPEN):
        key = parse(known, public=change(known.public, 5, algorithm))
        assert (key.algorithm, key.secret, key.secrecy) == (
            f"algorithm {algorithm}",
            known.secret,
            known.secrecy,
        )


def test_an_unknown_algorithm_in_a_public_packet():
    """A certificate with a subkey of an algorithm to come is read."""
    packet = packets.with_body(
        PacketType.PUBLIC_SUBKEY, change(OPEN.public, 5, 99), like=OPEN.packet
    )
    assert key_packet.parse(packet).algorithm == "algorithm 99"


def test_ciphers_and_modes_to_come():
    """
    A cipher or AEAD mode without a known IV is carried: the packet says what protects it, and the
    bytes stay as they are.
    """
    for key, at in ((AEAD, 1), (AEAD, 2), (V6, 2)):
        assert parse(key, change(key.secret, at, 99)).secrecy is Secrecy.PROTECTED


def test_a_secret_replaced_in_a_sample():
    """The helper that builds the cases replaces secret parts and nothing else."""
    key = sample("curve25519-legacy-open")
    replaced = with_secrets(key.secret, lambda packet: packet.secret)
    assert replaced == key.secret
    assert SALT in with_secrets(key.secret, USAGES["usage 254, salted"])
    assert binary("curve25519-legacy-open.cert.asc") == key.certificate
