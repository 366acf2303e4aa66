"""
Sizes, times and memory over key kinds and payload sizes: ``python tests/bench/growth.py [SVG]``;
prints a table and draws a plot.

Each command runs in a process of its own, three times, and the median is told; the plot has
logarithmic axes, so that a straight line of slope one is growth with the size. Payloads are 32
bytes to the line limit, carried as files; kinds are of the demo key.
"""

import math
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
KEY, CERTIFICATE = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
CORPUS = ROOT / "tests/keys/corpus"
PASSPHRASE = "low water at dawn"
REPEATS = 3
SIZES = (
    32,
    100,
    316,
    1000,
    3162,
    12_232,
)  # the last is the limit with the usual number of spare lines
COLUMNS = ("backup", "check text", "restore text", "restore PDF")
MEASURED = """
import atexit, runpy, sys
status = lambda: next(row for row in open("/proc/self/status") if row.startswith("VmHWM"))
atexit.register(lambda: print(status().split()[1], file=sys.stderr))
sys.argv = ["ragleaf", *sys.argv[1:]]
runpy.run_module("paperkey_alt", run_name="__main__", alter_sys=True)
"""


def cost(folder, *arguments):
    """Seconds (median) and peak MiB of a command."""
    seconds, peak = [], 0
    for _ in range(REPEATS):
        start = time.perf_counter()
        command = [sys.executable, "-c", MEASURED, *map(str, arguments)]
        environment = os.environ | {"XDG_DATA_HOME": str(folder / "data")}
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, check=False, env=environment
        )
        seconds.append(time.perf_counter() - start)
        assert done.returncode == 0, done.stderr
        peak = max(peak, int(done.stderr.split()[-1]) / 1024)
    return statistics.median(seconds), peak


def measured(folder, name, source, *options, public=()):
    """A row of the table: what it is, lines, characters, pages; seconds and MiB of each command."""
    asks = ("--passphrase-from", "pw") if "--compact" in options else ()
    costs = [
        cost(folder, "backup", source, *options, *asks, "-o", "s.pdf", "--text", "s.txt", "--force")
    ]
    shown = subprocess.run(
        ["ragleaf", "check", "s.txt"], cwd=folder, capture_output=True, text=True, check=False
    ).stdout
    data = int(shown.split(" data lines")[0].split()[-1])
    pages = (folder / "s.pdf").read_bytes().count(b"/Type /Page\n") or (
        folder / "s.pdf"
    ).read_bytes().count(b"/Type /Page ")
    costs.append(cost(folder, "check", "s.txt"))
    costs += [
        cost(folder, "restore", one, *public, *asks, "-o", "back", "--force")
        for one in ("s.txt", "s.pdf")
    ]
    return name, data, 29 * (data + 1), pages, costs


def rows(folder):
    """All rows: first sizes, then kinds."""
    for size in SIZES:
        (folder / "file").write_bytes(random.Random(size).randbytes(size))
        yield (
            size,
            measured(folder, f"file of {size:,} bytes", "file", "--plain", "--allow-unprotected"),
        )
    public = ("--public", CERTIFICATE)
    for name, source, options, cert in (
        ("RSA-4096 pair, lean", KEY, (), public),
        ("RSA-4096 pair, compact", KEY, ("--compact",), public),
        ("RSA-4096 pair, whole", KEY, ("--whole",), ()),
        ("Ed25519 + X25519, whole", CORPUS / "curve25519.asc", ("--whole",), ()),
        ("P-256 pair, whole", CORPUS / "nist-p256.asc", ("--whole",), ()),
    ):
        yield None, measured(folder, name, source, *options, public=cert)


def plot(points):
    """The plot as SVG: seconds over bytes, a line for each command."""
    wide, high, left, bottom = 640, 400, 60, 50
    least, most = (
        math.log10(0.1),
        math.log10(max(seconds for _, costs in points for seconds, _ in costs) * 1.5),
    )

    def x(size):
        return left + (math.log10(size) - 1.4) / (4.2 - 1.4) * (wide - left - 130)

    def y(seconds):
        return high - bottom - (math.log10(seconds) - least) / (most - least) * (high - bottom - 20)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" font-family="sans-serif" font-size="12">'
    ]
    parts.append(f'<rect width="{wide}" height="{high}" fill="white"/>')
    parts += [
        f'<text x="{x(size):.0f}" y="{high - bottom + 18}" text-anchor="middle">{size:,}</text>'
        for size in SIZES
    ]
    for seconds in (0.1, 0.2, 0.5, 1, 2, 5, 10):
        if math.log10(seconds) <= most:
            parts.append(
                f'<line x1="{left}" x2="{wide - 130}" y1="{y(seconds):.1f}" y2="{y(seconds):.1f}" stroke="#ccc"/>'
            )
            parts.append(
                f'<text x="{left - 6}" y="{y(seconds) + 4:.1f}" text-anchor="end">{seconds} s</text>'
            )
    labels = _apart([y(points[-1][1][at][0]) for at in range(len(COLUMNS))])
    for at, (name, dashes) in enumerate(
        zip(COLUMNS, ("none", "6 3", "2 3", "10 3 2 3"), strict=True)
    ):
        places = [(x(size), y(costs[at][0])) for size, costs in points]
        line = " ".join(f"{across:.1f},{down:.1f}" for across, down in places)
        parts.append(
            f'<polyline points="{line}" fill="none" stroke="black" stroke-width="1.5" stroke-dasharray="{dashes}"/>'
        )
        parts.append(f'<text x="{places[-1][0] + 8:.0f}" y="{labels[at] + 4:.0f}">{name}</text>')
    parts.append(
        f'<text x="{(left + wide - 130) / 2:.0f}" y="{high - 10}" text-anchor="middle">bytes carried</text></svg>'
    )
    return "\n".join(parts) + "\n"


def _apart(places):
    """The places of labels, moved down until each has room."""
    moved, last = {}, -math.inf
    for at in sorted(range(len(places)), key=lambda one: places[one]):
        moved[at] = last = max(places[at], last + 15)
    return [moved[at] for at in range(len(places))]


def growth(costs):
    """
    How seconds and peak MiB of one command grow with each 1,000 bytes: the slopes of the straight
    lines that fit best.
    """
    seconds, peaks = (
        statistics.linear_regression(SIZES, values).slope * 1000
        for values in zip(*costs, strict=True)
    )
    return f"{seconds:+8.2f}{peaks:+5.1f}M"


def main():
    """Print the table, and write the plot."""
    heads = "".join(f"{name:>14}" for name in COLUMNS)
    print(f"{'seconds and peak MiB':<26}{'lines':>6}{'characters':>11}{'pages':>6}{heads}")
    points = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "pw").write_text(f"{PASSPHRASE}\n" * 3)
        for size, (what, data, characters, pages, costs) in rows(folder):
            if size:
                points.append((size, costs))
            shown = "".join(f"{seconds:>8.2f} {peak:>4.0f}M" for seconds, peak in costs)
            print(f"{what:<26}{data:>6}{characters:>11,}{pages:>6}{shown}", flush=True)
    print(
        f"{'with each 1,000 bytes':<43}{''.join(map(growth, zip(*(costs for _, costs in points), strict=True)))}"
    )
    if len(sys.argv) > 1:
        Path(sys.argv[1]).write_text(plot(points), encoding="utf-8")


if __name__ == "__main__":
    main()
