"""What the lines carry: a payload with its digest, or sealed, both ways."""

import pytest
from asking import asks

from paperkey_alt.errors import (
    DigestMismatch,
    UnknownFormat,
    UnprotectedSecret,
    WrongPassphrase,
)
from paperkey_alt.format.body import (
    PlainBody,
    Seal,
    SealedBody,
    Unwrapped,
    flagged,
    read_plain,
    unwrap,
    wrap,
)
from paperkey_alt.format.payload import Certificate, Compact, File, SecretPart, encode, pack
from paperkey_alt.format.seal import Cost, seal

FILE = File("log", b"the lamp of buoy 7 is out", bytes(16))
COMPACT = Compact((SecretPart(b"f" * 20, b"secret"),))
SEAL = Seal("low water at dawn", bytes(range(16)))


def test_without_a_seal_it_is_the_payload_with_its_digest():
    """Nothing is asked for."""
    body = wrap(FILE, None)
    assert body == PlainBody(pack(FILE))
    assert unwrap(body, asks()) == Unwrapped(FILE, None)
    assert read_plain(body) == FILE


@pytest.mark.long
@pytest.mark.parametrize("payload", [FILE, COMPACT])
def test_under_a_seal_it_is_opened_by_the_passphrase_alone(payload):
    """Asked for until one opens it; the one that did is told."""
    body = wrap(payload, SEAL)
    assert isinstance(body, SealedBody)
    assert b"secret" not in body.data
    assert b"buoy" not in body.data
    assert unwrap(body, asks("high water", SEAL.passphrase)) == Unwrapped(payload, SEAL.passphrase)
    with pytest.raises(WrongPassphrase, match="seal"):
        unwrap(body, asks("high water", "at noon"))


def test_compact_secrets_are_never_in_the_clear():
    """Sealed or not at all."""
    with pytest.raises(UnprotectedSecret) as told:
        wrap(COMPACT, None)
    assert told.value.what == (
        "a compact payload holds the secrets in the clear; it is printed under a seal or not at all"
    )


def test_a_sealed_body_is_no_payload():
    """
    Where the head line does not say that it is sealed, or nobody can be asked, it is refused by its
    digest.
    """
    body = wrap(FILE, SEAL)
    with pytest.raises(DigestMismatch):
        unwrap(PlainBody(body.data), asks(SEAL.passphrase))
    with pytest.raises(DigestMismatch):
        read_plain(body)


def test_a_plain_body_is_opened_by_no_passphrase():
    """Where the head line says that it is sealed and it is not."""
    with pytest.raises(WrongPassphrase, match="seal"):
        unwrap(SealedBody(bytes([1, 1, 10]) + wrap(FILE, None).data), asks("low water"))


@pytest.mark.parametrize("sealed", [False, True])
def test_the_flag_of_the_head_line_says_which_it_is(sealed):
    """Two types, so that a sealed body cannot be handed on as a plain one."""
    body = flagged(b"the bell on Gannet Rock", sealed=sealed)
    assert isinstance(body, SealedBody if sealed else PlainBody)
    assert body.sealed == sealed
    assert PlainBody(body.data) != SealedBody(body.data)


def cheaply_sealed(payload):
    """A body under a seal that costs little to open."""
    return SealedBody(seal(encode(payload), SEAL.passphrase, SEAL.salt, Cost(1, 1, 10)))


@pytest.mark.parametrize("payload", [FILE, COMPACT])
def test_a_seal_is_tried_until_a_passphrase_opens_it(payload):
    """Whatever it cost; the one that did is told, and asking ends it."""
    body = cheaply_sealed(payload)
    opened = Unwrapped(payload, SEAL.passphrase)
    assert unwrap(body, asks("high water", "at noon", SEAL.passphrase, "dusk")) == opened
    with pytest.raises(WrongPassphrase, match=r"^seal$"):
        unwrap(body, asks("high water", "at noon"))


def test_a_sealed_certificate_is_refused():
    """It is no secret, so nobody seals one."""
    with pytest.raises(UnknownFormat) as told:
        unwrap(cheaply_sealed(Certificate(b"packets")), asks(SEAL.passphrase))
    assert told.value.what == "a public certificate is sealed, which Ragleaf never does"
