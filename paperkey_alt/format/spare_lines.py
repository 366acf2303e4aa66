"""
Spare lines from data lines, and data lines from what is left of both: `add` and `mend`.

Byte column j of all lines is one codeword of a Reed–Solomon code over GF(256) (0x11d, the field of
ISO/IEC 18004): data first, spare behind. A field of 256 elements allows 255 lines in a codeword;
more are dealt like cards into as few groups as do (docs/format.md, "Spare lines").
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.errors import NotEnoughLines
from paperkey_alt.format.lines import DATA_BYTES
from paperkey_alt.format.reed_solomon import Code, Uncorrectable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

POLYNOMIAL = 0x11D
LONGEST = 255
LEAST_SPARE = 4
DEFAULT_SPARE_PERCENT = 25


def groups(data: int, spare: int) -> tuple[tuple[range, range], ...]:
    """
    Return for each group the numbers of its data lines and of its spare lines.

    Group g of G has data lines g + 1, g + 1 + G, … and spare lines *data* + g + 1, *data* + g + 1 +
    G, …; every group can do without as many lines as it has spare ones.
    """
    count = -(-(data + spare) // LONGEST)
    while -(-data // count) + -(-spare // count) > LONGEST:
        count += 1
    return tuple(
        (range(1 + g, data + 1, count), range(data + 1 + g, data + spare + 1, count))
        for g in range(count)
    )


def spare_count(data: int, percent: int = DEFAULT_SPARE_PERCENT) -> int:
    """
    Return the number of spare lines that make up *percent* of *data* lines, at least four for each
    codeword they fill.
    """
    wanted = -(-data * percent // 100)
    while wanted < (least := LEAST_SPARE * len(groups(data, wanted))):
        wanted = least
    return wanted


def add(data: Sequence[bytes], spare: int) -> tuple[bytes, ...]:
    """Return *spare* spare lines for the data lines *data*, 15 bytes each."""
    lines = dict(enumerate(data, 1))
    for numbers, spares in groups(len(data), spare):
        if not spares:
            continue
        code = _code(len(spares))
        columns = [
            code.encode([lines[number][column] for number in numbers])
            for column in range(DATA_BYTES)
        ]
        lines.update(zip(spares, map(bytes, zip(*columns, strict=True)), strict=True))
    return tuple(lines[number] for number in range(len(data) + 1, len(data) + spare + 1))


def mend(lines: Mapping[int, bytes], data: int, spare: int) -> tuple[bytes, ...]:
    """
    Return all data lines and spare lines of a set, of which *lines* are those that could be read.

    One spare line stands in for one that is not there, two for one that is there and wrong. What
    comes back is a codeword, not yet proven to be the one that was printed. Raises NotEnoughLines
    past the limit.
    """
    whole = dict(lines)
    for numbers, spares in groups(data, spare):
        whole.update(_mend_group(lines, [*numbers, *spares], len(spares)))
    return tuple(whole[number] for number in range(1, data + spare + 1))


def _mend_group(lines: Mapping[int, bytes], numbers: Sequence[int], spare: int) -> dict[int, bytes]:
    gone = [at for at, number in enumerate(numbers) if number not in lines]
    if len(gone) > spare:
        raise NotEnoughLines(
            f"{len(gone)} of {len(numbers)} lines are not there, and {spare} spare lines stand "
            f"in for {spare}"
        )
    if not spare:
        return {number: lines[number] for number in numbers}
    code, nothing = _code(spare), bytes(DATA_BYTES)
    try:
        columns = [
            code.correct([lines.get(number, nothing)[column] for number in numbers], gone)[0]
            for column in range(DATA_BYTES)
        ]
    except Uncorrectable:
        raise NotEnoughLines(
            "more lines are wrong or not there than the spare lines can stand in for"
        ) from None
    return dict(zip(numbers, map(bytes, zip(*columns, strict=True)), strict=True))


def _code(spare: int) -> Code:
    return Code(field_bits=8, polynomial=POLYNOMIAL, checks=spare)
