"""
What pictures that are as large as can be cost: ``python tests/bench/large_pictures.py``.

Each is looked at in a process of its own; the peak of its memory is told, the bytes of the file
included. The limit is 1 GiB.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

LOOK = """
import sys
from paperkey_alt.errors import RagleafError
from paperkey_alt.reading import sources
try:
    list(sources.read(open(sys.argv[1], 'rb').read(), 'picture'))
    print('looked at')
except RagleafError as error:
    print(error)
print(next(row.split()[1] for row in open('/proc/self/status') if row.startswith('VmHWM')))
"""
NOISE = np.random.default_rng(1).integers(0, 255, (6000, 6000), np.uint8)
PICTURES = {
    "1-bit PNG, 12,000²": ("1", (12_000, 12_000), "PNG"),
    "grey PNG, 12,000²": ("L", (12_000, 12_000), "PNG"),
    "16-bit PNG, 12,000²": ("I;16", (12_000, 12_000), "PNG"),
    "colour PNG, 12,000²": ("RGB", (12_000, 12_000), "PNG"),
    "colour PNG with alpha, 12,000²": ("RGBA", (12_000, 12_000), "PNG"),
    "GIF, 12,000²": ("P", (12_000, 12_000), "GIF"),
    "JPEG, 12,000²": ("RGB", (12_000, 12_000), "JPEG"),
    "CMYK JPEG, 12,000²": ("CMYK", (12_000, 12_000), "JPEG"),
    "BMP, 9,000²": ("RGB", (9000, 9000), "BMP"),
    "BMP, 12,000²": ("RGB", (12_000, 12_000), "BMP"),
    "CMYK TIFF, 12,000²": ("CMYK", (12_000, 12_000), "TIFF"),
    "WebP, 4,000 × 8,000": ("RGB", (4000, 8000), "WEBP"),
    "WebP, 9,000 × 16,000": ("RGB", (9000, 16_000), "WEBP"),
    "grey PNG, 20,000 × 1,800": ("L", (20_000, 1800), "PNG"),
    "1-bit PNG, 20,000²": ("1", (20_000, 20_000), "PNG"),
    "PDF of a picture, 12,000²": ("RGB", (12_000, 12_000), "PDF"),
    "PNG of noise, 6,000²": (None, None, "PNG"),
}


def main():
    """Print the table."""
    print(f"{'picture':<32}{'file, MiB':>10}{'peak, MiB':>11}{'seconds':>9}   outcome")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture"
        for name, (mode, size, kind) in PICTURES.items():
            picture = Image.fromarray(NOISE) if mode is None else Image.new(mode, size)
            picture.save(path, kind)
            start = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", LOOK, path], capture_output=True, text=True, check=True
            )
            seconds = time.perf_counter() - start
            outcome, peak = done.stdout.splitlines()
            print(
                f"{name:<32}{path.stat().st_size >> 20:>10}{int(peak) >> 10:>11}{seconds:>9.1f}  "
                f" {outcome}",
                flush=True,
            )


if __name__ == "__main__":
    main()
