"""Which secrets a print carries: comparable, without the secrets."""

import pytest
from desks import KEY, PASSPHRASE

from paperkey_alt import keys
from paperkey_alt.format.payload import Compact, File, Lean, Revocation, RsaFile, SecretPart
from paperkey_alt.keys import Form
from paperkey_alt.records.contents import contents


def payload(form):
    """What is printed of the demo key."""

    class Asking:
        def __call__(self, _what):
            return PASSPHRASE

        new = __call__

    return keys.extract(
        KEY.read_bytes(),
        "key.asc",
        form=form,
        sealed=False,
        prove=False,
        allow_unprotected=False,
        fingerprint=None,
        ask=Asking(),
        blind=bytes(16),
    ).payload


def test_a_lean_and_a_whole_print_carry_the_same():
    """A secret for each secret packet, by its fingerprint; no digest is as long as a secret."""
    lean, whole = contents(payload(Form.LEAN)), contents(payload(Form.WHOLE))
    assert lean == whole
    key = keys.certificate(KEY.read_bytes(), None)
    assert list(lean) == [part.fingerprint.hex().upper() for part in key.secret_packets]
    assert all(len(digest) == 16 for digest in lean.values())


def test_a_compact_print_is_compared_with_none_of_another_kind():
    """It has no fingerprints; printed again it carries the same."""
    compact = contents(payload(Form.COMPACT))
    assert compact
    assert not compact.keys() & contents(payload(Form.LEAN)).keys()
    assert compact == contents(payload(Form.COMPACT))


def test_a_stub_is_no_secret():
    """A print with a stub in its place does not carry the secret."""
    stub = SecretPart(bytes(20), b"\xff\x00\x65\x00GNU\x01")
    secret = SecretPart(b"\1" * 20, b"\xfe\x09\x03\x0asalt1234\x60")
    assert list(contents(Lean((stub, secret)))) == ["01" * 20]
    later = SecretPart(b"\2" * 32, b"\xfe\x08\x00\x06\x65\x00GNU\x01")
    assert list(contents(Lean((later, secret)))) == ["01" * 20]
    assert contents(Compact((stub, later))) == {}


@pytest.mark.parametrize(
    "other",
    [
        File("pin", b"123456", bytes(16)),
        RsaFile("k.pem", 1, 2, 65537, 3, 5),
        Revocation(bytes(20), b"x"),
    ],
)
def test_of_other_kinds_nothing_is_kept(other):
    """A digest of a short file could be guessed."""
    assert contents(other) == {}
