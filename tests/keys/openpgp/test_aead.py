"""The AEAD modes of RFC 9580 §9.6 against published vectors."""

import pytest
from cryptography.exceptions import InvalidTag
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.keys.openpgp import aead
from paperkey_alt.keys.openpgp.rfc9580 import AEAD_MODES, AEAD_TAG_BYTES, AeadMode

# Mode, key, nonce, associated data, plaintext, ciphertext and tag. All from memory; that they agree
# cannot be chance.
AEAD = {
    "OCB, RFC 7253 appendix A": (
        AeadMode.OCB,
        bytes(range(16)).hex(),
        "bbaa99887766554433221100",
        "",
        "",
        "785407bfffc8ad9edcc5520ac9111ee6",
    ),
    "GCM, SP 800-38D submission, test case 2": (
        AeadMode.GCM,
        "00" * 16,
        "00" * 12,
        "",
        "00" * 16,
        "0388dace60b6a392f328c2b971b2fe78ab6e47d42cec13bdf53a67b21257bddf",
    ),
    "EAX paper, vector 1": (
        AeadMode.EAX,
        "233952dee4d5ed5f9b9c6d6ff80ff478",
        "62ec67f9c3a4a407fcb2a8c49031a8b3",
        "6bfb914fd07eae6b",
        "",
        "e037830e8389f27b025a2d6527e79d01",
    ),
    "EAX paper, vector 2": (
        AeadMode.EAX,
        "91945d3f4dcbee0bf45ef52255f095a4",
        "becaf043b0a23d843194ba972c66debd",
        "fa3bfd4806eb53fa",
        "f7fb",
        "19dd5c4c9331049d0bdab0277408f67967e5",
    ),
}


@pytest.mark.parametrize("name", AEAD)
def test_the_aead_modes_are_those_published(name):
    """Encrypts to the published bytes, decrypts back, and refuses a flipped bit."""
    number, *values = AEAD[name]
    key, nonce, associated, plain, sealed = map(bytes.fromhex, values)
    mode = aead.mode(number, key)
    assert mode.encrypt(nonce, plain, associated) == sealed
    assert mode.decrypt(nonce, sealed, associated) == plain
    with pytest.raises(InvalidTag):
        mode.decrypt(nonce, sealed[:-1] + bytes([sealed[-1] ^ 1]), associated)


@given(
    st.sampled_from(sorted(AEAD_MODES)),
    st.sampled_from([16, 24, 32]),
    st.binary(max_size=100),
    st.binary(max_size=40),
)
def test_both_ways(number, key_bytes, data, associated):
    """
    With keys of every length, what is encrypted is decrypted, and is longer by a tag; with other
    associated data or another nonce it is refused.
    """
    mode = aead.mode(number, bytes(range(key_bytes)))
    nonce = bytes(range(AeadMode(number).nonce_bytes))
    sealed = mode.encrypt(nonce, data, associated)
    assert len(sealed) == len(data) + AEAD_TAG_BYTES
    assert mode.decrypt(nonce, sealed, associated) == data
    for other_nonce, other in ((nonce, associated + b"x"), (b"x" + nonce[1:], associated)):
        with pytest.raises(InvalidTag):
            mode.decrypt(other_nonce, sealed, other)


@pytest.mark.parametrize("mode", AeadMode)
@pytest.mark.parametrize("length", range(AEAD_TAG_BYTES))
def test_less_than_a_tag_is_refused(mode, length):
    """Bytes that cannot have been encrypted."""
    with pytest.raises(InvalidTag):
        aead.mode(mode, bytes(16)).decrypt(bytes(mode.nonce_bytes), bytes(length), b"")
