"""
Key pairs as OpenPGP has them: published ones, and the unlocked ones of the corpus.
"""

from asking import asks
from samples import sample

from paperkey_alt.keys.openpgp import key_file, material, unlocked
from paperkey_alt.keys.openpgp.material import integer


def secrets_of(name):
    """The unlocked secrets of a key of the corpus."""
    one = sample(name)
    return unlocked.unlock(key_file.read(one.secret)[0], asks(one.passphrase))


def fields_of(name):
    """Public part and secret fields of an unlocked key of the corpus."""
    one = secrets_of(name)[0]
    return one.packet.public, material.secret_fields(one.clear, one.packet.public)


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
