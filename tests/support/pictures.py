"""Sheets as pictures, and what happens to them."""

import datetime as dt
import io
import random
from functools import cache, lru_cache

import numpy as np
import pypdfium2
from PIL import Image, ImageDraw, ImageFilter

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.recover import recover
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.reading import sources
from paperkey_alt.sheet import draw, layout
from paperkey_alt.sheet.caption import Caption

WORDS = Caption(
    "A title",
    "Saltmarrow Buoy Keepers",
    "5A2B" * 10,
    dt.date(2026, 11, 25),
    (),
    ("How to restore.",),
    ("How to keep.",),
)
# Bytes that make a sheet in each of the four sizes of type, and one that makes two sheets.
LENGTHS = {11.5: 520, 9.8: 660, 9.4: 750, 7.8: 1440, "two sheets": 2755}
SIZES = [kind for kind in LENGTHS if kind != "two sheets"]


@cache
def printed(length, paper="a4", seed=0):
    """A set and its sheets."""
    made = lay_out(random.Random(length + seed).randbytes(length), spare_count(-(-length // 15)))
    return made, draw.draw(made, WORDS, paper=layout.PAPERS[paper])


@lru_cache(8)
def rendered(pdf, dpi=300, page=0):
    """A page as a grey picture."""
    return (
        pypdfium2.PdfDocument(pdf)[page]
        .render(scale=dpi / 72, grayscale=True)
        .to_pil()
        .convert("L")
    )


def sheet(kind, paper="a4", dpi=300, page=0):
    """
    A set and one of its sheets, the QR symbols blacked out, so that its rows alone can be read.
    """
    made, pdf = printed(LENGTHS[kind], paper)
    plan = layout.plan(made.head.total, layout.PAPERS[paper])
    picture = rendered(pdf, dpi, page).copy()
    for block in plan.sheets[page].blocks:
        box = (
            block.x - 3,
            block.y - 3,
            block.x + plan.preset.symbol + 3,
            block.y + plan.preset.symbol + 3,
        )
        ImageDraw.Draw(picture).rectangle([value * dpi / 72 for value in box], fill=0)
    return made, picture


def encoded(picture, kind="PNG", **options):
    """A picture as a file."""
    target = io.BytesIO()
    picture.save(target, kind, **options)
    return target.getvalue()


def scanned(picture, seed, *, skew=0.0, blur=0.0, noise=0.0):
    """A picture as a scanner that is not quite straight, sharp and clean gives it."""
    turned = picture.rotate(skew, Image.Resampling.BICUBIC, expand=True, fillcolor=255).filter(
        ImageFilter.GaussianBlur(blur)
    )
    grain = np.random.default_rng(seed).normal(0, noise, (turned.height, turned.width))
    return Image.fromarray(np.clip(np.asarray(turned, float) + grain, 0, 255).astype(np.uint8))


def parts(picture, *, thorough=False):
    """What a picture gives."""
    return list(sources.read(encoded(picture), "scan.png", thorough=thorough))


def found(picture):
    """The sets on a picture."""
    return recover([one for part in parts(picture) for one in part.raw_lines]).sets
