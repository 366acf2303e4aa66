"""
Revocations: made for every algorithm, believed by independent OpenPGP libraries, refused where they
are no such thing.
"""

import base64
import json
import os
import shutil
import subprocess
import time
from pathlib import Path

import pysequoia
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import NAMES, PUBLISHED, file, new_header, sample

from paperkey_alt.errors import (
    KeyFileError,
    NotARevocation,
    NotASecretKey,
    RagleafError,
    UnsupportedKey,
    WrongPassphrase,
)
from paperkey_alt.keys.openpgp import (
    armor,
    key_file,
    packets,
    revocation,
    rfc9580,
    unlocked,
)
from paperkey_alt.keys.openpgp.armor import ArmorKind
from paperkey_alt.keys.openpgp.rfc9580 import PacketType
from paperkey_alt.keys.openpgp.rfc9580 import RevocationReason as Reason

ORACLES = Path(__file__).parents[2] / "oracles"
POST_QUANTUM = {"sq-mldsa65-open", "sq-v6-mldsa65-open", "sq-mlkem-open"}
SEQUOIA_LACKS = {"brainpool-p256", "brainpool-p512", "secp256k1"}
NOW = int(time.time())


def key_of(name):
    """A key of the corpus, and its passphrase."""
    one = sample(name)
    return key_file.read(one.secret)[0], one.passphrase


def can_sign(name):
    """Whether the primary key's algorithm signs here."""
    return key_of(name)[0].primary.algorithm.split("-")[0] not in ("ML", "SLH")


SIGNERS = [name for name in NAMES if can_sign(name)]


def made(name, reason=Reason.RETIRED, comment="The harbour has a new key."):
    """A revocation of a key of the corpus."""
    key, passphrase = key_of(name)
    primary = unlocked.unlock_primary(key, lambda _: passphrase)
    return revocation.make(primary, reason, comment, NOW, os.urandom(rfc9580.SALT_BYTES))


def certificate_with(name, packet):
    """The certificate of a key of the corpus with a signature packet behind its primary key."""
    first, *rest = packets.split(sample(name).certificate)
    return packets.join([first]) + packet + packets.join(rest)


@pytest.mark.parametrize("name", SIGNERS)
def test_a_revocation_is_read_back(name):
    """
    What was made is verified by the public key, armored and binary, and comes back byte for byte.
    """
    key, _ = key_of(name)
    packet = made(name)
    assert revocation.read(packet, key.primary) == packet
    assert revocation.read(revocation.write(packet), key.primary) == packet


@pytest.mark.parametrize("name", [name for name in SIGNERS if name not in SEQUOIA_LACKS])
def test_sequoia_believes_it(name):
    """Without the revocation the certificate is not revoked, with it it is."""
    assert not pysequoia.Cert.from_bytes(sample(name).certificate).is_revoked
    assert pysequoia.Cert.from_bytes(certificate_with(name, made(name))).is_revoked


@pytest.mark.parametrize("length", [0, 189, 190, 191, 300, 9000])
def test_sequoia_believes_a_reason_of_any_length(length):
    """The subpacket's length is one octet, two or five (RFC 9580 §5.2.3.7)."""
    packet = made("curve25519-legacy", comment="x" * length)
    assert revocation.read(packet, key_of("curve25519-legacy")[0].primary) == packet
    assert pysequoia.Cert.from_bytes(certificate_with("curve25519-legacy", packet)).is_revoked


@pytest.mark.long
@pytest.mark.skipif(
    shutil.which("node") is None or not (ORACLES / "node_modules/openpgp").is_dir(),
    reason="needs node, and npm ci in tests/oracles",
)
def test_the_npm_library_believes_them():
    """Without the revocation no certificate is revoked, with it every one is."""
    asked = {}
    for name in SIGNERS:
        asked[f"{name} before"] = sample(name).certificate
        asked[f"{name} after"] = certificate_with(name, made(name))
    values = {name: base64.b64encode(data).decode() for name, data in asked.items()}
    done = subprocess.run(
        ["node", "revoked.mjs"],
        cwd=ORACLES,
        input=json.dumps(values).encode(),
        stdout=subprocess.PIPE,
        check=True,
    )
    assert json.loads(done.stdout) == {name: name.endswith("after") for name in asked}


