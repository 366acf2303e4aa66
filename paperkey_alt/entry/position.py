"""
Where on the sheets a line is: `position`, and the QR symbols that carry the lines: `symbols`.

Both follow from the number of lines (`paperkey_alt.sheet.layout`), whatever the paper; sets that
take more sheets in large type may have been printed in either way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.sheet import layout
from paperkey_alt.wording import noun

if TYPE_CHECKING:
    from collections.abc import Collection, Container

    from paperkey_alt.sheet.layout import Plan


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

    def is_partly_in(self, lines: Container[int]) -> bool:
        """Tell whether some lines of this symbol are among *lines*, and some are not."""
        there = [number in lines for number in range(self.first, self.last + 1)]
        return any(there) and not all(there)


def position(number: int, total: int) -> Position:
    """Return where line *number*, 1 to *total*, is as sets are usually printed."""
    return _position(number, _plans(total)[0])


def described(number: int, total: int, wide: int) -> list[str]:
    """
    Return in words of up to *wide* characters where line *number* is, and where if it was printed
    in large type.
    """
    places = [_position(number, plan) for plan in _plans(total)]
    told = [str(places[0]) if len(str(places[0])) <= wide else places[0].short]
    others = [place for place in places[1:] if place.short != places[0].short]
    return told + [f"(in large print: {place.short.lower()})" for place in others]


def symbols(total: int) -> tuple[Symbol, ...]:
    """Return the QR symbols on the sheets of lines 1 to *total* as usually printed, in order."""
    return _symbols(_plans(total)[0])


def symbols_in(lines: Collection[int], total: int) -> str:
    """
    Return in words how many symbols of lines 1 to *total* are in, and which are missing. Of two
    ways to print them it is the one by which fewest symbols are there in part: a scanner reads
    whole ones.
    """
    every = min(
        map(_symbols, _plans(total)),
        key=lambda plan: sum(symbol.is_partly_in(lines) for symbol in plan),
    )
    missing = [symbol for symbol in every if not symbol.is_in(lines)]
    count = f"{len(every) - len(missing)} of {len(every)} {noun(every, 'symbol')}"
    if not missing:
        return f"{count}: all of them"
    places: dict[int, list[str]] = {}
    for symbol in missing:
        places.setdefault(symbol.sheet, []).append(str(symbol.number))
    told = "; ".join(f"{', '.join(numbers)} of sheet {sheet}" for sheet, numbers in places.items())
    return f"{count}. Missing, counted from the top: {told}"


def _position(number: int, plan: Plan) -> Position:
    preset = plan.preset
    sheet, at = divmod(number - 1, preset.lines_a_page)
    symbol, at = divmod(at, preset.lines_a_band)
    column, row = divmod(at, preset.rows)
    return Position(
        sheet + 1,
        len(plan.sheets),
        symbol + 1,
        len(plan.sheets[sheet].blocks),
        column + 1,
        preset.columns,
        row + 1,
    )


def _symbols(plan: Plan) -> tuple[Symbol, ...]:
    return tuple(
        Symbol(at, number, block.first, block.last)
        for at, sheet in enumerate(plan.sheets, 1)
        for number, block in enumerate(sheet.blocks, 1)
    )


def _plans(total: int) -> tuple[Plan, ...]:
    return layout.plans(total, layout.PAPERS["a4"])
