"""
The damage map tells what became of each row and symbol at its place; a veiled one shows nothing of
what was printed.
"""

import io
from dataclasses import replace
from functools import cache

import numpy as np
import pypdfium2
import pytest
from pictures import LENGTHS, SIZES, block_box, encoded, plan, printed, rendered, row_box, spoil
from PIL import Image, ImageDraw
from reportlab import rl_config

from paperkey_alt.format.lines import implied_mark
from paperkey_alt.format.recover import Status
from paperkey_alt.reading import damage_map
from paperkey_alt.reading.image import pages

DPI = 200
MADE, PDF = printed(LENGTHS[11.0])
PLAN = plan(MADE)
SHEET = PLAN.sheets[0]
EXACT = {MADE.head: MADE.lines}


def read(picture):
    """The one page of a picture, all of its rows looked at."""
    (page,) = pages.read(encoded(picture, "BMP"), "scan", thorough=True)
    return page


@cache
def whole():
    """What is read of a sheet without any damage."""
    return read(rendered(PDF, DPI))


def statuses(places):
    """What became of each row and symbol."""
    return {("symbol" if place.is_symbol else "row", place.first): place.status for place in places}


def not_fine(places):
    """What became of those that are not fine."""
    return {place: status for place, status in statuses(places).items() if status != Status.FINE}


def box_of_row(number):
    """Where a row is, in pixels."""
    return row_box(PLAN, SHEET.head if number == 0 else SHEET.rows[number - 1], DPI)


def test_a_whole_sheet_is_fine_everywhere():
    """Every row, the head line and every symbol."""
    places = damage_map.examine(rendered(PDF, DPI), whole(), EXACT)
    expected = {("row", number): Status.FINE for number in range(MADE.head.total + 1)}
    expected |= {("symbol", block.first): Status.FINE for block in SHEET.blocks}
    assert statuses(places) == expected


@cache
def damaged():
    """
    A sheet with one row gone, one under a hatching of ink, one with a wrong character, a symbol
    gone and one spoilt; and what is read of it.
    """
    picture = rendered(PDF, DPI).copy()
    pen = ImageDraw.Draw(picture)
    picture.paste(255, box_of_row(4))
    left, top, right, bottom = box_of_row(9)
    for x in range(left, right, 8):
        pen.line((x, top, x + 20, bottom), fill=0, width=4)
    left, top, right, bottom = box_of_row(20)
    pen.rectangle((left + 220, top - 2, left + 235, bottom), fill=0)
    gone, spoilt = (block_box(PLAN, block, DPI) for block in SHEET.blocks[:2])
    picture.paste(255, gone)
    for x in range(spoilt[0], spoilt[2], 27):
        pen.rectangle((x, spoilt[1], x + 10, spoilt[3]), fill=0)
    return picture, read(picture)


DAMAGED = {
    ("row", 4): Status.MISSING,
    ("row", 9): Status.WRONG,
    ("row", 20): Status.MENDED,
    ("symbol", SHEET.blocks[0].first): Status.MISSING,
    ("symbol", SHEET.blocks[1].first): Status.WRONG,
}


@pytest.mark.long
def test_each_status_at_its_place():
    """Missing, wrong and mended rows, missing and wrong symbols; everything else is fine."""
    picture, page = damaged()
    assert not_fine(damage_map.examine(picture, page, EXACT)) == DAMAGED


@pytest.mark.long
def test_the_set_need_not_be_known():
    """Where no set is known in full, what a row's own check says decides."""
    picture, page = damaged()
    assert not_fine(damage_map.examine(picture, page, {})) == DAMAGED


def test_a_row_that_says_something_else_is_not_fine():
    """What is known in full from elsewhere decides, not the row's own check."""
    other = (MADE.lines[1], MADE.lines[0], *MADE.lines[2:])
    places = damage_map.examine(rendered(PDF, DPI), whole(), {MADE.head: other})
    assert not_fine(places) == {("row", 1): Status.WRONG, ("row", 2): Status.WRONG}


