"""
QR symbols on a picture: `read` finds them anywhere, `read_at` reads one more carefully where it
must stand.

A symbol counts only when its text is a block of ours (`paperkey_alt.sheet.qr.decode_block`); other
codes are passed over.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from paperkey_alt.format import head_line
from paperkey_alt.format.lines import ALPHABET, CHARACTERS
from paperkey_alt.reading.image.codes import GLOBAL_HISTOGRAM, LOCAL_AVERAGE
from paperkey_alt.reading.image.grey import Grey, Prepared
from paperkey_alt.sheet import layout, qr

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.grey import Searchable
    from paperkey_alt.reading.image.pose import Points
    from paperkey_alt.sheet.layout import Plan

# Pixels of a side of a picture with a symbol: the smallest has 21 modules (ISO/IEC 18004).
LEAST_PIXELS = 21

# ISO/IEC 18004, table 7: how many characters of the alphanumeric set a symbol of level M holds, of
# version 1, 2, … 40.
_CAPACITIES = (
    *(20, 38, 61, 90, 122, 154, 178, 221, 262, 311),
    *(366, 419, 483, 528, 600, 656, 734, 816, 909, 970),
    *(1035, 1134, 1248, 1326, 1451, 1542, 1637, 1732, 1839, 1994),
    *(2113, 2238, 2369, 2506, 2632, 2780, 2894, 3054, 3220, 3391),
)

_Lines = tuple[tuple[int, str], ...]
_Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Symbol:
    """
    A block of ours: its lines, the head line first; the corners of the symbol on the picture,
    clockwise from its own upper left; whether it was read with ease.
    """

    lines: _Lines
    corners: _Corners
    at_ease: bool = True

    @property
    def first(self) -> int:
        """The number of the first line that it carries, the head line left aside."""
        return self.lines[1][0]

    @cached_property
    def head(self) -> Head | None:
        """The head line that it carries, if that is one."""
        return head_line.read(self.lines[0][1])

    @property
    def sheet(self) -> int:
        """
        On which sheet of its set, from 0, it stands: on paper of any size the same. 0 where it has
        no head.
        """
        if self.head is None:
            return 0
        lines_a_page = _plan(self.head, [self]).preset.lines_a_page
        return min(self.first - 1, self.head.total - 1) // lines_a_page

    @property
    def run(self) -> tuple[int, int]:
        """The numbers of the first line and the last."""
        return self.first, self.lines[-1][0]


def read(picture: Picture) -> tuple[Symbol, ...]:
    """
    Return the blocks on *picture*, each once.

    Tried in turn: as it is, with a threshold for the whole, smoothed, enlarged; another step is
    taken only where the ones before saw symbols that they could not read, or no block at all.
    """
    return _read(Grey.of(picture), _STEPS)


def read_at_once(page: Searchable) -> tuple[Symbol, ...]:
    """Return what `read` does, but none where its first steps, which are quick, see no block."""
    return _read(page, _STEPS, give_up_after=_QUICK_STEPS)


def _read(
    page: Searchable, steps: Iterable[_Step], give_up_after: int | None = None
) -> tuple[Symbol, ...]:
    """Return the blocks on *page*, by as many of *steps* as it takes."""
    blocks: dict[_Lines, Symbol] = {}
    for at, (prepare, binarizer) in enumerate(steps, 1):
        if _gathered(blocks, prepare(page), binarizer) and blocks:
            break
        if at == give_up_after and not blocks:
            break
    return tuple(blocks.values())


def cover_sheets(read: Sequence[Symbol]) -> bool:
    """Tell whether the symbols *read* carry every line of the sheets that they stand on."""
    of_sheet: dict[tuple[Head, int], list[Symbol]] = {}
    for symbol in read:
        if symbol.head is not None:
            of_sheet.setdefault((symbol.head, symbol.sheet), []).append(symbol)
    return bool(of_sheet) and all(
        {(block.first, block.last) for block in _plan(head, ours).sheets[sheet].blocks}
        <= {symbol.run for symbol in ours}
        for (head, sheet), ours in of_sheet.items()
    )


def read_slowly(picture: Picture) -> tuple[Symbol, ...]:
    """Return what `read` does by the steps that `read_at_once` leaves out."""
    return _read(Grey.of(picture), _STEPS[_QUICK_STEPS:])


def read_harder(picture: Picture) -> tuple[Symbol, ...]:
    """
    Return the blocks on *picture* that are found when it is turned, or else when it is taken apart.
    """
    from paperkey_alt.reading.image import preparation  # noqa: PLC0415 - legible pages need none

    blocks: dict[_Lines, Symbol] = {}
    for prepare in (preparation.turned, preparation.tiles):
        if not blocks:
            _gathered(blocks, prepare(picture), LOCAL_AVERAGE)
    return tuple(blocks.values())


def read_at(picture: Picture, corners: Points, modules: int) -> Symbol | None:
    """
    Return the block that stands at *corners* of *picture*, clockwise from its own upper left, in a
    symbol of *modules* a side; None where it cannot be read there either. Straightened, smoothed,
    and with each module taken for the mean of its middle.
    """
    from paperkey_alt.reading.image import preparation  # noqa: PLC0415 - legible pages need none

    straight = preparation.straightened(picture, corners, modules)
    if preparation.is_even(straight):
        return None
    for prepare in preparation.AT_A_PLACE:
        prepared = Grey.of(prepare(straight, modules))
        for binarizer in (LOCAL_AVERAGE, GLOBAL_HISTOGRAM):
            blocks: dict[_Lines, Symbol] = {}
            _gathered(blocks, _as_it_is(prepared), binarizer)
            for lines in blocks:
                return Symbol(lines, tuple((float(x), float(y)) for x, y in corners), at_ease=False)
    return None


def modules(first: int, last: int, fewest: int) -> int:
    """
    Return how many modules a side the symbol of lines *first* to *last* has where none has less
    than *fewest*; what `qr.symbol` makes, told from ISO/IEC 18004's table of capacities.

    Raises ValueError where no symbol holds so many lines.
    """
    line = ALPHABET[0] * CHARACTERS
    characters = len(qr.encode_block(line, first, [line] * (last - first + 1)))
    for version, capacity in enumerate(_CAPACITIES, 1):
        side = 17 + 4 * version
        if characters <= capacity and side >= min(fewest, _MOST_MODULES):
            return side
    raise ValueError(f"no QR symbol holds {characters} characters")


_MOST_MODULES = 17 + 4 * len(_CAPACITIES)


def _gathered(blocks: dict[_Lines, Symbol], prepared: Iterable[Prepared], binarizer: int) -> bool:
    """Add the blocks on *prepared* to *blocks*; return whether every symbol there could be read."""
    all_legible = True
    for page, turn, move in prepared:
        for text, corners in page.codes(binarizer):
            block = None if text is None else qr.decode_block(text)
            all_legible = all_legible and text is not None
            if block is not None:
                places = (turn * complex(*corner) + move for corner in corners)
                blocks.setdefault(
                    tuple(block), Symbol(tuple(block), tuple((at.real, at.imag) for at in places))
                )
    return all_legible


def _as_it_is(page: Searchable) -> Iterator[Prepared]:
    yield Prepared(page)


def _smoothed(page: Searchable) -> Iterator[Prepared]:
    from paperkey_alt.reading.image import preparation  # noqa: PLC0415 - legible pages need none

    return preparation.smoothed(page.picture())


def _enlarged(page: Searchable) -> Iterator[Prepared]:
    from paperkey_alt.reading.image import preparation  # noqa: PLC0415 - legible pages need none

    return preparation.enlarged(page.picture())


class _Step(NamedTuple):
    """How a page is made ready to look for symbols, and how black is told from white."""

    prepare: Callable[[Searchable], Iterator[Prepared]]
    binarizer: int


_QUICK_STEPS = 2
_STEPS = (
    _Step(_as_it_is, LOCAL_AVERAGE),
    _Step(_as_it_is, GLOBAL_HISTOGRAM),
    _Step(_smoothed, LOCAL_AVERAGE),
    _Step(_enlarged, LOCAL_AVERAGE),
)


def _plan(head: Head, ours: Sequence[Symbol]) -> Plan:
    """Return the layout for *head* that has the runs of lines of *ours*, else the usual one."""
    plans = layout.plans(head.total, layout.PAPERS["a4"])
    runs = {symbol.run for symbol in ours}
    fitting = (
        plan
        for plan in plans
        if runs <= {(block.first, block.last) for sheet in plan.sheets for block in sheet.blocks}
    )
    return next(fitting, plans[0])
