"""
How many QR symbols are read from bad scans: ``python tests/bench/qr_matrix.py``.

Both sheets of the demo key on A4 and Letter, 20 symbols in all, under a resolution, a skew and a
damage: blur (a radius in pixels at 300 dpi), noise (standard deviation, of 255) and JPEG quality.
"""

import io
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pypdfium2
from PIL import Image, ImageFilter

from paperkey_alt.reading.image import symbols

KEY = Path(__file__).parents[2] / "demo/buoy-keepers.asc"
DAMAGES = {
    "clean": (0, 0, 95),
    "ordinary": (1, 12, 80),
    "poor": (1.6, 25, 50),
    "bad": (2.4, 40, 30),
}


def damaged(picture, dpi, skew, damage):
    """The picture as a scan."""
    blur, noise, quality = DAMAGES[damage]
    turned = picture.rotate(skew, Image.Resampling.BICUBIC, expand=True, fillcolor=255).filter(
        ImageFilter.GaussianBlur(blur * dpi / 300)
    )
    grain = np.random.default_rng(dpi).normal(0, noise, (turned.height, turned.width))
    target = io.BytesIO()
    Image.fromarray(np.clip(np.asarray(turned, float) + grain, 0, 255).astype(np.uint8)).save(
        target, "JPEG", quality=quality
    )
    return Image.open(target).convert("L")


def sheets():
    """The printed sheets, as PDF documents."""
    with tempfile.TemporaryDirectory() as folder:
        for paper in ("a4", "letter"):
            name = f"{folder}/{paper}.pdf"
            command = [
                sys.executable,
                "-m",
                "paperkey_alt",
                "backup",
                str(KEY),
                "-o",
                name,
                "--paper",
                paper,
                "--no-register",
            ]
            subprocess.run(command, check=True, capture_output=True)
            yield pypdfium2.PdfDocument(Path(name).read_bytes())


def main():
    """Print the table."""
    documents = list(sheets())
    print(
        f"{'dpi':>4} {'skew':>5}"
        + "".join(f"{damage:>12}" for damage in DAMAGES)
        + "   of 20 symbols; seconds a page"
    )
    for dpi in (100, 150, 200, 300):
        for skew in (0, 2, -5):
            start, row = time.perf_counter(), []
            for damage in DAMAGES:
                pages = [
                    page.render(scale=dpi / 72, grayscale=True).to_pil().convert("L")
                    for document in documents
                    for page in document
                ]
                row.append(
                    sum(len(symbols.read(damaged(page, dpi, skew, damage))) for page in pages)
                )
            seconds = (time.perf_counter() - start) / (4 * len(DAMAGES))
            print(
                f"{dpi:>4} {skew:>4}°"
                + "".join(f"{count:>12}" for count in row)
                + f"   {seconds:.2f} s"
            )


if __name__ == "__main__":
    main()
