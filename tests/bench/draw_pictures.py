"""
Draws the pictures of the guides, docs/sheet.png and docs/map.png, of the compact sheet of the demo
key: ``python tests/bench/draw_pictures.py``. For the map the sheet is scanned with a ring of tea, a
burn, a fold and a corner torn off.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image, ImageDraw, ImageFilter

ROOT = Path(__file__).parents[2]
PASSPHRASE = "low water at dawn"
DPI = 200


def run(folder, *arguments):
    """Run a command of Ragleaf in *folder*; a damaged sheet may end with 1."""
    command = [sys.executable, "-m", "paperkey_alt", *map(str, arguments)]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode > 1:
        sys.exit(done.stderr)
    print(done.stdout)


def rendered(path, width):
    """The first page of a PDF, *width* pixels wide, in grey."""
    page = pypdfium2.PdfDocument(path)[0]
    return page.render(scale=width / page.get_width()).to_pil().convert("L")


def damaged(sheet):
    """The scan of a sheet that had a hard life."""
    width, height = sheet.size
    shade = Image.new("L", sheet.size, 255)
    draw = ImageDraw.Draw(shade)
    for x, y, radius in ((0.3, 0.54, 0.14), (0.76, 0.48, 0.21)):
        box = [x * width - radius * width, y * height - radius * width]
        box += [x * width + radius * width, y * height + radius * width]
        draw.ellipse(box, fill=225, outline=110, width=width // 90)
    shade = shade.filter(ImageFilter.GaussianBlur(width / 250))
    scan = Image.composite(shade, sheet, sheet.point(lambda grey: 255 if grey > 128 else 0))
    draw = ImageDraw.Draw(scan)
    draw.ellipse([0.14 * width, 0.50 * height, 0.42 * width, 0.60 * height], fill=70)
    draw.line([0, 0.52 * height, width, 0.523 * height], fill=190, width=width // 250)
    draw.line([0.47 * width, 0, 0.468 * width, height], fill=190, width=width // 250)
    draw.rectangle([0.76 * width, 0.76 * height, width, height], fill=110)
    return scan


def save(picture, path, width, colours):
    """Write *picture*, *width* pixels wide, with few colours."""
    height = round(picture.height * width / picture.width)
    small = picture.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
    small.quantize(colours).save(path, optimize=True)


def main():
    """Draw both."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "passphrase").write_text(PASSPHRASE + "\n")
        key = ROOT / "demo/buoy-keepers.asc"
        compact = ("--compact", "--passphrase-from", "passphrase", "--no-register")
        run(folder, "backup", key, *compact, "-o", "sheet.pdf")
        save(rendered(folder / "sheet.pdf", 1324), ROOT / "docs/sheet.png", 662, 16)
        scan = damaged(rendered(folder / "sheet.pdf", round(8.27 * DPI)))
        scan.save(folder / "stained.png", dpi=(DPI, DPI))
        run(folder, "check", "stained.png", "--map", "map.png")
        save(Image.open(folder / "map.png"), ROOT / "docs/map.png", 662, 64)


if __name__ == "__main__":
    main()
