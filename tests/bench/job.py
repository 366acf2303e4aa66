"""
What the main job costs:
``python tests/bench/job.py [TABLE...] [--plot SVG] [--repeats N] [--pairs N]``.

growth   Sizes, seconds and peak MiB of the commands over payload sizes, carried as files, from 32
         bytes to the line limit, and over key kinds, those of the demo key (RSA-4096 with an
         RSA-4096 subkey) among them. The plot has logarithmic axes, so that a straight line of
         slope one is growth with the size.
ratios   The commands on the demo key beside the bare scripts in ``bare``, which import the same
         libraries and draw or read the same with them; and the process in which files are decoded
         and symbols looked for, beside doing so without it. The two run in turn, and the median of
         the ratios of the pairs is told, of the seconds of CPU (all processes of a command) and on
         the clock. Python loads compiled modules, as it does where a package is installed.
seal     What a seal costs on one core.
kinds    What the kinds of print cost in paper and typing. Characters are those of the data lines,
         29 each with their checks; the head line (29 more, once) and the spare lines, which need no
         typing, are left out. The bound is the entropy of what cannot be computed from the public
         key, in base32 characters: an RSA prime of k bits whose two highest bits are set, by the
         prime number theorem about 2^(k−2) / (k ln 2) of them; 251 bits for Curve25519 secrets with
         their fixed bits (RFC 7748 §5; the Ed25519 seed has 256, RFC 8032 §5.1.5), 256 for P-256.

Each command is a process of its own; the median time and the largest peak of N runs are told.
"""

import argparse
import math
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pypdfium2

from paperkey_alt.format import body
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import CHARACTERS, DATA_BYTES
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys.openpgp import choice, compact, extraction, key_file, unlocked
from paperkey_alt.sheet import layout

ROOT = Path(__file__).parents[2]
KEY, CERTIFICATE = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
CORPUS = ROOT / "tests/keys/corpus"
PASSPHRASE = "low water at dawn"
RAGLEAF = ("paperkey_alt",)
PUBLIC = ("--public", CERTIFICATE)
# The last is the limit with the usual number of spare lines.
SIZES = (32, 100, 316, 1000, 3162, 12_216)
COLUMNS = ("backup", "check text", "restore text", "restore PDF")
DASHES = ("none", "6 3", "2 3", "10 3 2 3")

# Runs its arguments as a program, a module or -c with code, and says at the end what the peak
# memory was. The figure of wait4 would count the parent's too.
MEASURED = """
import atexit, runpy, sys
status = lambda: next(row for row in open("/proc/self/status") if row.startswith("VmHWM"))
atexit.register(lambda: print(status().split()[1], file=sys.stderr))
sys.argv = sys.argv[1:]
if sys.argv[0] == "-c":
    code = sys.argv.pop(1)
    exec(code)
else:
    runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
"""

# Starts a module as what pip installs for a command does.
ENTRY = """
import sys
from {module} import main
if __name__ == "__main__":
    sys.exit(main())
"""

# The seconds of a seal on one core, and by how much the peak grew.
SEAL = """
import os, statistics, sys, time
from paperkey_alt.format.seal import seal
status = lambda: next(row for row in open("/proc/self/status") if row.startswith("VmHWM"))
peak = lambda: int(status().split()[1]) / 1024
os.sched_setaffinity(0, {0})
before, times = peak(), []
for _ in range(int(sys.argv[1])):
    start = time.perf_counter()
    seal(b"x" * 600, sys.argv[2], os.urandom(16))
    times.append(time.perf_counter() - start)
print(f"{statistics.median(times):.2f} s, {peak() - before:.0f} MiB more than before")
"""


