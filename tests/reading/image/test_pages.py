"""Pages of pictures: raw lines from symbols first, from printed rows where these give nothing."""

from functools import cache

import pytest
from pictures import LENGTHS, block_box, encoded, plan, printed, rendered, row_box, sheet, spoil
from PIL import Image, ImageDraw

from paperkey_alt.errors import SourceError
from paperkey_alt.reading.image import locate, pages
from paperkey_alt.reading.image.printed_rows import PrintedRow, PrintedSheet

DPI = 150


def the_set():
    """A set, and its sheet."""
    return printed(LENGTHS[10.4])


@cache
def the_plan():
    """Where everything is on the sheet."""
    return plan(the_set()[0])


def the_blocks():
    """Its symbols."""
    return the_plan().sheets[0].blocks


def every():
    """Its lines by their numbers."""
    made, _ = the_set()
    return {0: made.head_line} | dict(enumerate(made.lines, 1))


def read(picture, *, thorough=False):
    """The one page of a picture."""
    (page,) = pages.read(encoded(picture, "BMP"), "scan", thorough=thorough)
    return page


def told(page):
    """What the raw lines of a page say: sets of numbers and characters."""
    return {(line.number, line.text) for line in page.raw_lines}


def test_symbols_that_are_legible_are_enough():
    """Every line comes from a symbol, once for each, and no row is looked at."""
    page = read(rendered(the_set()[1], DPI))
    assert told(page) == set(every().items())
    assert len(page.blocks) == len(the_blocks())
    assert page.sheets == ()
    assert len(page.raw_lines) == len(the_set()[0].lines) + len(the_blocks())
    assert all((line.place.source, line.place.sheet) == ("scan", 1) for line in page.raw_lines)


@pytest.mark.long
def test_thorough_reading_looks_at_every_row_too():
    """Each line is there from its symbol and from its row, and they say the same."""
    page = read(rendered(the_set()[1], DPI), thorough=True)
    assert told(page) == set(every().items())
    (shown,) = page.sheets
    assert {row.number: row.chosen for row in shown.rows} == every()


def test_rows_stand_in_for_symbols_that_are_gone():
    """With two symbols torn out, their lines come from their rows."""
    picture = rendered(the_set()[1], DPI).copy()
    for block in the_blocks()[1:3]:
        picture.paste(255, block_box(the_plan(), block, DPI))
    page = read(picture)
    assert told(page) == set(every().items())
    assert {block.first for block in page.blocks} == {the_blocks()[0].first}
    (shown,) = page.sheets
    assert {row.number for row in shown.rows} == set(
        range(the_blocks()[1].first, the_blocks()[2].last + 1)
    )


