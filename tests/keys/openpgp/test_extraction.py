"""What goes on paper extracted from a key, and the key rebuilt from it."""

import dataclasses
from datetime import timedelta
from pathlib import Path

import pytest
from make_corpus import USER_ID
from samples import (
    NAMES,
    PUBLISHED,
    USAGES,
    Sample,
    new_header,
    old_header,
    only,
    packet_of,
    rearranged,
    sample,
    signed,
    stub,
    user_id,
    with_headers,
    with_secrets,
)

from paperkey_alt.errors import (
    CertificateError,
    DamagedKeyFile,
    NotASecretKey,
    TooLarge,
    UnprotectedSecret,
    UnsupportedKey,
)
from paperkey_alt.format.payload import Lean, SecretPart, Whole, pack, unpack
from paperkey_alt.keys.openpgp import armor, choice, extraction, key_file, key_packet, packets
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

KEY = only(sample("nist-p256").secret)
MINE, OTHER = KEY.primary.key_id, b"stranger"


DEMO = Path(__file__).parents[3] / "demo"


def lean_and_back(one):
    """A secret key as it comes back from a lean payload and its certificate."""
    taken = extraction.extract(only(one.secret), allow_unprotected=True)
    return extraction.rebuild(unpack(pack(taken.payload)), only(one.certificate))


def whole_and_back(one):
    """A secret key as it comes back from a whole payload."""
    taken = extraction.extract(only(one.secret), whole=True, allow_unprotected=True)
    return extraction.rebuild(unpack(pack(taken.payload)), None)


def shaped(header):
    """A key with all its packets under headers of one style, as some programs write them."""
    one = sample("curve25519-legacy")
    return Sample(
        with_headers(one.secret, header), with_headers(one.certificate, header), one.passphrase
    )


SHAPES = {
    "old headers": shaped(old_header),
    "old headers of two octets": shaped(lambda tag, length: old_header(tag, length, 2)),
    "old headers of four octets": shaped(lambda tag, length: old_header(tag, length, 4)),
    "new headers of five octets": shaped(new_header),
}
PROTECTIONS = {
    f"{base}, {usage}": dataclasses.replace(
        sample(base), secret=with_secrets(sample(base).secret, secret)
    )
    for base in ("rsa2048-open", "curve25519-legacy-open")
    for usage, secret in USAGES.items()
}
STANDARD = {
    f"RFC 9580 {name}": Sample(
        armor.dearmor(PUBLISHED[f"rfc9580_{name}"].encode())[0].data,
        armor.dearmor(PUBLISHED["rfc9580_a3"].encode())[0].data,
        PUBLISHED["rfc9580_a5_passphrase"] if name == "a5" else None,
    )
    for name in ("a4", "a5")
}
SAMPLES = {name: sample(name) for name in NAMES} | SHAPES | PROTECTIONS | STANDARD


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("way", [lean_and_back, whole_and_back])
def test_the_key_comes_back_byte_for_byte(name, way):
    """
    From a lean payload and the certificate, and from a whole payload alone, the restored file is
    the original file.
    """
    rebuilt = way(SAMPLES[name])
    assert rebuilt.binary == SAMPLES[name].secret
    assert rebuilt.binary == key_file.write(rebuilt.key, armored=False)
    assert rebuilt.notes == ()


@pytest.mark.parametrize("way", [lean_and_back, whole_and_back])
def test_dsa_and_elgamal_come_back(way):
    """The published DSA and ElGamal key, whose certificate is made here from its public fields."""
    secret = armor.dearmor(PUBLISHED["draft_dsa_elgamal_secret"].encode())[0].data
    certificate = public_of(secret)
    assert way(Sample(secret, certificate, None)).binary == secret


def public_of(secret):
    """
    The certificate of a secret key: public fields alone, under the new headers that RFC 9580 §4.2.1
    gives them.
    """
    out = []
    for packet in packets.split(secret):
        tag = {5: 6, 7: 14}.get(packet.tag)
        body = key_packet.parse(packet).public if tag else packet.body
        out.append(packets.with_body(tag or packet.tag, body, like=packet))
    return packets.join(out)


def test_the_demo_key():
    """
    The demo's armored files: the key comes back as the same text, lasts a year, and has a
    passphrase.
    """
    secret, certificate = (
        (DEMO / name).read_bytes() for name in ("buoy-keepers.asc", "buoy-keepers.cert.asc")
    )
    key = only(secret)
    rebuilt = extraction.rebuild(extraction.extract(key).payload, only(certificate))
    assert key_file.write(rebuilt.key, armored=True) == secret
    assert key_file.write(only(certificate), armored=True) == certificate
    assert key.expires - key.created == timedelta(days=365)
    assert key.user_ids == (USER_ID,)
    assert [part.algorithm for part in key.key_packets] == ["RSA", "RSA"]
    assert key.protected


