"""
Which characters a row has, from the scores of its cells with each character: `hard_decision`,
`erased` and `decode`.

`decode` is soft-decision decoding of the line's check code, a linear block code over GF(32), by
test patterns over the least reliable positions: Chase's way ("A Class of Algorithms for Decoding
Block Codes with Channel Measurement Information", 1972; from memory). Where Chase hands each
pattern to an algebraic decoder, only patterns count here that are words of the code as they are:
all five check characters are left as evidence, so that a row of noise agrees with a chance of 2⁻²⁵
for each pattern tried. The code being linear, the syndrome of a pattern is the XOR of what its
characters add to it, and thousands of patterns take one array.

`erased` is the first half of generalised minimum distance decoding (Forney, 1966; from memory): the
least reliable characters are given as unreadable, and the decoder of lines, which mends errors and
erasures, does the rest.
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

LEGIBLE = 0.45  # score under which a cell shows no character
SURE = 0.06  # lead of the best character from which it is nearly always the right one
# Test patterns: the two likeliest characters at the 12 least reliable positions, and the four
# likeliest at the 6 least reliable.
_PATTERNS = ((12, 2), (6, 4))


def hard_decision(scores: NDArray[np.float32]) -> str:
    """
    Return the likeliest character of each cell for *scores* of shape (29, 32), ``?`` where none can
    be made out.
    """
    return "".join(
        ALPHABET[cell.argmax()] if cell.max() >= LEGIBLE else UNREADABLE for cell in scores
    )


def erased(scores: NDArray[np.float32], most: int) -> str:
    """
    Return the hard decision with ``?`` for up to *most* characters that are not sure, the least
    reliable first.
    """
    reliability = _reliability(-np.sort(-scores, axis=1))
    unsure = [int(at) for at in np.argsort(reliability) if reliability[at] < SURE][:most]
    return "".join(
        UNREADABLE if at in unsure else character
        for at, character in enumerate(hard_decision(scores))
    )


def decode(scores: NDArray[np.float32], number: int, mark: str) -> str | None:
    """
    Return the likeliest characters with which the check of line *number* under *mark* agrees; None
    where none tried do.
    """
    ranked = np.argsort(-scores, axis=1)
    top = np.take_along_axis(scores, ranked, axis=1)
    likeliest = ranked[:, 0]
    addends = _syndrome_addends()[np.arange(CHARACTERS), likeliest]
    syndrome = _syndrome_of_number(number, mark) ^ int(np.bitwise_xor.reduce(addends))
    if syndrome == 0:
        return _text(likeliest)
    changes = [
        change
        for positions, depth in _PATTERNS
        if (change := _likeliest_change(ranked, top, positions, depth, syndrome)) is not None
    ]
    return _text(min(changes, key=lambda change: change[0])[1]) if changes else None


def _likeliest_change(
    ranked: NDArray[np.int64], top: NDArray[np.float32], positions: int, depth: int, syndrome: int
) -> tuple[float, NDArray[np.int64]] | None:
    """
    Return the change of the least reliable *positions* to one of the *depth* likeliest characters
    each that takes *syndrome* away and least from the scores: what it takes, and all characters.
    """
    table = _syndrome_addends()
    unsure = np.argsort(_reliability(top))[:positions]
    changed_by, taken_off = np.zeros(1, np.int64), np.zeros(1)
    for at in unsure:
        choices = ranked[at, :depth]
        changed_by = (changed_by[:, None] ^ table[at, choices] ^ table[at, choices[0]]).ravel()
        taken_off = (taken_off[:, None] + (top[at, 0] - top[at, :depth])).ravel()
    codewords = np.flatnonzero(changed_by == syndrome)
    if not len(codewords):
        return None
    likeliest = int(codewords[taken_off[codewords].argmin()])
    characters = ranked[:, 0].copy()
    for at, choice in zip(unsure, np.unravel_index(likeliest, (depth,) * positions), strict=True):
        characters[at] = ranked[at, choice]
    return float(taken_off[likeliest]), characters


def _reliability(top: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return by how much the likeliest character of each cell leads the next; *top* is sorted, the
    likeliest first.
    """
    lead: NDArray[np.float32] = top[:, 0] - top[:, 1]
    return lead


@cache
def _syndrome_addends() -> NDArray[np.int64]:
    """
    Return what each character at each place adds to the syndrome of a line, 25 bits; shape (29,
    32).
    """
    addends = np.zeros((CHARACTERS, len(ALPHABET)), np.int64)
    for at in range(CHARACTERS):
        for value in range(len(ALPHABET)):
            if at < DATA_CHARACTERS:
                data = (value << 5 * (DATA_CHARACTERS - 1 - at)).to_bytes(DATA_BYTES, "big")
                addends[at, value] = _check(encode(Line(0, data), NO_MARK))
            else:
                addends[at, value] = value << 5 * (CHARACTERS - 1 - at)
    return addends


def _syndrome_of_number(number: int, mark: str) -> int:
    return _check(encode(Line(number, bytes(DATA_BYTES)), mark))


def _check(characters: str) -> int:
    value = 0
    for character in characters[DATA_CHARACTERS:]:
        value = value << 5 | ALPHABET.index(character)
    return value


def _text(values: NDArray[np.int64]) -> str:
    return "".join(ALPHABET[value] for value in values)
