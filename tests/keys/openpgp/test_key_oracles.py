"""
Restored keys in the hands of independent OpenPGP libraries: they load them, sign, verify, encrypt
and decrypt.
"""

import base64
import json
import shutil
import subprocess
from pathlib import Path

import pgpy
import pysequoia
import pytest
from pgpy.constants import CompressionAlgorithm
from samples import (
    NAMES,
    USAGES,
    Sample,
    new_header,
    old_header,
    sample,
    with_headers,
    with_secrets,
)

from paperkey_alt.format.payload import Lean, SecretPart, pack, unpack
from paperkey_alt.keys.openpgp import extraction, key_file

ORACLES = Path(__file__).parents[2] / "oracles"
NOTICE = b"The bell buoy off the north mole is back on station."


def protected(base, usage):
    """An unprotected key of the corpus under another protection."""
    one = sample(base)
    return Sample(
        with_secrets(one.secret, USAGES[usage]), one.certificate, sample("nist-p256").passphrase
    )


def headed(base, header):
    """A key of the corpus under other packet headers."""
    one = sample(base)
    return Sample(
        with_headers(one.secret, header), with_headers(one.certificate, header), one.passphrase
    )


SAMPLES = (
    {name: sample(name) for name in NAMES}
    | {usage: protected("curve25519-legacy-open", usage) for usage in USAGES}
    | {
        "old headers": headed("rsa2048-open", old_header),
        "five-octet headers": headed("v6-curve25519", new_header),
    }
)

# What a library does not do at all, with the original as little as with the restored key.
SEQUOIA_LACKS = {"brainpool-p256", "brainpool-p512", "secp256k1"}
NPM_LACKS = {
    "sq-mlkem-open",
    "sq-v6-mldsa65-open",
    *(usage for usage in USAGES if not usage.startswith("usage 254")),
}
PGPY_READS = {name for name in NAMES if name.startswith("pgpy-")} | {"sq-curve25519-open"}


def restored(one, *, whole=False):
    """The key as it comes back from its payload, packed and unpacked on the way."""
    (key,), (certificate,) = key_file.read(one.secret), key_file.read(one.certificate)
    taken = extraction.extract(key, whole=whole, allow_unprotected=True)
    return extraction.rebuild(unpack(pack(taken.payload)), None if whole else certificate)


def without(one, missing):
    """A key restored from a payload that has no secret for the key packet at index *missing*."""
    (key,), (certificate,) = key_file.read(one.secret), key_file.read(one.certificate)
    parts = extraction.extract(key).payload.parts
    return extraction.rebuild(Lean(parts[:missing] + parts[missing + 1 :]), certificate)


# The de-facto stub, as the two libraries read it: usage 255 in version 4; usage 254 and its
# two counts (RFC 9580 §5.5.3) in version 6.
STUBS = {
    20: b"\xff\0\x65\0GNU\1",
    32: b"\xfe\x08\0\x06\x65\0GNU\1",
}


def with_stub(one, at):
    """A key restored from a payload that has a stub for the key packet at index *at*."""
    (key,), (certificate,) = key_file.read(one.secret), key_file.read(one.certificate)
    parts = list(extraction.extract(key).payload.parts)
    fingerprint = parts[at].fingerprint
    parts[at] = SecretPart(fingerprint, STUBS[len(fingerprint)])
    return extraction.rebuild(Lean(tuple(parts)), certificate)


def sequoia_certificates(one):
    """A lookup that knows one certificate."""
    certificate = pysequoia.Cert.from_bytes(one.certificate)
    return certificate, lambda _: [certificate]


@pytest.mark.parametrize("name", sorted(SAMPLES.keys() - SEQUOIA_LACKS))
@pytest.mark.parametrize("whole", [False, True], ids=["lean", "whole"])
def test_sequoia_signs_and_decrypts(name, whole):
    """
    What a restored key signs, the original certificate verifies; what is encrypted to the
    certificate, the key decrypts.
    """
    one = SAMPLES[name]
    certificate, lookup = sequoia_certificates(one)
    key = pysequoia.Tsk.from_bytes(key_file.write(restored(one, whole=whole).key, armored=True))
    signed = pysequoia.sign(key.signer(one.passphrase), NOTICE)
    assert pysequoia.verify(signed, lookup).bytes == NOTICE
    encrypted = pysequoia.encrypt(NOTICE, [certificate])
    assert pysequoia.decrypt(encrypted, key.decryptor(one.passphrase)).bytes == NOTICE


