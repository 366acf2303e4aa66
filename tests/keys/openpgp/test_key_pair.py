"""
Secrets and their public keys: published pairs belong together, what is altered or swapped does not.
"""

import pytest
from pairs import PAIRS, fields_of, legacy, public, secrets_of
from samples import NAMES

from paperkey_alt.errors import (
    KeyPairMismatch,
    UnsupportedKey,
)
from paperkey_alt.keys.openpgp import (
    key_pair,
    unlocked,
)
from paperkey_alt.keys.openpgp.material import integer, number

POST_QUANTUM = [name for name in NAMES if "ml" in name]


@pytest.mark.parametrize("name", PAIRS)
def test_published_pairs_belong_together(name):
    """
    The secret belongs to the public key, a neighbouring secret does not.
    """
    part, clear = PAIRS[name]
    key_pair.require(clear, part)
    for flip in (1, 64):
        # The lowest bits of X25519 and X448 secrets are fixed (RFC 7748 §5), so a higher one is
        # flipped too.
        at = len(clear) // 2
        with pytest.raises(KeyPairMismatch):
            key_pair.require(clear[:at] + bytes([clear[at] ^ flip]) + clear[at + 1 :], part)


@pytest.mark.parametrize("at", range(4), ids=["d", "p", "q", "u"])
def test_a_flipped_bit_in_each_number_of_an_rsa_key(at):
    """In d, p, q and u alike."""
    part, fields = fields_of("rsa2048-open")
    for bit in (1, 1 << 40, 1 << 900):
        changed = [
            number(field) ^ (bit if place == at else 0) for place, field in enumerate(fields)
        ]
        with pytest.raises(KeyPairMismatch):
            key_pair.require(b"".join(map(integer, changed)), part)


def test_primes_in_the_other_order_are_refused():
    """U is the inverse of p modulo q (RFC 9580 §5.5.5.1), so p and q are not interchangeable."""
    part, (d, p, q, u) = fields_of("rsa2048-open")
    with pytest.raises(KeyPairMismatch, match="u is not the inverse"):
        key_pair.require(d + q + p + u, part)


def test_an_algorithm_that_cannot_be_checked_is_said():
    """Post-quantum keys are carried as they stand; --prove says that there is no proof of them."""
    for name in POST_QUANTUM:
        assert unlocked.check_pairs(secrets_of(name))
    with pytest.raises(UnsupportedKey):
        key_pair.require(integer(1), public(4, 19, legacy(b"\x2b\x01", b"\4")))
