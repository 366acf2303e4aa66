"""Where a line is on the sheets, as the layout has it."""

import pytest

from paperkey_alt.entry.position import described, position, symbols, symbols_in
from paperkey_alt.sheet import layout


@pytest.mark.parametrize("total", [1, 36, 49, 121, 1023])
@pytest.mark.parametrize("paper", layout.PAPERS.values(), ids=lambda paper: paper.name)
def test_the_position_is_that_of_the_layout(total, paper):
    """On both papers: sheet, symbol beside it, column, and row from the top; of many lines some."""
    plan = layout.plan(total, paper)
    for at, sheet in enumerate(plan.sheets, 1):
        xs = sorted({row.x for row in sheet.rows})
        for row in sheet.rows[:: 1 + total // 40]:
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
    """The column only where there are several; the other place where it may be in large type."""
    assert str(position(5, 30)) == "Sheet 1 of 1, beside symbol 1 of 3 from the top, row 5"
    first, large = described(230, 230, 80)
    assert first == "Sheet 2 of 2, beside symbol 4 of 4 from the top, column 2 of 2, row 5"
    assert large == "(in large print: sheet 7, symbol 2, row 2)"
    assert described(5, 30, 80) == [str(position(5, 30))]
    assert described(5, 230, 80) == [
        "Sheet 1 of 2, beside symbol 1 of 4 from the top, column 1 of 2, row 5",
        "(in large print: sheet 1, symbol 1, row 5)",
    ]
    assert described(5, 53, 80) == [str(position(5, 53))]
    assert described(5, 30, 46) == ["Sheet 1, symbol 1, row 5"]


def test_which_symbols_are_missing():
    """By their sheets; those of which a line is missing count as missing."""
    every = symbols(230)
    assert [symbol.number for symbol in every] == [*range(1, 5)] * 2
    assert symbols_in(range(1, 231), 230) == "8 of 8 symbols: all of them"
    lines = {*range(31, 121), *range(151, 231)}
    assert symbols_in(lines, 230) == (
        "6 of 8 symbols. Missing, counted from the top: 1 of sheet 1; 1 of sheet 2"
    )
    large = {*range(13, 49)}
    assert symbols_in(large, 230).startswith("3 of 20 symbols. Missing, counted from the top: 1 of")