class Bench:
    """A folder to work in, and how often each command is run, and each pair of them."""

    def __init__(self, folder, repeats, pairs):
        self.folder, self.repeats, self.pairs = folder, repeats, pairs
        (folder / "pw").write_text(f"{PASSPHRASE}\n" * 3)

    def run(self, *program):
        """Run a program in the folder: its standard output, and what it said besides."""
        variables = dict(os.environ)
        variables.pop("PYTHONDONTWRITEBYTECODE", None)
        paths = (str(Path(__file__).parent), variables.get("PYTHONPATH"))
        variables["PYTHONPATH"] = os.pathsep.join(filter(None, paths))
        return subprocess.run(
            [sys.executable, *map(str, program)],
            cwd=self.folder,
            env=variables | {"XDG_DATA_HOME": str(self.folder / "data")},
            check=True,
            capture_output=True,
            text=True,
        )

    def cost(self, *program):
        """The median seconds and the largest peak in MiB of a module or of ``-c`` code."""
        times, peaks = [], []
        for _ in range(self.repeats):
            start = time.perf_counter()
            done = self.run("-c", MEASURED, *program)
            times.append(time.perf_counter() - start)
            peaks.append(int(done.stderr.split()[-1]) / 1024)
        return statistics.median(times), max(peaks)

    def paired(self, *programs):
        """
        Run two programs in turn, each a module with a ``main`` and its arguments: of the seconds of
        CPU and of those on the clock, the medians of each program and of the ratios of the pairs.
        """
        entries = [self.folder / f"entry-{module}" for module, *_ in programs]
        for entry, (module, *_) in zip(entries, programs, strict=True):
            entry.write_text(ENTRY.format(module=module))
        seconds = [
            [
                self._seconds(entry, *arguments)
                for entry, (_, *arguments) in zip(entries, programs, strict=True)
            ]
            for _ in range(1 + self.pairs)
        ]
        # The first runs write compiled modules.
        for pairs in zip(*(zip(*pair, strict=True) for pair in seconds[1:]), strict=True):
            ours, bare = zip(*pairs, strict=True)
            each = (mine / its for mine, its in pairs)
            yield tuple(map(statistics.median, (ours, bare, each)))

    def _seconds(self, *program):
        """The seconds of CPU that a program and those it starts take, and those on the clock."""
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        self.run(*program)
        clock = time.perf_counter() - start
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime, clock

    def peak(self, module, *arguments):
        """The peak in MiB of a module with a ``main``."""
        done = self.run("-c", MEASURED, module, *arguments)
        return int(done.stderr.split()[-1]) / 1024

    def data_lines(self):
        """How many data lines the text file has."""
        shown = self.run("-m", *RAGLEAF, "check", "s.txt").stdout
        return int(shown.split(" data lines")[0].split()[-1])


def kinds_and_sizes(bench):
    """What is measured, its size where it is a file, and the options of printing and restoring."""
    for size in SIZES:
        (bench.folder / "file").write_bytes(random.Random(size).randbytes(size))
        yield f"file of {size:,} bytes", size, ("file", "--plain", "--allow-unprotected"), ()
    passphrase = ("--passphrase-from", "pw")
    yield "RSA-4096 pair, lean", None, (KEY,), PUBLIC
    yield (
        "RSA-4096 pair, compact",
        None,
        (KEY, "--compact", *passphrase),
        (*PUBLIC, *passphrase),
    )
    yield "RSA-4096 pair, whole", None, (KEY, "--whole"), ()
    yield "Ed25519 + X25519, whole", None, (CORPUS / "curve25519.asc", "--whole"), ()
    yield "P-256 pair, whole", None, (CORPUS / "nist-p256.asc", "--whole"), ()


def growth(bench, plot_to):
    """Print the table over sizes and kinds, and write the plot."""
    heads = "".join(f"{name:>14}" for name in COLUMNS)
    print(f"{'seconds and peak MiB':<26}{'lines':>6}{'characters':>11}{'pages':>6}{heads}")
    points = []
    for what, size, printing, restoring in kinds_and_sizes(bench):
        commands = (
            ("backup", *printing, "-o", "s.pdf", "--text", "s.txt", "--force"),
            ("check", "s.txt"),
            ("restore", "s.txt", *restoring, "-o", "back", "--force"),
            ("restore", "s.pdf", *restoring, "-o", "back", "--force"),
        )
        costs = [bench.cost(*RAGLEAF, *command) for command in commands]
        if size:
            points.append((size, costs))
        data = bench.data_lines()
        pages = len(pypdfium2.PdfDocument(bench.folder / "s.pdf"))
        shown = "".join(f"{seconds:>8.2f} {peak:>4.0f}M" for seconds, peak in costs)
        print(f"{what:<26}{data:>6}{CHARACTERS * (data + 1):>11,}{pages:>6}{shown}", flush=True)
    slopes = "".join(map(slope, zip(*(costs for _, costs in points), strict=True)))
    print(f"{'with each 1,000 bytes':<43}{slopes}")
    if plot_to:
        Path(plot_to).write_text(plot(points), encoding="utf-8")


