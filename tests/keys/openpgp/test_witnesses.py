"""
Damage to the public fields of a binary key file, which have no checksum: its signatures are
witnesses against it.
"""

import pytest
from samples import NAMES, binary, sample

from paperkey_alt.errors import DamagedKeyFile, RagleafError
from paperkey_alt.keys.openpgp import extraction, key_file, packets, signature, witnesses
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

PROBED = ["nist-p256", "curve25519-legacy", "v6-curve25519", "pgpy-nist-p256"]


def changed(key, which, at):
    """The key file with one byte of the public fields of a key packet changed."""
    part = key.key_packets[which]
    public = part.public[:at] + bytes([part.public[at] ^ 0x10]) + part.public[at + 1 :]
    other = packets.with_body(part.packet.tag, public + part.secret, part.packet)
    return packets.join(other if packet is part.packet else packet for packet in key.packets)


@pytest.mark.parametrize("which", [0, 1], ids=["primary", "subkey"])
@pytest.mark.parametrize("name", PROBED)
def test_every_changed_byte_of_the_public_fields_is_refused(name, which):
    """No sheet is printed under a fingerprint that no certificate has."""
    (key,) = key_file.read(sample(name).secret)
    for at in range(len(key.key_packets[which].public)):
        with pytest.raises(RagleafError):
            extraction.extract(key_file.read(changed(key, which, at))[0])


@pytest.mark.parametrize("name", PROBED)
def test_a_changed_user_id_alone_is_no_reason(name):
    """
    The only user ID's certification is a witness too, but the subkeys' bindings confirm the primary
    key: it passes.
    """
    (key,) = key_file.read(sample(name).secret)
    at = next(at for at, packet in enumerate(key.packets) if packet.tag == PacketType.USER_ID)
    other = packets.with_body(PacketType.USER_ID, b"x" + key.packets[at].body[1:], key.packets[at])
    altered = Key((*key.packets[:at], other, *key.packets[at + 1 :]))
    assert extraction.extract(altered).payload == extraction.extract(key).payload


def test_a_key_without_signatures_passes():
    """Bare key packets have no witness."""
    (key,) = key_file.read(sample("nist-p256").secret)
    bare = Key(tuple(part.packet for part in key.key_packets))
    assert extraction.extract(bare).payload == extraction.extract(key).payload


def test_a_signature_with_an_unknown_hash_tells_nothing():
    """Nor does one that is cut short, or of version 3."""
    body = next(
        packet.body
        for packet in packets.split(sample("nist-p256").secret)
        if packet.tag == PacketType.SIGNATURE
    )
    assert signature.agrees(body, b"x") is False
    for damaged in (body[:3] + b"\x63" + body[4:], body[:8], b"", b"\3" + body[1:]):
        assert signature.agrees(damaged, b"x") is None


@pytest.mark.parametrize("name", NAMES)
def test_all_signatures_of_the_corpus_agree(name):
    """
    Of three libraries, in versions 4 and 6: every signature over a key packet is computed, and
    agrees.
    """
    (key,) = key_file.read(binary(f"{name}.asc"))
    told = witnesses.agreements(key)
    assert set(told) == {part.fingerprint for part in key.key_packets}
    assert all(all(witnesses) for witnesses in told.values())


def test_the_message_names_the_key():
    """And advises to export it again."""
    (key,) = key_file.read(sample("nist-p256").secret)
    (damaged,) = key_file.read(changed(key, 1, 3))
    with pytest.raises(DamagedKeyFile, match="does not agree with any signature") as caught:
        extraction.extract(damaged)
    assert "again" in caught.value.advice