def test_where_marks_and_rows_tell_the_same_place_no_other_is_looked_for(monkeypatch):
    """
    Half of every third row is gone, with half of both head lines and all symbols: the others are
    read, and nothing is tried that could only find a sheet which lies elsewhere.
    """
    made, picture = sheet(13.2, dpi=DPI)
    laid = plan(made)
    shown = laid.sheets[0]
    for row in (shown.head, shown.foot, *shown.rows[::3]):
        left, top, right, bottom = row_box(laid, row, DPI)
        picture.paste(255, ((left + right) // 2, top, right, bottom))
    monkeypatch.setattr(locate, "find_through_lens", lambda *_, **__: pytest.fail("tried"))
    monkeypatch.setattr(locate, "find_on", lambda *_: pytest.fail("tried"))
    whole = {row.number for row in shown.rows} - {row.number for row in shown.rows[::3]}
    assert told(read(picture)) >= {(number, made.lines[number - 1]) for number in whole}


@pytest.mark.parametrize(
    "kind", [13.2, *(pytest.param(kind, marks=pytest.mark.long) for kind in (11.0, 9.6))]
)
@pytest.mark.parametrize("paper", ["a4", pytest.param("letter", marks=pytest.mark.long)])
def test_the_halves_of_a_torn_sheet_give_its_rows(kind, paper):
    """
    Each by itself, without symbols: every row but that which was torn is there under its number,
    and nothing in it mended.
    """
    made, picture = sheet(kind, paper, dpi=200)
    middle = picture.height // 2
    halves = [(0, 0, picture.width, middle), (0, middle, picture.width, picture.height)]
    rows = set(enumerate(made.lines, 1))
    seen = [told(read(picture.crop(half))) & rows for half in halves]
    assert min(map(len, seen)) > len(rows) / 4
    assert len(set.union(*seen)) >= len(rows) - 2


def test_nearly_the_same_rows_must_agree_at_both_places():
    """Three rows at least, and eight of ten of all that agree at one of them."""

    def agreeing(*numbers):
        rows = [
            PrintedRow(number, "A", "A" if number in numbers else None, ("A",))
            for number in range(1, 21)
        ]
        return PrintedSheet(None, tuple(rows))

    cases = (
        ((1, 2, 3), (1, 2, 3), True),
        ((1, 2), (1, 2), False),
        ((1, 2, 3, 4, 5), (1, 2, 3, 4), True),
        ((1, 2, 3, 4, 5, 6), (1, 2, 3, 4), False),
        ((1, 2, 3), (4, 5, 6), False),
    )
    for one, other, same in cases:
        assert pages._say_the_same(agreeing(*one), agreeing(*other)) == same
        assert pages._say_the_same(agreeing(*other), agreeing(*one)) == same


def test_a_symbol_that_is_not_found_is_read_at_its_place():
    """Blurred and grainy, a symbol is not found by itself; the others say where it is."""
    picture = rendered(the_set()[1], 200).copy()
    spoil(picture, block_box(the_plan(), the_blocks()[2], 200, room=4))
    page = read(picture)
    assert {block.first: block.at_ease for block in page.blocks} == {
        block.first: block is not the_blocks()[2] for block in the_blocks()
    }
    assert page.sheets[0].rows == ()
    assert told(page) == set(every().items())


def test_a_row_that_the_check_chose_says_what_it_looks_like():
    """
    Where a row is not what it looks like, the raw line has both: the agreement of its check is
    weaker evidence then.
    """
    made, picture = sheet(10.4, dpi=200)
    row = plan(made).sheets[0].rows[4]
    left, top, _, bottom = row_box(plan(made), row, 200)
    step = 0.6 * plan(made).preset.type_size * 200 / 72
    first, other = (
        picture.crop((round(left + at * step), top, round(left + (at + 1) * step), bottom))
        for at in (6, 7)
    )
    assert made.lines[4][0] != made.lines[4][1]
    picture.paste(Image.blend(first, other.resize(first.size), 0.6), (round(left + 6 * step), top))
    raw_lines = {line.number: line for line in read(picture).raw_lines}
    assert raw_lines[5].text == made.lines[4]
    assert raw_lines[5].seen == made.lines[4][1] + made.lines[4][1:]
    assert all(line.seen is None for number, line in raw_lines.items() if number != 5)


NOTHING = {
    "a pixel": Image.new("L", (1, 1), 255),
    "smaller than any symbol": Image.new("L", (20, 900), 0),
    "blank": Image.new("L", (600, 800), 255),
    "black": Image.new("L", (600, 800), 0),
}


@pytest.mark.long
@pytest.mark.parametrize("thorough", [False, True])
@pytest.mark.parametrize("name", NOTHING)
def test_a_page_with_nothing_on_it_gives_nothing(name, thorough):
    """It is a page all the same, of one."""
    page = read(NOTHING[name], thorough=thorough)
    assert (page.page, page.pages) == (1, 1)
    assert (page.raw_lines, page.blocks, page.sheets) == ((), (), ())


def test_pages_are_numbered_and_read_one_by_one():
    """The second page of two is 2 of 2; a page that is damaged stops the reading there."""
    first, second = rendered(the_set()[1], 100), Image.new("L", (600, 800), 255)
    data = encoded(first, "TIFF", save_all=True, append_images=[second])
    assert [(page.page, page.pages) for page in pages.read(data, "scan", thorough=False)] == [
        (1, 2),
        (2, 2),
    ]
    with pytest.raises(SourceError):
        list(pages.read(data[: len(data) // 2], "scan", thorough=False))


def test_a_stroke_over_rows_and_symbol_is_no_line():
    """Where neither row nor symbol can be read, no check agrees with anything but what is there."""
    picture = rendered(the_set()[1], DPI).copy()
    rows = the_plan().sheets[0].rows[the_blocks()[0].first - 1 : the_blocks()[0].last]
    top = row_box(the_plan(), rows[0], DPI)[1]
    bottom = row_box(the_plan(), rows[-1], DPI)[3]
    ImageDraw.Draw(picture).rectangle((0, top, picture.width, bottom), fill=0)
    page = read(picture)
    chosen = {row.number: row.chosen for shown in page.sheets for row in shown.rows if row.chosen}
    assert chosen.items() <= every().items()
    assert not chosen.keys() & set(range(the_blocks()[0].first, the_blocks()[0].last + 1))
    assert {block.first for block in page.blocks} == {block.first for block in the_blocks()[1:]}
