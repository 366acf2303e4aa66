"""
Which characters a row has, from how like each of them its cells look: `best` and `agreed`.

`agreed` lets the line's check decide between likely characters: the check is linear over GF(32), so
a row of alternatives is tried by XORs alone, and one that agrees with all five check characters is
right but for a chance of 2⁻²⁵ for each one tried.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from paperkey_alt.format.lines import (
    ALPHABET,
    CHARACTERS,
    DATA_BYTES,
    DATA_CHARACTERS,
    NO_MARK,
    UNREADABLE,
    Line,
    encode,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEGIBLE = 0.45  # likeness under which a cell shows no character
SURE = 0.06  # likeness by which the best character leads the next one, where it is nearly always the right one
_TRIED = ((12, 2), (6, 4))  # so many of the least sure characters in so many readings each


def best(likeness: NDArray[np.float32]) -> str:
    """
    Return the likeliest characters for *likeness* of shape (29, 32), with ``?`` where none can be
    made out.
    """
    return "".join(
        ALPHABET[row.argmax()] if row.max() >= LEGIBLE else UNREADABLE for row in likeness
    )  # fmt: skip


def doubtful(likeness: NDArray[np.float32], most: int) -> str:
    """
    Return the likeliest characters, with ``?`` for up to *most* of those that are not sure, the
    least sure first.
    """
    lead = _lead(-np.sort(-likeness, axis=1))
    unsure = [int(at) for at in np.argsort(lead) if lead[at] < SURE][:most]
    return "".join(
        UNREADABLE if at in unsure else character for at, character in enumerate(best(likeness))
    )


def agreed(likeness: NDArray[np.float32], number: int, mark: str) -> str | None:
    """
    Return the likeliest characters with which the check of line *number* under *mark* agrees; None
    where none tried do.
    """
    ranked = np.argsort(-likeness, axis=1)
    top = np.take_along_axis(likeness, ranked, axis=1)
    shares = _shares()
    chosen = ranked[:, 0]
    wrong = _remainder(number, mark) ^ int(
        np.bitwise_xor.reduce(shares[np.arange(CHARACTERS), chosen])
    )
    if wrong == 0:
        return _text(chosen)
    found = [
        one
        for size, depth in _TRIED
        if (one := _changed(ranked, top, size, depth, wrong)) is not None
    ]
    return _text(min(found, key=lambda pair: pair[0])[1]) if found else None


def _changed(
    ranked: NDArray[np.int64], top: NDArray[np.float32], size: int, depth: int, wrong: int
) -> tuple[float, NDArray[np.int64]] | None:
    """
    Return the cheapest change of the *size* least sure characters, *depth* readings each, by which
    *wrong* becomes 0.
    """
    shares = _shares()
    unsure = np.argsort(_lead(top))[:size]
    remainders, costs = np.zeros(1, np.int64), np.zeros(1)
    for at in unsure:
        readings = ranked[at, :depth]
        remainders = (remainders[:, None] ^ shares[at, readings] ^ shares[at, readings[0]]).ravel()
        costs = (costs[:, None] + (top[at, 0] - top[at, :depth])).ravel()
    fitting = np.flatnonzero(remainders == wrong)
    if not len(fitting):
        return None
    cheapest = int(fitting[costs[fitting].argmin()])
    chosen = ranked[:, 0].copy()
    for at, reading in zip(unsure, np.unravel_index(cheapest, (depth,) * size), strict=True):
        chosen[at] = ranked[at, reading]
    return float(costs[cheapest]), chosen


def _lead(top: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return by how much the likeliest character of each cell leads the next; *top* is sorted, the
    likeliest first.
    """
    lead: NDArray[np.float32] = top[:, 0] - top[:, 1]
    return lead


@cache
def _shares() -> NDArray[np.int64]:
    """
    Return what each character at each place adds to the check of a line, 25 bits; shape (29, 32).
    """
    shares = np.zeros((CHARACTERS, len(ALPHABET)), np.int64)
    for at in range(CHARACTERS):
        for value in range(len(ALPHABET)):
            if at < DATA_CHARACTERS:
                data = (value << 5 * (DATA_CHARACTERS - 1 - at)).to_bytes(DATA_BYTES, "big")
                shares[at, value] = _check(encode(Line(0, data), NO_MARK))
            else:
                shares[at, value] = value << 5 * (CHARACTERS - 1 - at)
    return shares


def _remainder(number: int, mark: str) -> int:
    return _check(encode(Line(number, bytes(DATA_BYTES)), mark))


def _check(characters: str) -> int:
    value = 0
    for character in characters[DATA_CHARACTERS:]:
        value = value << 5 | ALPHABET.index(character)
    return value


def _text(values: NDArray[np.int64]) -> str:
    return "".join(ALPHABET[value] for value in values)
