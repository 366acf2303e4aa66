"""
What the kinds of print cost in paper and typing, and what a seal costs in time: ``python
tests/bench/sizes.py``.

Characters are those of the data lines, 29 each with their checks; the head line (29 more, once) and
the spare lines, which need no typing, are left out. The bound is the entropy of what cannot be
computed from the public key, in base32 characters: an RSA prime of k bits whose two highest bits
are set, by the prime number theorem about 2^(k−2) / (k ln 2) of them; 251 bits for Curve25519
secrets with their fixed bits (RFC 7748 §5; the Ed25519 seed has 256, RFC 8032 §5.1.5), 256 for
P-256.
"""

import math
import os
import resource
import time
from pathlib import Path

from paperkey_alt.format import body
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import CHARACTERS, DATA_BYTES
from paperkey_alt.format.seal import seal
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys.openpgp import choice, compact, extraction, key_file, unlocked
from paperkey_alt.sheet import layout

ROOT = Path(__file__).parents[2]
CORPUS = ROOT / "tests/keys/corpus"
PASSPHRASE = "low water at dawn"


def prime(bits):
    """The entropy of a random prime of so many bits, the two highest set."""
    return bits - 2 - math.log2(bits * math.log(2))


KEYS = {
    "Ed25519 + X25519": (CORPUS / "curve25519.asc", 256 + 251),
    "P-256 pair": (CORPUS / "nist-p256.asc", 2 * 256),
    "RSA-2048 pair": (CORPUS / "pgpy-rsa2048.asc", 2 * prime(1024)),
    "RSA-4096 pair": (ROOT / "demo/buoy-keepers.asc", 2 * prime(2048)),
}


def bodies(key):
    """The body of each kind of print."""
    yield "lean", body.wrap(extraction.extract(key).payload, None).data
    yield "whole", body.wrap(extraction.extract(key, whole=True).payload, None).data
    reduced, _ = compact.compact(unlocked.unlock(key, lambda _: PASSPHRASE), PASSPHRASE)
    yield "compact", body.wrap(reduced, body.Seal(PASSPHRASE, os.urandom(16))).data


def main():
    """Print both tables; the seal first, while the process is small."""
    os.sched_setaffinity(0, {0})
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    times = []
    for _ in range(5):
        start = time.perf_counter()
        seal(b"x" * 600, PASSPHRASE, os.urandom(16))
        times.append(time.perf_counter() - start)
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    print(f"sealing on one core: {sorted(times)[2]:.2f} s, {peak:.0f} MiB more than before")
    columns = f"{'lines':>6}{'spare':>6}{'characters':>12}{'pages':>6}{'QR':>4}{'type':>6}"
    print(f"{'key':<18}{'armor':>7}{'bound':>7}   {'print':<9}{columns}")
    for name, (path, entropy) in KEYS.items():
        key = choice.choose(key_file.read(path.read_bytes()), None)
        armored = len(key_file.write(key, armored=True))
        for kind, data in bodies(key):
            head = lay_out(data, spare_count(-(-len(data) // DATA_BYTES))).head
            plan = layout.plan(head.total, layout.PAPERS["a4"])
            blocks = sum(len(sheet.blocks) for sheet in plan.sheets)
            known = f"{name:<18}{armored:>7,}{math.ceil(entropy / 5):>7,}   {kind:<9}{head.data_lines:>6}{head.spare_lines:>6}"
            print(
                f"{known}{head.data_lines * CHARACTERS:>12,}{len(plan.sheets):>6}{blocks:>4}{plan.preset.type_size:>6}"
            )


if __name__ == "__main__":
    main()
