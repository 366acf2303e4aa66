"""
The smallest certificate: it restores each secret and is believed by independent OpenPGP libraries,
and nothing that anyone added to the key changes it (RFC 9580 §5.2, §10.1).
"""

import base64
import json
import random
import shutil
import subprocess
from pathlib import Path

import pgpy
import pysequoia
import pytest
from hostile import ADDITIONS, packet
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import NAMES, Sample, only, sample, stub, user_id, with_secrets
from signing_keys import Signer, signature_packet, subpacket

from paperkey_alt import keys
from paperkey_alt.keys.openpgp import certificate, extraction, packets, signature
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.packets import Packet
from paperkey_alt.keys.openpgp.rfc9580 import CERTIFICATIONS, PacketType, SignatureType

ORACLES = Path(__file__).parents[2] / "oracles"
NOTICE = b"The bell buoy off the north mole is back on station."
POST_QUANTUM = {"sq-v6-mldsa65-open"}
# One of each algorithm that signs, with a signing subkey among them, and version 6.
SIGNERS = ("rsa2048-open", "curve25519-legacy", "nist-p256", "curve25519", "v6-curve25519")
SECOND = b"Saltmarrow Buoy Keepers, new pier <pier@saltmarrow.example>"
LATER = 2_000_000_000  # after every signature of the corpus


def smallest(*contents):
    """The smallest certificate of a key of these packets, binary."""
    return packets.join(certificate.smallest(Key(contents)).packets)


def notes(*contents):
    """What is said of it."""
    return " ".join(certificate.smallest(Key(contents)).notes)


def clean(name):
    """The smallest certificate of a key of the corpus to which nobody added anything."""
    return smallest(*only(sample(name).secret).packets)


def behind_name(key, *added):
    """The packets of *key* with *added* ones behind its first user ID."""
    at = next(at for at, one in enumerate(key.packets) if one.tag == PacketType.USER_ID) + 1
    return (*key.packets[:at], *added, *key.packets[at:])


def name_of(key):
    """The bytes of the first user ID."""
    return next(one.body for one in key.packets if one.tag == PacketType.USER_ID)


def bodies(data, kind):
    """The bodies of the signatures of a kind in a binary certificate."""
    return [
        one.body
        for one in packets.split(data)
        if one.tag == PacketType.SIGNATURE and one.body[1] == kind
    ]


def restored(one, certificate_packets):
    """The key restored from a lean print and a certificate."""
    lean = extraction.extract(only(one.secret), allow_unprotected=True).payload
    return extraction.rebuild(lean, only(certificate_packets))


# What is kept.


@pytest.mark.parametrize("name", NAMES)
def test_it_is_the_certificate_that_a_library_wrote(name):
    """
    Of a new key, to which nobody added anything, it is what the library exported, byte for byte;
    from the secret file too, but for the width of a header, which is that of the secret packet.
    """
    assert smallest(*only(sample(name).certificate).packets) == sample(name).certificate
    made, exported = packets.split(clean(name)), packets.split(sample(name).certificate)
    assert [(one.tag, one.body) for one in made] == [(one.tag, one.body) for one in exported]


@pytest.mark.parametrize("name", NAMES)
def test_it_keeps_each_fingerprint_and_restores_every_secret(name):
    """The key that comes back with it is the file that was printed, byte for byte."""
    one = sample(name)
    key, public = only(one.secret), only(clean(name))
    assert not public.secret_packets
    assert [part.fingerprint for part in public.key_packets] == [
        part.fingerprint for part in key.key_packets
    ]
    assert restored(one, clean(name)).binary == one.secret


def test_a_stub_is_restored_with_it():
    """A key packet of which the paper has a stub is in it as well."""
    name = "curve25519-legacy"
    with_stub = with_secrets(sample(name).secret, lambda part: stub() if part.is_primary else None)
    one = Sample(with_stub, sample(name).certificate, sample(name).passphrase)
    assert smallest(*only(with_stub).packets) == clean(name)
    assert restored(one, clean(name)).binary == with_stub


