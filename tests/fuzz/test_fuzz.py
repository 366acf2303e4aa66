"""
Every reader under random damages for a minute or two, the same ones at every run;
tests/fuzz/fuzz.py does it for hours.
"""

import importlib.util
import sys
from pathlib import Path

import pytest

EXECUTIONS = {
    "openpgp_key": 50_000,
    "opened_key": 20_000,
    "certificate": 20_000,
    "revocation_file": 40_000,
    "private_key_file": 20_000,
    "typed_text": 300,
    "payload_bytes": 200_000,
    "payload_layout": 30_000,
    "head_line_bytes": 100_000,
    "sealed_body": 10_000,
    "shares": 200,
    "picture": 100,
    "register_bytes": 5000,
    "rescue_text": 100,
    "rescue_content": 30_000,
    "rescue_seal": 10,
}
SPEC = importlib.util.spec_from_file_location("fuzz", Path(__file__).parent / "fuzz.py")
fuzz = importlib.util.module_from_spec(SPEC)
sys.modules["fuzz"] = fuzz
SPEC.loader.exec_module(fuzz)


def test_every_reader_is_under_fire():
    """No target is left out here."""
    assert set(EXECUTIONS) == set(fuzz.TARGETS)


@pytest.mark.parametrize("name", EXECUTIONS)
def test_a_reader_under_fire(name):
    """What comes back is confirmed by a digest or an error of ours; there is no third."""
    count, _, findings = fuzz.fired(name, most=EXECUTIONS[name])
    assert count == EXECUTIONS[name]
    assert findings == []