# Onto paper.


def test_lean_carries_the_secret_parts_alone():
    """One part a key packet: its fingerprint and what stands behind the public fields."""
    payload = extraction.extract(KEY).payload
    public = only(sample("nist-p256").certificate)
    bodies = [packet.body for packet in KEY.packets if packet.tag in (5, 7)]
    assert [part.secret for part in payload.parts] == [
        body.removeprefix(key.packet.body)
        for body, key in zip(bodies, public.key_packets, strict=True)
    ]
    assert [part.fingerprint for part in payload.parts] == [
        key.fingerprint for key in public.key_packets
    ]


def test_a_public_key_is_no_secret():
    """A certificate is read, and refused where the secret is needed."""
    with pytest.raises(NotASecretKey, match="public certificate of"):
        extraction.extract(only(sample("nist-p256").certificate))


@pytest.mark.parametrize("whole", [True, False])
def test_an_unprotected_secret_must_be_acknowledged(whole):
    """With no passphrase over it, the fingerprints are named; where it is allowed it is carried."""
    key = only(sample("rsa2048-open").secret)
    with pytest.raises(UnprotectedSecret) as caught:
        extraction.extract(key, whole=whole)
    assert all(part.fingerprint.hex().upper() in caught.value.what for part in key.key_packets)
    assert extraction.extract(key, whole=whole, allow_unprotected=True).payload


def test_one_unprotected_subkey_is_enough():
    """A single secret without a passphrase among protected ones is named, and only that."""
    locked = with_secrets(
        sample("rsa2048-open").secret,
        lambda key: USAGES["usage 254, iterated"](key) if key.is_primary else None,
    )
    key = only(locked)
    with pytest.raises(UnprotectedSecret) as caught:
        extraction.extract(key)
    assert key.key_packets[1].fingerprint.hex().upper() in caught.value.what
    assert key.fingerprint.hex().upper() not in caught.value.what
    assert not key.protected


def stubbed(name, places, how=1):
    """A key of the corpus with stubs in the place of some of its secrets."""
    secret = sample(name).secret
    keys = only(secret).key_packets
    return with_secrets(secret, lambda key: stub(how) if keys.index(key) in places else None)


@pytest.mark.parametrize(("places", "how"), [((0,), 1), ((1,), 2), ((0, 2), 1)])
def test_a_stub_is_carried_and_said(places, how):
    """
    A secret kept offline or on a card is named, and the stub is carried as the secrets are: the
    serial number of a card is in no certificate. All comes back as it stood.
    """
    data = stubbed("curve25519-legacy", places, how)
    key = only(data)
    taken = extraction.extract(key)
    assert [part.secret for part in taken.payload.parts] == [
        part.secret for part in key.key_packets
    ]
    back = extraction.rebuild(taken.payload, only(sample("curve25519-legacy").certificate))
    assert back.binary == data
    assert len(back.notes) == len(places)
    assert all("the stub that was in the file" in said for said in back.notes)
    assert len(taken.notes) == len(places)
    assert all(
        key.key_packets[at].title in said for at, said in zip(places, taken.notes, strict=True)
    )
    whole = extraction.extract(key, whole=True)
    assert (whole.payload, whole.notes) == (Whole(packets.join(key.packets)), taken.notes)


def test_a_key_of_stubs_is_no_secret():
    """Where every secret is kept elsewhere there is nothing to print."""
    with pytest.raises(NotASecretKey, match="every secret of the key"):
        extraction.extract(only(stubbed("nist-p256", (0, 1))))


def test_a_public_packet_among_secret_ones():
    """A subkey of which the file has only the public part is named."""
    public = only(sample("nist-p256").certificate)
    mixed = Key((*KEY.packets[:3], *public.packets[3:]))
    taken = extraction.extract(mixed)
    assert len(taken.payload.parts) == 1
    assert taken.notes == (
        (
            f"Left out: the secret of the {KEY.key_packets[1].title}: "
            "the file has only its public part."
        ),
    )


STRANGERS = {
    "another's certification": (
        [user_id(b"Keepers"), signed(0x10, 1, None, OTHER)],
        1,
        "1 × signature by another key",
    ),
    "certifications of others": (
        [user_id(b"Keepers"), *[signed(0x10, 1, None, OTHER)] * 3],
        1,
        "3 × signature by another key",
    ),
    "a picture": (
        [packet_of(17), signed(0x13, 1, None, MINE)],
        0,
        "1 × user attribute packet; 1 × signature on a picture",
    ),
    "a trust packet": ([packet_of(12)], 0, "1 × trust packet"),
    "a marker": ([packet_of(10, b"PGP")], 0, "1 × marker packet"),
    "padding": ([packet_of(21)], 0, "1 × padding packet"),
    "an unknown packet": ([packet_of(60)], 0, "1 × packet of type 60"),
}


