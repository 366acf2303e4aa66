"""How well a passphrase protects: what is cautioned of, and the empty passphrase."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from asking import asks
from rekeyed import exported
from samples import USAGES, only, plaintext, sample, stub, with_secrets

from paperkey_alt import keys
from paperkey_alt.errors import DamagedKeyFile, UnprotectedSecret
from paperkey_alt.keys import Form
from paperkey_alt.keys.openpgp import protection, strength, unlocked
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.secret import Caution

OPEN = sample("rsa2048-open").secret
LOW, SUM = Caution.LOW_COUNT, Caution.SUM  # the samples are hashed over 2,048 octets
LEGACY = {Caution.SIMPLE_S2K, Caution.MD5, SUM}
CAUTIONS = {
    "usage 254, iterated": {LOW},
    "usage 254, salted": {LOW},
    "usage 255, iterated": {LOW, SUM},
    "usage 255, simple": {Caution.SIMPLE_S2K, SUM},
    "usage 255, CAST5": {LOW, SUM},
    "usage 254, TripleDES": {LOW},
    "usage 7, AES-128": LEGACY,
    "usage 9, AES-256": LEGACY,
    "usage 3, CAST5": LEGACY,
}


def extract(data, *passphrases, form=Form.LEAN, **others):
    """What is printed of a key file."""
    wishes = {"sealed": False, "prove": False, "allow_unprotected": False, "fingerprint": None}
    wishes["blind"] = bytes(16)
    return keys.extract(data, "key", form=form, ask=asks(*passphrases), **wishes | others)


@pytest.mark.parametrize("usage", USAGES)
def test_cautions(usage):
    """For each secret, by what protects it; they are in the extract as values."""
    key = only(with_secrets(OPEN, USAGES[usage]))
    told = strength.cautions(key)
    for part in key.key_packets:
        assert {weak.caution for weak in told if weak.title == part.title} == CAUTIONS[usage]
    assert extract(with_secrets(OPEN, USAGES[usage])).cautions == told


@pytest.mark.parametrize("name", ["nist-p256", "v6-curve448-argon2", "rsa2048-open"])
def test_no_caution(name):
    """Argon2, a high count, or no passphrase at all, which is told otherwise."""
    assert strength.cautions(only(sample(name).secret)) == ()


@pytest.mark.parametrize("usage", [254, 255])
def test_cipher_0_is_plaintext(usage):
    """
    It is unprotected whatever its usage octet speaks of; it is opened without a passphrase, proven
    and reduced, and comes back as it stood; altered, it is damaged.
    """
    data = with_secrets(OPEN, plaintext(usage))
    key = only(data)
    assert {part.secrecy for part in key.key_packets} == {Secrecy.UNPROTECTED}
    with pytest.raises(UnprotectedSecret, match="no passphrase protects the key"):
        extract(data)
    assert not extract(data, allow_unprotected=True, prove=True).protected
    made = extract(data, "ebb", form=Form.COMPACT)
    certificate = only(sample("rsa2048-open").certificate)
    back = keys.rebuild(made.payload, certificate=certificate, passphrase="ebb", ask=asks())
    assert back.binary == data
    part = key.primary
    damaged = part.secret[:-1] + bytes([part.secret[-1] ^ 1])
    with pytest.raises(DamagedKeyFile, match="no cipher protects"):
        protection.unlock(damaged, unlocked.public_part(part), b"")


@pytest.mark.parametrize("form", [Form.LEAN, Form.WHOLE, Form.COMPACT])
def test_an_empty_passphrase_is_none(form):
    """
    A key that one opens is unprotected: refused, or printed as that; sealed under a new passphrase
    where it is compact.
    """
    data = exported(sample("curve25519").secret, "")
    key = only(data)
    assert strength.opened_by_empty_passphrase(key) == key.secret_packets
    if form is not Form.COMPACT:
        with pytest.raises(UnprotectedSecret, match="an empty passphrase opens the key"):
            extract(data, form=form)
    made = extract(data, "", "ebb", form=form, allow_unprotected=True)
    assert not made.protected
    assert made.seal_passphrase == ("ebb" if form is Form.COMPACT else None)


@pytest.mark.parametrize("name", ["curve25519", "v6-curve25519", "rsa4096"])
def test_another_passphrase_is_one(name):
    """A key that has a passphrase is not said to have none."""
    key = only(sample(name).secret)
    assert strength.opened_by_empty_passphrase(key) == ()
    assert extract(sample(name).secret).protected


def test_what_is_dear_is_not_tried(monkeypatch):
    """Above 256 MiB of Argon2 nothing is tried, and nothing is said."""
    key = only(sample("v6-curve448-argon2").secret)
    part = key.primary
    secret = bytearray(part.secret)
    at = next(at for at in range(len(secret) - 20) if secret[at] == 4 and secret[at - 1] == 20)
    secret[at + 19] = 19
    dear = replace(part, secret=bytes(secret))
    tried = []
    monkeypatch.setattr(strength, "_opens_empty", tried.append)
    assert strength.opened_by_empty_passphrase(SimpleNamespace(secret_packets=(part, dear))) == ()
    assert tried == [part]


def test_stubs_are_not_tried():
    """There is nothing to open, and nothing to caution of."""
    key = only(with_secrets(OPEN, lambda key: stub() if key.is_primary else None))
    assert strength.opened_by_empty_passphrase(key) == strength.cautions(key) == ()
