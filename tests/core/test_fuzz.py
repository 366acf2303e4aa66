"""Every reader for some seconds under random damage; tests/bench/fuzz.py does it for hours."""

import importlib.util
import sys
from pathlib import Path

import pytest

SECONDS = 3
SPEC = importlib.util.spec_from_file_location("fuzz", Path(__file__).parents[1] / "bench/fuzz.py")
fuzz = importlib.util.module_from_spec(SPEC)
sys.modules["fuzz"] = fuzz
SPEC.loader.exec_module(fuzz)


@pytest.mark.parametrize("name", fuzz.TARGETS)
def test_a_reader_under_fire(name):
    """What comes back is confirmed by a digest or an error of ours; there is no third."""
    count, _, findings = fuzz.fired(name, SECONDS)
    assert count > 0
    assert findings == []