@pytest.mark.parametrize("name", STRANGERS)
def test_whole_leaves_out_what_is_not_the_keys_own(name):
    """
    Other people's signatures, pictures and packets without meaning are left out and counted; all
    else stays in its order.
    """
    inserted, kept, said = STRANGERS[name]
    taken = extraction.extract(rearranged("nist-p256", *inserted), whole=True)
    assert taken.notes == tuple(f"Left out: {what}." for what in said.split("; "))
    assert taken.payload.packets == packets.join(
        (KEY.packets[0], *inserted[:kept], *KEY.packets[1:])
    )


def test_whole_keeps_the_keys_own():
    """Signatures by the key, by a subkey, and those that name nobody are kept."""
    mute = packet_of(2, b"\4\x13\x16\x08\0\0\0\0\0\0")
    own = [
        signed(0x1F, 1, None, MINE),
        signed(0x1F, 1, None, KEY.key_packets[1].key_id),
        mute,
        packet_of(2, b"\7"),
    ]
    taken = extraction.extract(rearranged("nist-p256", *own), whole=True)
    assert taken.notes == ()
    assert taken.payload.packets == packets.join((KEY.packets[0], *own, *KEY.packets[1:]))


def test_what_is_too_large_for_a_lean_payload():
    """
    A secret part of 65,535 bytes is carried, one of a byte more refused; so are 255 parts and 256.
    """
    for length in (0xFFFF, 0x10000):
        grown = with_secrets(
            sample("nist-p256").secret, lambda key, length=length: key.secret.ljust(length, b"x")
        )
        if length == 0xFFFF:
            assert lean_and_back(
                Sample(grown, sample("nist-p256").certificate, None)
            ).key.secret_packets
        else:
            with pytest.raises(TooLarge, match="has 65536 bytes"):
                extraction.extract(only(grown))
    body = KEY.packets[3].body
    subkeys = [
        packets.with_body(
            PacketType.SECRET_SUBKEY,
            body[:1] + created.to_bytes(4, "big") + body[5:],
            like=KEY.packets[3],
        )
        for created in range(255)
    ]
    assert len(extraction.extract(Key((KEY.packets[0], *subkeys[1:]))).payload.parts) == 255
    with pytest.raises(TooLarge, match="256 secret parts"):
        extraction.extract(Key((KEY.packets[0], *subkeys)))


# And back.


def test_a_newer_certificate_is_welcome():
    """
    New user IDs, signatures and packets of the certificate stand in the restored key as they stand
    in the certificate.
    """
    certificate = only(sample("nist-p256").certificate)
    newer = (
        packet_of(21),
        certificate.packets[0],
        user_id(b"Harbour"),
        signed(0x13, 1, 5, MINE),
        packet_of(60),
        *certificate.packets[1:],
    )
    rebuilt = extraction.rebuild(extraction.extract(KEY).payload, Key(newer))
    replaced = {certificate.packets[0]: KEY.packets[0], certificate.packets[3]: KEY.packets[3]}
    assert rebuilt.key.packets == tuple(replaced.get(one, one) for one in newer)


def test_a_secret_key_file_serves_as_certificate():
    """Its own secrets are not looked at: the paper's stand in the restored key."""
    one = PROTECTIONS["rsa2048-open, usage 254, iterated"]
    payload = extraction.extract(only(one.secret)).payload
    assert extraction.rebuild(payload, only(sample("rsa2048-open").secret)).binary == one.secret


def test_a_lean_payload_needs_its_certificate():
    """With none, and with another's, nothing is restored; both fingerprints are told."""
    payload = extraction.extract(KEY).payload
    with pytest.raises(CertificateError, match="the public certificate is needed"):
        extraction.rebuild(payload, None)
    other = only(sample("nist-p384").certificate)
    with pytest.raises(CertificateError) as caught:
        extraction.rebuild(payload, other)
    assert KEY.fingerprint.hex().upper() in caught.value.what
    assert other.title in caught.value.what
    assert "--public" in caught.value.advice


def test_there_is_no_half_a_key():
    """A certificate that lacks a subkey of the paper's is refused, and the subkey named."""
    certificate = Key(only(sample("nist-p256").certificate).packets[:3])
    with pytest.raises(CertificateError, match=KEY.key_packets[1].fingerprint.hex().upper()):
        extraction.rebuild(extraction.extract(KEY).payload, certificate)


