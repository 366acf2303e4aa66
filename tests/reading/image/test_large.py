"""Sheets in large type are read as all others are: by their symbols, and by their rows alone."""

import datetime as dt
import random
from functools import cache

import pytest
from pictures import block_box, pages, rendered
from PIL import ImageDraw

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.image import locate, symbols
from paperkey_alt.reading.image.pyramid import Pyramid
from paperkey_alt.sheet import draw, layout
from paperkey_alt.sheet.caption import Caption

WORDS = Caption("A title", None, None, dt.date(2026, 11, 25), (), ("How.",), ("So.",))
MADE = lay_out(random.Random(6).randbytes(15 * 56), 14)
PAPER = layout.PAPERS["a4"]
PLAN = layout.plan(MADE.head.total, PAPER, large=True)
DPI = 150


@cache
def the_sheets():
    """The sheets in large type."""
    return draw.draw(MADE, WORDS, paper=PAPER, large=True)


def test_symbols_tell_the_layout():
    """Two sheets instead of one: each symbol tells its own, and all of a sheet cover it."""
    assert len(PLAN.sheets) == 2
    for page, sheet in enumerate(PLAN.sheets):
        read = symbols.read(rendered(the_sheets(), DPI, page))
        assert {(symbol.head, symbol.sheet) for symbol in read} == {(MADE.head, page)}
        assert {symbol.run for symbol in read} == {
            (block.first, block.last) for block in sheet.blocks
        }
        assert symbols.cover_sheets(read)
        assert not symbols.cover_sheets(read[1:])


def test_a_sheet_is_located_by_one_of_its_symbols():
    """The others may be gone: its rows are where the large layout has them."""
    picture = rendered(the_sheets(), DPI, 0)
    one, *_ = symbols.read(picture)
    (found,) = locate.find(Pyramid(picture), [one])
    assert (found.preset, found.sheet, found.head) == (PLAN.preset, PLAN.sheets[0], MADE.head)


@pytest.mark.long
@pytest.mark.parametrize("page", [0, 1])
def test_rows_alone_are_read(page):
    """With every symbol blacked out, all of its lines."""
    picture = rendered(the_sheets(), DPI, page).copy()
    for block in PLAN.sheets[page].blocks:
        ImageDraw.Draw(picture).rectangle(block_box(PLAN, block, DPI, room=3), fill=0)
    raw_lines = [raw_line for part in pages(picture) for raw_line in part.raw_lines]
    (found,) = recover(raw_lines).sets
    read = {raw_line.number: raw_line.text for raw_line in raw_lines}
    numbers = {row.number for row in PLAN.sheets[page].rows}
    assert found.head == MADE.head
    assert read == {0: MADE.head_line} | {number: MADE.lines[number - 1] for number in numbers}
