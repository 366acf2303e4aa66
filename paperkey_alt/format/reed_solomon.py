"""
Systematic Reed–Solomon codes over small binary fields: `encode`, `fill` and `correct`
(docs/format.md, "A line", "Spare lines").

- `encode` divides by the generator polynomial with a shift register (ISO/IEC 18004, annex on error
  correction).
- `fill` solves for erased symbols by Gauss–Jordan elimination: what a word leaves on that division
  is a sum of what its wrong symbols leave, and any so many places as there are check symbols are
  linearly independent (the code is maximum distance separable).
- `correct` finds wrong symbols too: syndromes, Berlekamp–Massey, Chien's search and Forney's
  formula, which `reedsolo` does.

This is the only module that touches `reedsolo`, whose traps it closes: the code's parameters are
always given in full, symbols and positions are checked before they reach it, and every answer is
encoded anew and counted before it is believed. What is left is what no decoder can do: past half
its distance a code may find another codeword, so callers ask a digest.

`reedsolo` keeps the field's tables in the module, so one process must not run two codes in two
threads at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import reedsolo

from paperkey_alt.format.field import Field, add

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence


class Uncorrectable(ValueError):
    """The word is farther from every codeword than the code can mend."""


@dataclass(frozen=True)
class Code:
    """
    A systematic Reed–Solomon code, first consecutive root α⁰, generator α = 2: message symbols
    first, check symbols last.

    *field_bits* is the size of a symbol in bits, *polynomial* the field's primitive polynomial as
    an integer, *checks* the number of check symbols. Words may be shorter than the field allows (a
    shortened code). Source: ISO/IEC 18004, annex on error correction, which uses the code over
    GF(256) with 0x11d.
    """

    field_bits: int
    polynomial: int
    checks: int

    def __post_init__(self) -> None:
        if not 1 <= self.checks < self.field.largest:
            raise ValueError(f"1 to {self.field.largest - 1} check symbols fit this field")

    @property
    def field(self) -> Field:
        """The field of the symbols."""
        return Field(self.field_bits, self.polynomial)

    @property
    def longest(self) -> int:
        """The length of the longest word, in symbols."""
        return (1 << self.field_bits) - 1

    def encode(self, message: Sequence[int]) -> bytes:
        """Return the check symbols of *message*, one a byte."""
        self._require_symbols(message, self.longest - self.checks)
        multiples, top, low = _division(self)
        remainder = 0
        for symbol in message:
            remainder = (remainder & low) << 8 ^ multiples[symbol ^ remainder >> top]
        return remainder.to_bytes(self.checks, "big")

    def correct(
        self, word: Sequence[int], erased: Collection[int] = ()
    ) -> tuple[bytes, tuple[int, ...]]:
        """
        Return the one codeword within reach of *word*, and the positions (from 0) in which it
        differs from it.

        *erased* are positions whose symbols are known to be unreadable. In reach is: twice the
        wrong symbols plus the erased ones are no more than the check symbols. Raises Uncorrectable
        past that.
        """
        gone = self._require_word(word, erased)
        try:
            _, decoded, _ = _codec(self).decode(bytearray(word), erase_pos=gone)
        except (reedsolo.ReedSolomonError, ZeroDivisionError, IndexError) as reason:
            # The library leaves by any of these when its locator has no root inside the word.
            raise Uncorrectable("no codeword within reach") from reason
        codeword = bytes(decoded)
        changed = tuple(
            at for at, (was, now) in enumerate(zip(word, codeword, strict=True)) if was != now
        )
        wrong = sum(at not in gone for at in changed)
        if 2 * wrong + len(gone) > self.checks or any(self._left_over(codeword)):
            raise Uncorrectable("no codeword within reach")
        return codeword, changed

    def fill(self, word: Sequence[int], erased: Collection[int]) -> bytes:
        """
        Return the one codeword that differs from *word* in no other position than the *erased*
        ones.

        The same as `correct` where nothing is wrong, and much faster. Raises Uncorrectable where
        there is none.
        """
        if not erased:
            self._require_word(word, erased)
            if any(self._left_over(word)):
                raise Uncorrectable("it is no codeword")
            return bytes(word)
        (codeword,) = self.fill_all([word], erased)
        return codeword

    def fill_all(
        self, words: Sequence[Sequence[int]], erased: Collection[int]
    ) -> tuple[bytes, ...]:
        """
        Return what `fill` makes of each of *words*, all of one length with the same positions
        *erased*; raises Uncorrectable where that is nothing for one of them.
        """
        gone = self._require_word(words[0], erased)
        if len(set(map(len, words))) > 1:
            raise ValueError("the words are of different lengths")
        known = [bytearray(word) for word in words]
        for word in known:
            self._require_symbols(word, self.longest)
            for at in gone:
                word[at] = 0
        left_over = zip(*map(self._left_over, known), strict=True)
        if not gone:
            if any(map(any, left_over)):
                raise Uncorrectable("it is no codeword")
            return tuple(map(bytes, known))
        remainders = [_remainders(self)[len(words[0]) - 1 - at] for at in gone]
        rows = [
            bytes(coefficients) + bytes(sums)
            for coefficients, sums in zip(zip(*remainders, strict=True), left_over, strict=True)
        ]
        for at, symbols in zip(gone, self._solved(rows, len(gone)), strict=True):
            for word, symbol in zip(known, symbols, strict=True):
                word[at] = symbol
        return tuple(map(bytes, known))

    def _left_over(self, word: Sequence[int]) -> bytes:
        """Return the remainder of a whole word by the generator polynomial: 0 of a codeword."""
        return add(self.encode(word[: -self.checks]), bytes(word[-self.checks :]))

    def _solved(self, rows: list[bytes], unknowns: int) -> list[bytes]:
        """
        Return the unknowns of linear equations, one a row: the coefficients of so many *unknowns*,
        then what their sums are, for each of several cases.
        """
        field, products = self.field, self.field.products
        for at in range(unknowns):
            pivot = next(index for index in range(at, len(rows)) if rows[index][at])
            rows[at], rows[pivot] = rows[pivot], rows[at]
            lead = rows[at] = rows[at].translate(products[field.inverse(rows[at][at])])
            for index, row in enumerate(rows):
                if row[at] and index != at:
                    rows[index] = add(row, lead.translate(products[row[at]]))
        if any(map(any, rows[unknowns:])):
            raise Uncorrectable("no codeword differs in the erased positions alone")
        return [row[unknowns:] for row in rows[:unknowns]]

    def _require_word(self, word: Sequence[int], erased: Collection[int]) -> list[int]:
        """Return the *erased* positions of *word* in ascending order."""
        self._require_symbols(word, self.longest)
        gone = sorted(set(erased))
        if len(word) <= self.checks or (gone and not 0 <= gone[0] <= gone[-1] < len(word)):
            raise ValueError("the word is too short, or an erased position is outside of it")
        if len(gone) > self.checks:
            raise Uncorrectable("more erased symbols than check symbols")
        return gone

    def _require_symbols(self, symbols: Sequence[int], most: int) -> None:
        if not 1 <= len(symbols) <= most:
            raise ValueError(
                f"a word of this code has 1 to {most} symbols here, not {len(symbols)}"
            )
        if not 0 <= min(symbols) <= max(symbols) <= self.longest:
            raise ValueError(f"a symbol of this field is 0 to {self.longest}")


@lru_cache(maxsize=16)
def _division(code: Code) -> tuple[tuple[int, ...], int, int]:
    """
    Return the multiples of the generator polynomial without its leading term by each symbol, one
    coefficient a byte of a number; the shift to the highest of them, and a mask of the lower ones.
    """
    field = code.field
    generator, root = b"\1", 1
    for _ in range(code.checks):
        # times (x − root)
        generator = add(generator + b"\0", b"\0" + generator.translate(field.products_of(root)))
        root = field.multiply(root, 2)
    multiples = [0]
    for bit in range(code.field_bits):
        multiple = int.from_bytes(generator[1:].translate(field.products_of(1 << bit)), "big")
        multiples += [other ^ multiple for other in multiples]
    top = 8 * (code.checks - 1)
    return tuple(multiples), top, (1 << top) - 1


@lru_cache(maxsize=16)
def _remainders(code: Code) -> tuple[bytes, ...]:
    """Return the remainders of 1, x, x² … by the generator polynomial."""
    multiples, top, low = _division(code)
    powers = [1]
    while len(powers) < code.longest:
        powers.append((powers[-1] & low) << 8 ^ multiples[powers[-1] >> top])
    return tuple(power.to_bytes(code.checks, "big") for power in powers)


@lru_cache(maxsize=16)
def _codec(code: Code) -> reedsolo.RSCodec:
    return reedsolo.RSCodec(
        nsym=code.checks,
        nsize=code.longest,
        fcr=0,
        prim=code.polynomial,
        generator=2,
        c_exp=code.field_bits,
    )