def slope(costs):
    """
    How seconds and peak MiB of one command grow with each 1,000 bytes: the slopes of the straight
    lines that fit best.
    """
    seconds, peaks = (
        statistics.linear_regression(SIZES, values).slope * 1000
        for values in zip(*costs, strict=True)
    )
    return f"{seconds:+8.2f}{peaks:+5.1f}M"


def plot(points):
    """The plot as SVG: seconds over bytes, a line for each command."""
    wide, high, left, bottom, right = 640, 400, 60, 50, 130
    most_seconds = max(seconds for _, costs in points for seconds, _ in costs)
    least, most = math.log10(0.1), math.log10(most_seconds * 1.5)

    def x(size):
        return left + (math.log10(size) - 1.4) / (4.2 - 1.4) * (wide - left - right)

    def y(seconds):
        return high - bottom - (math.log10(seconds) - least) / (most - least) * (high - bottom - 20)

    def text(across, down, anchor, words):
        return f'<text x="{across:.0f}" y="{down:.0f}" text-anchor="{anchor}">{words}</text>'

    font = 'font-family="sans-serif" font-size="12"'
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" {font}>']
    parts.append(f'<rect width="{wide}" height="{high}" fill="white"/>')
    parts += [text(x(size), high - bottom + 18, "middle", f"{size:,}") for size in SIZES]
    for seconds in (0.1, 0.2, 0.5, 1, 2, 5, 10):
        if math.log10(seconds) <= most:
            ends = f'x1="{left}" x2="{wide - right}" y1="{y(seconds):.1f}" y2="{y(seconds):.1f}"'
            parts.append(f'<line {ends} stroke="#ccc"/>')
            parts.append(text(left - 6, y(seconds) + 4, "end", f"{seconds} s"))
    labels = apart([y(points[-1][1][at][0]) for at in range(len(COLUMNS))])
    for at, (name, dashes) in enumerate(zip(COLUMNS, DASHES, strict=True)):
        places = [(x(size), y(costs[at][0])) for size, costs in points]
        line = " ".join(f"{across:.1f},{down:.1f}" for across, down in places)
        stroke = f'fill="none" stroke="black" stroke-width="1.5" stroke-dasharray="{dashes}"'
        parts.append(f'<polyline points="{line}" {stroke}/>')
        parts.append(text(places[-1][0] + 8, labels[at] + 4, "start", name))
    parts.append(text((left + wide - right) / 2, high - 10, "middle", "bytes carried"))
    return "\n".join([*parts, "</svg>"]) + "\n"


def apart(places):
    """The places of labels, moved down until each has room."""
    moved, last = {}, -math.inf
    for at in sorted(range(len(places)), key=lambda label: places[label]):
        moved[at] = last = max(places[at], last + 15)
    return [moved[at] for at in range(len(places))]


