"""
What is read from pages that other packages have damaged: ``python tests/bench/foreign_damage.py
[SEEDS] [--text-only] [--tesseract] [CONDITION...]``.

Beside the conditions of `scan_matrix`, which are our own, stand those that general packages make of
the same sheets, whichever of them are installed: opencv, albumentations, augraphy and ImageMagick.
Each is tried with so many seeds, with the QR symbols and without. With --tesseract the same pages
are read by tesseract, if it is installed, and by our reader of text, for comparison. A page
restores when the digest agrees; a wrong body would be counted.
"""

import argparse
import io
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import scan_matrix
from PIL import Image, ImageOps

from paperkey_alt.errors import PaperError
from paperkey_alt.format.recover import recover
from paperkey_alt.reading import sources
from paperkey_alt.reading.text import typed

DPI = 300


def by_opencv():  # noqa: C901, PLR0915 - a table of conditions, each a few rows
    """Conditions made with opencv: a name and a function of pixels and a generator."""
    import cv2  # noqa: PLC0415 - not installed everywhere

    def motion(length):
        def blurred(pixels, rng):
            kernel = np.zeros((length, length), np.float32)
            kernel[length // 2] = 1 / length
            turn = cv2.getRotationMatrix2D((length / 2 - 0.5,) * 2, rng.uniform(0, 180), 1)
            return cv2.filter2D(pixels, -1, cv2.warpAffine(kernel, turn, (length, length)))

        return blurred

    def slanted(share):
        def taken(pixels, rng):
            high, wide = pixels.shape
            corners = np.array([(0, 0), (wide, 0), (wide, high), (0, high)], np.float32)
            moved = corners + rng.uniform(0, share, (4, 2)).astype(np.float32) * (
                (wide, high) * np.sign((wide / 2, high / 2) - corners)
            ).astype(np.float32)
            matrix = cv2.getPerspectiveTransform(corners, moved)
            return cv2.warpPerspective(pixels, matrix, (wide, high), borderValue=70)

        return taken

    def waved(depth):
        def bent(pixels, rng):
            high, wide = pixels.shape
            across, down = np.meshgrid(
                np.arange(wide, dtype=np.float32), np.arange(high, dtype=np.float32)
            )
            phase = rng.uniform(0, 6)
            moved = down + depth * np.sin(across / wide * 4 + phase).astype(np.float32)
            return cv2.remap(pixels, across, moved, cv2.INTER_LINEAR, borderValue=255)

        return bent

    def adaptive(window):
        return lambda pixels, _: cv2.adaptiveThreshold(
            pixels, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, 10
        )

    def morphed(operation, size):
        kernel = np.ones((size, size), np.uint8)
        return lambda pixels, _: operation(pixels, kernel)

    def smaller(dpi):
        return lambda pixels, _: cv2.resize(
            pixels, None, fx=dpi / DPI, fy=dpi / DPI, interpolation=cv2.INTER_AREA
        )

    def compressed(quality):
        def jpeg(pixels, _):
            data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
            return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)

        return jpeg

    def contrasted(ink, paper):
        return lambda pixels, _: (ink + pixels.astype(np.float32) * (paper - ink) / 255).astype(
            np.uint8
        )

    def salted(share):
        def with_specks(pixels, rng):
            specks = rng.random(pixels.shape)
            return np.where(specks < share, 0, np.where(specks > 1 - share, 255, pixels)).astype(
                np.uint8
            )

        return with_specks

    def turned(most):
        def askew(pixels, rng):
            high, wide = pixels.shape
            matrix = cv2.getRotationMatrix2D((wide / 2, high / 2), rng.uniform(-most, most), 0.8)
            return cv2.warpAffine(pixels, matrix, (wide, high), borderValue=230)

        return askew

    def sunk(depth):
        def at_spine(pixels, _):
            # Towards the left edge the paper falls away: narrower, darker, and seen from above.
            high, wide = pixels.shape
            steep = np.exp(-np.arange(wide) / (0.09 * wide))
            along = np.cumsum(1 + steep * depth / 75)
            across = np.broadcast_to(along / along[-1] * (wide - 1), pixels.shape)
            beneath = np.arange(high)[:, None]
            down = beneath - depth * steep * (2 * beneath / high - 1)
            seen = cv2.remap(
                pixels, np.float32(across), np.float32(down), cv2.INTER_LINEAR, borderValue=255
            )
            return (seen * (1 - 0.6 * steep)).astype(np.uint8)

        return at_spine

    def torn_in_two(pixels, rng):
        # Laid together again, 3 mm and 1.5° beside where it was.
        high, wide = pixels.shape
        ragged = np.cumsum(rng.normal(0, 3, wide))
        is_upper = np.arange(high)[:, None] < 0.45 * high + (ragged - ragged.mean()) / 2
        matrix = cv2.getRotationMatrix2D((wide / 2, 0.45 * high), 1.5, 1)
        matrix[:, 2] += (20, 35)
        lower = np.where(is_upper, 255, pixels).astype(np.uint8)
        moved = cv2.warpAffine(lower, matrix, (wide, high), borderValue=255)
        return np.minimum(np.where(is_upper, pixels, 255), moved).astype(np.uint8)

    return {
        **{f"motion blur {length}": motion(length) for length in (5, 9, 13)},
        **{f"aslant {share}": slanted(share) for share in (0.05, 0.12)},
        **{f"waves of {depth}": waved(depth) for depth in (10, 25)},
        **{f"spine sunk by {depth}": sunk(depth) for depth in (40, 90)},
        "torn in two": torn_in_two,
        **{f"adaptive threshold {window}": adaptive(window) for window in (15, 31, 101)},
        "thinned print": morphed(cv2.dilate, 3),
        "bold print": morphed(cv2.erode, 3),
        **{f"{dpi} dpi by area": smaller(dpi) for dpi in (200, 150)},
        **{f"JPEG {quality}": compressed(quality) for quality in (30, 10)},
        "contrast of 20 %": contrasted(190, 238),
        "dark and flat": contrasted(20, 90),
        **{f"specks {share}": salted(share) for share in (0.01, 0.04)},
        **{f"turned up to {most}°": turned(most) for most in (3, 20, 180)},
        "inverted": lambda pixels, _: 255 - pixels,
        "mirrored": lambda pixels, _: pixels[:, ::-1].copy(),
        "median 5": lambda pixels, _: cv2.medianBlur(pixels, 5),
        "bilateral": lambda pixels, _: cv2.bilateralFilter(pixels, 9, 75, 75),
        "CLAHE": lambda pixels, _: cv2.createCLAHE(4, (8, 8)).apply(pixels),
    }


