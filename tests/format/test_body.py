"""What the lines carry: a payload with its digest, or sealed, both ways."""

import pytest
from asking import asks

from paperkey_alt.errors import DigestMismatch, UnprotectedSecret, WrongPassphrase
from paperkey_alt.format.body import Seal, Unwrapped, unwrap, wrap
from paperkey_alt.format.payload import Compact, File, SecretPart, pack

FILE = File("log", b"the lamp of buoy 7 is out")
COMPACT = Compact((SecretPart(b"f" * 20, b"secret"),))
SEAL = Seal("low water at dawn", bytes(range(16)))


def test_without_a_seal_it_is_the_payload_with_its_digest():
    """Nothing is asked for."""
    body = wrap(FILE, None)
    assert body == pack(FILE)
    assert unwrap(body, sealed=False, ask=None) == Unwrapped(FILE, None)


@pytest.mark.parametrize("payload", [FILE, COMPACT])
def test_under_a_seal_it_is_opened_by_the_passphrase_alone(payload):
    """Asked for until one opens it; the one that did is told."""
    body = wrap(payload, SEAL)
    assert b"secret" not in body
    assert b"buoy" not in body
    assert unwrap(body, sealed=True, ask=asks("high water", SEAL.passphrase)) == Unwrapped(
        payload, SEAL.passphrase
    )
    with pytest.raises(WrongPassphrase, match="seal"):
        unwrap(body, sealed=True, ask=asks("high water", "at noon"))


def test_compact_secrets_are_never_in_the_clear():
    """Sealed or not at all."""
    with pytest.raises(UnprotectedSecret):
        wrap(COMPACT, None)


@pytest.mark.parametrize("ask", [None, asks()])
def test_a_sealed_body_is_no_payload(ask):
    """
    Where the head line does not say that it is sealed, or nobody can be asked, it is refused by its
    digest.
    """
    with pytest.raises(DigestMismatch):
        unwrap(wrap(FILE, SEAL), sealed=ask is None, ask=ask)
