"""
Where on the sheets a line is: `position`, and the QR symbols that carry the lines: `symbols`.

Both follow from the number of lines (`paperkey_alt.sheet.layout`), whatever the paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.sheet import layout
from paperkey_alt.wording import noun

if TYPE_CHECKING:
    from collections.abc import Container


@dataclass(frozen=True)
class Position:
    """
    Sheet, QR symbol beside it, column and row of a line, each from 1, and of how many of them.
    """

    sheet: int
    sheets: int
    symbol: int
    symbols: int
    column: int
    columns: int
    row: int

    def __str__(self) -> str:
        sheet = f"Sheet {self.sheet} of {self.sheets}"
        column = f", column {self.column} of {self.columns}" if self.columns > 1 else ""
        symbol = f"beside symbol {self.symbol} of {self.symbols} from the top"
        return f"{sheet}, {symbol}{column}, row {self.row}"

    @property
    def short(self) -> str:
        """The same in no more than 40 characters."""
        column = f", column {self.column}" if self.columns > 1 else ""
        return f"Sheet {self.sheet}, symbol {self.symbol}{column}, row {self.row}"


@dataclass(frozen=True)
class Symbol:
    """The QR symbol *number*, from 1 at the top of *sheet*, with lines *first* to *last*."""

    sheet: int
    number: int
    first: int
    last: int

    def is_in(self, lines: Container[int]) -> bool:
        """Tell whether all lines of this symbol are among *lines*."""
        return all(number in lines for number in range(self.first, self.last + 1))


def position(number: int, total: int) -> Position:
    """Return where line *number*, 1 to *total*, is."""
    preset, sheets = _plan(total)
    sheet, at = divmod(number - 1, preset.lines_a_page)
    symbol, at = divmod(at, preset.lines_a_band)
    column, row = divmod(at, preset.rows)
    return Position(
        sheet + 1,
        len(sheets),
        symbol + 1,
        len(sheets[sheet].blocks),
        column + 1,
        preset.columns,
        row + 1,
    )


def symbols(total: int) -> tuple[Symbol, ...]:
    """Return the QR symbols on the sheets of lines 1 to *total*, in order."""
    _, sheets = _plan(total)
    return tuple(
        Symbol(at, number, block.first, block.last)
        for at, sheet in enumerate(sheets, 1)
        for number, block in enumerate(sheet.blocks, 1)
    )


def symbols_in(lines: Container[int], total: int) -> str:
    """Return in words how many symbols of lines 1 to *total* are in, and which are missing."""
    every = symbols(total)
    missing = [symbol for symbol in every if not symbol.is_in(lines)]
    count = f"{len(every) - len(missing)} of {len(every)} {noun(every, 'symbol')}"
    if not missing:
        return f"{count}: all of them"
    places: dict[int, list[str]] = {}
    for symbol in missing:
        places.setdefault(symbol.sheet, []).append(str(symbol.number))
    told = "; ".join(f"{', '.join(numbers)} of sheet {sheet}" for sheet, numbers in places.items())
    return f"{count}. Missing, counted from the top: {told}"


def _plan(total: int) -> tuple[layout.Preset, tuple[layout.Sheet, ...]]:
    plan = layout.plan(total, layout.PAPERS["a4"])
    return plan.preset, plan.sheets