def by_albumentations():
    """Conditions made with albumentations."""
    import albumentations as package  # noqa: PLC0415 - not installed everywhere

    chosen = {
        "elastic": ("ElasticTransform", {"alpha": 60, "sigma": 12}),
        "grid distortion": ("GridDistortion", {"distort_limit": 0.05}),
        "optical distortion": ("OpticalDistortion", {"distort_limit": 0.15}),
        "shadow": ("RandomShadow", {}),
        "fog": ("RandomFog", {}),
        "sun flare": ("RandomSunFlare", {}),
        "rain": ("RandomRain", {}),
        "spatter": ("Spatter", {}),
        "multiplicative noise": ("MultiplicativeNoise", {"per_channel": False}),
        "shot noise": ("ShotNoise", {}),
        "downscaled": ("Downscale", {"scale_range": (0.5, 0.6)}),
        "defocus": ("Defocus", {"radius": (3, 4)}),
        "zoom blur": ("ZoomBlur", {"max_factor": (1.005, 1.01)}),
        "glass blur": ("GlassBlur", {"sigma": 0.7, "max_delta": 2, "iterations": 1}),
        "dropout": ("CoarseDropout", {"num_holes_range": (5, 9)}),
        "pixel dropout": ("PixelDropout", {"dropout_prob": 0.05}),
        "posterised": ("Posterize", {"num_bits": 2}),
        "sharpened": ("Sharpen", {}),
        "ringing": ("RingingOvershoot", {}),
        "plasma shadow": ("PlasmaShadow", {}),
        "gamma": ("RandomGamma", {"gamma_limit": (30, 300)}),
    }

    def transformed(name, options):
        def apply(pixels, rng):
            transform = package.Compose(
                [getattr(package, name)(p=1, **options)], seed=int(rng.integers(1 << 31))
            )
            colour = np.repeat(pixels[..., None], 3, axis=2)
            return np.asarray(Image.fromarray(transform(image=colour)["image"]).convert("L"))

        return apply

    return {
        title: transformed(name, options)
        for title, (name, options) in chosen.items()
        if hasattr(package, name)
    }


def by_augraphy():
    """Conditions made with augraphy."""
    import augraphy as package  # noqa: PLC0415 - not installed everywhere

    names = (
        *("BadPhotoCopy", "DirtyDrum", "DirtyRollers", "Faxify", "Folding", "InkBleed"),
        *("LowInkRandomLines", "LowInkPeriodicLines", "Letterpress", "ShadowCast"),
        *("BrightnessTexturize", "NoiseTexturize", "PageBorder", "BleedThrough", "Dithering"),
        *("LightingGradient", "SubtleNoise", "WaterMark", "ReflectedLight", "Geometric"),
    )

    def augmented(name):
        def apply(pixels, rng):
            # What that package uses.
            random.seed(seed := int(rng.integers(1 << 31)))
            np.random.seed(seed)  # noqa: NPY002
            made = getattr(package, name)(p=1)(np.repeat(pixels[..., None], 3, axis=2))
            return np.asarray(Image.fromarray(np.asarray(made, np.uint8)).convert("L"))

        return apply

    return {f"augraphy {name}": augmented(name) for name in names if hasattr(package, name)}