@pytest.mark.parametrize("name", ["curve25519-legacy", "v6-curve25519"])
def test_sequoia_uses_a_key_with_a_stub(name):
    """
    With a stub for the primary key the subkey decrypts; with a stub for the encryption subkey the
    primary key signs.
    """
    one = SAMPLES[name]
    certificate, lookup = sequoia_certificates(one)
    offline = pysequoia.Tsk.from_bytes(with_stub(one, 0).binary)
    encrypted = pysequoia.encrypt(NOTICE, [certificate])
    assert pysequoia.decrypt(encrypted, offline.decryptor(one.passphrase)).bytes == NOTICE
    signing = pysequoia.Tsk.from_bytes(with_stub(one, 1).binary)
    assert (
        pysequoia.verify(pysequoia.sign(signing.signer(one.passphrase), NOTICE), lookup).bytes
        == NOTICE
    )


@pytest.mark.parametrize("name", ["curve25519-legacy", "v6-curve25519"])
def test_sequoia_uses_a_key_with_a_public_subkey(name):
    """What the paper has no secret of comes back public; the primary key beside it signs."""
    one = SAMPLES[name]
    _, lookup = sequoia_certificates(one)
    signing = pysequoia.Tsk.from_bytes(without(one, 1).binary)
    signed = pysequoia.sign(signing.signer(one.passphrase), NOTICE)
    assert pysequoia.verify(signed, lookup).bytes == NOTICE


@pytest.mark.filterwarnings("ignore::UserWarning:pgpy.*")
@pytest.mark.parametrize("name", sorted(PGPY_READS))
def test_pgpy_signs_and_decrypts(name):
    """As above, by a third library, for the keys of the corpus that it reads."""
    one = SAMPLES[name]
    key, _ = pgpy.PGPKey.from_blob(restored(one).binary)
    public, _ = pgpy.PGPKey.from_blob(one.certificate)
    encrypted = public.encrypt(
        pgpy.PGPMessage.new(NOTICE.decode(), compression=CompressionAlgorithm.Uncompressed)
    )
    if one.passphrase is None:
        signature, decrypted = key.sign(NOTICE), key.decrypt(encrypted)
    else:
        with key.unlock(one.passphrase):
            signature, decrypted = key.sign(NOTICE), key.decrypt(encrypted)
    assert public.verify(NOTICE, signature)
    assert decrypted.message == NOTICE.decode()


needs_node = pytest.mark.skipif(
    shutil.which("node") is None or not (ORACLES / "node_modules/openpgp").is_dir(),
    reason="needs node, and npm ci in tests/oracles",
)


@pytest.fixture(scope="module")
def verdicts():
    """What the npm library says of every restored key, in one run of node."""
    cases = {
        (name, way): restored(one, whole=way == "whole")
        for name, one in SAMPLES.items()
        for way in ("lean", "whole")
    }
    cases |= {
        (name, f"{how} {at}"): make(SAMPLES[name], at)
        for name in ("curve25519-legacy", "v6-curve25519")
        for how, make in (("stub", with_stub), ("without", without))
        for at in (0, 1)
    }
    asked = {
        "/".join(case): {
            "key": base64.b64encode(rebuilt.binary).decode(),
            "passphrase": SAMPLES[case[0]].passphrase,
        }
        for case, rebuilt in cases.items()
    }
    done = subprocess.run(
        ["node", "verify.mjs"],
        cwd=ORACLES,
        input=json.dumps(asked).encode(),
        stdout=subprocess.PIPE,
        check=True,
    )
    return json.loads(done.stdout)


@pytest.mark.long
@needs_node
@pytest.mark.parametrize("name", sorted(SAMPLES.keys() - NPM_LACKS))
@pytest.mark.parametrize("way", ["lean", "whole"])
def test_the_npm_library_signs_and_decrypts(verdicts, name, way):
    """Signs and verifies, encrypts and decrypts with the restored key."""
    assert verdicts[f"{name}/{way}"] == {"sign": "ok", "decrypt": "ok"}


@pytest.mark.long
@needs_node
@pytest.mark.parametrize(("missing", "still"), [(0, "decrypt"), (1, "sign")])
@pytest.mark.parametrize("name", ["curve25519-legacy", "v6-curve25519"])
def test_the_npm_library_uses_a_key_with_a_stub(verdicts, name, missing, still):
    """
    With a stub for the primary key the subkey decrypts; with a stub for the encryption subkey the
    primary key signs.
    """
    assert verdicts[f"{name}/stub {missing}"][still] == "ok"


@pytest.mark.long
@needs_node
@pytest.mark.parametrize("name", ["curve25519-legacy", "v6-curve25519"])
def test_the_npm_library_refuses_a_public_packet_among_secret_ones(verdicts, name):
    """As the restored key says of itself: there are programs that refuse it."""
    assert "ok" not in verdicts[f"{name}/without 1"].values()


@pytest.mark.long
@needs_node
def test_the_oracle_can_say_no(verdicts):
    """A missing secret is noticed by the library: its yes means something."""
    assert verdicts["curve25519-legacy/stub 1"]["decrypt"] != "ok"