@pytest.mark.long
def test_a_symbol_that_took_effort_is_mended():
    """A symbol that is read only because the others say where it is, is told from a fine one."""
    picture = rendered(PDF, DPI).copy()
    spoil(picture, block_box(PLAN, SHEET.blocks[2], DPI, room=4))
    places = damage_map.examine(picture, read(picture), EXACT)
    assert not_fine(places) == {("symbol", SHEET.blocks[2].first): Status.MENDED}


def test_without_a_sheet_nothing_is_mapped():
    """A page on which no sheet lies has no places."""
    blank = Image.new("L", (900, 1200), 255)
    assert damage_map.examine(blank, read(blank), EXACT) == ()


def test_symbols_are_mapped_where_no_sheet_was_found():
    """What was read lies where it was read, whatever is known of the sheet around it."""
    page = replace(whole(), sheets=())
    places = damage_map.examine(rendered(PDF, DPI), page, EXACT)
    assert statuses(places) == {("symbol", block.first): Status.FINE for block in SHEET.blocks}
    for place in places:
        box = block_box(PLAN, next(b for b in SHEET.blocks if b.first == place.first), DPI)
        assert np.abs(place.corners[0] - box[:2]).max() < DPI / 25.4


def test_a_map_without_places_says_so():
    """Instead of the verdict: that the sheet's place was not found; never an empty map."""
    blank = Image.new("L", (1600, 300), 255)

    def legend(places, verdict):
        made = damage_map.draw(blank, places, "title", veil=True, verdict=verdict)
        return np.asarray(made.crop((0, 330, 1600, 370)))

    assert (legend([], "set ABCDE: enough was read") == legend([], "")).all()
    assert (legend([], "") < 128).any()
    assert not (legend([place(Status.FINE)], "") < 128).any()
    assert (legend([place(Status.FINE)], "set ABCDE: enough was read") < 128).any()


def test_places_lie_where_the_picture_shows_them():
    """On a turned picture too, each outline is within a millimetre of where the row was drawn."""
    picture = rendered(PDF, DPI).rotate(90, expand=True)
    width = rendered(PDF, DPI).width
    for place in damage_map.examine(picture, read(picture), EXACT):
        if not place.is_symbol:
            left, top, right, bottom = box_of_row(place.first)
            if place.first == 0 and place.corners[0, 0] > picture.width / 2:
                left, top, right, bottom = row_box(PLAN, SHEET.foot, DPI)
            true = [
                (top, width - left),
                (top, width - right),
                (bottom, width - right),
                (bottom, width - left),
            ]
            assert np.abs(place.corners - true).max() < DPI / 25.4


@pytest.mark.parametrize(
    "kind", [*(pytest.param(kind, marks=pytest.mark.long) for kind in SIZES[:-1]), SIZES[-1]]
)
def test_a_veiled_map_shows_nothing_that_was_printed(kind):
    """Sheets that carry other secrets make the same veiled map."""
    sheets = [rendered(printed(LENGTHS[kind], seed=seed)[1], DPI) for seed in (1, 2)]
    assert np.abs(np.subtract(*(np.asarray(sheet, int) for sheet in sheets))).max() == 255
    one, other = (np.asarray(damage_map.draw(sheet, (), "", veil=True), int) for sheet in sheets)
    assert (one == other).all()


@pytest.mark.long
@pytest.mark.parametrize("veil", [True, False], ids=["veiled", "open"])
def test_a_veiled_map_gives_no_line_and_no_symbol_back(veil):
    """Read as if it were a scan, it yields nothing; the open one still does."""
    places = damage_map.examine(rendered(PDF, DPI), whole(), EXACT)
    drawn = damage_map.draw(rendered(PDF, DPI), places, "title", veil=veil).convert("L")
    scan = encoded(drawn.resize((2480, 3632)), "BMP")
    raw_lines = [line for page in pages.read(scan, "map", thorough=True) for line in page.raw_lines]
    if veil:
        assert raw_lines == []
    else:
        assert len(raw_lines) > 10
        assert any(implied_mark(line.text, line.number) == MADE.head.mark for line in raw_lines)


