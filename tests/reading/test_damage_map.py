"""
The damage map tells what became of each row and symbol at its place; a veiled one shows nothing of
what was printed.
"""

import io

import numpy as np
import pypdfium2
import pytest
from pictures import LENGTHS, SIZES, encoded, printed, rendered
from PIL import Image, ImageDraw

from paperkey_alt.format.recover import Status
from paperkey_alt.reading import damage_map
from paperkey_alt.reading.image import pages
from paperkey_alt.sheet import layout

SCALE = 300 / 72
MADE, PDF = printed(LENGTHS[9.8])
PLAN = layout.plan(MADE.head.total, layout.PAPERS["a4"])
EXACT = {MADE.head: MADE.lines}


def examined(picture, exact=None):
    """The one page of a picture, and what is found at each place of it."""
    (part,) = pages.read(encoded(picture), "scan", thorough=True)
    found = damage_map.examine(picture, part, EXACT if exact is None else exact)
    return {("symbol" if one.is_symbol else "row", one.first): one.status for one in found}, found


def row_box(number):
    """Where a row is, in pixels."""
    row = PLAN.sheets[0].head if number == 0 else PLAN.sheets[0].rows[number - 1]
    size = PLAN.preset.type_size
    width = layout.row_width(PLAN.preset)
    return tuple(
        round(value * SCALE)
        for value in (row.x, row.baseline - 0.75 * size, row.x + width, row.baseline + 0.25 * size)
    )


def test_a_whole_sheet_is_fine_everywhere():
    """Every row, the head line and every symbol."""
    states, _ = examined(rendered(PDF))
    expected = {("row", number): Status.FINE for number in range(MADE.head.total + 1)}
    expected |= {("symbol", block.first): Status.FINE for block in PLAN.sheets[0].blocks}
    assert states == expected


def damaged():
    """
    A sheet with one row gone, one under a hatching of ink, one with a wrong character, a symbol
    gone and one spoilt.
    """
    picture = rendered(PDF).copy()
    pen = ImageDraw.Draw(picture)
    picture.paste(255, row_box(4))
    left, top, right, bottom = row_box(9)
    for x in range(left, right, 12):
        pen.line((x, top, x + 30, bottom), fill=0, width=6)
    left, top, right, bottom = row_box(20)
    pen.rectangle((left + 330, top - 2, left + 352, bottom), fill=0)
    for block, spoil in zip(PLAN.sheets[0].blocks[:2], (255, None), strict=True):
        box = [
            round(value * SCALE)
            for value in (
                block.x,
                block.y,
                block.x + PLAN.preset.symbol,
                block.y + PLAN.preset.symbol,
            )
        ]
        if spoil is not None:
            picture.paste(spoil, tuple(box))
        else:
            for x in range(box[0], box[2], 40):
                pen.rectangle((x, box[1], x + 15, box[3]), fill=0)
    return picture


def test_each_state_at_its_place():
    """
    Missing, unreadable and mended rows, missing and unreadable symbols; everything else is fine.
    """
    states, _ = examined(damaged())
    blocks = PLAN.sheets[0].blocks
    expected = {
        ("row", 4): Status.MISSING,
        ("row", 9): Status.WRONG,
        ("row", 20): Status.MENDED,
        ("symbol", blocks[0].first): Status.MISSING,
        ("symbol", blocks[1].first): Status.WRONG,
    }
    assert {key: state for key, state in states.items() if state is not Status.FINE} == expected


def test_a_row_that_says_something_else_is_not_fine():
    """What is known in full from elsewhere decides, not the row's own check."""
    other = (MADE.lines[1], MADE.lines[0], *MADE.lines[2:])
    states, _ = examined(rendered(PDF), {MADE.head: other})
    assert [key for key, state in states.items() if state is not Status.FINE] == [
        ("row", 1),
        ("row", 2),
    ]


def test_places_lie_where_the_picture_shows_them():
    """On a turned picture too, each outline is within a millimetre of where the row was drawn."""
    _, found = examined(rendered(PDF).rotate(90, expand=True))
    width = rendered(PDF).width
    for one in found:
        if not one.is_symbol:
            left, top, right, bottom = row_box(one.first)
            true = [
                (top, width - left),
                (top, width - right),
                (bottom, width - right),
                (bottom, width - left),
            ]
            assert np.abs(one.corners - true).max() < 12


@pytest.mark.parametrize("kind", SIZES)
def test_a_veiled_map_shows_nothing_that_was_printed(kind):
    """Sheets that carry other secrets make the same veiled map."""
    sheets = [rendered(printed(LENGTHS[kind], seed=seed)[1]) for seed in (1, 2)]
    assert np.abs(np.subtract(*(np.asarray(sheet, int) for sheet in sheets))).max() == 255
    one, other = (np.asarray(damage_map.draw(sheet, (), "", veil=True), int) for sheet in sheets)
    assert (one == other).all()


def test_a_veiled_map_gives_no_line_and_no_symbol_back():
    """Read as if it were a scan, it yields nothing; the open one still does."""
    _, found = examined(rendered(PDF))
    veiled, open_ = (
        damage_map.draw(rendered(PDF), found, "title", veil=veil) for veil in (True, False)
    )
    read = [
        part
        for made in (veiled, open_)
        for part in pages.read(
            encoded(made.convert("L").resize((2480, 3632))), "map", thorough=True
        )
    ]
    assert read[0].raw_lines == ()
    assert len(read[1].raw_lines) > 10


def test_states_differ_without_colour():
    """Each state has a pattern of its own: no two look alike in grey."""
    tiles = []
    for status in Status:
        one = damage_map.MappedPlace(
            7,
            7,
            is_symbol=False,
            corners=np.array([(200.0, 100), (900, 100), (900, 140), (200, 140)]),
            status=status,
        )
        made = damage_map.draw(Image.new("L", (1600, 300), 255), [one], "", veil=False)
        tiles.append(np.asarray(made.convert("L").crop((300, 90, 900, 150))) < 200)
    for at, tile in enumerate(tiles):
        for other in tiles[at + 1 :]:
            assert (tile != other).mean() > 0.02


def test_maps_are_a_png_or_a_pdf():
    """One as a PNG, several as pages of a PDF; no metadata tells where they come from."""
    made = [
        damage_map.draw(Image.new("L", (600, 800), 255), (), f"page {number}", veil=True)
        for number in (1, 2)
    ]
    with Image.open(io.BytesIO(damage_map.encode(made[:1], pdf=False))) as picture:
        assert picture.size == made[0].size
        assert picture.info == {}
    document = pypdfium2.PdfDocument(damage_map.encode(made, pdf=True))
    assert len(document) == 2
    assert (
        "CreationDate" not in document.get_metadata_dict()
        or "2026" not in document.get_metadata_dict()["CreationDate"]
    )
