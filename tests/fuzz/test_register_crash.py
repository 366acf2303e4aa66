"""
The register in a crash test of some rounds; tests/fuzz/register_crash.py does hundreds of them.
"""

import pytest
import register_crash


@pytest.mark.long
def test_no_entry_is_lost_when_writers_are_killed():
    """Whatever was told of is in the register, once and whole, and the file is sound."""
    outcome = register_crash.crash(8)
    assert outcome.told > 0
    assert (outcome.lost, outcome.changes_lost, outcome.twice, outcome.sound) == (0, 0, 0, "ok")
