"""
The numbers of RFC 9580 and the names and sizes that go with them, for all who read or make packets.

An unknown number is no member of its enumeration; where one must be looked up, the mappings below
the enumerations give the member or nothing.
"""

from __future__ import annotations

import datetime as dt
from enum import Enum, IntEnum
from typing import Self


class _Numbered(IntEnum):
    """A number with what goes with it."""

    def __new__(cls, number: int, *_: object) -> Self:
        member = int.__new__(cls, number)
        member._value_ = number
        return member


class PacketType(IntEnum):
    """Packet types (§5)."""

    PUBLIC_KEY_ENCRYPTED_SESSION_KEY = 1
    SIGNATURE = 2
    SYMMETRIC_KEY_ENCRYPTED_SESSION_KEY = 3
    ONE_PASS_SIGNATURE = 4
    SECRET_KEY = 5
    PUBLIC_KEY = 6
    SECRET_SUBKEY = 7
    COMPRESSED_DATA = 8
    SYMMETRICALLY_ENCRYPTED_DATA = 9
    MARKER = 10
    LITERAL_DATA = 11
    TRUST = 12
    USER_ID = 13
    PUBLIC_SUBKEY = 14
    USER_ATTRIBUTE = 17
    SYMMETRICALLY_ENCRYPTED_INTEGRITY_PROTECTED_DATA = 18
    AEAD_ENCRYPTED_DATA = 20  # reserved; written by drafts of the standard
    PADDING = 21


# Types of packets with a key in them (§5.5.1).
KEY_TYPES = (
    PacketType.SECRET_KEY,
    PacketType.PUBLIC_KEY,
    PacketType.SECRET_SUBKEY,
    PacketType.PUBLIC_SUBKEY,
)
PRIMARY_KEY_TYPES = (PacketType.SECRET_KEY, PacketType.PUBLIC_KEY)
SECRET_KEY_TYPES = (PacketType.SECRET_KEY, PacketType.SECRET_SUBKEY)

# Packet type of a key → that of the same key without its secret.
TO_PUBLIC = {
    PacketType.SECRET_KEY: PacketType.PUBLIC_KEY,
    PacketType.PUBLIC_KEY: PacketType.PUBLIC_KEY,
    PacketType.SECRET_SUBKEY: PacketType.PUBLIC_SUBKEY,
    PacketType.PUBLIC_SUBKEY: PacketType.PUBLIC_SUBKEY,
}

# Packet type of a key → that of the same key with its secret.
TO_SECRET = {
    PacketType.PUBLIC_KEY: PacketType.SECRET_KEY,
    PacketType.PUBLIC_SUBKEY: PacketType.SECRET_SUBKEY,
    PacketType.SECRET_KEY: PacketType.SECRET_KEY,
    PacketType.SECRET_SUBKEY: PacketType.SECRET_SUBKEY,
}

KEY_ID_BYTES = 8  # §5.5.4
# Version of a key → the octet that leads it in where it is hashed, and the octets of its length
# (§5.5.4, §5.2.4; version 5: draft-ietf-openpgp-rfc4880bis, from memory).
KEY_FRAMES = {4: (0x99, 2), 5: (0x9A, 4), 6: (0x9B, 4)}
USER_ID_FRAME = (0xB4, 4)  # the same of a user ID (§5.2.4)


class PublicKeyAlgorithm(_Numbered):
    """Public-key algorithms (§9.1), and their names."""

    RSA = 1, "RSA"
    RSA_ENCRYPT_ONLY = 2, "RSA"
    RSA_SIGN_ONLY = 3, "RSA"
    ELGAMAL = 16, "ElGamal"
    DSA = 17, "DSA"
    ECDH = 18, "ECDH"
    ECDSA = 19, "ECDSA"
    EDDSA_LEGACY = 22, "EdDSALegacy"
    X25519 = 25, "X25519"
    X448 = 26, "X448"
    ED25519 = 27, "Ed25519"
    ED448 = 28, "Ed448"
    # From here on draft-ietf-openpgp-pqc, which allows 35 in version 4 too.
    ML_DSA_65_ED25519 = 30, "ML-DSA-65+Ed25519"
    ML_DSA_87_ED448 = 31, "ML-DSA-87+Ed448"
    SLH_DSA_SHAKE_128S = 32, "SLH-DSA-SHAKE-128s"
    SLH_DSA_SHAKE_128F = 33, "SLH-DSA-SHAKE-128f"
    SLH_DSA_SHAKE_256S = 34, "SLH-DSA-SHAKE-256s"
    ML_KEM_768_X25519 = 35, "ML-KEM-768+X25519"
    ML_KEM_1024_X448 = 36, "ML-KEM-1024+X448"

    def __init__(self, _: int, title: str) -> None:
        self.title = title


ALGORITHMS = {int(algorithm): algorithm for algorithm in PublicKeyAlgorithm}
RSA_ALGORITHMS = (
    PublicKeyAlgorithm.RSA,
    PublicKeyAlgorithm.RSA_ENCRYPT_ONLY,
    PublicKeyAlgorithm.RSA_SIGN_ONLY,
)


class Curve(Enum):
    """Curves of ECDSA, ECDH and EdDSALegacy, by their OID as it stands in a key packet (§9.2)."""

    NIST_P256 = bytes.fromhex("2a8648ce3d030107")
    NIST_P384 = bytes.fromhex("2b81040022")
    NIST_P521 = bytes.fromhex("2b81040023")
    SECP256K1 = bytes.fromhex("2b8104000a")  # not in the RFC: SEC 2 §A.2.1
    BRAINPOOL_P256 = bytes.fromhex("2b2403030208010107")
    BRAINPOOL_P384 = bytes.fromhex("2b240303020801010b")
    BRAINPOOL_P512 = bytes.fromhex("2b240303020801010d")
    ED25519_LEGACY = bytes.fromhex("2b06010401da470f01")
    CURVE25519_LEGACY = bytes.fromhex("2b060104019755010501")


