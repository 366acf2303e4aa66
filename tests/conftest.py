"""No property test is timed: the machine that runs it may be busy."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_addoption(parser):
    """Where commands are started as users start them, and not forked."""
    parser.addoption(
        "--fresh-processes",
        action="store_true",
        help="start each command in the tests anew, instead of forking it with all imports done",
    )