@pytest.mark.parametrize("name", ["curve25519-legacy", "v6-curve25519"])
@pytest.mark.parametrize("missing", [0, 1])
def test_a_key_packet_without_a_secret_stays_public(name, missing):
    """What the paper has no secret of is public in the restored key too, and is told."""
    key = only(sample(name).secret)
    parts = extraction.extract(key).payload.parts
    rebuilt = extraction.rebuild(
        Lean(tuple(part for at, part in enumerate(parts) if at != missing)),
        only(sample(name).certificate),
    )
    assert [part.secrecy is Secrecy.PUBLIC for part in rebuilt.key.key_packets] == [
        at == missing for at in range(len(parts))
    ]
    assert [said.split(" came back")[0] for said in rebuilt.notes] == [
        f"The {key.key_packets[missing].title}"
    ]


def test_a_subkey_of_an_algorithm_to_come_stays_public():
    """
    A version 4 subkey of an algorithm to come stays in the restored key as the certificate has it.
    """
    public = KEY.key_packets[1].public
    subkey = packets.with_body(
        PacketType.PUBLIC_SUBKEY, public[:5] + b"\x63" + public[6:], like=KEY.packets[3]
    )
    certificate = Key((*only(sample("nist-p256").certificate).packets, subkey))
    rebuilt = extraction.rebuild(extraction.extract(KEY).payload, certificate)
    assert rebuilt.key.packets[-1] == subkey
    assert len(rebuilt.notes) == 1


def test_two_parts_of_one_fingerprint_are_refused():
    """They are not printed, and not restored, the same bytes or others."""
    lean = extraction.extract(KEY).payload
    certificate = only(sample("nist-p256").certificate)
    for secret in (lean.parts[0].secret, lean.parts[1].secret):
        twice = Lean((*lean.parts, SecretPart(lean.parts[0].fingerprint, secret)))
        with pytest.raises(CertificateError, match="two secrets of the key"):
            extraction.rebuild(twice, certificate)
    with pytest.raises(DamagedKeyFile, match="twice"):
        extraction.extract(Key((*KEY.packets, *KEY.packets[-2:])))
    whole = extraction.extract(Key((*KEY.packets, *KEY.packets[-2:])), whole=True).payload
    assert extraction.rebuild(whole, None).key.packets == (*KEY.packets, *KEY.packets[-2:])


def test_a_part_that_belongs_to_two_packets_is_refused():
    """A certificate that has a key of the paper twice restores nothing."""
    certificate = only(sample("nist-p256").certificate)
    with pytest.raises(CertificateError, match="twice"):
        extraction.rebuild(
            extraction.extract(KEY).payload,
            Key((*certificate.packets, *certificate.packets[-2:])),
        )


def test_secrets_that_do_not_fit_their_certificate():
    """A payload whose secret part makes no secret of the key packet is refused, not written."""
    parts = (SecretPart(KEY.fingerprint, stub()),)
    with pytest.raises(CertificateError, match="do not fit together"):
        extraction.rebuild(Lean(parts), only(sample("nist-p256").certificate))


@pytest.mark.parametrize("wrong", [sample("nist-p256").certificate, stubbed("nist-p256", (0, 1))])
def test_a_whole_payload_without_a_secret(wrong):
    """A whole payload is looked over before it is handed on."""
    with pytest.raises(NotASecretKey):
        extraction.rebuild(Whole(wrong), None)


def test_a_whole_payload_needs_no_certificate():
    """One that is given all the same is not looked at."""
    payload = extraction.extract(KEY, whole=True).payload
    assert (
        extraction.rebuild(payload, only(sample("nist-p384").certificate)).binary
        == sample("nist-p256").secret
    )


@pytest.mark.parametrize("version", [3, 5])
def test_versions_that_are_not_printed(version):
    """
    Keys of version 3 and 5 are read, can be listed beside others, and are refused by their number.
    """
    data = old_key(version)
    key = only(data)
    assert key.version == version
    assert choice.choose((*key_file.read(data), KEY), KEY.fingerprint.hex()) == KEY
    with pytest.raises(UnsupportedKey, match=f"is of version {version}"):
        extraction.extract(key, allow_unprotected=True)


def old_key(version):
    """
    A version 3 RSA key, n = 15 and e = 3; a key of version 5, which has the layout of version 6.
    """
    if version == 5:
        return (
            bytes(sample("v6-curve25519").secret[:2]) + b"\5" + sample("v6-curve25519").secret[3:]
        )
    body = b"\3\x30\0\0\0\0\0\1\0\4\x0f\0\2\3" + b"\xff\3\3\1" + bytes(60)
    return bytes([0x95]) + len(body).to_bytes(2, "big") + body
