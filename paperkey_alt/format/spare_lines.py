"""
Spare lines from data lines, and data lines from what is left of both: `add` and `mend`
(docs/format.md, "Spare lines").

Byte column j of all lines is one codeword of a Reed–Solomon code over GF(256) (0x11d, the field of
ISO/IEC 18004): data first, spare behind. A field of 256 elements allows 255 lines in a codeword;
more are dealt like cards into as few groups as do.

Lost lines are erasures, in the same places of all 15 columns, and are solved for in all of them at
once. Where lines are wrong as well, the first column tells which, or each column is decoded by
itself (errors-and-erasures decoding; `paperkey_alt.format.reed_solomon`).
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from paperkey_alt.errors import NotEnoughLines
from paperkey_alt.format.lines import DATA_BYTES
from paperkey_alt.format.reed_solomon import Code, Uncorrectable
from paperkey_alt.wording import counted

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
    lines: dict[int, bytes] = {}
    for numbers, spares in groups(len(data), spare):
        if not spares:
            continue
        columns = zip(*(data[number - 1] for number in numbers), strict=True)
        checks = map(_code(len(spares)).encode, columns)
        lines.update(zip(spares, map(bytes, zip(*checks, strict=True)), strict=True))
    return tuple(lines[number] for number in sorted(lines))


def mend(lines: Mapping[int, bytes], data: int, spare: int) -> tuple[bytes, ...]:
    """
    Return all data lines and spare lines of a set, of which *lines* are those that could be read.

    One spare line stands in for one that is not there, two for one that is there and wrong. What
    comes back is a codeword; whether it is the one that was printed, a digest tells. Raises
    NotEnoughLines past the limit.
    """
    mended: dict[int, bytes] = {}
    for numbers, spares in groups(data, spare):
        mended.update(_mend_group(lines, [*numbers, *spares], len(spares)))
    return tuple(mended[number] for number in range(1, data + spare + 1))


def _mend_group(lines: Mapping[int, bytes], numbers: Sequence[int], spare: int) -> dict[int, bytes]:
    gone = [at for at, number in enumerate(numbers) if number not in lines]
    if len(gone) > spare:
        raise NotEnoughLines(
            f"{len(gone)} of {counted(len(numbers), 'line')} are missing, and "
            f"{counted(spare, 'spare line')} can replace {spare}"
        )
    if not spare:
        return {number: lines[number] for number in numbers}
    nothing = bytes(DATA_BYTES)
    columns = list(zip(*(lines.get(number, nothing) for number in numbers), strict=True))
    mended = map(bytes, zip(*_mend_columns(columns, gone, _code(spare)), strict=True))
    return dict(zip(numbers, mended, strict=True))


def _mend_columns(
    columns: Sequence[Sequence[int]], gone: Sequence[int], code: Code
) -> tuple[bytes, ...]:
    with suppress(Uncorrectable):
        return code.fill_all(columns, gone)
    try:
        first, changed = code.correct(columns[0], gone)
        # A wrong line is wrong in nearly all of its columns: so what the first one tells may do for
        # the others. It is what they would tell themselves, for no two codewords are within reach.
        with suppress(Uncorrectable):
            return (first, *code.fill_all(columns[1:], {*gone, *changed}))
        return (first, *(code.correct(column, gone)[0] for column in columns[1:]))
    except Uncorrectable:
        raise NotEnoughLines(
            "more lines are wrong or missing than the spare lines can replace"
        ) from None


def _code(spare: int) -> Code:
    return Code(field_bits=8, polynomial=POLYNOMIAL, checks=spare)
