"""
No property test is timed: the machine that runs it may be busy. What goes over the same branches
many times is not counted, for counting takes up to five times as long.
"""

from pathlib import Path

import pytest
from hypothesis import settings

TESTS = Path(__file__).parent
# Folders whose long tests go through next to no branch that a short test does not.
NOT_COUNTED = frozenset({"bench", "entry", "format", "fuzz", "keys", "rescue", "sheet", "vectors"})
# Whose long tests take longest each, first of all.
LONGEST = ("vectors", "test_guides.py", "rescue", "bench", "fuzz", "cli", "reading")

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_addoption(parser):
    """Where commands are started as users start them, and not forked."""
    parser.addoption(
        "--fresh-processes",
        action="store_true",
        help="start each command in the tests anew, instead of forking it with all imports done",
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """
    Mark what is not counted, before tests are chosen by their marks; and begin with what takes
    longest, so that at the end no worker waits for the other.
    """
    ranks = {}
    for item in items:
        ranks[item] = len(LONGEST)
        if item.get_closest_marker("long") is None:
            continue
        folder = item.path.relative_to(TESTS).parts[0]
        if folder in NOT_COUNTED:
            item.add_marker(pytest.mark.no_cover)
        if folder in LONGEST:
            ranks[item] = LONGEST.index(folder)
    items.sort(key=ranks.__getitem__)
