"""Pages without a line 0, read again with the head lines of other pages or of typed lines."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from pictures import LENGTHS, block_box, encoded, plan, printed, rendered, row_box
from PIL import Image, ImageDraw

from paperkey_alt.cli import given_sources
from paperkey_alt.errors import Place
from paperkey_alt.format import recover
from paperkey_alt.reading import sources
from paperkey_alt.reading.image import pages, second_pass
from paperkey_alt.reading.image.locate import LocatedSheet
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.reading.image.printed_rows import PrintedRow, PrintedSheet
from paperkey_alt.reading.image.strips import STRAIGHT
from paperkey_alt.reading.image.symbols import Symbol
from paperkey_alt.reading.page import Page
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import layout

DPI = 200
# Lines of which two sheets are made, of the second of which a third is printed.
SHORT = 1530


@cache
def second_sheet(length):
    """A set of two sheets, and a file of the second without line 0 and symbols."""
    made, pdf = printed(length)
    layout_ = plan(made)
    picture = rendered(pdf, DPI, 1).copy()
    pen = ImageDraw.Draw(picture)
    for block in layout_.sheets[1].blocks:
        pen.rectangle(block_box(layout_, block, DPI, room=3), fill=0)
    for row in (layout_.sheets[1].head, layout_.sheets[1].foot):
        pen.rectangle(row_box(layout_, row, DPI), fill=0)
    return made, encoded(picture, "BMP")


def first_sheet(length):
    """The lines of the first sheet of a set, line 0 too, as they are typed."""
    made, _ = printed(length)
    last = plan(made).sheets[0].rows[-1].number
    return "\n".join(f"{at} {row}" for at, row in enumerate((made.head_line, *made.lines[:last])))


def numbers(read):
    """The numbers of all rows and raw lines of pages."""
    rows = {row.number for page in read for shown in page.sheets for row in shown.rows}
    return rows | {raw_line.number for page in read for raw_line in page.raw_lines}


def agreeing(read):
    """The lines of pages whose rows agree with their checks."""
    rows = (row for page in read for shown in page.sheets for row in shown.rows)
    return {row.number for row in rows if row.chosen}


@pytest.mark.long
def test_a_short_last_sheet_is_found_by_the_number_of_lines():
    """
    On a sheet with rows on its first third alone nothing is found; with the head line from typed
    lines all of its rows are read, and none beyond the set.
    """
    made, data = second_sheet(SHORT)
    raw_lines = typed.read(first_sheet(SHORT), "typed")
    before = replace(NOTHING_FOUND, hints=("Nothing was found.",))
    (page,) = sources.read_again(data, "2.bmp", [before], recover.heads(raw_lines))
    assert page.hints == ()
    assert agreeing([page]) == set(range(97, made.head.total + 1))
    assert max(numbers([page])) == made.head.total
    (finding,) = recover.recover([*page.raw_lines, *raw_lines]).sets
    assert finding.laid_out() == made


@pytest.mark.long
@pytest.mark.parametrize("order", [(0, 1), (1, 0)], ids=["before", "behind"])
def test_a_second_sheet_without_line_0_and_symbols(order):
    """It is read, the first sheet typed before it or behind it; no line beyond the set is named."""
    made, first, second = both_sheets()
    read = [(first, second)[at] for at in order]
    heads = recover.heads([raw_line for page in read for raw_line in page.raw_lines])
    assert heads == (made.head,)
    data = second_sheet(LENGTHS["two sheets"])[1]
    (again,) = sources.read_again(data, "2.bmp", [second], heads)
    assert max(numbers([again])) == made.head.total
    raw_lines = [line for page in (first, again) for line in page.raw_lines]
    (finding,) = recover.recover(raw_lines).sets
    assert finding.laid_out() == made


@cache
def both_sheets():
    """A set; its first sheet as typed lines, and its second as it is read without these."""
    made, data = second_sheet(LENGTHS["two sheets"])
    (first,) = sources.read(first_sheet(LENGTHS["two sheets"]).encode(), "typed")
    (second,) = sources.read(data, "2.bmp")
    return made, first, second


NOTHING_FOUND = Page("2.bmp", 1, 1, ())
MADE, _ = printed(LENGTHS[13.2])
OTHER, _ = printed(LENGTHS[13.2], seed=1)
A4 = layout.PAPERS["a4"]


def shown(agree, *, unclear=(), of=MADE):
    """A sheet with these rows of a set that agree with their checks, and these that do not."""
    preset = plan(MADE).preset
    sheet = layout.sheet(1, preset.lines_a_page, A4, preset)
    rows = [
        PrintedRow(number, text, text if number in agree else None, (text,))
        for number in (*agree, *unclear)
        for text in (of.lines[number - 1] if number in agree else "A" * 29,)
    ]
    scaled = Pose(np.diag([0.1, 0.1, 1]))
    return PrintedSheet(LocatedSheet(A4, preset, sheet, scaled, STRAIGHT, None, ()), tuple(rows))


def read_again(sheet, heads):
    """What is named of a page with this sheet on it, when *heads* are known."""
    data = encoded(Image.new("L", (100, 140), 255), "BMP")
    raw_lines = tuple(pages.raw_lines((), (sheet,), Place(source="s.bmp")))
    before = Page("s.bmp", 1, 1, raw_lines, (), (sheet,))
    return numbers(sources.read_again(data, "s.bmp", [before], heads))


TOTAL = MADE.head.total
NEARLY_ALL = tuple(range(1, TOTAL))
SHEETS = {
    # What is read, the heads that are known, and the numbers that are named then.
    "a row beyond the set": (shown(NEARLY_ALL, unclear=(TOTAL + 1,)), [MADE.head], {*NEARLY_ALL}),
    "unclear rows alone": (shown((), unclear=(TOTAL, TOTAL + 1)), [MADE.head], {TOTAL}),
    "a forged head of fewer lines": (
        shown(NEARLY_ALL, unclear=(TOTAL + 1,)),
        [replace(MADE.head, spare_lines=0), MADE.head],
        {*NEARLY_ALL},
    ),
    "another set": (
        shown(NEARLY_ALL, unclear=(TOTAL + 1,)),
        [OTHER.head],
        {*NEARLY_ALL, TOTAL + 1},
    ),
}


@pytest.mark.parametrize("name", SHEETS)
def test_no_line_beyond_the_set_is_named(name):
    """
    Rows beyond the lines of a known set go where the others imply its set mark, or where nothing
    agrees; a sheet of another set stays as it was read, and none that agrees is lost.
    """
    sheet, heads, expected = SHEETS[name]
    assert read_again(sheet, heads) == expected


def test_nothing_is_looked_at_again_without_need():
    """A text, a page with a symbol, and one whose line 0 was read are as they were; no file is."""
    located = replace(shown(NEARLY_ALL).located, head=MADE.head)
    symbol = Symbol(((0, "A" * 29), (1, "A" * 29)), ((0.0, 0.0),) * 4)
    before = [
        Page("s", 0, 0, ()),
        Page("s", 1, 3, (), (symbol,)),
        Page("s", 2, 3, (), (), (PrintedSheet(located, ()),)),
    ]
    assert list(sources.read_again(b"no file", "s", before, [MADE.head])) == before


def test_one_row_implies_no_set():
    """Two rows that agree imply their set mark; one may agree by chance, and none implies none."""
    assert second_pass._implied_mark(shown((1, 2))) == MADE.head.mark
    assert second_pass._implied_mark(shown((1,))) is None
    assert second_pass._implied_mark(shown((), unclear=(1, 2))) is None


@pytest.mark.parametrize("order", [("lines.txt", "2.bmp"), ("2.bmp", "lines.txt")])
def test_heads_of_every_source_are_known_to_the_others(tmp_path, monkeypatch, order):
    """A head line in typed lines is known for a page given before them or behind them."""
    asked = []
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lines.txt").write_text(f"0 {MADE.head_line}\n", "utf-8")
    (tmp_path / "2.bmp").write_bytes(encoded(Image.new("L", (100, 140), 255), "BMP"))
    monkeypatch.setattr(
        sources, "read_again", lambda *given: asked.append(given) or [NOTHING_FOUND]
    )
    read = given_sources.read(order, quiet=True)
    ((_, name, before, heads),) = asked
    assert (name, len(before), heads) == ("2.bmp", 1, (MADE.head,))
    assert sorted(page.source for page in read) == ["2.bmp", "lines.txt"]
