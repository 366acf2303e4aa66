"""
Every reader is fuzzed for a moment, with the same damages at every run, and longer where the long
tests run; tests/fuzz/fuzz.py does it for hours.
"""

import fuzz
import pytest

# target → executions for a moment, and for longer
EXECUTIONS = {
    "openpgp_key": (3000, 12_000),
    "opened_key": (1500, 5_000),
    "certificate": (1500, 5_000),
    "revocation_file": (3000, 10_000),
    "private_key_file": (800, 5_000),
    "typed_text": (12, 150),
    "payload_bytes": (5000, 20_000),
    "payload_layout": (1000, 8_000),
    "head_line_bytes": (1500, 12_000),
    "sealed_body": (200, 1_000),
    "shares": (4, 40),
    "picture": (8, 10),
    "decoded_picture": (20, 50),
    "decoder_answers": (3000, 25_000),
    "hostile_certificate": (200, 1_500),
    "many_heads": (20, 200),
    "register_bytes": (200, 1_500),
    "rescue_text": (2, 6),
    "rescue_content": (3000, 8_000),
    "rescue_seal": (1, 5),
}
# Targets of which one execution takes long.
SLOW = {"picture", "decoded_picture", "rescue_text"}


def test_every_reader_is_fuzzed():
    """No target is left out here."""
    assert set(EXECUTIONS) == set(fuzz.TARGETS)


def confirmed_or_refused(name, most):
    """Fuzz a target so many times; there is no finding."""
    count, _, findings = fuzz.fuzz(name, most=most)
    assert count == most
    assert findings == []


@pytest.mark.parametrize("name", [name for name in EXECUTIONS if name not in SLOW])
def test_a_reader_fuzzed_for_a_moment(name):
    """What comes back is confirmed by a digest or an error of ours; there is no third."""
    confirmed_or_refused(name, EXECUTIONS[name][0])


@pytest.mark.long
@pytest.mark.parametrize("name", EXECUTIONS)
def test_a_reader_fuzzed(name):
    """The same, with many more damages."""
    confirmed_or_refused(name, EXECUTIONS[name][1])