def test_signatures_of_an_algorithm_not_known_here_are_all_kept():
    """Which of them is true cannot be told: all that name the key stay, and that is said."""
    key = only(sample("sq-v6-mldsa65-open").secret)
    assert "were not verified" in notes(*key.packets)
    at = next(at for at, one in enumerate(key.packets) if one.tag == PacketType.SIGNATURE)
    copy = key.packets[at]
    damaged = packets.with_body(2, copy.body[:-1] + bytes([copy.body[-1] ^ 1]), like=copy)
    both = smallest(*key.packets[:at], damaged, *key.packets[at:])
    assert damaged.body in [one.body for one in packets.split(both)]
    assert copy.body in [one.body for one in packets.split(both)]


# What others added.


def forged(name, kind=SignatureType.POSITIVE_CERTIFICATION, created=LATER):
    """A signature that says to be the key's newest, with a true beginning of its digest."""
    signer = Signer(name)
    over = {
        SignatureType.DIRECT_KEY: signer.over_key(),
        SignatureType.KEY_REVOCATION: signer.over_key(),
        SignatureType.SUBKEY_BINDING: signer.over_subkey(1),
        SignatureType.SUBKEY_REVOCATION: signer.over_subkey(1),
    }.get(kind, signer.over_name(name_of(signer.key)))
    body = bytearray(signer.body(kind, over, created))
    body[-1] ^= 1
    return signature_packet(bytes(body))


def by_another_key(name):
    """A true certification by another key."""
    other = Signer("nist-p384")
    over = Signer(name).over_name(name_of(only(sample(name).secret)))
    return other.packet(SignatureType.GENERIC_CERTIFICATION, over, LATER)


@pytest.mark.parametrize("name", SIGNERS)
def test_what_others_add_is_not_in_it(name):
    """
    User IDs that the key did not sign, signatures by other keys, forged ones that name this key and
    say to be newer, pictures, notations, unknown packets and trust packets: it is the same without.
    """
    key = only(sample(name).secret)
    added = [
        user_id(SECOND),
        forged(name),
        by_another_key(name),
        *(add(b"Anyone can write this.") for add in ADDITIONS.values()),
        packet(PacketType.TRUST, b"\x78"),
    ]
    kinds = (*CERTIFICATIONS, 0x1F, 0x20, 0x28, 0x30, 0x18)
    in_place = [forged(name, kind) for kind in kinds if kind not in (0x18, 0x28)]
    behind = [forged(name, kind) for kind in (0x18, 0x28)]
    subkey = next(at for at, one in enumerate(key.packets) if one.tag == PacketType.SECRET_SUBKEY)
    hostile = (
        *behind_name(Key(key.packets[:subkey]), *in_place, by_another_key(name)),
        key.packets[subkey],
        *behind,
        *key.packets[subkey + 1 :],
        *added,
        *added,
    )
    assert smallest(*hostile) == clean(name)
    said = notes(*hostile)
    assert "2 × user attribute packet" in said
    assert "signature by another key" in said
    assert "signature that the key did not make" in said


def test_a_foreign_subkey_is_not_in_it():
    """A public subkey that the key did not sign, or another key did, is left out, and told."""
    other = only(sample("curve25519").certificate)
    foreign = other.packets[-2:]
    key = only(sample("rsa2048-open").secret)
    assert smallest(*key.packets, *foreign) == clean("rsa2048-open")
    assert "1 × subkey that the key did not sign" in notes(*key.packets, *foreign)


def with_unhashed(one: Packet, unhashed):
    """A signature packet with other unsigned subpackets."""
    fields = signature.fields(one.body)
    changed = signature.Fields(
        fields.hashed, unhashed(fields.unhashed), fields.digest_start, fields.salt, fields.value
    )
    return packets.with_body(PacketType.SIGNATURE, signature.body(changed), like=one)


@pytest.mark.parametrize("name", SIGNERS)
def test_what_a_signature_does_not_sign_does_not_swell_it(name):
    """
    Anyone can alter the unsigned subpackets of a true signature: copies without the back signature
    and copies with junk, before and behind it, change nothing.
    """
    key = only(sample(name).secret)
    junk = subpacket(20, bytes(500))
    out = []
    for one in key.packets:
        if one.tag != PacketType.SIGNATURE:
            out.append(one)
            continue
        bare = with_unhashed(one, lambda _: b"")
        full = with_unhashed(one, lambda unhashed: junk + 2 * unhashed + junk)
        out += random.Random(4).sample([one, bare, full, one], 4)
    assert len(smallest(*out)) <= len(clean(name))
    assert bodies(smallest(*out), 0x18) == bodies(clean(name), 0x18)
    assert "copy of a signature" in notes(*out)
    only_full = [
        with_unhashed(one, lambda unhashed: junk + 2 * unhashed + junk)
        if one.tag == PacketType.SIGNATURE
        else one
        for one in key.packets
    ]
    assert smallest(*only_full) == clean(name)


