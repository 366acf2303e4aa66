"""
The identifiers of RFC 9580 §9 and the sizes that go with them, for all who read or make packets.
"""

from enum import IntEnum


class RevocationReason(IntEnum):
    """Why a key is revoked (§5.2.3.31)."""

    NONE = 0
    SUPERSEDED = 1
    COMPROMISED = 2
    RETIRED = 3


# §9.5, table 23: hash algorithm → its name for hashlib.
HASH_NAMES = {
    1: "md5",
    2: "sha1",
    3: "ripemd160",
    8: "sha256",
    9: "sha384",
    10: "sha512",
    11: "sha224",
    12: "sha3_256",
    14: "sha3_512",
}
# §9.3, table 21: symmetric cipher → bytes of a block, which is the size of its IV.
BLOCK_BYTES = {1: 8, 2: 8, 3: 8, 4: 8, 7: 16, 8: 16, 9: 16, 10: 16, 11: 16, 12: 16, 13: 16}
# §9.6, table 25: AEAD mode (EAX, OCB, GCM) → bytes of its nonce.
NONCE_BYTES = {1: 16, 2: 15, 3: 12}
# §3.7.1: string-to-key method (simple, salted, iterated and salted, Argon2) → bytes of its
# specifier.
SPECIFIER_BYTES = {0: 2, 1: 10, 3: 11, 4: 20}
