"""Certificates that anyone can add to: what they hold never decides what the file is."""

from datetime import UTC, datetime

import pytest
from asking import asks
from hostile import ADDITIONS, LABELS, with_additions
from samples import PASSPHRASE, armored, binary, file

from paperkey_alt import keys
from paperkey_alt.errors import KeyFileError, NotASecretKey
from paperkey_alt.keys import Form, RevocationReason, pem
from paperkey_alt.keys.openpgp import key_file, revocation
from paperkey_alt.keys.openpgp.armor import ArmorKind

WISHES = {
    "form": Form.LEAN,
    "sealed": False,
    "prove": False,
    "allow_unprotected": False,
    "fingerprint": None,
    "blind": bytes(16),
}
SURROUNDED = tuple(b"\r\n" + label + b"\r\n" for label in LABELS)


@pytest.mark.long
@pytest.mark.parametrize("place", ADDITIONS)
def test_what_stands_in_a_packet_does_not_tell_what_the_file_is(place):
    """
    Every row by which we tell a file, in user IDs, notations, attributes and unknown packets: the
    key is printed and comes back, binary and armored, of the secret key and of the certificate.
    """
    secret, certificate = binary("curve25519.asc"), binary("curve25519.cert.asc")
    plain = keys.extract(secret, "harbour.key", **WISHES, ask=asks())
    for texts in [*((text,) for text in SURROUNDED), SURROUNDED]:
        hostile = with_additions(secret, place, texts)
        extracted = keys.extract(hostile, "harbour.key", **WISHES, ask=asks())
        assert extracted.payload == plain.payload
        added = with_additions(certificate, place, texts)
        for data in (added, armored(added, ArmorKind.PUBLIC_KEY)):
            key = keys.certificate(data, None)
            rebuilt = keys.rebuild(plain.payload, certificate=key, passphrase=None, ask=asks())
            assert key_file.read(rebuilt.data)[0].packets[-1].body == (
                key_file.read(added)[0].packets[-1].body
            )
            assert not pem.recognises(rebuilt.binary)
        for data in (hostile, armored(hostile)):
            assert not pem.recognises(data)
            assert key_file.read(data)


def test_a_reason_that_looks_like_armor_is_a_reason():
    """A binary revocation whose comment is a row of armor is read as the packet it is."""
    key = keys.revocable(binary("curve25519.asc"), None)
    comment = "\n-----BEGIN PGP PUBLIC KEY BLOCK-----\n"
    made = keys.revoke(
        key,
        RevocationReason.SUPERSEDED,
        comment,
        now=datetime(2026, 1, 1, tzinfo=UTC),
        random_bytes=bytes,
        ask=asks(PASSPHRASE),
    )
    assert revocation.read(made.packet, key.primary) == made.packet


@pytest.mark.parametrize("label", LABELS)
def test_what_begins_with_a_label_is_still_told(label):
    """Text that holds such a row and no key is refused, whatever else stands in it."""
    with pytest.raises(KeyFileError):
        key_file.read(b"To whom it may concern\n" + label + b"\nAAAA\n")


def test_text_before_armor_may_be_of_any_encoding():
    """Letters that look like the first octet of a packet do not hide the armor."""
    for greeting in ("Ő", "Ɓ", "ʼn", "Ֆ", "\xc5", "\x99"):
        for encoding in ("utf-8", "latin-1"):
            before = f"{greeting}rség\n".encode(encoding, "replace")
            assert key_file.read(before + file("curve25519.asc"))


def test_ssh_keys_are_told():
    """A row of an SSH key, as its own file has it."""
    with pytest.raises(NotASecretKey, match="an SSH public key"):
        key_file.read(b"ssh-ed25519 AAAAC3NzaC1 keeper@saltmarrow.example\n")
