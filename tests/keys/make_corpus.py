"""
Makes the sample keys of the tests, and the demo's: ``python tests/keys/make_corpus.py NAME...``
from the top folder.

With no name it lists what it can make. Each key is made and armored by a library that is not ours:
openpgp of the npm registry (through tests/oracles/generate.mjs), pysequoia, or PGPy. The files in
tests/keys/corpus came from it on 2026-11-25; running it again gives other keys, with which the
tests pass as well. The passphrase of every protected key is PASSPHRASE.
"""

from __future__ import annotations

import json
import subprocess
import sys
import warnings
from datetime import timedelta
from pathlib import Path

from paperkey_alt.keys.openpgp import key_file

TOP = Path(__file__).parents[2]
CORPUS = TOP / "tests/keys/corpus"
PASSPHRASE = "low water at dawn"
USER = {"name": "Saltmarrow Buoy Keepers", "email": "notices@saltmarrow.example"}
USER_ID = "{name} <{email}>".format(**USER)
BEFORE = "2026-11-01T06:00:00.000Z"

_RSA = {"type": "rsa", "subkeys": [{}]}
_V6 = {"v6Keys": True}
_AEAD = {"aeadProtect": True}
_ARGON2 = {
    **_AEAD,
    "s2kType": 4,
    "s2kArgon2Params": {"passes": 1, "parallelism": 1, "memoryExponent": 10},
}

NPM = {
    "rsa4096": ({**_RSA, "rsaBits": 4096}, {}),
    "rsa2048-open": ({**_RSA, "rsaBits": 2048, "passphrase": None}, {}),
    "nist-p256": ({"type": "ecc", "curve": "nistP256"}, {}),
    "nist-p384": ({"type": "ecc", "curve": "nistP384"}, {}),
    "nist-p521": ({"type": "ecc", "curve": "nistP521"}, {}),
    "brainpool-p256": ({"type": "ecc", "curve": "brainpoolP256r1"}, {}),
    "brainpool-p512": ({"type": "ecc", "curve": "brainpoolP512r1"}, {}),
    "secp256k1": ({"type": "ecc", "curve": "secp256k1"}, {}),
    "curve25519-legacy": (
        {"type": "ecc", "curve": "curve25519Legacy", "subkeys": [{}, {"sign": True}]},
        {},
    ),
    "curve25519-legacy-open": (
        {"type": "ecc", "curve": "curve25519Legacy", "passphrase": None},
        {},
    ),
    "curve25519": ({"type": "curve25519"}, {}),
    "curve25519-aead": ({"type": "curve25519"}, _AEAD),
    "curve448": ({"type": "curve448"}, {}),
    "v6-curve25519": ({"type": "curve25519"}, _V6),
    "v6-curve25519-open": ({"type": "curve25519", "passphrase": None}, _V6),
    "v6-curve448-argon2": ({"type": "curve448"}, {**_V6, **_ARGON2}),
    "v6-nist-p256": ({"type": "ecc", "curve": "nistP256"}, {**_V6, **_AEAD}),
    "v6-rsa2048": ({**_RSA, "rsaBits": 2048}, _V6),
}
SEQUOIA = {
    "sq-curve25519-open": {"cipher_suite": "Cv25519"},
    "sq-v6-curve448-open": {"cipher_suite": "Cv448", "profile": "RFC9580"},
    "sq-mlkem-open": {"cipher_suite": "Cv25519", "encryption_algorithm": "MLKEM768_X25519"},
    "sq-v6-mldsa65-open": {"cipher_suite": "MLDSA65_Ed25519", "profile": "RFC9580"},
}
PGPY = ("pgpy-rsa2048", "pgpy-nist-p256")


def npm(names: list[str]) -> dict[str, tuple[str, str]]:
    """Return secret key and certificate of each name, by the npm library."""
    wanted = {}
    for name in names:
        options, config = NPM[name]
        options = {"userIDs": [USER], "passphrase": PASSPHRASE, "date": BEFORE, **options}
        wanted[name] = {
            "options": {key: value for key, value in options.items() if value is not None},
            "config": config,
        }
    made = _generate(wanted)
    return {name: (one["secret"], one["public"]) for name, one in made.items()}


