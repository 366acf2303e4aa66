"""
Reed–Solomon codes over small binary fields: `encode` and `correct`.

The only module that touches `reedsolo`, whose traps it closes: the code's parameters are always
given in full, symbols and positions are checked before they reach it, and every answer is encoded
anew and counted before it is believed. What is left is what no decoder can do: past half its
distance a code may find another codeword, so callers ask a digest.

`reedsolo` keeps the field's tables in the module, so one process must not run two codes in two
threads at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import reedsolo

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
        if not 2 <= self.field_bits <= 8:
            raise ValueError("a symbol has 2 to 8 bits")
        if not 1 <= self.checks < self.longest:
            raise ValueError(f"1 to {self.longest - 1} check symbols fit this field")

    @property
    def longest(self) -> int:
        """The length of the longest word, in symbols."""
        return (1 << self.field_bits) - 1

    def encode(self, message: Sequence[int]) -> bytes:
        """Return the check symbols of *message*, one a byte."""
        self._require_symbols(message, self.longest - self.checks)
        return bytes(_codec(self).encode(bytearray(message))[len(message) :])

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
        return self._decode(word, erased, only_erased=False)

    def fill(self, word: Sequence[int], erased: Collection[int]) -> bytes:
        """
        Return the one codeword that differs from *word* in no other position than the *erased*
        ones.

        The same as `correct` where nothing is wrong, and faster. Raises Uncorrectable where there
        is none.
        """
        return self._decode(word, erased, only_erased=True)[0]

    def _decode(
        self, word: Sequence[int], erased: Collection[int], *, only_erased: bool
    ) -> tuple[bytes, tuple[int, ...]]:
        self._require_symbols(word, self.longest)
        gone = sorted(set(erased))
        if len(word) <= self.checks or (gone and not 0 <= gone[0] <= gone[-1] < len(word)):
            raise ValueError("the word is too short, or an erased position is outside of it")
        if len(gone) > self.checks:
            raise Uncorrectable("more erased symbols than check symbols")
        if only_erased and not gone:
            return self._confirmed(word, bytes(word), frozenset())
        try:
            _, found, _ = _codec(self).decode(
                bytearray(word), erase_pos=gone, only_erasures=only_erased
            )
        except (reedsolo.ReedSolomonError, ZeroDivisionError, IndexError) as reason:
            # The library leaves by any of these when its locator has no root inside the word.
            raise Uncorrectable("no codeword within reach") from reason
        return self._confirmed(word, bytes(found), frozenset(gone))

    def _confirmed(
        self, word: Sequence[int], found: bytes, gone: frozenset[int]
    ) -> tuple[bytes, tuple[int, ...]]:
        changed = tuple(
            at for at, (was, now) in enumerate(zip(word, found, strict=True)) if was != now
        )
        wrong = sum(at not in gone for at in changed)
        if (
            2 * wrong + len(gone) > self.checks
            or self.encode(found[: -self.checks]) != found[-self.checks :]
        ):
            raise Uncorrectable("no codeword within reach")
        return found, changed

    def _require_symbols(self, symbols: Sequence[int], most: int) -> None:
        if not 1 <= len(symbols) <= most:
            raise ValueError(
                f"a word of this code has 1 to {most} symbols here, not {len(symbols)}"
            )
        if not all(0 <= symbol <= self.longest for symbol in symbols):
            raise ValueError(f"a symbol of this field is 0 to {self.longest}")


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
