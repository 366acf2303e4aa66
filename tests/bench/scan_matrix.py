"""
What is read from bad scans and photos: ``python tests/bench/scan_matrix.py [PAGES]
[CONDITION...]``.

Sets of one sheet each, in all sizes of type, on A4 and Letter, under conditions made with
Pillow and numpy; once with their QR symbols, once with these blacked out, so that the printed rows
alone are left. A page restores when the digest agrees; a wrong one would be told. Where tesseract
is installed, it reads the same pages, and the lines that it has exactly right are counted.
"""

import argparse
import io
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date

import numpy as np
import pypdfium2
from PIL import Image, ImageDraw, ImageFilter

from paperkey_alt.errors import PaperError
from paperkey_alt.format.line_set import LineSet, lay_out
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.reading import sources
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import draw, layout
from paperkey_alt.sheet.caption import Caption

WORDS = Caption(
    "OpenPGP key, lean",
    "Saltmarrow Buoy Keepers",
    "5A2B" * 10,
    date(2026, 11, 25),
    (),
    ("How.",),
    ("What.",),
)
# Data lines that fill one sheet with 25 % spare lines, in the sizes of type from the largest down.
DATA_LINES = (19, 28, 38, 45, 50, 76, 96)


@dataclass(frozen=True)
class Page:
    """A set on one sheet, its body, and where its symbols are, in points."""

    line_set: LineSet
    body: bytes
    pdf: bytes
    symbols: tuple[tuple[float, float, float], ...]


