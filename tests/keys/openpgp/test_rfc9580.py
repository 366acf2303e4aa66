"""The table of numbers against the libraries that compute with them, and against itself."""

import hashlib

import pytest
from cryptography.hazmat.decrepit.ciphers import algorithms as old
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers import algorithms
from pysequoia.packet import Tag

from paperkey_alt.keys.openpgp import key_pair, material, rfc9580
from paperkey_alt.keys.openpgp.rfc9580 import (
    AeadMode,
    Cipher,
    Curve,
    HashAlgorithm,
    PacketType,
    PublicKeyAlgorithm,
    S2KType,
    S2KUsage,
)

MAPPINGS = [
    (rfc9580.ALGORITHMS, PublicKeyAlgorithm),
    (rfc9580.CIPHERS, Cipher),
    (rfc9580.AEAD_MODES, AeadMode),
    (rfc9580.HASHES, HashAlgorithm),
    (rfc9580.S2K_USAGES, S2KUsage),
    (rfc9580.S2K_TYPES, S2KType),
]


@pytest.mark.parametrize(("mapping", "numbers"), MAPPINGS)
def test_a_number_finds_its_member(mapping, numbers):
    """Every octet leads to the member of that number or, where it is unknown, to nothing."""
    for octet in range(256):
        member = mapping.get(octet)
        assert member is None or (member == octet and member in numbers)
    assert len(mapping) == len(numbers)


LIBRARY = {
    Cipher.TRIPLE_DES: old.TripleDES,
    Cipher.CAST5: old.CAST5,
    Cipher.BLOWFISH: old.Blowfish,
    Cipher.IDEA: old.IDEA,
    Cipher.AES_128: algorithms.AES128,
    Cipher.AES_192: algorithms.AES,
    Cipher.AES_256: algorithms.AES256,
    Cipher.CAMELLIA_128: old.Camellia,
    Cipher.CAMELLIA_192: old.Camellia,
    Cipher.CAMELLIA_256: old.Camellia,
}


@pytest.mark.parametrize("cipher", LIBRARY)
def test_ciphers_have_their_sizes(cipher):
    """The library takes a key of that size, and has blocks of that size."""
    made = LIBRARY[cipher](bytes(range(cipher.key_bytes)))
    assert (made.key_size, made.block_size) == (8 * cipher.key_bytes, 8 * cipher.block_bytes)


@pytest.mark.parametrize("algorithm", HashAlgorithm)
def test_hashes_by_name(algorithm):
    """The standard library knows each, whether or not this computer has it."""
    assert algorithm.title in hashlib.algorithms_guaranteed | {"ripemd160"}


SIZES = {
    HashAlgorithm.MD5: 16,
    HashAlgorithm.SHA1: 20,
    HashAlgorithm.SHA2_224: 28,
    HashAlgorithm.SHA2_256: 32,
    HashAlgorithm.SHA2_384: 48,
    HashAlgorithm.SHA2_512: 64,
    HashAlgorithm.SHA3_256: 32,
    HashAlgorithm.SHA3_512: 64,
}


@pytest.mark.parametrize("algorithm", SIZES)
def test_hashes_have_their_sizes(algorithm):
    """RFC 9580 §9.5: a name that is another hash's would have another size or be found below."""
    assert hashlib.new(algorithm.title, usedforsecurity=False).digest_size == SIZES[algorithm]
    assert [each.title for each in HashAlgorithm].count(algorithm.title) == 1


CURVES = {
    Curve.NIST_P256: ec.EllipticCurveOID.SECP256R1,
    Curve.NIST_P384: ec.EllipticCurveOID.SECP384R1,
    Curve.NIST_P521: ec.EllipticCurveOID.SECP521R1,
    Curve.SECP256K1: ec.EllipticCurveOID.SECP256K1,
    Curve.BRAINPOOL_P256: ec.EllipticCurveOID.BRAINPOOLP256R1,
    Curve.BRAINPOOL_P384: ec.EllipticCurveOID.BRAINPOOLP384R1,
    Curve.BRAINPOOL_P512: ec.EllipticCurveOID.BRAINPOOLP512R1,
}


def dotted(octets):
    """An OID in dots, from its octets (X.690 §8.19)."""
    arcs, value = [], 0
    for octet in octets:
        value = value << 7 | octet & 0x7F
        if not octet & 0x80:
            arcs.append(value)
            value = 0
    first = min(arcs[0] // 40, 2)
    return ".".join(map(str, [first, arcs[0] - 40 * first, *arcs[1:]]))


@pytest.mark.parametrize("curve", CURVES)
def test_curves_by_oid(curve):
    """The library has the same OID for the curve that the check of a key pair takes."""
    assert dotted(curve.value) == CURVES[curve].dotted_string
    field = bytes([len(curve.value)]) + curve.value
    assert ec.get_curve_for_oid(CURVES[curve]) is type(key_pair.curve(field))


PACKET_TYPES = [
    (Tag.PKESK, PacketType.PUBLIC_KEY_ENCRYPTED_SESSION_KEY),
    (Tag.Signature, PacketType.SIGNATURE),
    (Tag.SKESK, PacketType.SYMMETRIC_KEY_ENCRYPTED_SESSION_KEY),
    (Tag.OnePassSig, PacketType.ONE_PASS_SIGNATURE),
    (Tag.SecretKey, PacketType.SECRET_KEY),
    (Tag.PublicKey, PacketType.PUBLIC_KEY),
    (Tag.SecretSubkey, PacketType.SECRET_SUBKEY),
    (Tag.CompressedData, PacketType.COMPRESSED_DATA),
    (Tag.SED, PacketType.SYMMETRICALLY_ENCRYPTED_DATA),
    (Tag.Marker, PacketType.MARKER),
    (Tag.Literal, PacketType.LITERAL_DATA),
    (Tag.Trust, PacketType.TRUST),
    (Tag.UserID, PacketType.USER_ID),
    (Tag.PublicSubkey, PacketType.PUBLIC_SUBKEY),
]


def test_packet_types_as_another_program_has_them():
    """Each by its name in an OpenPGP library, which counts those above 14 otherwise."""
    assert [int(theirs) for theirs, _ in PACKET_TYPES] == [ours for _, ours in PACKET_TYPES]
    assert [ours for ours in PacketType if ours <= 14] == [ours for _, ours in PACKET_TYPES]


def test_every_algorithm_has_its_fields():
    """No algorithm is named whose secret could not be told from its public fields."""
    assert material.LAYOUTS.keys() == rfc9580.ALGORITHMS.keys()


def test_keys_of_every_type_have_one_with_a_secret():
    """A key and a subkey stay what they are; what has its secret keeps its type."""
    assert rfc9580.TO_SECRET.keys() == set(rfc9580.KEY_TYPES)
    assert set(rfc9580.TO_SECRET.values()) == set(rfc9580.SECRET_KEY_TYPES)
    for before, after in rfc9580.TO_SECRET.items():
        assert (before in rfc9580.PRIMARY_KEY_TYPES) is (after in rfc9580.PRIMARY_KEY_TYPES)
