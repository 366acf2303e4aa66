"""
What shares cost: ``python tests/bench/shares.py [TRIALS]``.

Pages and characters for each holder; the time to split and join 12 kB; and random trials with lost
and damaged lines and one forged share, of which none may give a wrong secret.
"""

import os
import random
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from paperkey_alt.errors import PaperError
from paperkey_alt.format import backup, body, shares
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.lines import ALPHABET, CHARACTERS
from paperkey_alt.format.recover import recover
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys.openpgp import choice, compact, extraction, key_file, unlocked
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import layout, text_file

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests/support"))

import liars  # noqa: E402

RSA, ED25519 = ROOT / "demo/buoy-keepers.asc", ROOT / "tests/keys/corpus/curve25519.asc"
PASSPHRASE = "low water at dawn"
TERMS = (Terms(2, 3), Terms(3, 5), Terms(5, 8))
CHUNK = 250


def bodies():
    """The bodies to be shared, by name."""
    for name, path in (("RSA-4096 pair", RSA), ("Ed25519 pair", ED25519)):
        key = choice.choose(key_file.read(path.read_bytes()), None)
        yield f"{name}, lean", body.wrap(extraction.extract(key).payload, None)
        reduced, _ = compact.compact(unlocked.unlock(key, lambda _: PASSPHRASE), PASSPHRASE)
        yield f"{name}, compact", body.wrap(reduced, body.Seal(PASSPHRASE, os.urandom(16)))


def sizes():
    """The table of what each holder keeps."""
    columns = f"{'data lines':>11}{'spare':>7}{'characters':>12}{'sheets':>8}"
    print(f"{'each holder of':<26}{'terms':<10}{columns}  and a letter")
    for name, carried in bodies():
        for terms in TERMS:
            spare = spare_count(-(-backup.shared_length(len(carried.data)) // 15))
            head = backup.split(carried, terms, spare=spare, random_bytes=os.urandom)[0].head
            sheets = len(layout.plan(head.total, layout.PAPERS["a4"]).sheets)
            few = f"{terms.threshold} of {terms.count}"
            print(
                f"{name:<26}{few:<10}{head.data_lines:>11}{head.spare_lines:>7}"
                f"{head.data_lines * CHARACTERS:>12,}{sheets:>8}"
            )


def times():
    """The table of split and join."""
    secret = os.urandom(12_000)
    for terms in (*TERMS, Terms(16, 16)):
        start = time.perf_counter()
        every = shares.split(secret, terms.threshold, terms.count, os.urandom)
        middle = time.perf_counter()
        given = {number: [share] for number, share in enumerate(every[: terms.threshold], 1)}
        joined = shares.join(given, terms.threshold, secret.__eq__)
        end = time.perf_counter()
        assert joined.secret == secret
        split, join = 1000 * (middle - start), 1000 * (end - middle)
        print(
            f"12 kB, {terms.threshold:>2} of {terms.count:<2}  split {split:6.1f} ms, join "
            f"{join:6.1f} ms"
        )


def damaged(rows, choose):
    """The rows of a text file, some lost and some with wrong characters."""
    for row in rows:
        fate = choose.random()
        if fate < 0.08:
            continue
        if fate < 0.25:
            at = choose.sample(range(6, len(row)), choose.randrange(1, 5))
            row = "".join(  # noqa: PLW2901
                choose.choice(ALPHABET) if place in at and row[place] != " " else row[place]
                for place in range(len(row))
            )
        yield row


def chunk(seed):
    """Some trials; the outcomes counted."""
    choose = random.Random(seed)
    outcomes = Counter()
    for _ in range(CHUNK):
        threshold = choose.randrange(2, 5)
        terms = Terms(threshold, choose.randrange(threshold, 7))
        secret = choose.randbytes(choose.randrange(40, 200))
        line_sets = list(
            backup.split(body.PlainBody(secret), terms, spare=4, random_bytes=choose.randbytes)
        )
        at = choose.randrange(terms.count)
        line_sets[at] = liars.drawn(line_sets[at], choose)
        brought = choose.sample(line_sets, choose.randrange(1, terms.count + 1))
        rows = [
            row
            for line_set in brought
            for row in damaged(text_file.write(line_set, ()).splitlines(), choose)
        ]
        # The head line stands on every sheet and in every QR block, so some copy of it is legible.
        rows += [f"0 {line_set.head_line}" for line_set in brought]
        try:
            joined = backup.join(recover(typed.read("\n".join(rows), "typed")))
        except PaperError as error:
            outcomes[f"refused: {type(error).__name__}"] += 1
            continue
        outcomes["exact" if joined.body.data == secret else "WRONG SECRET"] += 1
    return outcomes


def main(trials=10_000):
    """Print the tables."""
    sizes()
    times()
    total = Counter()
    with ProcessPoolExecutor(2) as pool:
        for outcomes in pool.map(chunk, range(1, 1 + trials // CHUNK)):
            total += outcomes
    for what, count in sorted(total.items()):
        print(f"{what:<32}{count:>8,}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
