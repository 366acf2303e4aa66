"""
What the main job costs on the demo key (RSA-4096 with an RSA-4096 subkey): ``python
tests/bench/costs.py``.

Lines, characters and pages; the wall time and peak memory of each command, beside a bare script
that only imports the same libraries and draws or reads the same pages with them; and the time of
``ragleaf --help`` beside ``import click``.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pypdfium2

from paperkey_alt.format.lines import CHARACTERS
from paperkey_alt.reading.text import typed

ROOT = Path(__file__).parents[2]
KEY, CERTIFICATE = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
RAGLEAF = ("paperkey_alt",)
REPEATS = 5

# The same text and the same symbols on as many pages, with none of the checks.
BARE_DRAW = """
import sys, click, cryptography, reportlab, segno
from reportlab.pdfgen.canvas import Canvas
rows = [row for row in open(sys.argv[1]).read().splitlines() if not row.startswith("#")]
canvas = Canvas(sys.argv[2], pagesize=(595, 842))
for page in range(1, len(rows), 120):
    canvas.setFont("Courier-Bold", 7.8)
    for at, row in enumerate(rows[page:page + 120]):
        canvas.drawString(40 + 210 * (at % 2), 700 - 9 * (at // 2), row)
    for band in range(5):
        some = rows[page + 24 * band:page + 24 * band + 24]
        text = "0 " + rows[0][6:].replace(" ", "") + "/1 " + "".join(row[6:].replace(" ", "") for row in some)
        matrix = segno.make(text, error="M", mode="alphanumeric", micro=False, boost_error=False).matrix
        path = canvas.beginPath()
        for y, modules in enumerate(matrix):
            for x, dark in enumerate(modules):
                if dark:
                    path.rect(450 + 1.2 * x, 600 - 110 * band - 1.2 * y, 1.2, 1.2)
        canvas.drawPath(path, stroke=0, fill=1)
    canvas.showPage()
canvas.save()
"""
BARE_TEXT = """
import base64, sys, click, reedsolo
rows = [row for row in open(sys.argv[1]).read().splitlines() if not row.startswith("#")]
base64.b32decode("".join(row[6:].replace(" ", "")[:24] for row in rows))
"""
BARE_PICTURES = """
import sys, click, numpy, pypdfium2, reedsolo, zxingcpp
from PIL import Image
for name in sys.argv[1:]:
    zxingcpp.read_barcodes(Image.open(name).convert("L"), formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
"""


# Runs its arguments as a program and says at the end what the peak memory was. The figure of wait4
# would count the parent's too.
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


def run(program):
    """The standard output of a program."""
    return subprocess.run(
        [sys.executable, "-m", *map(str, program)], check=True, capture_output=True, text=True
    ).stdout


def cost(program):
    """
    The median wall time in seconds and the largest peak memory in MiB of a program: a module or
    ``-c`` code, and arguments.
    """
    times, peaks = [], []
    for _ in range(REPEATS):
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", MEASURED, *map(str, program)],
            check=True,
            capture_output=True,
            text=True,
        )
        times.append(time.perf_counter() - start)
        peaks.append(int(done.stderr.split()[-1]) / 1024)
    return statistics.median(times), max(peaks)


def row(name, command, bare):
    """One row of the table."""
    (seconds, peak), (bare_seconds, bare_peak) = cost(command), cost(bare)
    print(f"{name:<26}{seconds:7.2f} s {peak:7.0f} MiB   bare {bare_seconds:5.2f} s {bare_peak:5.0f} MiB   "
          f"× {seconds / bare_seconds:4.2f} time, × {peak / bare_peak:4.2f} memory")  # fmt: skip


def main():
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheets, lines = folder / "s.pdf", folder / "s.txt"
        backup = (
            *RAGLEAF,
            "backup",
            KEY,
            "-o",
            sheets,
            "--text",
            lines,
            "--force",
            "--no-register",
        )
        run(backup)
        document = pypdfium2.PdfDocument(sheets)
        pictures = [folder / f"page-{page}.png" for page in range(len(document))]
        for page, picture in enumerate(pictures):
            document[page].render(scale=300 / 72, grayscale=True).to_pil().save(picture)
        total = len(typed.read(lines.read_text(encoding="utf-8"), "s")) - 1
        spare = int(
            next(row for row in lines.read_text(encoding="utf-8").splitlines()[::-1]).split()[0]
        )
        head = run((*RAGLEAF, "check", lines)).splitlines()[0]
        print(head)
        data = int(head.split(" data lines")[0].split()[-1])
        print(f"{len(document)} A4 pages; {data * CHARACTERS:,} characters to type; {spare - data} of {total} lines may be lost, "
              f"{(spare - data) / total:.0%}")  # fmt: skip
        restore = (*RAGLEAF, "restore", "--public", CERTIFICATE, "--force", "-o", folder / "k.asc")
        row(
            "backup to PDF",
            (*RAGLEAF, "backup", KEY, "-o", sheets, "--force", "--no-register"),
            ("-c", BARE_DRAW, lines, folder / "b"),
        )
        row("restore from text", (*restore, lines), ("-c", BARE_TEXT, lines))
        row("restore from two pictures", (*restore, *pictures), ("-c", BARE_PICTURES, *pictures))
        row("--help", (*RAGLEAF, "--help"), ("-c", "import click"))


if __name__ == "__main__":
    main()