@pytest.mark.parametrize("name", ["curve25519-legacy", "rsa2048-open", "v6-curve25519"])
def test_the_back_signature_that_the_subkey_made_is_kept(name):
    """
    It stands among the unsigned subpackets with many programs (RFC 9580 §5.2.1.9): copies without
    it, and with one that another key made, do not take the place of the one that has it.
    """
    signer, at = Signer(name), 1
    subkey = signer.over_subkey(at)
    if name == "curve25519-legacy":
        at, subkey = 2, signer.over_subkey(2)
    can_sign = signer.key.key_packets[at].algorithm.startswith(("RSA", "EdDSA"))
    back = Signer(name, at if can_sign else 0)
    true = subpacket(32, back.body(0x19, subkey, LATER))
    wrong = subpacket(32, signer.body(0x19, signer.over_key(), LATER))
    binding = signer.body(0x18, subkey, LATER)
    one = signature_packet(binding)
    copies = [
        with_unhashed(one, lambda _, area=area: area)
        for area in (b"", wrong, wrong + true + wrong + true, wrong + wrong)
    ]
    expected = with_unhashed(one, lambda _: true if can_sign else b"")
    for order in (copies, copies[::-1]):
        assert bodies(smallest(*signer.key.packets, *order), 0x18)[-1] == expected.body


@pytest.mark.long
@given(st.randoms(use_true_random=False))
@settings(max_examples=40)
def test_packets_of_no_use_anywhere_change_nothing(chance):
    """Behind any packet that is not followed by its signature, in any number and order."""
    key = only(sample("curve25519").secret)
    junk = [user_id(SECOND), forged("curve25519"), by_another_key("curve25519")]
    out = []
    for at, one in enumerate(key.packets):
        out.append(one)
        is_open = at + 1 < len(key.packets) and key.packets[at + 1].tag == PacketType.SIGNATURE
        if not is_open:
            out += chance.choices(junk, k=chance.randrange(3))
    assert smallest(*out) == clean("curve25519")


@given(st.binary(max_size=60), st.integers(0, 3))
@settings(max_examples=60)
def test_a_signature_of_any_bytes_is_left_out(body, kind):
    """Whatever stands in a signature packet: it is no mistake, and it is not kept."""
    key = only(sample("curve25519").secret)
    beginning = (b"", b"\4\x13\x1b\x0a", b"\6\x13\x1b\x0a", b"\3\5\x13")[kind]
    added = packet(PacketType.SIGNATURE, beginning + body)
    assert smallest(*behind_name(key, added)) == clean("curve25519")


@given(st.integers(0, 1 << 16), st.integers(1, 255), st.booleans())
@settings(max_examples=60)
def test_no_damage_is_a_mistake(at, flip, cut):
    """
    A signature with a flipped byte, or cut short: it is left out, unless the damage is in what it
    does not sign; nothing raises, and every key packet stays.
    """
    key = only(sample("curve25519-legacy").secret)
    places = [place for place, one in enumerate(key.packets) if one.tag == PacketType.SIGNATURE]
    place = places[at % len(places)]
    body = bytearray(key.packets[place].body)
    if cut:
        del body[at % len(body) :]
    else:
        body[at % len(body)] ^= flip
    damaged = signature_packet(bytes(body))
    made = smallest(*key.packets[:place], damaged, *key.packets[place + 1 :])
    assert len(only(made).key_packets) == len(key.key_packets)
    assert signed_areas(made) <= signed_areas(clean("curve25519-legacy"))


def signed_areas(data):
    """What each signature of a binary certificate signs of itself."""
    signatures = [one for one in packets.split(data) if one.tag == PacketType.SIGNATURE]
    return {signature.fields(one.body).hashed for one in signatures}