def sequoia(names: list[str]) -> dict[str, tuple[str, str]]:
    """
    Return secret key and certificate of each name, by pysequoia, which makes unprotected keys only.
    """
    import pysequoia  # noqa: PLC0415

    kinds = {
        "cipher_suite": pysequoia.CipherSuite,
        "profile": pysequoia.Profile,
        "encryption_algorithm": pysequoia.EncryptionAlgorithm,
        "signing_algorithm": pysequoia.SigningAlgorithm,
    }
    made = {}
    for name in names:
        options = {option: getattr(kinds[option], value) for option, value in SEQUOIA[name].items()}
        tsk = pysequoia.Tsk.generate(USER_ID, **options)
        made[name] = (str(tsk), str(tsk.extract_certificate()))
    return made


def pgpy(names: list[str]) -> dict[str, tuple[str, str]]:
    """
    Return secret key and certificate of each name, by PGPy: primary key, user ID and encryption
    subkey.
    """
    warnings.simplefilter("ignore")
    from pgpy import PGPUID, PGPKey  # noqa: PLC0415
    from pgpy.constants import (  # noqa: PLC0415
        EllipticCurveOID,
        HashAlgorithm,
        KeyFlags,
        PubKeyAlgorithm,
        SymmetricKeyAlgorithm,
    )

    algorithms = {
        "pgpy-rsa2048": (
            (PubKeyAlgorithm.RSAEncryptOrSign, 2048),
            (PubKeyAlgorithm.RSAEncryptOrSign, 2048),
        ),
        "pgpy-nist-p256": (
            (PubKeyAlgorithm.ECDSA, EllipticCurveOID.NIST_P256),
            (PubKeyAlgorithm.ECDH, EllipticCurveOID.NIST_P256),
        ),
    }
    made = {}
    for name in names:
        primary, subkey = (PGPKey.new(*one) for one in algorithms[name])
        primary.add_uid(
            PGPUID.new(USER["name"], email=USER["email"]),
            usage={KeyFlags.Sign, KeyFlags.Certify},
            hashes=[HashAlgorithm.SHA256],
            ciphers=[SymmetricKeyAlgorithm.AES256],
        )
        primary.add_subkey(subkey, usage={KeyFlags.EncryptCommunications})
        public = str(primary.pubkey)
        primary.protect(PASSPHRASE, SymmetricKeyAlgorithm.AES256, HashAlgorithm.SHA256)
        made[name] = (str(primary), public)
    return made


def demo() -> None:
    """
    Make demo/buoy-keepers.asc and its certificate: RSA-4096 with an RSA-4096 subkey, valid for a
    year.

    Armored by our own writer, so that a restored file and the original are the same bytes.
    """
    year = int(timedelta(days=365).total_seconds())
    options = {
        **_RSA,
        "rsaBits": 4096,
        "userIDs": [USER],
        "passphrase": PASSPHRASE,
        "keyExpirationTime": year,
    }
    made = _generate({"demo": {"options": options}})["demo"]
    for name, kind in (("buoy-keepers.asc", "secret"), ("buoy-keepers.cert.asc", "public")):
        (key,) = key_file.read(made[kind].encode())
        (TOP / "demo" / name).write_bytes(key_file.write(key, armored=True))


def _generate(wanted: dict[str, object]) -> dict[str, dict[str, str]]:
    command = ["node", "generate.mjs"]
    done = subprocess.run(
        command,
        cwd=TOP / "tests/oracles",
        input=json.dumps(wanted),
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    made: dict[str, dict[str, str]] = json.loads(done.stdout)
    return made


MAKERS = {**dict.fromkeys(NPM, npm), **dict.fromkeys(SEQUOIA, sequoia), **dict.fromkeys(PGPY, pgpy)}


def main(names: list[str]) -> None:
    """Make the named keys and write them to the corpus."""
    if not names:
        print("\n".join([*MAKERS, "demo"]))
    for maker in (npm, sequoia, pgpy):
        for name, (secret, public) in maker(
            [name for name in names if MAKERS.get(name) is maker]
        ).items():
            (CORPUS / f"{name}.asc").write_text(secret, encoding="ascii", newline="")
            (CORPUS / f"{name}.cert.asc").write_text(public, encoding="ascii", newline="")
    if "demo" in names:
        demo()


if __name__ == "__main__":
    main(sys.argv[1:])