def place(status, *, is_symbol=False):
    """A place of this status in the middle of a blank picture."""
    corners = np.array([(200.0, 100), (900, 100), (900, 140), (200, 140)])
    return damage_map.MappedPlace(7, 9 if is_symbol else 7, is_symbol, corners, status)


def test_statuses_differ_without_colour():
    """Each status has a pattern of its own: no two look alike in grey."""
    tiles = []
    for status in Status:
        made = damage_map.draw(Image.new("L", (1600, 300), 255), [place(status)], "", veil=False)
        tiles.append(np.asarray(made.convert("L").crop((300, 90, 900, 150))) < 200)
    for at, tile in enumerate(tiles):
        for other in tiles[at + 1 :]:
            assert (tile != other).mean() > 0.02


def test_each_status_has_a_letter_and_a_colour_of_its_own():
    """Fine has none, mended m, wrong w, missing x; every status of a line is in the table."""
    assert {status: look.letter for status, look in damage_map._LOOKS.items()} == {
        Status.FINE: "",
        Status.MENDED: "m",
        Status.WRONG: "w",
        Status.MISSING: "x",
    }
    assert set(damage_map._LOOKS) == set(Status)
    assert len({look.colour for look in damage_map._LOOKS.values()}) == len(Status)


@pytest.mark.parametrize("is_symbol", [False, True], ids=["row", "symbol"])
def test_a_place_has_a_tag_with_its_number(is_symbol):
    """Row and symbol have another tag; a row outside of the picture is passed over."""
    blank = Image.new("L", (1600, 300), 255)
    without = damage_map.draw(blank, [], "", veil=False)
    made = damage_map.draw(blank, [place(Status.WRONG, is_symbol=is_symbol)], "", veil=False)
    (left, top), (right, bottom) = (150, 95), (260, 145)
    tag = np.asarray(made.convert("L").crop((left, top, right, bottom)))
    assert (tag != np.asarray(without.convert("L").crop((left, top, right, bottom)))).any()


def test_the_legend_counts_rows_and_symbols():
    """It is another one for other numbers of places, and the title is in it."""
    blank = Image.new("L", (1700, 300), 255)
    legends = [
        np.asarray(damage_map.draw(blank, places, title, veil=True))[310:]
        for title, places in (
            ("a", [place(Status.FINE)]),
            ("b", [place(Status.FINE)]),
            ("a", [place(Status.FINE)] * 2),
            ("a", [place(Status.FINE, is_symbol=True)]),
        )
    ]
    for at, legend in enumerate(legends):
        for other in legends[at + 1 :]:
            assert (legend != other).any()


@pytest.mark.parametrize("as_text", [0, 1])
def test_maps_are_drawn_beside_sheets(monkeypatch, as_text):
    """Also in a process that has drawn sheets, whose pages are written as bytes."""
    monkeypatch.setattr(rl_config, "useA85", as_text)
    made = [Image.new("RGB", (60, 80), "white")]
    (page,) = pypdfium2.PdfDocument(damage_map.encode(made, pdf=True))
    assert page.render().to_pil().size[0] > 0


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
    with pytest.raises(ValueError, match="too many values"):
        damage_map.encode(made, pdf=False)


@pytest.mark.parametrize("size", [(1, 1), (30, 4000), (5000, 40)])
def test_a_map_of_any_picture(size):
    """However small or narrow, a map is drawn, with its legend in full."""
    for veil in (False, True):
        made = damage_map.draw(Image.new("L", size, 200), (), "narrow", veil=veil)
        assert made.width >= 1600
        assert max(made.width, made.height) <= max(1600, damage_map.SIDE) + 120
