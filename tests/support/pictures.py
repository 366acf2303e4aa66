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
# Bytes that make an A4 sheet in each size of type, and some that make two sheets.
SIZES = (11.0, 13.2, 13.0, 10.4, 9.6, 7.9, 7.7)
LENGTHS = {
    **dict(zip(SIZES, (520, 280, 420, 660, 750, 1140, 1440), strict=True)),
    "two sheets": 2755,
}


@cache
def printed(length, paper="a4", seed=0):
    """A set and its sheets; drawn once."""
    made = lay_out(random.Random(length + seed).randbytes(length), spare_count(-(-length // 15)))
    return made, draw.draw(made, WORDS, paper=layout.PAPERS[paper])


@lru_cache(16)
def rendered(pdf, dpi=300, page=0, crop=(0, 0, 0, 0)):
    """
    A page as a grey picture, without *crop* of it, in points at its left, foot, right and head;
    shared, so not to be changed.
    """
    bitmap = pypdfium2.PdfDocument(pdf)[page].render(scale=dpi / 72, grayscale=True, crop=crop)
    return bitmap.to_pil().convert("L")


def plan(made, paper="a4"):
    """Where everything is on the sheets of a set."""
    return layout.plan(made.head.total, layout.PAPERS[paper])


def block_box(plan, block, dpi, room=0):
    """Where a symbol is, in pixels, with so much room around it in points."""
    side = plan.preset.symbol
    box = (block.x - room, block.y - room, block.x + side + room, block.y + side + room)
    return tuple(round(value * dpi / 72) for value in box)


def row_box(plan, row, dpi):
    """Where a row is, in pixels."""
    size, width = plan.preset.type_size, layout.row_width(plan.preset)
    box = (row.x, row.baseline - 0.75 * size, row.x + width, row.baseline + 0.25 * size)
    return tuple(round(value * dpi / 72) for value in box)


def sheet(kind, paper="a4", dpi=300, page=0):
    """
    A set and one of its sheets, the QR symbols blacked out, so that its rows alone can be read.
    """
    made, pdf = printed(LENGTHS[kind], paper)
    picture = rendered(pdf, dpi, page).copy()
    layout_ = plan(made, paper)
    for block in layout_.sheets[page].blocks:
        ImageDraw.Draw(picture).rectangle(block_box(layout_, block, dpi, room=3), fill=0)
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
    grain = np.random.default_rng(seed).standard_normal(
        (turned.height, turned.width), dtype=np.float32
    )
    grain *= noise
    grain += np.asarray(turned)
    return Image.fromarray(np.clip(grain, 0, 255).astype(np.uint8))


def spoil(picture, box):
    """Blur a symbol of 200 dpi and cover it with grain, so that it is read only at its place."""
    picture.paste(scanned(picture.crop(box), 1, blur=2.0, noise=100), box[:2])


def pages(picture, *, thorough=False):
    """What a picture gives, as a file of a kind that is written and read in no time."""
    return list(sources.read(encoded(picture, "BMP"), "scan.bmp", thorough=thorough))


def sets(picture):
    """The sets on a picture."""
    return recover([raw_line for page in pages(picture) for raw_line in page.raw_lines]).sets


@cache
def without_head_line():
    """
    A sheet of the largest type at 200 dpi on which neither a symbol nor the head line is legible,
    and what is read of it: that takes a while, and several tests look at it.
    """
    made, picture = sheet(11.0, dpi=200)
    picture.paste(255, (0, 217, picture.width, 284))
    picture.paste(255, row_box(plan(made), plan(made).sheets[0].foot, 200))
    return picture, pages(picture)
