"""
Numbers in sentences: `counted` and `noun` put a noun after its number, `ranges` draws runs of
numbers together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sized


def noun(count: int | Sized, word: str, plural: str | None = None) -> str:
    """
    Return *word* as it is said of *count* things, or of the things themselves: ``line`` of one,
    ``lines`` of any other count.
    """
    number = count if isinstance(count, int) else len(count)
    return word if number == 1 else plural or f"{word}s"


def counted(count: int, word: str, plural: str | None = None) -> str:
    """Return *count* and *word* as it is said of so many: ``1 line``, ``2 lines``."""
    return f"{count:,} {noun(count, word, plural)}"


def ranges(numbers: Iterable[int]) -> str:
    """Return ascending *numbers* in short, runs drawn together: ``1–36, 38``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1][1:] = [number]
        else:
            runs.append([number])
    return ", ".join("–".join(map(str, run)) for run in runs)
