"""
How many QR symbols the page that restores in a browser reads, beside zxing-cpp, from the same
pictures: ``python tests/bench/page_symbols.py``. Needs chromium and playwright.

Scans of the demo key's lean and compact sheets, turned, blurred and noisy; and frames of a camera
in which one symbol is held up: in perspective, half of them curled, blurred, unevenly lit, noisy.
"""

import base64
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
import pypdfium2
import zxingcpp
from PIL import Image, ImageFilter
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from browsers import Tab, chromium
from desks import KEY, Desk

# What happens to a scan: a blur in pixels at 150 dpi, and the standard deviation of noise.
SCANS = {"clean": (0, 0), "ordinary": (0.5, 6), "bad": (0.9, 14)}
CAMERAS = {"720p": (1280, 720), "1080p": (1920, 1080)}
READ = """async ({ data, width, height }) => {
  const gray = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
  const colors = new Uint8ClampedArray(4 * gray.length);
  gray.forEach((value, i) => colors.fill(value, 4 * i, 4 * i + 3));
  const start = performance.now(), texts = readPicture({ data: colors, width, height });
  return [texts, performance.now() - start];
}"""


def noisy(picture, deviation, light, seed):
    """With noise, under a *light* that is a factor for each pixel."""
    grain = np.random.default_rng(seed).normal(0, deviation, (picture.height, picture.width))
    made = 35 + np.asarray(picture, float) * 0.75 * light + grain
    return Image.fromarray(made.clip(0, 255).astype(np.uint8))


def scans(page, choose):
    """A sheet as scans: (condition, picture)."""
    for dpi in (150, 300):
        sheet = page.render(scale=dpi / 72, grayscale=True).to_pil()
        for name, (blur, noise) in SCANS.items():
            turned = sheet.rotate(choose.uniform(-4, 4), Image.Resampling.BICUBIC, fillcolor=255)
            blurred = turned.filter(ImageFilter.GaussianBlur(blur * dpi / 150))
            yield f"{dpi} dpi, {name}", noisy(blurred, noise, 1, dpi)


def frames(page, choose):
    """Symbols of a sheet held up before a camera: (condition, picture)."""
    sheet = page.render(scale=300 / 72, grayscale=True).to_pil()
    for symbol in zxingcpp.read_barcodes(sheet):
        at = symbol.position
        corners = [(p.x, p.y) for p in (at.top_left, at.top_right, at.bottom_right, at.bottom_left)]
        for (name, size), part in ((c, p) for c in CAMERAS.items() for p in (0.4, 0.6, 0.8)):
            yield name, frame(sheet, corners, size, part, choose)


def frame(sheet, corners, size, part, choose):
    """A frame of this size, in which the symbol has this part of the height."""
    width, height = size
    side, turn = part * height, choose.uniform(-0.35, 0.35)
    rows, values = [], []
    for (x, y), (u, v) in zip(corners, ((-1, -1), (1, -1), (1, 1), (-1, 1)), strict=True):
        du, dv = (at * side / 2 * (1 + choose.uniform(-0.06, 0.06)) for at in (u, v))
        px = width / 2 + du * np.cos(turn) - dv * np.sin(turn)
        py = height / 2 + du * np.sin(turn) + dv * np.cos(turn)
        rows += [[px, py, 1, 0, 0, 0, -x * px, -x * py], [0, 0, 0, px, py, 1, -y * px, -y * py]]
        values += [x, y]
    way = tuple(np.linalg.solve(np.array(rows), np.array(values)))
    seen = sheet.filter(ImageFilter.GaussianBlur(1)).transform(
        size, Image.Transform.PERSPECTIVE, way, Image.Resampling.BICUBIC, fillcolor=200
    )
    across, down = np.meshgrid(np.arange(width), np.arange(height))
    if choose.random() < 0.5:
        lift = 0.03 * side * np.sin(across / side * 2.2 + choose.random() * 6)
        pixels = np.asarray(seen)[np.clip(down + lift.astype(int), 0, height - 1), across]
        seen = Image.fromarray(pixels)
    blurred = seen.filter(ImageFilter.GaussianBlur(choose.choice((0.6, 1.2))))
    return noisy(blurred, 6, 0.6 + 0.4 * across / width, height)


def main():
    """Print for each condition what both read, and how long the page took."""
    counts, choose = Counter(), random.Random(11)
    with (
        tempfile.TemporaryDirectory() as folder,
        sync_playwright() as playwright,
        chromium(playwright) as browser,
    ):
        desk, tab = Desk(Path(folder), None), Tab(browser)
        desk.ok("backup", KEY, "-o", "lean.pdf")
        desk.ok("backup", KEY, "--compact", "--passphrase-from", "pw", "-o", "compact.pdf")
        for pdf in ("lean.pdf", "compact.pdf"):
            for page in pypdfium2.PdfDocument(desk.read(pdf)):
                for seen in (scans, frames):
                    for condition, picture in seen(page, choose):
                        theirs = {found.text for found in zxingcpp.read_barcodes(picture)}
                        data = base64.b64encode(picture.tobytes()).decode()
                        width, height = picture.size
                        given = {"data": data, "width": width, "height": height}
                        texts, ms = tab.run(READ, given)
                        counts.update(
                            {
                                (condition, "pictures"): 1,
                                (condition, "page"): len(texts),
                                (condition, "zxing-cpp"): len(theirs),
                                (condition, "both"): len(theirs & set(texts)),
                                (condition, "ms"): round(ms),
                            }
                        )
    for condition in dict.fromkeys(condition for condition, _ in counts):
        pictures, ms = counts[condition, "pictures"], counts[condition, "ms"]
        read = ", ".join(f"{who} {counts[condition, who]}" for who in ("page", "zxing-cpp", "both"))
        print(f"{condition:18} {pictures:3} pictures: {read}; {ms // pictures} ms")


if __name__ == "__main__":
    main()
