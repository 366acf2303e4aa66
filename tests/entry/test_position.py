"""Where a line is on the sheets, as the layout has it."""

import pytest

from paperkey_alt.entry.position import position, symbols, symbols_in
from paperkey_alt.sheet import layout


@pytest.mark.parametrize("total", [1, 12, 48, 49, 100, 121, 230, 1023])
@pytest.mark.parametrize("paper", layout.PAPERS.values(), ids=lambda paper: paper.name)
def test_the_position_is_that_of_the_layout(total, paper):
    """On both papers, for every line: sheet, symbol beside it, column, and row from the top."""
    plan = layout.plan(total, paper)
    for at, sheet in enumerate(plan.sheets, 1):
        xs = sorted({row.x for row in sheet.rows})
        for row in sheet.rows:
            place = position(row.number, total)
            symbol = next(
                number
                for number, block in enumerate(sheet.blocks, 1)
                if block.first <= row.number <= block.last
            )
            block = sheet.blocks[symbol - 1]
            beside = [
                other
                for other in sheet.rows
                if block.first <= other.number <= block.last and other.x == row.x
            ]
            above = [other for other in beside if other.baseline < row.baseline]
            assert (place.sheet, place.sheets) == (at, len(plan.sheets))
            assert (place.symbol, place.symbols) == (symbol, len(sheet.blocks))
            assert place.column == xs.index(row.x) + 1
            assert place.row == len(above) + 1
            assert len(place.short) <= 40


def test_in_words():
    """The column only where there are several."""
    assert str(position(5, 30)) == "Sheet 1 of 1, beside symbol 1 of 3 from the top, row 5"
    assert str(position(230, 230)).startswith(
        "Sheet 2 of 2, beside symbol 5 of 5 from the top, col"
    )


def test_which_symbols_are_missing():
    """By their sheets; those of which a line is missing count as missing."""
    every = symbols(230)
    assert [symbol.number for symbol in every] == [*range(1, 6), *range(1, 6)]
    assert symbols_in(range(1, 231), 230) == "10 of 10 symbols: all of them"
    lines = {*range(1, 231)} - {1, 30, *range(125, 140)}
    assert symbols_in(lines, 230) == (
        "7 of 10 symbols. Missing, counted from the top: 1, 2 of sheet 1; 1 of sheet 2"
    )
