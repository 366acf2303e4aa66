"""
The register under fire: ``python tests/fuzz/register_crash.py [ROUNDS]``.

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
    today = dt.date(2026, 11, 25)
    book.add(Entry((mark,), "00" * 20, "secret part", 2, today, holders=("x" * 500,)))
    book.change([mark], drilled=today, drill="gives the key back")
    print(mark, flush=True)
"""


def fired_at(path, number, rng):
    """One round; return the marks that were told of."""
    command = [sys.executable, "-c", WRITER, str(path)]
    writers = [
        subprocess.Popen([*command, f"{number}-{one}"], stdout=subprocess.PIPE, text=True)
        for one in range(WRITERS)
    ]
    start = time.monotonic()
    for writer, moment in zip(writers, sorted(rng.uniform(0.1, 1.2) for _ in writers), strict=True):
        time.sleep(max(0.0, start + moment - time.monotonic()))
        writer.kill()
    told = []
    for writer in writers:
        rows = writer.communicate()[0].split("\n")
        told += rows[:-1]
    return told


def main():
    """Print what became of the entries."""
    parser = argparse.ArgumentParser()
    parser.add_argument("rounds", type=int, nargs="?", default=200)
    given = parser.parse_args()
    rng = random.Random(1)
    told, start = [], time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "register.sqlite3"
        for number in range(given.rounds):
            told += fired_at(path, number, rng)
        entries = Register(path).entries()
        marks = [entry.marks[0] for entry in entries]
        with closing(sqlite3.connect(path)) as connection:
            (sound,) = connection.execute("PRAGMA integrity_check").fetchone()
    drilled = {entry.marks[0] for entry in entries if entry.drill}
    print(f"{given.rounds} rounds of {WRITERS} writers, {time.monotonic() - start:.0f} s")
    print(f"  entries told of   {len(told):>7}")
    print(f"  of these lost     {len(set(told) - set(marks)):>7}")
    print(f"  change lost       {len(set(told) - drilled):>7}")
    print(
        f"  entries there     {len(marks):>7}   (the last of a killed writer may be there untold)"
    )
    print(f"  there twice       {len(marks) - len(set(marks)):>7}")
    print(f"  the file is       {sound:>7}")


if __name__ == "__main__":
    main()
