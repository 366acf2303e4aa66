"""No property test is timed: the machine that runs it may be busy."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
