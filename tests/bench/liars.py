"""
A liar at the table: ``python tests/bench/liars.py [GAMES] [COMMANDS] [RESTORER]``.

So many games of tests/support/liars.py through the core, kind of game × outcome; so many of them
through check, restore and drill, and through rescue.py, that of the package or RESTORER; and the
seconds that the dearest joins take.
"""

import hashlib
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests/support"))

import liars  # noqa: E402

from paperkey_alt.errors import SharesDisagree  # noqa: E402
from paperkey_alt.format import payload, shares  # noqa: E402
from paperkey_alt.format.lines import group  # noqa: E402

RESCUE = ROOT / "paperkey_alt/rescue/rescue.py"
ENVIRONMENT = os.environ | {"PYTHONPATH": str(ROOT)}
COLUMNS = (liars.ASKED, liars.REFUSED, liars.HONEST, liars.OTHER, liars.CALLED, liars.STOPPED)


def games(most):
    """The table of games through the core."""
    each = -(-most // len(liars.KINDS))
    chunk = 50
    jobs = [
        (kind, range(start, min(start + chunk, each)))
        for kind in liars.KINDS
        for start in range(0, each, chunk)
    ]
    total = {kind: {liars.NOBODY: Counter(), liars.TRUSTED: Counter()} for kind in liars.KINDS}
    longest = dict.fromkeys(liars.KINDS, 0.0)
    with ProcessPoolExecutor(2) as pool:
        for (kind, _), (found, seconds) in zip(
            jobs, pool.map(liars.counted, *zip(*jobs, strict=True)), strict=True
        ):
            for named, outcomes in found.items():
                total[kind][named] += outcomes
            longest[kind] = max(longest[kind], seconds)
    table(f"{each * len(liars.KINDS):,} games", total, longest)


def table(title, total, longest):
    """Print a table of outcomes."""
    for named in (liars.NOBODY, liars.TRUSTED):
        print(f"\n{title}, {named}")
        print("| what the liar brings | " + " | ".join([*COLUMNS, "longest, s"]) + " |")
        print("| --- |" + " ---: |" * (len(COLUMNS) + 1))
        for kind, outcomes in total.items():
            counts = [f"{outcomes[named][what]:,}" for what in COLUMNS]
            print(f"| {kind} | " + " | ".join([*counts, f"{longest[kind]:.1f}"]) + " |")


def run(*command):
    """A command: its status and what it said."""
    done = subprocess.run(
        list(map(str, command)), capture_output=True, text=True, check=False, env=ENVIRONMENT
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done


def commands(most, restorer):
    """
    Some of the games, those that are not sealed, through the commands: each may end with 0 only
    with the honest file, and must where an honest set is named and enough are there.
    """
    total = Counter()
    kinds = list(liars.KINDS)
    seed = 0
    while sum(total.values()) < most:
        kind = kinds[seed % len(kinds)]
        choose = random.Random(f"{kind} {seed}")
        seed += 1
        game = liars.KINDS[kind](choose)
        if game.sealed:
            continue
        with tempfile.TemporaryDirectory() as name:
            total[play_commands(game, choose, Path(name), restorer)] += 1
    print(f"\n{most} games through check, restore, drill and {restorer}: {dict(total)}")


def play_commands(game, choose, folder, restorer):
    """Play a game through the commands."""
    secret = payload.unpack(game.secret).data
    (folder / "live").write_bytes(secret)
    sources = []
    for name, rows in liars.files_of(game, choose):
        sources.append(folder / f"{name}.txt")
        sources[-1].write_text("".join(f"{number} {group(text)}\n" for number, text in rows))
    ragleaf = (sys.executable, "-m", "paperkey_alt")
    trusted = choose.choice(game.ours).head.mark
    outcome = "honest secret"
    for marks in ((), ("--mark", trusted)):
        out, rescued = folder / f"out{len(marks)}", folder / f"rescued{len(marks)}"
        restore = run(*ragleaf, "restore", *sources, "-o", out, *marks)
        drill = run(*ragleaf, "drill", *sources, "--key", folder / "live", "--no-register", *marks)
        check = run(*ragleaf, "check", *sources, *marks)
        other = run(sys.executable, restorer, *sources, "-o", rescued, *marks)
        for done, written in ((restore, out), (other, rescued)):
            assert (done.returncode == 0) is written.exists(), (game.kind, done.stderr)
            if written.exists():
                assert written.read_bytes() == secret, (game.kind, "ANOTHER SECRET")
        assert (drill.returncode == 0) is (restore.returncode == 0), (game.kind, drill.stderr)
        if marks and len(game.ours) >= game.threshold:
            assert restore.returncode == 0, (game.kind, restore.stderr)
            assert other.returncode == 0, (game.kind, other.stderr)
        elif restore.returncode:
            outcome = "honest secret once named" if not marks else "too few sheets"
        assert "forged" not in restore.stderr + check.stderr + other.stderr
    return outcome


def times():
    """The seconds of the dearest joins."""
    choose = random.Random(1)
    secret = choose.randbytes(600)
    digest = hashlib.sha256(secret).digest()

    def confirms(found):
        return hashlib.sha256(found).digest() == digest

    print("\n| join of 600 bytes | s |\n| --- | ---: |")
    for name, threshold, forged, copies in (
        ("16 of 16, 8 numbers forged beside the true ones", 16, 8, 1),
        ("8 of 16, 8 numbers forged, no true ones of these", 8, 8, 0),
        ("16 of 16, all numbers but one forged beside the true ones", 16, 15, 1),
        ("16 of 16, 15 numbers forged three times: to the limit", 16, 15, 3),
    ):
        true = dict(enumerate(shares.split(secret, threshold, 16, choose.randbytes), 1))
        given = {x: [share] for x, share in true.items()}
        for x in range(1, 1 + forged):
            drawn = [choose.randbytes(600) for _ in range(max(1, copies))]
            given[x] = [*drawn, *([true[x]] if copies else [])]
        start = time.perf_counter()
        try:
            ended = "" if shares.join(given, threshold, confirms).secret == secret else "WRONG"
        except SharesDisagree as error:
            ended = f" ({error.what})"
        print(f"| {name}{ended} | {time.perf_counter() - start:.2f} |")


def main(most=10_000, by_command=30, restorer=RESCUE):
    """Print the tables."""
    times()
    commands(int(by_command), restorer)
    games(int(most))


if __name__ == "__main__":
    main(*sys.argv[1:])