NATIVE_POINT = b"\x40"  # leads in a point in the native form of its curve (§11.2.2)


class Cipher(_Numbered):
    """
    Symmetric-key algorithms (§9.3): names, octets of a key, octets of a block, which are those of
    an IV.
    """

    IDEA = 1, "IDEA", 16, 8
    TRIPLE_DES = 2, "TripleDES", 24, 8
    CAST5 = 3, "CAST5", 16, 8
    BLOWFISH = 4, "Blowfish", 16, 8
    AES_128 = 7, "AES-128", 16, 16
    AES_192 = 8, "AES-192", 24, 16
    AES_256 = 9, "AES-256", 32, 16
    TWOFISH = 10, "Twofish", 32, 16
    CAMELLIA_128 = 11, "Camellia-128", 16, 16
    CAMELLIA_192 = 12, "Camellia-192", 24, 16
    CAMELLIA_256 = 13, "Camellia-256", 32, 16

    def __init__(self, _: int, title: str, key_bytes: int, block_bytes: int) -> None:
        self.title = title
        self.key_bytes = key_bytes
        self.block_bytes = block_bytes


CIPHERS = {int(cipher): cipher for cipher in Cipher}


class AeadMode(_Numbered):
    """AEAD algorithms (§9.6), and octets of a nonce."""

    EAX = 1, 16
    OCB = 2, 15
    GCM = 3, 12

    def __init__(self, _: int, nonce_bytes: int) -> None:
        self.nonce_bytes = nonce_bytes


AEAD_MODES = {int(mode): mode for mode in AeadMode}
AEAD_TAG_BYTES = 16


class HashAlgorithm(_Numbered):
    """Hash algorithms (§9.5), and their names for hashlib."""

    MD5 = 1, "md5"
    SHA1 = 2, "sha1"
    RIPEMD160 = 3, "ripemd160"
    SHA2_256 = 8, "sha256"
    SHA2_384 = 9, "sha384"
    SHA2_512 = 10, "sha512"
    SHA2_224 = 11, "sha224"
    SHA3_256 = 12, "sha3_256"
    SHA3_512 = 14, "sha3_512"

    def __init__(self, _: int, title: str) -> None:
        self.title = title


HASHES = {int(algorithm): algorithm for algorithm in HashAlgorithm}
LAST_INSTANT = dt.datetime.fromtimestamp((1 << 32) - 1, dt.UTC)  # of four bytes, §3.5
SALT_BYTES = 32  # of a version 6 signature with SHA2-512 (§9.5)


class S2KUsage(_Numbered):
    """
    S2K usage octets (§3.7.2.1), and octets of the check behind the secret fields; any other value
    is the number of a cipher, and the check behind it the two octets of a sum.
    """

    UNPROTECTED = 0, 2
    AEAD = 253, AEAD_TAG_BYTES
    CFB_SHA1 = 254, 20
    CFB_SUM = 255, 2

    def __init__(self, _: int, check_bytes: int) -> None:
        self.check_bytes = check_bytes


S2K_USAGES = {int(usage): usage for usage in S2KUsage}
SUM_BYTES = S2KUsage.CFB_SUM.check_bytes


class S2KType(_Numbered):
    """String-to-key specifier types (§3.7.1), and octets of a specifier with its type."""

    SIMPLE = 0, 2
    SALTED = 1, 10
    ITERATED = 3, 11
    ARGON2 = 4, 20

    def __init__(self, _: int, specifier_bytes: int) -> None:
        self.specifier_bytes = specifier_bytes


S2K_TYPES = {int(kind): kind for kind in S2KType}
PRIVATE_S2K_TYPES = range(100, 111)
# The de-facto stub of a secret that is kept elsewhere: a type of the private range, a hash octet,
# this mark, and how the secret is kept.
STUB_S2K_TYPE = 101
STUB_MARK = b"GNU"
STUB_ELSEWHERE = 1
STUB_ON_CARD = 2


class SignatureType(IntEnum):
    """Signature types (§5.2.1) over keys and user IDs."""

    GENERIC_CERTIFICATION = 0x10
    PERSONA_CERTIFICATION = 0x11
    CASUAL_CERTIFICATION = 0x12
    POSITIVE_CERTIFICATION = 0x13
    SUBKEY_BINDING = 0x18
    PRIMARY_KEY_BINDING = 0x19
    DIRECT_KEY = 0x1F
    KEY_REVOCATION = 0x20
    SUBKEY_REVOCATION = 0x28
    CERTIFICATION_REVOCATION = 0x30


CERTIFICATIONS = (
    SignatureType.GENERIC_CERTIFICATION,
    SignatureType.PERSONA_CERTIFICATION,
    SignatureType.CASUAL_CERTIFICATION,
    SignatureType.POSITIVE_CERTIFICATION,
)


class SubpacketType(IntEnum):
    """Signature subpacket types (§5.2.3.7)."""

    SIGNATURE_CREATION_TIME = 2
    SIGNATURE_EXPIRATION_TIME = 3
    KEY_EXPIRATION_TIME = 9
    ISSUER_KEY_ID = 16
    REASON_FOR_REVOCATION = 29
    EMBEDDED_SIGNATURE = 32
    ISSUER_FINGERPRINT = 33


CRITICAL = 0x80  # the bit of a subpacket's type that makes it critical (§5.2.3.7)


class RevocationReason(IntEnum):
    """Why a key is revoked (§5.2.3.31)."""

    NONE = 0
    SUPERSEDED = 1
    COMPROMISED = 2
    RETIRED = 3
