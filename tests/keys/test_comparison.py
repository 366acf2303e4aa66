"""What came back from paper beside the live file."""

import pytest
from asking import asks
from rekeyed import exported
from samples import PASSPHRASE, USAGES, file, only, sample, stub, with_secrets

from paperkey_alt import keys
from paperkey_alt.errors import NotASecretKey, SeveralKeys, WrongPassphrase
from paperkey_alt.format.payload import Certificate, File, Lean, Revocation, SecretPart
from paperkey_alt.keys import RevocationReason, comparison
from paperkey_alt.keys.comparison import Compared, Comparison, LiveFile, Result, Verdict
from paperkey_alt.keys.openpgp import extraction, key_file, material, packets, revocation, unlocked

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


def came(payload, data, *passphrases, certificate=CERTIFICATE, known=()):
    """What the comparison of a payload with a live file comes to."""
    return comparison.compare(back(payload, certificate), live(data), asks(*passphrases), known)


def results(of):
    """The results for the secrets, in order."""
    return [secret.result for secret in of.secrets]


@pytest.mark.parametrize("armored", [True, False])
def test_the_same_file(armored):
    """Armored or binary, byte for byte."""
    data = key_file.write(only(OPEN), armored=armored)
    same = came(lean(OPEN), data)
    assert (same.verdict, same.title) == (Verdict.SAME_FILE, only(OPEN).title)
    assert results(same) == [Result.SAME_BYTES] * 2
    assert same.agrees


def test_the_same_secrets():
    """In another file, or with a newer certificate around them; each by its packet."""
    data = file("rsa2048-open.asc").replace(b"\n\n", b"\nComment: harbour\n\n", 1)
    same = came(lean(OPEN), data)
    titles = [part.title for part in only(OPEN).key_packets]
    secrets = tuple(Compared(title, Result.SAME_BYTES) for title in titles)
    assert same == Comparison(Verdict.SAME_KEY, only(OPEN).title, secrets)
    assert same.agrees


def test_another_key():
    """It is named by what came back."""
    other = came(lean(OPEN), file("nist-p256.asc"))
    assert other == Comparison(Verdict.ANOTHER_KEY, only(OPEN).title)
    assert not other.agrees


def test_a_secret_that_is_not_on_the_paper():
    """The live key's own packet is named."""
    first, second = only(OPEN).key_packets
    missing = came(Lean(lean(OPEN).parts[:1]), OPEN)
    assert missing.verdict is Verdict.SECRET_MISSING
    assert missing.having(Result.MISSING_ON_PAPER) == (
        Compared(second.title, Result.MISSING_ON_PAPER),
    )
    assert not missing.agrees
    # A secret that the live file has no longer is no fault of the paper, and not compared.
    shorter = with_secrets(OPEN, lambda key: None if key.is_primary else stub())
    fewer = came(lean(OPEN), shorter)
    assert fewer.verdict is Verdict.LIVE_LACKS
    assert results(fewer) == [Result.SAME_BYTES, Result.MISSING_LIVE]
    neither = came(Lean(lean(OPEN).parts[:1]), shorter)
    assert neither.verdict is Verdict.BOTH_LACK
    assert not neither.agrees
    assert first.is_primary


def test_no_secret_to_compare_with():
    """A certificate, or stubs alone: nothing is compared."""
    stubs = with_secrets(OPEN, lambda _: stub())
    for data in (sample("rsa2048-open").certificate, stubs):
        none = came(lean(OPEN), data)
        assert none == Comparison(Verdict.NO_LIVE_SECRET, only(OPEN).title)
        assert not none.agrees


@pytest.mark.parametrize("usage", USAGES)
def test_another_protection(usage):
    """The same numbers: no passphrase over them on one side is told as that."""
    changed = with_secrets(OPEN, USAGES[usage])
    same = came(lean(OPEN), changed, PASSPHRASE)
    assert same.verdict is Verdict.SAME_KEY
    assert results(same) == [Result.UNPROTECTED_ON_PAPER] * 2
    same = came(lean(changed), OPEN, PASSPHRASE)
    assert results(same) == [Result.UNPROTECTED_LIVE] * 2
    assert same.agrees


@pytest.mark.long
@pytest.mark.parametrize("name", ["nist-p256", "curve25519", "v6-curve25519", "v6-nist-p256"])
def test_encrypted_anew(name):
    """
    The same passphrase opens both sides: it is asked for once, or not at all where it is known.
    Another one is another one.
    """
    data, certificate = sample(name).secret, only(sample(name).certificate)
    anew = exported(data)
    for passphrases, known in ((asks(PASSPHRASE), ()), (asks(), [PASSPHRASE])):
        same = comparison.compare(back(lean(data), certificate), live(anew), passphrases, known)
        assert same.verdict is Verdict.SAME_KEY
        assert set(results(same)) == {Result.SAME_SECRET}
    both = asks(PASSPHRASE, "flood")
    other = comparison.compare(
        back(lean(data), certificate), live(exported(data, "flood")), both, ()
    )
    assert other.agrees
    assert set(results(other)) == {Result.ANOTHER_PASSPHRASE}
    paper, of_live = both.asked
    assert paper.startswith("key on paper ")
    assert of_live.startswith("live key ")


def test_known_passphrases_of_both_sides():
    """Where both are known, the one of the paper is tried on the live key all the same."""
    data, certificate = sample("nist-p256").secret, only(sample("nist-p256").certificate)
    other = exported(data, "flood")
    for known in (["flood", PASSPHRASE], [PASSPHRASE, "flood"]):
        compared = came(lean(data), other, certificate=certificate, known=known)
        assert set(results(compared)) == {Result.ANOTHER_PASSPHRASE}


