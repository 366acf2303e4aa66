"""The seal, both ways; a wrong passphrase and every damage are refused."""

import pytest
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from hypothesis import given, settings
from hypothesis import strategies as st

from paperkey_alt.errors import UnknownFormat, WrongPassphrase
from paperkey_alt.format.seal import OVERHEAD, RECOMMENDED, Cost, seal, unseal

CHEAP = Cost(passes=1, lanes=1, memory_log=10)
SALT = bytes(range(16))


def test_argon2id_is_that_of_rfc_9106():
    """RFC 9106 §5.3: the test vector for Argon2id, through the library the seal uses."""
    tag = Argon2id(
        salt=b"\2" * 16,
        length=32,
        iterations=3,
        lanes=4,
        memory_cost=32,
        ad=b"\4" * 12,
        secret=b"\3" * 8,
    ).derive(b"\1" * 32)
    assert tag.hex() == "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"


def test_chacha20_poly1305_is_that_of_rfc_8439():
    """RFC 8439 §2.8.2: the test vector, through the library the seal uses."""
    key, nonce = bytes(range(0x80, 0xA0)), bytes.fromhex("070000004041424344454647")
    text = (
        b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the "
        b"future, sunscreen would be it."
    )
    sealed = ChaCha20Poly1305(key).encrypt(nonce, text, bytes.fromhex("50515253c0c1c2c3c4c5c6c7"))
    assert sealed[:8].hex() == "d31a8d34648e60db"
    assert sealed[-16:].hex() == "1ae10b594f09e26a7e902ecbd0600691"


def test_the_sealed_body_as_docs_format_lays_it_out():
    """Parameters, salt, ciphertext and tag; the key and the nonce as described."""
    body = seal(b"the bell", "low water at dawn", SALT)
    assert body[:19] == bytes([3, 4, 16]) + SALT
    key = Argon2id(salt=SALT, length=32, iterations=3, lanes=4, memory_cost=65536).derive(
        b"low water at dawn"
    )
    assert ChaCha20Poly1305(key).decrypt(bytes(12), body[19:], None) == b"the bell"
    assert len(body) == len(b"the bell") + OVERHEAD
    assert Cost(3, 4, 16) == RECOMMENDED


@given(
    st.binary(min_size=1, max_size=100), st.text(min_size=1).filter(lambda text: text.isprintable())
)
@settings(max_examples=20)
def test_both_ways(content, passphrase):
    """What was sealed comes back under its passphrase, and under no other."""
    body = seal(content, passphrase, SALT, CHEAP)
    assert unseal(body, passphrase) == content
    with pytest.raises(WrongPassphrase):
        unseal(body, passphrase + "x")


def test_one_passphrase_in_two_spellings_of_unicode():
    """An accent as part of the letter and behind it is one passphrase."""
    assert unseal(seal(b"x", "mar\u00e9e", SALT, CHEAP), "mare\u0301e") == b"x"


def test_a_flipped_bit_anywhere_is_refused():
    """
    In the salt, the ciphertext or the tag: wrong passphrase or damage; in the parameters: that or
    out of bounds.
    """
    body = seal(b"the bell on Gannet Rock", "dawn", SALT, CHEAP)
    for at in range(3, len(body)):
        with pytest.raises(WrongPassphrase):
            unseal(body[:at] + bytes([body[at] ^ 1]) + body[at + 1 :], "dawn")
    for at in range(3):
        with pytest.raises((WrongPassphrase, UnknownFormat)):
            unseal(body[:at] + bytes([body[at] ^ 2]) + body[at + 1 :], "dawn")


HOSTILE = {
    "no passes": (0, 1, 10),
    "too many passes": (17, 1, 10),
    "no lanes": (1, 0, 10),
    "too many lanes": (1, 17, 10),
    "too little memory": (1, 1, 9),
    "4 GiB of memory": (1, 1, 22),
    "an hour": (16, 1, 20),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_no_sheet_can_ask_for_more_than_the_bounds(name):
    """Refused before anything is computed."""
    with pytest.raises(UnknownFormat):
        unseal(bytes(HOSTILE[name]) + bytes(40), "dawn")


@pytest.mark.parametrize("length", [0, 1, 3, 19, OVERHEAD])
def test_a_body_that_is_too_short_is_refused(length):
    """No seal is that short."""
    with pytest.raises(UnknownFormat):
        unseal(bytes([1, 1, 10, *bytes(OVERHEAD)])[:length], "dawn")


def test_a_salt_of_another_length_is_refused():
    """A salt is 16 bytes."""
    with pytest.raises(ValueError, match="salt"):
        seal(b"x", "dawn", bytes(15))


@pytest.mark.parametrize("cost", [(16, 16, 10), (1, 1, 20), (4, 16, 20), (16, 1, 18), (1, 1, 10)])
def test_costs_at_their_bounds(cost):
    """The most of each, and 4 GiB in all passes together."""
    assert Cost(*cost).passes == cost[0]


@pytest.mark.parametrize("cost", [*HOSTILE.values(), (5, 1, 20), (16, 1, 19), (1, 1, 21)])
def test_costs_past_their_bounds(cost):
    """One more of anything is refused, sealing and opening, in the same words."""
    with pytest.raises(ValueError, match=r"^more computing than this program allows$"):
        Cost(*cost)
    with pytest.raises(UnknownFormat) as told:
        unseal(bytes(cost) + bytes(40), "dawn")
    assert told.value.what == "the seal asks for more computing than this program allows"


def test_why_a_seal_stays_closed_is_told():
    """Another passphrase, or a body that is too short; a salt of another length makes none."""
    body = seal(b"x", "dawn", SALT, CHEAP)
    assert unseal(body, "dawn") == b"x"
    for damaged, what in (
        (body, "the passphrase does not open the seal"),
        (body[:OVERHEAD], "the sealed body is too short to be one"),
    ):
        with pytest.raises((WrongPassphrase, UnknownFormat)) as told:
            unseal(damaged, "dusk")
        assert told.value.what == what
    for length in (15, 17):
        with pytest.raises(ValueError, match=r"^a salt is 16 bytes$"):
            seal(b"x", "dawn", bytes(length), CHEAP)
