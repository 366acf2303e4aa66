"""What came back from paper beside the live file."""

import pytest
from asking import asks
from samples import PASSPHRASE, USAGES, file, only, sample, stub, with_secrets

from paperkey_alt import keys
from paperkey_alt.errors import NotASecretKey, SeveralKeys
from paperkey_alt.format.payload import File, Lean, Revocation
from paperkey_alt.keys import RevocationReason, comparison
from paperkey_alt.keys.comparison import Comparison, LiveFile, Verdict
from paperkey_alt.keys.openpgp import extraction, key_file, revocation, unlocked

OPEN, CERTIFICATE = sample("rsa2048-open").secret, only(sample("rsa2048-open").certificate)


def live(data):
    """The live file of these bytes."""
    return comparison.live_file(data, None)


def back(payload, certificate=CERTIFICATE):
    """What comes back from a payload."""
    return keys.rebuild(payload, certificate=certificate, passphrase=None, ask=asks())


def lean(data):
    """The lean payload of a key file."""
    return extraction.extract(only(data), allow_unprotected=True).payload


@pytest.mark.parametrize("armored", [True, False])
def test_the_same_file(armored):
    """Armored or binary, byte for byte."""
    data = key_file.write(only(OPEN), armored=armored)
    came = comparison.compare(back(lean(OPEN)), live(data))
    assert came == Comparison(Verdict.SAME_FILE, only(OPEN).title)
    assert came.agrees


def test_the_same_secrets():
    """In another file, or with a newer certificate around them."""
    data = file("rsa2048-open.asc").replace(b"\n\n", b"\nComment: harbour\n\n", 1)
    came = comparison.compare(back(lean(OPEN)), live(data))
    assert came == Comparison(Verdict.SAME_SECRETS, only(OPEN).title)
    assert came.agrees


def test_another_key():
    """It is named by what came back."""
    came = comparison.compare(back(lean(OPEN)), live(file("nist-p256.asc")))
    assert came == Comparison(Verdict.ANOTHER_KEY, only(OPEN).title)
    assert not came.agrees


def test_a_secret_that_is_not_on_the_paper():
    """The live key's own packet is named."""
    first, second = only(OPEN).key_packets
    came = comparison.compare(back(Lean(lean(OPEN).parts[:1])), live(OPEN))
    assert came == Comparison(Verdict.SECRET_MISSING, second.title)
    assert not came.agrees
    # A secret that the live file has no longer is no fault of the paper.
    shorter = with_secrets(OPEN, lambda key: None if key.is_primary else stub())
    assert comparison.compare(back(lean(OPEN)), live(shorter)).verdict is Verdict.SAME_SECRETS
    assert first.is_primary


def test_another_protection():
    """The passphrase was changed since: the same key, and other bytes."""
    changed = with_secrets(OPEN, USAGES["usage 254, iterated"])
    came = comparison.compare(back(lean(OPEN)), live(changed))
    assert came == Comparison(Verdict.PROTECTED_OTHERWISE, only(OPEN).primary.title)
    assert not came.agrees


def revoked(name):
    """A revocation of a key of the corpus."""
    key = only(sample(name).secret)
    primary = unlocked.unlock_primary(key, asks(PASSPHRASE))
    packet = revocation.make(primary, RevocationReason.NONE, "", 2**31, bytes(32))
    return back(Revocation(key.fingerprint, packet))


def test_a_revocation():
    """The live key made it, or it is something else."""
    own = comparison.compare(revoked("rsa2048-open"), live(OPEN))
    assert own.verdict is Verdict.OWN_REVOCATION
    assert own.agrees
    other = comparison.compare(revoked("nist-p256"), live(OPEN))
    assert other.verdict is Verdict.SOMETHING_ELSE
    assert other.title.startswith("the revocation of ")


def test_a_file():
    """The same bytes, or something else."""
    carried = back(File("note", b"Notice"))
    assert comparison.compare(carried, live(b"Notice")).verdict is Verdict.SAME_FILE
    assert comparison.compare(carried, live(b"Notices")).verdict is Verdict.SOMETHING_ELSE
    assert comparison.compare(carried, live(OPEN)) == Comparison(
        Verdict.SOMETHING_ELSE, "the file note"
    )


@pytest.mark.parametrize("verdict", Verdict)
def test_three_verdicts_agree(verdict):
    """The others are disagreement."""
    agreeing = (Verdict.SAME_FILE, Verdict.SAME_SECRETS, Verdict.OWN_REVOCATION)
    assert Comparison(verdict, "x").agrees is (verdict in agreeing)


def test_what_the_live_file_is():
    """
    An OpenPGP key, the one that is named; a private key of another kind; or any file, with what
    keeps it from being a key.
    """
    assert live(OPEN) == LiveFile(OPEN, only(OPEN))
    assert live(b"0\x82") == LiveFile(b"0\x82")
    user_id = live(b"\xcd\1a")
    assert (user_id.key, type(user_id.problem)) == (None, NotASecretKey)
    two = OPEN + sample("nist-p256").secret
    assert type(live(two).problem) is SeveralKeys
    chosen = comparison.live_file(two, only(OPEN).fingerprint.hex())
    assert (chosen.key, chosen.problem) == (only(OPEN), None)