def ratios(bench):
    """Print the table of commands beside bare scripts."""
    key = ("backup", KEY, "-o", "s.pdf", "--force", "--no-register")
    bench.run("-m", *RAGLEAF, *key, "--text", "s.txt")
    restore = ("restore", *PUBLIC, "--force", "-o", "k.asc")
    print(f"{'':<28}{'s of CPU':>9}{'bare':>6}{'ratio':>7}{'s':>8}{'bare':>6}{'ratio':>7}", end="")
    print(f"{'MiB':>7}{'bare':>6}")
    commands = "paperkey_alt.__main__"
    table = {
        "--help": ((commands, "--help"), ("bare.listed", "--help")),
        "backup to PDF": ((commands, *key), ("bare.drawn", "s.txt", "b.pdf")),
        "restore from two PDF pages": ((commands, *restore, "s.pdf"), ("bare.pages", "s.pdf")),
        "restore from text": ((commands, *restore, "s.txt"), ("bare.text", "s.txt")),
        "… and without a library": ((commands, *restore, "s.txt"), ("bare.joined", "s.txt")),
        "decoding two PDF pages": (("bare.decoded", "apart", "s.pdf"), ("bare.decoded", "s.pdf")),
    }
    for name, programs in table.items():
        cpu, clock = (
            "".join(f"{value:{width}.2f}" for value, width in zip(row, (9, 6, 7), strict=True))
            for row in bench.paired(*programs)
        )
        peaks = "".join(
            f"{bench.peak(*program):{width}.0f}"
            for program, width in zip(programs, (7, 6), strict=True)
        )
        print(f"{name:<28}{cpu}{clock[1:]}{peaks}", flush=True)


def seal(bench):
    """Print what a seal costs."""
    print("a seal on one core:", bench.run("-c", SEAL, bench.repeats, PASSPHRASE).stdout.strip())


def prime(bits):
    """The entropy of a random prime of so many bits, the two highest set."""
    return bits - 2 - math.log2(bits * math.log(2))


# name → file, and the bits that cannot be computed
KEYS = {
    "Ed25519 + X25519": (CORPUS / "curve25519.asc", 256 + 251),
    "P-256 pair": (CORPUS / "nist-p256.asc", 2 * 256),
    "RSA-2048 pair": (CORPUS / "pgpy-rsa2048.asc", 2 * prime(1024)),
    "RSA-4096 pair": (KEY, 2 * prime(2048)),
}


def bodies(key):
    """The body of each kind of print."""
    yield "lean", body.wrap(extraction.extract(key).payload, None).data
    yield "whole", body.wrap(extraction.extract(key, whole=True).payload, None).data
    reduced, _ = compact.compact(unlocked.unlock(key, lambda _: PASSPHRASE), PASSPHRASE)
    yield "compact", body.wrap(reduced, body.Seal(PASSPHRASE, os.urandom(16))).data


def kinds():
    """Print the table of paper and typing by kind of print."""
    columns = f"{'lines':>6}{'spare':>6}{'characters':>12}{'pages':>6}{'QR':>4}{'type':>6}"
    print(f"{'key':<18}{'armor':>7}{'bound':>7}   {'print':<9}{columns}")
    for name, (path, entropy) in KEYS.items():
        key = choice.choose(key_file.read(path.read_bytes()), None)
        armored = len(key_file.write(key, armored=True))
        for kind, data in bodies(key):
            head = lay_out(data, spare_count(-(-len(data) // DATA_BYTES))).head
            plan = layout.plan(head.total, layout.PAPERS["a4"])
            blocks = sum(len(sheet.blocks) for sheet in plan.sheets)
            print(
                f"{name:<18}{armored:>7,}{math.ceil(entropy / 5):>7,}   {kind:<9}"
                f"{head.data_lines:>6}{head.spare_lines:>6}{head.data_lines * CHARACTERS:>12,}"
                f"{len(plan.sheets):>6}{blocks:>4}{plan.preset.type_size:>6}"
            )


def main():
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("tables", metavar="TABLE", nargs="*")
    parser.add_argument("--plot", metavar="SVG", help="where the plot of growth is written")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--pairs", type=int, default=30)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), given.repeats, given.pairs)
        tables = {
            "growth": lambda: growth(bench, given.plot),
            "ratios": lambda: ratios(bench),
            "seal": lambda: seal(bench),
            "kinds": kinds,
        }
        if unknown := set(given.tables) - set(tables):
            parser.error(f"no such table: {', '.join(unknown)}; there are {', '.join(tables)}")
        for name in given.tables or tables:
            print(f"\n{name}")
            tables[name]()


if __name__ == "__main__":
    main()