def test_no_passphrase():
    """Not compared, with the reason; the side whose passphrase nobody has is asked for once."""
    data, certificate = sample("nist-p256").secret, only(sample("nist-p256").certificate)
    ask = asks("slack water")
    none = comparison.compare(back(lean(data), certificate), live(exported(data)), ask, ())
    assert none.verdict is Verdict.NOT_COMPARED
    assert set(results(none)) == {Result.NOT_COMPARED}
    assert not none.agrees
    assert len(ask.asked) == 2
    assert all(isinstance(secret.problem, WrongPassphrase) for secret in none.secrets)


def swapped(clear):
    """The secret fields of an RSA key with its primes in the other order, and u to fit."""
    d, p, q, _ = material.split(clear, (material.mpi,) * 4)
    u = pow(material.number(q), -1, material.number(p))
    return material.join((d, q, p, material.integer(u)))


def rewritten(data, change):
    """The unprotected version 4 key with its secret fields changed, and the sum to fit."""

    def anew(key):
        fields = change(key.secret[1:-2])
        return b"\0" + fields + (sum(fields) & 0xFFFF).to_bytes(2, "big")

    return with_secrets(data, anew)


def test_the_same_secret_in_other_numbers():
    """RSA primes in the other order belong to the same public key: the same secret."""
    same = came(lean(OPEN), rewritten(OPEN, swapped))
    assert same.verdict is Verdict.SAME_KEY
    assert results(same) == [Result.SAME_SECRET] * 2


def test_numbers_of_another_key():
    """The side whose numbers do not belong to the public key is named."""
    broken = rewritten(OPEN, lambda clear: clear[:-1] + bytes([clear[-1] ^ 2]))
    assert came(lean(broken), OPEN).verdict is Verdict.WRONG_ON_PAPER
    assert came(lean(OPEN), broken).verdict is Verdict.WRONG_LIVE


def test_numbers_that_nothing_tells_apart():
    """Of an algorithm without a key pair check other numbers are other numbers."""
    data = sample("sq-v6-mldsa65-open").secret
    certificate = only(sample("sq-v6-mldsa65-open").certificate)
    parts = lean(data).parts
    last = parts[-1]
    other = Lean(
        (*parts[:-1], SecretPart(last.fingerprint, last.secret[:-1] + bytes([last.secret[-1] ^ 1])))
    )
    compared = came(other, data, certificate=certificate)
    assert compared.verdict is Verdict.ANOTHER_SECRET
    assert not compared.agrees


def revoked(name):
    """A revocation of a key of the corpus."""
    key = only(sample(name).secret)
    primary = unlocked.unlock_primary(key, asks(PASSPHRASE))
    packet = revocation.make(primary, RevocationReason.NONE, "", 2**31, bytes(32))
    return back(Revocation(key.fingerprint, packet))


def test_a_revocation():
    """The live key made it, or it is something else."""
    own = comparison.compare(revoked("rsa2048-open"), live(OPEN), asks())
    assert own.verdict is Verdict.OWN_REVOCATION
    assert own.agrees
    other = comparison.compare(revoked("nist-p256"), live(OPEN), asks())
    assert other.verdict is Verdict.ANOTHER_REVOCATION
    assert other.title.startswith("the revocation of ")


def test_a_file():
    """The same bytes, or something else."""
    carried = back(File("note", b"Notice", bytes(16)))
    assert comparison.compare(carried, live(b"Notice"), asks()).verdict is Verdict.SAME_FILE
    assert comparison.compare(carried, live(b"Notices"), asks()).verdict is Verdict.ANOTHER_FILE
    assert comparison.compare(carried, live(OPEN), asks()) == Comparison(
        Verdict.ANOTHER_FILE, "the file note"
    )


@pytest.mark.parametrize("verdict", Verdict)
def test_four_verdicts_agree(verdict):
    """The others are disagreement."""
    agreeing = (
        Verdict.SAME_FILE,
        Verdict.SAME_KEY,
        Verdict.OWN_REVOCATION,
        Verdict.OWN_CERTIFICATE,
    )
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


def test_a_certificate_and_the_live_key():
    """
    It agrees where every key packet with a secret, or of a public file every key packet, is in it;
    what it lacks is named; a certificate of another key is told as that.
    """
    whole = back(Certificate(sample("rsa2048-open").certificate))
    assert comparison.compare(whole, live(OPEN), asks()).verdict is Verdict.OWN_CERTIFICATE
    public = live(sample("rsa2048-open").certificate)
    assert comparison.compare(whole, public, asks()).verdict is Verdict.OWN_CERTIFICATE
    lacking = back(Certificate(packets.join(CERTIFICATE.packets[:-2])))
    for other in (live(OPEN), public):
        compared = comparison.compare(lacking, other, asks())
        assert compared.verdict is Verdict.CERTIFICATE_LACKS
        assert compared.secrets == (
            Compared(CERTIFICATE.key_packets[1].title, Result.MISSING_ON_PAPER),
        )
    another = live(sample("nist-p256").secret)
    assert comparison.compare(whole, another, asks()).verdict is Verdict.ANOTHER_CERTIFICATE


def test_a_certificate_has_nothing_to_prove():
    """It is said so, and nothing is asked for."""
    said = keys.check_pairs(back(Certificate(sample("rsa2048-open").certificate)), asks())
    assert said == ("a public certificate has no secret",)
