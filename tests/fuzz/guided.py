"""
Fuzzes a reader guided by the branches that are reached: ``python tests/fuzz/guided.py TARGET
[FOLDER] [-max_total_time=SECONDS]``.

The targets are those of fuzz.py; here their random choices are bytes that atheris chooses, by the
branches that earlier ones reached. It is no dependency of the tests: ``pip install atheris`` where
this is to run. What stands behind the target goes to libFuzzer.
"""

import contextlib
import random
import sys

import atheris

with atheris.instrument_imports(include=["paperkey_alt"]):
    import fuzz

from paperkey_alt.errors import RagleafError


class Drawn(random.Random):
    """Random numbers that are read from given bytes, and zeros behind them."""

    def __new__(cls, _data):
        """Seed nothing."""
        return super().__new__(cls)

    def __init__(self, data):
        self.left = atheris.FuzzedDataProvider(data)

    def randbytes(self, n):
        """Return the next bytes."""
        return self.left.ConsumeBytes(n).ljust(n, b"\0")

    def getrandbits(self, k):
        """Return a number of so many bits."""
        return int.from_bytes(self.randbytes(-(-k // 8))) >> -k % 8

    def random(self):
        """Return a number from 0 up to 1."""
        return self.getrandbits(53) / 2**53


def entry_point(target):
    """Return what libFuzzer calls: an error of ours is an answer, any other is its finding."""

    def once(data):
        with contextlib.suppress(RagleafError):
            target(Drawn(data))

    return once


if __name__ == "__main__":
    atheris.Setup([sys.argv[0], *sys.argv[2:]], entry_point(fuzz.TARGETS[sys.argv[1]]))
    atheris.Fuzz()