# What the key itself said later.


@pytest.mark.parametrize("name", SIGNERS)
def test_the_newest_counts(name):
    """A newer certification, binding and direct-key signature take the places of the older ones."""
    signer = Signer(name)
    key = signer.key
    newer = signer.packet(0x13, signer.over_name(name_of(key)), LATER)
    contents = behind_name(key, newer)
    assert bodies(smallest(*contents), 0x13) == [newer.body]
    assert "1 × signature of the key's own that a newer one replaces" in notes(*contents)
    direct = [signer.packet(0x1F, signer.over_key(), LATER + at) for at in range(3)]
    assert bodies(smallest(key.packets[0], *direct, *key.packets[1:]), 0x1F) == [direct[2].body]
    last = len(key.key_packets) - 1
    binding = signer.packet(0x18, signer.over_subkey(last), LATER)
    assert bodies(smallest(*key.packets, binding), 0x18)[-1] == binding.body


def test_what_will_count_when_the_newest_expires_is_kept():
    """A signature that expires does not displace the one before it; that one displaces others."""
    signer = Signer("curve25519")
    over = signer.over_name(name_of(signer.key))
    older = signer.packet(0x13, over, LATER)
    newest = signer.packet(0x13, over, LATER + 9, hashed=subpacket(3, (1000).to_bytes(4, "big")))
    contents = behind_name(signer.key, newest, older)
    assert bodies(smallest(*contents), 0x13) == [newest.body, older.body]
    forever = signer.packet(0x13, over, LATER + 10, hashed=subpacket(3, bytes(4)))
    assert bodies(smallest(*behind_name(signer.key, newest, older, forever)), 0x13) == [
        forever.body
    ]


def two_names(signer):
    """The packets of a key with a second user ID that it signed."""
    second = signer.packet(0x13, signer.over_name(SECOND), LATER)
    return (*signer.key.packets, user_id(SECOND), second)


def test_a_user_id_that_was_revoked_is_left_out():
    """With its signatures, and it is counted; one that was certified again later stays."""
    signer = Signer("curve25519")
    both = two_names(signer)
    assert len(only(smallest(*both)).user_ids) == 2
    revoked = signer.packet(0x30, signer.over_name(SECOND), LATER + 1)
    assert smallest(*both, revoked) == clean("curve25519")
    assert "1 × user ID that the key revoked" in notes(*both, revoked)
    again = signer.packet(0x13, signer.over_name(SECOND), LATER + 2)
    kept = smallest(*both, revoked, again)
    assert len(only(kept).user_ids) == 2
    assert bodies(kept, 0x30) == [revoked.body]


def test_the_only_user_id_stays_with_its_revocation():
    """A key without a user ID is imported by few programs, and a name is not called valid."""
    signer = Signer("curve25519")
    revoked = signer.packet(0x30, signer.over_name(name_of(signer.key)), LATER)
    kept = smallest(*behind_name(signer.key, revoked))
    assert only(kept).user_ids == signer.key.user_ids
    assert bodies(kept, 0x30) == [revoked.body]


def test_revocations_of_what_is_kept_are_kept():
    """
    A revoked subkey, whose secret opens old messages, stays and is revoked; a revoked key is
    revoked, also where the revocation was put at the end of the file.
    """
    signer = Signer("rsa2048-open")
    subkey = signer.packet(0x28, signer.over_subkey(1), LATER, hashed=subpacket(29, b"\1"))
    kept = smallest(*signer.key.packets, subkey)
    assert bodies(kept, 0x28) == [subkey.body]
    assert len(only(kept).key_packets) == 2
    revocations = [
        signer.packet(0x20, signer.over_key(), LATER + at, hashed=subpacket(29, bytes([reason])))
        for at, reason in enumerate((1, 2))
    ]
    kept = smallest(*signer.key.packets, *revocations)
    assert pysequoia.Cert.from_bytes(kept).is_revoked
    assert keys.is_revoked(Key((*signer.key.packets, *revocations)))
    assert not keys.is_revoked(Key((*signer.key.packets, forged("rsa2048-open", 0x20), subkey)))
    assert bodies(kept, 0x20) == [revocation.body for revocation in revocations]
    assert not pysequoia.Cert.from_bytes(clean("rsa2048-open")).is_revoked


