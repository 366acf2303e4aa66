"""
How far from a webcam the QR symbols of sheets are read: ``python tests/bench/webcam.py``.

Each symbol is held in the middle of a frame, at a distance, turned and tilted at random; the frame
is blurred, gets noise and goes through JPEG, as that of a plain webcam does. Told is how many
symbols of a hundred zxing-cpp reads. Set PYTHONPATH to another tree to measure its sheets.
"""

import datetime as dt
import io
import random
import sys

import numpy as np
import pypdfium2
import zxingcpp
from PIL import Image, ImageFilter

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.sheet import draw, layout
from paperkey_alt.sheet.caption import Caption

WORDS = Caption(
    "A title", "Saltmarrow", "5A2B" * 10, dt.date(2026, 11, 25), (), ("How.",), ("So.",)
)
# Bytes of a body, each key with a subkey.
KINDS = {
    "compact Curve25519": 190,
    "lean Curve25519": 250,
    "compact RSA-4096": 625,
    "whole Curve25519": 730,
    "lean RSA-4096": 2755,
}
FRAMES = {"720p": (1280, 720), "1080p": (1920, 1080)}
DISTANCES = (15, 20, 25, 30, 40, 50, 60, 80)  # cm
VIEW = 62  # degrees of the width: that of a common webcam
TILT, TURN = 20, 10  # degrees, at most
BLUR, NOISE, JPEG = 0.7, 6, 85  # pixels, levels of 255, quality
DPI = 300
TRIES = 4  # poses of each symbol


def homography(size, distance, centre, choose):
    """The 3 × 3 matrix from millimetres on the sheet to pixels of a frame."""
    width, height = size
    focal = width / 2 / np.tan(np.radians(VIEW / 2))
    about_x, about_y = (np.radians(choose.uniform(-TILT, TILT)) for _ in range(2))
    about_z = np.radians(choose.uniform(-TURN, TURN))
    turn = rotation(about_x, 0) @ rotation(about_y, 1) @ rotation(about_z, 2)
    camera = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    plane = np.column_stack([turn[:, 0], turn[:, 1], turn @ (*-np.array(centre), 0)])
    plane[:, 2] += (0, 0, distance * 10)
    return camera @ plane


def rotation(angle, axis):
    """A rotation about an axis of space."""
    matrix = np.eye(3)
    one, other = [at for at in range(3) if at != axis]
    matrix[one, one] = matrix[other, other] = np.cos(angle)
    matrix[one, other], matrix[other, one] = -np.sin(angle), np.sin(angle)
    return matrix


def frame(page, size, matrix, choose):
    """What a webcam shows of a page that lies on something grey."""
    scale = np.diag([25.4 / DPI, 25.4 / DPI, 1])
    # What a pixel of the frame covers is averaged first, as the sensor does.
    step = max(
        1,
        round(
            1
            / np.sqrt(abs(np.linalg.det((matrix @ scale)[:2, :2])) + 1e-9)
            * abs((matrix @ scale)[2, 2])
        ),
    )
    small = page.reduce(step) if step > 1 else page
    back = np.linalg.inv(matrix @ scale @ np.diag([step, step, 1]))
    back /= back[2, 2]
    seen = small.transform(
        size, Image.Transform.PERSPECTIVE, back.ravel()[:8], Image.Resampling.BICUBIC, fillcolor=110
    ).filter(ImageFilter.GaussianBlur(BLUR))
    grain = np.random.default_rng(choose.randrange(1 << 30)).standard_normal(size[::-1]) * NOISE
    light = np.linspace(choose.uniform(0.6, 0.9), choose.uniform(0.7, 0.95), size[0])
    shown = Image.fromarray(np.clip(np.asarray(seen) * light + grain, 0, 255).astype(np.uint8))
    target = io.BytesIO()
    shown.save(target, "JPEG", quality=JPEG)
    return Image.open(target).convert("L")


def measure(length, paper=layout.PAPERS["a4"]):
    """Return type size, symbol and module in mm, and of a hundred symbols those read, by frame."""
    made = lay_out(random.Random(length).randbytes(length), spare_count(-(-length // 15)))
    plan = layout.plan(made.head.total, paper)
    pdf = pypdfium2.PdfDocument(draw.draw(made, WORDS, paper=paper))
    page = pdf[0].render(scale=DPI / 72, grayscale=True).to_pil().convert("L")
    side = plan.preset.symbol / layout.MM
    read = {}
    for name, size in FRAMES.items():
        for distance in DISTANCES:
            choose = random.Random(distance)
            seen = tried = 0
            for block in plan.sheets[0].blocks:
                centre = (block.x / layout.MM + side / 2, block.y / layout.MM + side / 2)
                for _ in range(TRIES):
                    shown = frame(page, size, homography(size, distance, centre, choose), choose)
                    codes = zxingcpp.read_barcodes(shown, formats=zxingcpp.BarcodeFormat.QRCode)
                    seen += any(f"/{block.first} " in code.text for code in codes)
                    tried += 1
            read[name, distance] = round(100 * seen / tried)
    return plan, side, read


def main():
    """Print a row for each kind and frame."""
    print(f"{'':<20}{'lines':>6}{'sheets':>7}{'type':>6}{'symbol':>8}{'frame':>7}", end="")
    print("".join(f"{distance:>4} cm" for distance in DISTANCES))
    for kind, length in KINDS.items():
        plan, side, read = measure(length)
        lines = sum(len(sheet.rows) for sheet in plan.sheets)
        for name in FRAMES:
            row = "".join(f"{read[name, distance]:>7}" for distance in DISTANCES)
            size = f"{plan.preset.type_size:>6}{side:>5.0f} mm"
            print(f"{kind:<20}{lines:>6}{len(plan.sheets):>7}{size}{name:>7}{row}")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