def test_the_published_dsa_key_signs_one():
    """
    The sample DSA key of the Internet-Draft of example keys: read back here; sequoia has no say on
    DSA under today's policy.
    """
    blocks = armor.dearmor(PUBLISHED["draft_dsa_elgamal_secret"].encode())
    (key,) = key_file.read(blocks[0].data)
    primary = unlocked.unlock_primary(key, lambda _: "")
    packet = revocation.make(primary, Reason.SUPERSEDED, "", NOW, b"")
    assert revocation.read(packet, key.primary) == packet


def test_the_reason_stands_in_it():
    """RFC 9580 §5.2.3.31: the code and the sentence, in the hashed area."""
    for reason in Reason:
        assert bytes([29, reason]) + b"Left the buoys" in made(
            "curve25519-legacy", reason, "Left the buoys"
        )
    long = "x" * 300
    assert long.encode() in made("curve25519-legacy", comment=long)


def other_signature():
    """A signature of the key that is no revocation."""
    return packets.join(
        [
            next(
                one
                for one in packets.split(sample("nist-p256").certificate)
                if one.tag == PacketType.SIGNATURE
            )
        ]
    )


REFUSED = {
    "of another key": lambda: made("nist-p384"),
    "another signature": other_signature,
    "two packets": lambda: made("nist-p256") * 2,
    "a certificate": lambda: file("nist-p256.cert.asc"),
    "a message": lambda: armor.armor(b"\xcb\2b\0", kind=ArmorKind.MESSAGE, checksum=True).encode(),
    "nothing": lambda: b"",
    "text": lambda: b"no revocation at all",
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_revocation_of_this_key_is_refused(name):
    """The sheet would be worthless on the day it is needed."""
    with pytest.raises(KeyFileError):
        revocation.read(REFUSED[name](), key_of("nist-p256")[0].primary)


def body_of(packet):
    """The body of a revocation, whose header has six octets."""
    return packet[6:]


def areas_end(body):
    """The place behind the two subpacket areas of a signature (RFC 9580 §5.2.3)."""
    width = {4: 2, 6: 4}[body[0]]
    hashed_end = 4 + width + int.from_bytes(body[4 : 4 + width], "big")
    return hashed_end + width + int.from_bytes(body[hashed_end : hashed_end + width], "big")


def changed(body, at, value):
    """The body as a packet, with another byte at *at*."""
    return new_header(2, len(body)) + body[:at] + bytes([value]) + body[at + 1 :]


@pytest.mark.parametrize("name", ["curve25519-legacy", "v6-curve25519", "rsa2048-open"])
def test_a_revocation_cut_behind_its_claims_is_refused(name):
    """Who made it and why stands there; digest, salt and signature do not, or not all."""
    key, _ = key_of(name)
    body = body_of(made(name))
    for length in {areas_end(body), areas_end(body) + 1, areas_end(body) + 2, len(body) - 1}:
        with pytest.raises(NotARevocation, match="not signed by this key"):
            revocation.read(new_header(2, length) + body[:length], key.primary)


@pytest.mark.parametrize(("at", "value"), [(2, 99), (3, 99), (3, 1)])
def test_a_revocation_of_another_kind_is_refused(at, value):
    """By another algorithm than the key's, or with a hash that is unknown or broken."""
    key, _ = key_of("curve25519-legacy")
    with pytest.raises(NotARevocation, match="another kind"):
        revocation.read(changed(body_of(made("curve25519-legacy")), at, value), key.primary)


def test_a_revocation_of_another_version_is_refused():
    """Version 3, which names its issuer too (RFC 9580 §5.2.2)."""
    key, _ = key_of("curve25519-legacy")
    body = b"\3\5\x20" + bytes(4) + key.primary.key_id + b"\x16\x08\0\0"
    with pytest.raises(NotARevocation, match="another kind"):
        revocation.read(new_header(2, len(body)) + body, key.primary)


@pytest.mark.parametrize("name", ["curve25519-legacy", "rsa2048-open", "nist-p256"])
@pytest.mark.parametrize("numbers", [b"\xff\xff" + b"\xff" * 8192, b"\0\0", b"", b"\0\x09\1"])
def test_a_signature_of_other_numbers_is_refused(name, numbers):
    """Larger than the key's can be, none, too few or cut short."""
    key, _ = key_of(name)
    body = body_of(made(name))
    at = areas_end(body) + 2
    forged = body[:at] + numbers * 2
    with pytest.raises(NotARevocation, match="not signed by this key"):
        revocation.read(new_header(2, len(forged)) + forged, key.primary)


def test_an_algorithm_that_cannot_sign_here():
    """It says so, and says where to have the revocation made."""
    key, _ = key_of("sq-v6-mldsa65-open")
    unlocked_primary = unlocked.unlock_primary(key, lambda _: "")
    with pytest.raises(UnsupportedKey, match="algorithm 30") as caught:
        revocation.make(unlocked_primary, Reason.NONE, "", NOW, bytes(32))
    assert "--certificate" in caught.value.advice


def test_one_that_cannot_be_verified_here():
    """It says so, and does not advise what was done."""
    key, _ = key_of("sq-v6-mldsa65-open")
    body = bytes([6, 0x20, 30, 10]) + bytes(4 + 4 + 2) + bytes([32]) + bytes(32)
    with pytest.raises(UnsupportedKey, match="algorithm 30") as caught:
        revocation.read(new_header(2, len(body)) + body, key.primary)
    assert "--certificate" not in caught.value.advice


@given(st.integers(0, 10_000), st.integers(1, 255))
@settings(max_examples=150)
def test_any_damage_to_what_is_signed_is_refused(at, flip):
    """
    A flipped byte in the signed part, the digest's copy left aside, is refused; nothing raises
    another exception.
    """
    key, _ = key_of("v6-curve25519")
    packet = bytearray(MADE_V6)
    packet[at % len(packet)] ^= flip
    try:
        read = revocation.read(bytes(packet), key.primary)
    except RagleafError:
        return
    unsigned = range(*UNSIGNED)
    assert at % len(packet) in unsigned
    assert len(read) == len(packet)


MADE_V6 = made("v6-curve25519")
# Behind header, hashed area and an empty unhashed one stand two octets of the digest, which a
# reader need not believe.
_HASHED_END = 6 + 8 + int.from_bytes(MADE_V6[10:14], "big")
UNSIGNED = (_HASHED_END + 4, _HASHED_END + 6)


def test_a_wrong_passphrase_makes_none():
    """Nothing is signed with what is not unlocked."""
    key, _ = key_of("nist-p256")

    def ask(what):
        raise WrongPassphrase(what)

    with pytest.raises(WrongPassphrase):
        unlocked.unlock_primary(key, ask)


def test_a_file_without_the_primary_secret_makes_none():
    """A certificate, or a file that has only subkeys, cannot revoke."""
    (certificate,) = key_file.read(sample("nist-p256").certificate)
    with pytest.raises(NotASecretKey):
        unlocked.unlock_primary(certificate, lambda _: "")


def test_a_forged_signature_is_refused():
    """The claims of the right issuer do not make a revocation."""
    key, _ = key_of("curve25519-legacy")
    packet = bytearray(made("curve25519-legacy"))
    packet[-1] ^= 1
    with pytest.raises(NotARevocation, match="not signed by this key"):
        revocation.read(bytes(packet), key.primary)


@pytest.mark.parametrize(
    "packet",
    [b"\xc2\0", b"", b"\xca\3PGP", b"\xc2\5\4\x10\0\0\0", 2 * made("curve25519-legacy-open")],
)
def test_a_sheet_of_no_revocation_is_refused(packet):
    """A digest that agrees makes no revocation of what is none: it is not written as one."""
    with pytest.raises(NotARevocation):
        revocation.write(packet)


@pytest.mark.parametrize("seconds", [0, 86400])
def test_a_revocation_that_expires_is_refused(monkeypatch, seconds):
    """Its sheet would end the key for a time; zero seconds is never (RFC 9580 §5.2.3.18)."""
    subpacket = revocation._subpacket
    kinds = rfc9580.SubpacketType

    def changed(kind, content):
        if kind == kinds.REASON_FOR_REVOCATION:
            return subpacket(kinds.SIGNATURE_EXPIRATION_TIME, seconds.to_bytes(4))
        return subpacket(kind, content)

    monkeypatch.setattr(revocation, "_subpacket", changed)
    packet = made("curve25519")
    primary = key_of("curve25519")[0].primary
    if not seconds:
        assert revocation.read(packet, primary) == packet
        return
    with pytest.raises(NotARevocation, match="expires by itself"):
        revocation.read(packet, primary)