def by_imagemagick():
    """Conditions made with ImageMagick."""
    program = shutil.which("magick") or shutil.which("convert", path="/usr/bin")
    if program is None:
        raise ImportError(name="ImageMagick")

    def converted(*options):
        def apply(pixels, rng):
            data = io.BytesIO()
            Image.fromarray(pixels).save(data, "BMP")
            seed = ("-seed", str(int(rng.integers(1 << 31))))
            done = subprocess.run(
                [program, "bmp:-", *seed, *options, "pgm:-"],
                input=data.getvalue(),
                capture_output=True,
                check=True,
            )
            return np.asarray(Image.open(io.BytesIO(done.stdout)).convert("L"))

        return apply

    return {
        "barrel": converted("-virtual-pixel", "White", "-distort", "Barrel", "0 0 -0.06"),
        "pincushion": converted("-virtual-pixel", "White", "-distort", "Barrel", "0 0 0.05"),
        "swirl": converted("-background", "white", "-swirl", "4"),
        "wave": converted("-background", "white", "-wave", "8x900"),
        "monochrome": converted("-monochrome"),
        "ordered dither": converted("-ordered-dither", "o4x4"),
        "posterised to 4": converted("-posterize", "4"),
        "impulse noise": converted("-attenuate", "0.4", "+noise", "Impulse"),
        "Laplacian noise": converted("-attenuate", "0.8", "+noise", "Laplacian"),
        "despeckled": converted("-despeckle", "-despeckle"),
        "radial blur": converted("-rotational-blur", "0.15"),
        "vignette": converted("-background", "black", "-vignette", "0x300"),
        "local threshold": converted("-lat", "25x25-5%"),
        "spread": converted("-spread", "2"),
    }


PACKAGES = (by_opencv, by_albumentations, by_augraphy, by_imagemagick)


def conditions():
    """Every condition of the packages that are installed."""
    made = {}
    for package in PACKAGES:
        try:
            made.update(package())
        except ImportError as error:
            print(f"without {error.name}", file=sys.stderr)
    return made


def body_of(raw_lines, true):
    """Whether the body comes back, and whether another one does."""
    try:
        bodies = [finding.body for finding in recover(raw_lines).sets]
    except PaperError:
        bodies = []
    return true in bodies, any(body not in (None, true) for body in bodies)


def by_tesseract(picture):
    """The lines that a general program for reading text gives, read as typed text."""
    with tempfile.NamedTemporaryFile(suffix=".png") as target:
        picture.save(target.name)
        done = subprocess.run(
            ["tesseract", target.name, "-", "--psm", "6"],
            capture_output=True,
            text=True,
            check=False,
            env={"OMP_THREAD_LIMIT": "1", **scan_matrix.PATH},
        )
    return typed.read(done.stdout, "ocr")


def main():
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("seeds", type=int, nargs="?", default=3)
    parser.add_argument("conditions", nargs="*")
    parser.add_argument("--text-only", action="store_true")
    parser.add_argument("--tesseract", action="store_true")
    parser.add_argument("--keep", help="a folder for the pages that do not restore")
    given = parser.parse_args()
    every = conditions()
    names = given.conditions or list(every)
    ways = (True,) if given.text_only else (False, True)
    print(f"{len(names)} conditions, {given.seeds} seeds each\n")
    print(f"{'condition':<28}{'QR, text':>10}{'text':>8}{'wrong':>8}{'s':>7}{'tesseract':>12}")
    totals = {True: 0, False: 0}
    for name in names:
        restored, wrong, others, seconds = {True: 0, False: 0}, 0, 0, 0.0
        for seed in range(given.seeds):
            page = scan_matrix.page(seed)
            for blacked_out in ways:
                clean = scan_matrix.rendered(page, DPI, blacked_out=blacked_out)
                rng = np.random.default_rng(seed)
                picture = Image.fromarray(every[name](np.asarray(clean), rng))
                data = io.BytesIO()
                picture.save(data, "BMP")
                start = time.process_time()
                raw_lines = [
                    line for part in sources.read(data.getvalue(), name) for line in part.raw_lines
                ]
                seconds = max(seconds, time.process_time() - start)
                is_back, is_wrong = body_of(raw_lines, page.body)
                restored[blacked_out] += is_back
                wrong += is_wrong
                if given.keep and not is_back:
                    kept = f"{name}-{seed}-{'text' if blacked_out else 'QR'}.png"
                    ImageOps.exif_transpose(picture).save(Path(given.keep) / kept)
                if given.tesseract and blacked_out:
                    others += body_of(by_tesseract(picture), page.body)[0]
        for way in ways:
            totals[way] += restored[way]
        cells = (
            "" if given.text_only else restored[False],
            restored[True],
            wrong,
            f"{seconds:.1f}",
            others if given.tesseract else "",
        )
        print(
            f"{name:<28}"
            + "".join(f"{c:>{w}}" for c, w in zip(cells, (10, 8, 8, 7, 12), strict=True)),
            flush=True,
        )
    most = len(names) * given.seeds
    print(f"\nwith symbols {totals[False]} of {most}, text only {totals[True]} of {most}")


if __name__ == "__main__":
    sys.exit(main())
