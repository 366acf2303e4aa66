"""Every reader under some thousands of random damages, the same at every run; tests/bench/fuzz.py does it for hours."""

import importlib.util
import sys
from pathlib import Path

import pytest

EXECUTIONS = {
    "openpgp_key": 4000,
    "private_key": 3000,
    "typed_text": 30,
    "payload_bytes": 10_000,
    "head_line": 5000,
    "sealed_body": 500,
    "shares": 20,
    "picture": 8,
    "register_bytes": 400,
}
SPEC = importlib.util.spec_from_file_location("fuzz", Path(__file__).parents[1] / "bench/fuzz.py")
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