def page(number, spare=None):
    """The page *number*: every second one is dense."""
    data = DATA_LINES[-1] if number % 2 else DATA_LINES[number // 2 % (len(DATA_LINES) - 1)]
    paper = layout.PAPERS["letter" if number % 3 == 2 else "a4"]
    if spare is not None:
        data = int(data * 1.25 / (1 + spare))
    body = random.Random(number).randbytes(data * 15 - number % 15)
    line_set = lay_out(body, spare_count(data, round(100 * (spare or 0.25))))
    plan = layout.plan(line_set.head.total, paper)
    symbols = tuple((block.x, block.y, plan.preset.symbol) for block in plan.sheets[0].blocks)
    return Page(line_set, body, draw.draw(line_set, WORDS, paper=paper), symbols)


def rendered(one, dpi, *, blacked_out):
    """A page as a grey picture at *dpi*."""
    picture = (
        pypdfium2.PdfDocument(one.pdf)[0]
        .render(scale=dpi / 72, grayscale=True)
        .to_pil()
        .convert("L")
    )
    if blacked_out:
        for x, y, side in one.symbols:
            ImageDraw.Draw(picture).rectangle(
                [value * dpi / 72 for value in (x - 2, y - 2, x + side + 2, y + side + 2)], fill=0
            )
    return picture


def noisy(picture, rng, deviation):
    """With Gaussian noise."""
    grain = rng.normal(0, deviation, (picture.height, picture.width))
    return Image.fromarray(
        np.clip(np.asarray(picture, np.float32) + grain, 0, 255).astype(np.uint8)
    )


def jpeg(picture, quality):
    """As a JPEG decodes."""
    target = io.BytesIO()
    picture.save(target, "JPEG", quality=quality)
    return Image.open(target).convert("L")


def scan(picture, rng, *, skew=0.0, blur=0.8, noise=8):
    """As an ordinary scanner gives it."""
    turned = picture.rotate(skew, Image.Resampling.BICUBIC, expand=True, fillcolor=250)
    return noisy(turned.filter(ImageFilter.GaussianBlur(blur)), rng, noise)


def photo(picture, rng):
    """
    By a telephone held aslant: perspective, uneven light, blur, noise, JPEG 50, 12 million pixels.
    """
    wide, high = 3000, 4000
    corners = np.array([(0.07, 0.05), (0.93, 0.05), (0.93, 0.95), (0.07, 0.95)]) + rng.uniform(
        -0.045, 0.045, (4, 2)
    )
    seen = corners * (wide, high)
    own = np.array(
        [(0, 0), (picture.width, 0), (picture.width, picture.height), (0, picture.height)], float
    )
    rows, right = [], []
    for (u, v), (x, y) in zip(seen, own, strict=True):
        rows += [(u, v, 1, 0, 0, 0, -x * u, -x * v), (0, 0, 0, u, v, 1, -y * u, -y * v)]
        right += [x, y]
    coefficients = np.linalg.solve(np.array(rows), np.array(right))
    taken = picture.transform(
        (wide, high),
        Image.Transform.PERSPECTIVE,
        tuple(coefficients),
        Image.Resampling.BICUBIC,
        fillcolor=90,
    )
    across, down = np.meshgrid(np.linspace(-1, 1, wide), np.linspace(-1, 1, high))
    tilt = rng.uniform(-0.2, 0.2, 2)
    light = (0.8 + tilt[0] * across + tilt[1] * down - 0.1 * (across**2 + down**2)).astype(
        np.float32
    )
    lit = Image.fromarray(np.clip(np.asarray(taken, np.float32) * light, 0, 255).astype(np.uint8))
    return jpeg(noisy(lit.filter(ImageFilter.GaussianBlur(1.6)), rng, 8), 50)


def stained(picture, rng):
    """With the ring of a cup, and folded across and along."""
    across, down = np.meshgrid(np.arange(picture.width), np.arange(picture.height))
    darkness = np.ones((picture.height, picture.width), np.float32)
    for _ in range(2):
        x, y, radius = (
            rng.uniform(0.2, 0.8) * picture.width,
            rng.uniform(0.2, 0.8) * picture.height,
            rng.uniform(400, 520),
        )
        distance = np.hypot(across - x, down - y)
        darkness *= (
            1 - 0.55 * np.exp(-(((distance - radius) / 18) ** 2)) - 0.12 * (distance < radius)
        )
    paper = np.asarray(picture, np.float32) * darkness
    for at, along in (
        (rng.uniform(0.45, 0.55) * picture.height, down),
        (rng.uniform(0.45, 0.55) * picture.width, across),
    ):
        paper = paper * (1 - 0.45 * np.exp(-(((along - at) / 4) ** 2))) + 120 * np.exp(
            -(((along - at - 5) / 3) ** 2)
        )
    return scan(Image.fromarray(np.clip(paper, 0, 255).astype(np.uint8)), rng)


def torn(picture, rng):
    """A third of the page torn off, along a ragged line, at one of its sides."""
    turn = int(rng.integers(4))
    pixels = np.rot90(np.asarray(picture), turn).copy()
    edge = pixels.shape[0] * 2 / 3 + np.cumsum(rng.normal(0, 3, pixels.shape[1]))
    pixels[np.arange(pixels.shape[0])[:, None] > edge] = 60
    return scan(Image.fromarray(np.rot90(pixels, -turn).copy()), rng)


def faded(picture, rng, kept=0.6, streaks=0.07):
    """Loss of ink: pale, *kept* of it in specks, and *streaks* of the width next to blank."""
    ink = 255 - np.asarray(picture, np.float32)
    speck = Image.fromarray(
        rng.uniform(0, 255, (picture.height // 3, picture.width // 3)).astype(np.uint8)
    )
    grain = np.asarray(speck.resize(picture.size, Image.Resampling.BICUBIC), np.float32)
    streak = np.repeat(rng.uniform(0, 1, picture.width // 12 + 1) < streaks, 12)[: picture.width]
    left = ink * (grain > np.quantile(grain[::7, ::7], 1 - kept)) * np.where(streak, 0.15, 1) * 0.6
    return scan(Image.fromarray(np.clip(255 - left, 0, 255).astype(np.uint8)), rng)


CONDITIONS = {
    "clean, 300 dpi": (300, lambda picture, _: picture),
    "200 dpi, noise": (200, lambda picture, rng: scan(picture, rng, blur=0.8, noise=25)),
    "150 dpi": (150, lambda picture, rng: scan(picture, rng, blur=0.6, noise=10)),
    "telephone": (300, photo),
    "skew 5°": (300, lambda picture, rng: scan(picture, rng, skew=rng.choice([-5, 5]))),
    "ring and fold": (300, stained),
    "third torn off": (300, torn),
    "third torn off, 60 % spare": (300, torn),
    "loss of ink": (300, lambda picture, rng: faded(picture, rng, kept=0.8, streaks=0.03)),
    "heavy loss of ink": (300, faded),
}


def tried(task):
    """
    One page under one condition: restored or not or wrong, its lines by status, seconds, and
    tesseract's exact lines.
    """
    condition, number, blacked_out, with_tesseract = task
    dpi, damage = CONDITIONS[condition]
    one = page(number, spare=0.6 if "60 %" in condition else None)
    rng = np.random.default_rng(number)
    picture = damage(rendered(one, dpi, blacked_out=blacked_out), rng)
    target = io.BytesIO()
    picture.save(target, "PNG")
    start = time.perf_counter()
    raw_lines = [
        raw_line for part in sources.read(target.getvalue(), "page") for raw_line in part.raw_lines
    ]
    counts, restored, wrong = [0, 0, one.line_set.head.total], False, False
    try:
        for finding in recover(raw_lines).sets:
            restored = restored or finding.body == one.body
            wrong = wrong or finding.body not in (None, one.body)
            if finding.head == one.line_set.head:
                lost = finding.count(Status.WRONG) + finding.count(Status.MISSING)
                counts = [finding.count(Status.FINE), finding.count(Status.MENDED), lost]
    except PaperError:
        pass
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return (
        restored,
        wrong,
        counts,
        seconds,
        peak,
        exact_by_tesseract(picture, one) if with_tesseract else None,
    )


def exact_by_tesseract(picture, one):
    """How many lines a general program for reading text has exactly right, its number included."""
    with tempfile.NamedTemporaryFile(suffix=".png") as target:
        picture.save(target.name)
        command = ["tesseract", target.name, "-", "--psm", "6"]
        text = subprocess.run(
            command,
            capture_output=True,
            text=True,
            check=False,
            env={"OMP_THREAD_LIMIT": "1"} | dict(PATH),
        ).stdout
    right = dict(enumerate(one.line_set.lines, 1))
    found = {
        raw_line.number
        for raw_line in typed.read(text, "ocr")
        if "".join(raw_line.text.split()) == right.get(raw_line.number)
    }
    return len(found)


PATH = {"PATH": "/usr/local/bin:/usr/bin:/bin"}


def main():
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("pages", type=int, nargs="?", default=20)
    parser.add_argument("conditions", nargs="*", default=list(CONDITIONS))
    given = parser.parse_args()
    tesseract = shutil.which("tesseract") is not None
    print(f"{given.pages} pages a row; lines in percent of all\n")
    heads = ("restored", "wrong", "fine", "mended", "lost", "s/page", "MiB", "tesseract")
    print(
        f"{'condition':<28}{'read by':<10}" + "".join(f"{head:>{len(head) + 3}}" for head in heads)
    )
    with ProcessPoolExecutor(2, max_tasks_per_child=10) as pool:
        for condition in given.conditions:
            for blacked_out in (False, True):
                tasks = [
                    (condition, number, blacked_out, tesseract and not blacked_out)
                    for number in range(given.pages)
                ]
                done = list(pool.map(tried, tasks))
                total = sum(sum(counts) for _, _, counts, *_ in done)
                shares = [
                    100 * sum(counts[at] for _, _, counts, *_ in done) / total for at in range(3)
                ]
                exact = (
                    "" if done[0][5] is None else f"{100 * sum(one[5] for one in done) / total:.1f}"
                )
                seconds, peak = sum(one[3] for one in done) / len(done), max(one[4] for one in done)
                counts = (sum(one[0] for one in done), sum(one[1] for one in done))
                cells = (
                    *counts,
                    *(f"{share:.1f}" for share in shares),
                    f"{seconds:.1f}",
                    f"{peak:.0f}",
                    exact,
                )
                by = "text" if blacked_out else "QR, text"
                row = "".join(
                    f"{cell:>{len(head) + 3}}" for cell, head in zip(cells, heads, strict=True)
                )
                print(f"{condition:<28}{by:<10}{row}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
