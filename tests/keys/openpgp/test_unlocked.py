"""OpenPGP secrets unlocked: which passphrase is tried on which, and what belongs to what."""

from dataclasses import replace

import pytest
from asking import asks
from pairs import secrets_of
from samples import NAMES, PASSPHRASE, PUBLISHED, only, sample

from paperkey_alt.errors import KeyPairMismatch, NotASecretKey, WrongPassphrase
from paperkey_alt.keys.openpgp import armor, key_file, reduction, unlocked


@pytest.mark.parametrize("name", NAMES)
def test_one_passphrase_opens_all_secrets(name):
    """It is asked for once; where none protects a secret, never."""
    one = sample(name)
    key = only(one.secret)
    secrets = unlocked.unlock(key, asks(*[one.passphrase] if one.passphrase else []))
    assert [secret.packet for secret in secrets] == list(key.secret_packets)
    assert {secret.passphrase for secret in secrets} == {one.passphrase}


def test_known_passphrases_come_first():
    """One that opens a secret spares the question; those that open nothing do no harm."""
    key = only(sample("nist-p256").secret)
    known = ["high tide at noon", PASSPHRASE]
    assert unlocked.unlock(key, asks(), known) == unlocked.unlock(key, asks(PASSPHRASE))
    assert unlocked.unlock(key, asks(PASSPHRASE), known[:1]) == unlocked.unlock(key, asks(), known)
    with pytest.raises(WrongPassphrase):
        unlocked.unlock(key, asks("slack water"), known[:1])


def test_the_question_names_the_packet():
    """Who is asked can tell which passphrase is meant."""
    key = only(sample("nist-p256").secret)
    asked = []

    def ask(what):
        asked.append(what)
        return PASSPHRASE

    unlocked.unlock(key, ask)
    assert asked == [key.primary.title]


def test_the_primary_secret_alone():
    """As among all secrets; a certificate has none."""
    key = only(sample("nist-p256").secret)
    assert unlocked.unlock_primary(key, asks(PASSPHRASE)) == secrets_of("nist-p256")[0]
    with pytest.raises(NotASecretKey, match=key.fingerprint.hex().upper()):
        unlocked.unlock_primary(only(sample("nist-p256").certificate), asks(PASSPHRASE))


def test_an_unlocked_secret_does_not_show_itself():
    """Neither its fields nor its passphrase stand in its representation."""
    secret = secrets_of("nist-p256")[0]
    assert PASSPHRASE not in repr(secret)
    assert repr(secret.clear)[2:-1] not in repr(secret)


def test_the_published_dsa_and_elgamal_keys_are_proven():
    """
    The sample key of the Internet-Draft of example keys: y = g^x for both; a flipped bit of x is
    refused.
    """
    (key,) = key_file.read(armor.dearmor(PUBLISHED["draft_dsa_elgamal_secret"].encode())[0].data)
    opened = unlocked.unlock(key, asks())
    assert {one.packet.algorithm for one in opened} == {"DSA", "ElGamal"}
    assert unlocked.check_pairs(opened) == ()
    for one in opened:
        assert (
            reduction.expand(reduction.reduce(one.clear, one.packet.public), one.packet.public)
            == one.clear
        )
        with pytest.raises(KeyPairMismatch, match=one.packet.fingerprint.hex().upper()):
            unlocked.check_pairs([replace(one, clear=one.clear[:-1] + bytes([one.clear[-1] ^ 1]))])
