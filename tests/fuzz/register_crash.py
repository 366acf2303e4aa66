"""
A crash test of the register: ``python tests/fuzz/register_crash.py [ROUNDS]``.

In each round eight processes write entries into one register, tell of each when it is written, and
are killed (SIGKILL) at random moments. Afterwards every entry that was told of must be there, none
twice, none torn, and the file sound.
"""

import argparse
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from paperkey_alt.records.register import Register

WRITERS = 8
WRITER = """
import datetime as dt, itertools, sys
from pathlib import Path
from paperkey_alt.records.entry import Entry
from paperkey_alt.records.register import Register
book = Register(Path(sys.argv[1]))
for at in itertools.count():
    mark = f"{sys.argv[2]}-{at}"
    day = dt.date(2026, 11, 25)
    book.add(Entry((mark,), "00" * 20, "secret part", 2, day, holders=("x" * 500,)))
    book.change([mark], drilled=day, drill="gives the key back")
    print(mark, flush=True)
"""


@dataclass(frozen=True)
class Outcome:
    """What became of the entries: numbers of them, and what SQLite says of the file."""

    told: int
    lost: int
    changes_lost: int
    there: int
    twice: int
    sound: str


def killed(path, number, rng):
    """One round; return the marks that were told of."""
    command = [sys.executable, "-c", WRITER, str(path)]
    writers = [
        subprocess.Popen([*command, f"{number}-{one}"], stdout=subprocess.PIPE, text=True)
        for one in range(WRITERS)
    ]
    # The first of all tells of an entry before anybody is killed, however busy the machine is.
    told = [writers[0].stdout.readline().rstrip("\n")]
    start = time.monotonic()
    for writer, moment in zip(writers, sorted(rng.uniform(0.0, 0.8) for _ in writers), strict=True):
        time.sleep(max(0.0, start + moment - time.monotonic()))
        writer.kill()
    for writer in writers:
        rows = writer.communicate()[0].split("\n")
        told += rows[:-1]
    return told


def crash(rounds):
    """Return what became of the entries after so many rounds."""
    rng = random.Random(1)
    told = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "register.sqlite3"
        for number in range(rounds):
            told += killed(path, number, rng)
        entries = Register(path).entries()
        with closing(sqlite3.connect(path)) as connection:
            (sound,) = connection.execute("PRAGMA integrity_check").fetchone()
    marks = [entry.marks[0] for entry in entries]
    drilled = {entry.marks[0] for entry in entries if entry.drill}
    lost, changes_lost = (len(set(told) - found) for found in (set(marks), drilled))
    return Outcome(len(told), lost, changes_lost, len(marks), len(marks) - len(set(marks)), sound)


def main():
    """Print what became of the entries."""
    parser = argparse.ArgumentParser()
    parser.add_argument("rounds", type=int, nargs="?", default=200)
    given = parser.parse_args()
    start = time.monotonic()
    outcome = crash(given.rounds)
    print(f"{given.rounds} rounds of {WRITERS} writers, {time.monotonic() - start:.0f} s")
    print(f"  entries told of   {outcome.told:>7}")
    print(f"  of these lost     {outcome.lost:>7}")
    print(f"  change lost       {outcome.changes_lost:>7}")
    print(f"  entries there     {outcome.there:>7}   (the last of a killed writer may be untold)")
    print(f"  there twice       {outcome.twice:>7}")
    print(f"  the file is       {outcome.sound:>7}")


if __name__ == "__main__":
    main()
