"""
What PDFium finds on a drawn sheet: nothing runs into anything else, and every QR symbol stands in
white.
"""

import ctypes
import datetime as dt
import random
from itertools import combinations, pairwise

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from paperkey_alt.format.head_line import Share
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import Lean, SecretPart
from paperkey_alt.keys import Extract
from paperkey_alt.sheet import draw, layout, words
from paperkey_alt.sheet.caption import Caption

pytestmark = pytest.mark.usefixtures("symbols_once")
TODAY = dt.date(2026, 11, 25)
BY_NAME = {"ids": lambda paper: paper.name}
# ISO/IEC 18004, "Quiet zone": four modules wide on all sides (from memory).
QUIET_MODULES = 4
# PDFium gives the box of a stroked path half a line width or more too large on each side.
STROKE = 0.5


def page_objects(pdf):
    """The kind and the box (left, bottom, right, top) of everything that is drawn, page by page."""
    for page in pypdfium2.PdfDocument(pdf):
        yield [(drawn.type, drawn.get_bounds(), drawn) for drawn in page.get_objects()]


def drawn_sheets(total, paper, *, share=None, **caption):
    """The pages of a set of *total* lines, 4 of them spare."""
    texts = {
        "title": "A title",
        "user_id": "Saltmarrow Buoy Keepers",
        "fingerprint": "5A2B" * 10,
        "date": TODAY,
    }
    words_for_it = Caption(
        **texts | {"notes": (), "recipe": ("How.",), "cautions": ("What.",)} | caption
    )
    body = random.Random(total).randbytes(15 * (total - 4))
    return page_objects(draw.draw(lay_out(body, 4, share=share), words_for_it, paper=paper))


def symbols(page, side):
    """The box and the module of each QR symbol on a page; *side* is how large they are."""
    for kind, box, drawn in page:
        if (
            kind == pdfium.FPDF_PAGEOBJ_PATH
            and abs(box[2] - box[0] - side) < 0.1
            and abs(box[3] - box[1] - side) < 0.1
        ):
            yield box, module(drawn.raw)


def module(path):
    """The height of the flattest row of a path."""
    heights = set()
    for at in range(pdfium.FPDFPath_CountSegments(path)):
        x, y = ctypes.c_float(), ctypes.c_float()
        pdfium.FPDFPathSegment_GetPoint(pdfium.FPDFPath_GetPathSegment(path, at), x, y)
        heights.add(round(y.value, 2))
    ordered = sorted(heights)
    return min(upper - lower for lower, upper in pairwise(ordered))


def meet(one, other, slack=0.0):
    """Whether two boxes share more than *slack*."""
    return all(one[at] + slack < other[at + 2] and other[at] + slack < one[at + 2] for at in (0, 1))


@pytest.mark.parametrize("paper", layout.PAPERS.values(), **BY_NAME)
@pytest.mark.parametrize(
    "total",
    [
        pytest.param(total, marks=[pytest.mark.long] * (total not in (5, 56, 64, 121)))
        for total in (5, 13, 37, 49, 56, 57, 64, 65, 73, 97, 121, 145, 241)
    ],
)
def test_every_symbol_stands_in_white(total, paper):
    """
    Four modules of the symbol itself, however few lines it carries: a short block has larger
    modules than a full one.
    """
    preset = layout.plan(total, paper).preset
    counted = 0
    for page in drawn_sheets(total, paper):
        for box, side in symbols(page, preset.symbol):
            quiet = QUIET_MODULES * side - 0.1
            zone = (box[0] - quiet, box[1] - quiet, box[2] + quiet, box[3] + quiet)
            assert [other for _, other, _ in page if other != box and meet(zone, other)] == []
            counted += 1
    assert counted == sum(len(sheet.blocks) for sheet in layout.plan(total, paper).sheets)


CROWDED = {
    "the longest title": {"title": "OpenPGP key, compact, protected by its own passphrase"},
    "a share of a version 6 key": {
        "fingerprint": "AB12" * 16,
        "share": Share(16, 16, 16, int("10110" * 5, 2)),
    },
    "a long user ID": {"user_id": "Saltmarrow Buoy Keepers, the Lantern Office " * 9},
}


@pytest.mark.parametrize("paper", layout.PAPERS.values(), **BY_NAME)
@pytest.mark.parametrize(
    "total", [48, 64, *(pytest.param(total, marks=pytest.mark.long) for total in (56, 1023))]
)
@pytest.mark.parametrize("what", CROWDED)
def test_nothing_runs_into_anything_else(what, total, paper):
    """
    Words, rows, the frames of spare lines and the symbols keep apart, in every preset, with the
    longest words there are.
    """
    page = list(drawn_sheets(total, paper, **CROWDED[what]))[-1]
    texts = [box for kind, box, _ in page if kind == pdfium.FPDF_PAGEOBJ_TEXT]
    paths = [box for kind, box, _ in page if kind == pdfium.FPDF_PAGEOBJ_PATH]
    assert [pair for pair in combinations(texts, 2) if meet(*pair)] == []
    assert [pair for pair in combinations(paths, 2) if meet(*pair, slack=STROKE)] == []
    assert all(box[0] >= layout.EDGE and box[2] <= paper.width - layout.EDGE for box in texts)


def side_by_side(texts):
    """The least distance between two texts that stand at one height."""
    pairs = (
        sorted(pair)
        for pair in combinations(texts, 2)
        if pair[0][1] < pair[1][3] and pair[1][1] < pair[0][3]
    )
    return min(right[0] - left[2] for left, right in pairs)


@pytest.mark.parametrize("paper", layout.PAPERS.values(), **BY_NAME)
@pytest.mark.parametrize("what", CROWDED)
def test_words_side_by_side_are_told_apart(what, paper):
    """Ten points at the least between the words left and right in the head of a sheet."""
    (page,) = drawn_sheets(48, paper, **CROWDED[what])
    head = paper.height - layout.MARGIN_ENDS - layout.HEAD_HEIGHT + 20
    assert (
        side_by_side(
            [box for kind, box, _ in page if kind == pdfium.FPDF_PAGEOBJ_TEXT and box[1] > head]
        )
        >= 10
    )


@pytest.mark.parametrize("paper", layout.PAPERS.values(), **BY_NAME)
def test_a_caution_is_never_shortened(paper):
    """
    The caution of a clock that stands wrong is printed to its end; one that has no room is an error
    of ours.
    """
    line_set = lay_out(b"x" * 300, 4)
    created = dt.datetime(2026, 11, 25, 8, tzinfo=dt.UTC)
    subject = Extract(
        Lean((SecretPart(bytes(20), b"x"),)),
        "OpenPGP key",
        None,
        "AB" * 20,
        created,
        protected=True,
    )
    caption = words.caption(
        subject,
        line_set,
        sheets=1,
        now=dt.datetime(1970, 1, 2, tzinfo=dt.UTC),
        anonymous=False,
    )
    (page,) = pypdfium2.PdfDocument(draw.draw(line_set, caption, paper=paper))
    assert caption.notes[0] in page.get_textpage().get_text_bounded()
    with pytest.raises(draw.TextTooLong):
        list(drawn_sheets(48, paper, notes=("A caution.",) * 20))
    with pytest.raises(draw.TextTooLong):
        list(drawn_sheets(48, paper, title="A title " * 20))
