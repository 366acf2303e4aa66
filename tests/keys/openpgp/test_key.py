"""What a key says of itself: names, times, expiry; and what cannot be a key."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from make_corpus import BEFORE, USER_ID
from samples import (
    only,
    rearranged,
    sample,
    signed,
    user_id,
)

from paperkey_alt.keys.openpgp.key import Key

DEMO = Path(__file__).parents[3] / "demo"


KEY = only(sample("nist-p256").secret)
MINE, OTHER = KEY.primary.key_id, b"stranger"


def test_properties():
    """What a caption and a message say of a key."""
    key = only(sample("curve25519-legacy").secret)
    assert key.created == datetime.fromisoformat(BEFORE)
    assert (key.version, key.user_ids, key.expires, key.protected) == (4, (USER_ID,), None, True)
    assert key.title == f"{key.fingerprint.hex().upper()} {USER_ID}"
    assert key.secret_packets == key.key_packets
    assert [part.is_primary for part in key.key_packets] == [True, False, False]
    assert only(sample("rsa2048-open").secret).protected is False


@pytest.mark.parametrize(
    ("body", "shown"),
    [
        (b"Saltmarrow \xff", "Saltmarrow \ufffd"),
        ("Älvsborg".encode(), "Älvsborg"),
        (b"one\x1b[2Jtwo\n", "one\ufffd[2Jtwo\ufffd"),
        (b"", ""),
    ],
)
def test_user_ids_are_safe_to_print(body, shown):
    """
    Bytes that are not UTF-8, and characters that would move a terminal's cursor, are shown as
    U+FFFD.
    """
    assert rearranged("nist-p256", user_id(body)).user_ids == (shown, USER_ID)


# Key Expiration Time of the self signatures (RFC 9580 §5.2.3.13, §5.2.3.10) → seconds after
# creation, None for never. Times lie before the corpus' own signatures where those shall win, and
# behind them otherwise.
EXPIRATIONS = {
    "nothing said": ([], None),
    "a direct-key signature": ([(0x1F, 1, 500, MINE)], 500),
    "a later direct-key signature": ([(0x1F, 9, 700, MINE), (0x1F, 1, 500, MINE)], 700),
    "lifted by a later direct-key signature": ([(0x1F, 1, 500, MINE), (0x1F, 9, 0, MINE)], None),
    "a later certification": ([(0x13, 0xFFFFFFFF, 900, MINE)], 900),
    "an earlier certification": ([(0x13, 1, 900, MINE)], None),
    "a direct-key signature before a certification": (
        [(0x1F, 1, 500, MINE), (0x10, 0xFFFFFFFF, 900, MINE)],
        500,
    ),
    "somebody else's": ([(0x1F, 1, 500, OTHER), (0x13, 0xFFFFFFFF, 900, OTHER)], None),
    "a subkey's": ([(0x18, 0xFFFFFFFF, 900, MINE)], None),
}


@pytest.mark.parametrize("name", EXPIRATIONS)
def test_expiration(name):
    """
    The latest word of the key's own signatures decides, a direct-key signature's before a
    certification's.
    """
    made, seconds = EXPIRATIONS[name]
    key = rearranged("nist-p256", *(signed(*one) for one in made))
    assert key.expires == (None if seconds is None else key.created + timedelta(seconds=seconds))


@pytest.mark.parametrize("chosen", [(), (1,), (0, 0), (1, 0)])
def test_no_key_holds_an_invalid_value(chosen):
    """A key without a primary key packet, with two, or with one behind a subkey cannot exist."""
    parts = (KEY.packets[0], KEY.packets[3])
    with pytest.raises(ValueError, match="one primary key packet"):
        Key(tuple(parts[at] for at in chosen))


def test_times_are_utc():
    """Creation and expiry carry their time zone."""
    key = only((DEMO / "buoy-keepers.asc").read_bytes())
    assert key.created.tzinfo is UTC
    assert key.expires.tzinfo is UTC