def test_a_subkey_that_is_not_bound_stays_for_its_secret():
    """Without it the paper could not be restored; that no signature binds it is said."""
    one = sample("curve25519")
    key = only(one.secret)
    loose = Key(key.packets[:-1])
    made = smallest(*loose.packets)
    assert len(only(made).key_packets) == 2
    assert "without a signature that binds it" in notes(*loose.packets)
    unbound = Sample(packets.join(loose.packets), made, one.passphrase)
    assert restored(unbound, made).binary == unbound.secret


def test_a_key_without_a_signature():
    """It is not called signed."""
    key = only(sample("curve25519").secret)
    bare = [one for one in key.packets if one.tag in (5, 7)]
    assert "The certificate has no signature" in notes(*bare)


def test_the_door():
    """As a payload, with what is said of it."""
    key = only(sample("curve25519").secret)
    payload, said = keys.smallest_certificate(key)
    assert payload.packets == sample("curve25519").certificate
    assert said == ()


# In the hands of others.

SEQUOIA_LACKS = {"brainpool-p256", "brainpool-p512", "secp256k1"}
NPM_LACKS = {"sq-mlkem-open", "sq-v6-mldsa65-open"}


def hostile_certificate(name):
    """The smallest certificate of a key with junk in it."""
    key = only(sample(name).secret)
    added = [add(b"Anyone can write this.") for add in ADDITIONS.values()]
    return smallest(*key.packets, user_id(SECOND), *added)


@pytest.mark.parametrize("name", sorted(set(NAMES) - SEQUOIA_LACKS))
def test_sequoia_encrypts_to_it_and_verifies_with_it(name):
    """What the original key signs, it verifies; what is encrypted to it, the original decrypts."""
    one = sample(name)
    public = pysequoia.Cert.from_bytes(hostile_certificate(name))
    assert public.fingerprint == pysequoia.Cert.from_bytes(one.certificate).fingerprint
    assert len(public.user_ids) == 1
    key = pysequoia.Tsk.from_bytes(one.secret)
    signed = pysequoia.sign(key.signer(one.passphrase), NOTICE)
    assert pysequoia.verify(signed, lambda _: [public]).bytes == NOTICE
    encrypted = pysequoia.encrypt(NOTICE, [public])
    assert pysequoia.decrypt(encrypted, key.decryptor(one.passphrase)).bytes == NOTICE


@pytest.mark.filterwarnings("ignore::UserWarning:pgpy.*")
@pytest.mark.parametrize("name", ["pgpy-rsa2048", "pgpy-nist-p256"])
def test_pgpy_verifies_with_it(name):
    """As above, by a third library."""
    one = sample(name)
    key, _ = pgpy.PGPKey.from_blob(one.secret)
    public, _ = pgpy.PGPKey.from_blob(hostile_certificate(name))
    with key.unlock(one.passphrase):
        assert public.verify(NOTICE, key.sign(NOTICE))


@pytest.mark.long
@pytest.mark.skipif(
    shutil.which("node") is None or not (ORACLES / "node_modules/openpgp").is_dir(),
    reason="needs node, and npm ci in tests/oracles",
)
def test_the_npm_library_encrypts_to_it_and_verifies_with_it():
    """As above, by a fourth one, of every key that it knows."""
    asked = {
        name: {
            "key": base64.b64encode(sample(name).secret).decode(),
            "passphrase": sample(name).passphrase,
            "certificate": base64.b64encode(hostile_certificate(name)).decode(),
        }
        for name in sorted(set(NAMES) - NPM_LACKS)
    }
    asked["another key's"] = asked["rsa2048-open"] | {
        "certificate": asked["nist-p256"]["certificate"]
    }
    done = subprocess.run(
        ["node", "verify.mjs"],
        cwd=ORACLES,
        input=json.dumps(asked).encode(),
        stdout=subprocess.PIPE,
        check=True,
    )
    verdicts = json.loads(done.stdout)
    strange = verdicts.pop("another key's")
    assert "ok" not in strange.values()
    assert verdicts == {name: {"sign": "ok", "decrypt": "ok"} for name in verdicts}
