"""
Lines among other text, as programs for reading text leave them: `read`.

Such text has columns side by side on one row, lines broken over two rows, blanks lost or added,
numbers lost, and what the program made of the symbols and words around. A line is looked for as a
run of words that together have about as many characters as a line; whether it is one, its check
decides.
"""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from paperkey_alt.format.lines import ALPHABET, CHARACTERS, GROUP, LAST_NUMBER, group, normalise
from paperkey_alt.format.raw_line import RawLine

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from paperkey_alt.errors import Place

LENGTHS = (CHARACTERS, CHARACTERS - 1, CHARACTERS + 1)
_NUMBER = re.compile(r"[\[(|]*([0-9]{1,4})[.:,;)\]|]*", re.ASCII)
_NUMBER_AND_GROUP = re.compile(rf"([0-9]{{1,3}})([{ALPHABET}]{{{GROUP}}})")
_GROUPS = [len(characters) for characters in group("x" * CHARACTERS).split()]
_LEAST_GROUPS = 5  # words of a group's length that a run of other text hardly has
_LEAST_CAPITALS = 20
_MOST_WORDS = 2 * CHARACTERS  # of a line and its number: where each letter has a dash behind it


class _Word(NamedTuple):
    """A word, its row among those given, and how many characters it has as `normalise` reads it."""

    text: str
    row: int
    length: int


class _Run(NamedTuple):
    """
    Words from *first* up to *end* taken for a line: its number, its characters, and how unlike a
    line as printed it is.
    """

    first: int
    end: int
    number: int | None
    text: str
    oddness: tuple[bool, bool, int, bool]


def read(rows: Sequence[tuple[Place, str]]) -> Iterator[tuple[frozenset[int], RawLine]]:
    """
    Yield the lines that consecutive *rows* may hold, each with the indices of the rows it was made
    of.
    """
    words = [
        _Word(text, row, len(normalise(text)))
        for row, (_, content) in enumerate(rows)
        for text in content.split()
    ]
    runs = sorted(
        (run for first in range(len(words)) for run in _runs(words, first)),
        key=lambda run: run.oddness,
    )
    starting: dict[int, list[_Run]] = defaultdict(list)
    for run in runs:
        starting[run.first].append(run)
    # Greedy: the least odd run first, then the least odd of those that share no word with it.
    used: set[int] = set()
    kept: list[_Run] = []
    for run in runs:
        if used.isdisjoint(range(run.first, run.end)):
            used.update(range(run.first, run.end))
            kept.append(run)
    for run in sorted(kept, key=lambda run: run.first):
        # Where a line ends is not sure: the check will tell.
        ways = dict.fromkeys((other.number, other.text) for other in (run, *starting[run.first]))
        yield (
            frozenset(word.row for word in words[run.first : run.end]),
            RawLine(rows[words[run.first].row][0], tuple(ways)),
        )


def _runs(words: Sequence[_Word], first: int) -> Iterator[_Run]:
    """Yield the runs from *first* on that may be a line."""
    numbered = _NUMBER.fullmatch(words[first].text)
    glued = _NUMBER_AND_GROUP.fullmatch(words[first].text)
    if numbered and int(numbered[1]) <= LAST_NUMBER:
        yield from _of_length(words, first, int(numbered[1]), [])
    if glued and int(glued[1]) <= LAST_NUMBER:
        yield from _of_length(words, first, int(glued[1]), [glued[2]])
    run = [word.text for word in words[first : first + len(_GROUPS)]]
    if (
        [*map(len, run)] == _GROUPS
        and words[first].row == words[first + len(run) - 1].row
        and _like_a_line(run)
    ):
        yield _Run(first, first + len(run), None, "".join(run), (False, False, 0, True))


def _of_length(words: Sequence[_Word], first: int, number: int, run: list[str]) -> Iterator[_Run]:
    """
    Yield runs behind *number*, which stands at *first*, of about a line's length; *run* is what has
    been read of it.
    """
    length = len(normalise("".join(run)))
    near = words[first : first + _MOST_WORDS]
    for end, (before, word) in enumerate(pairwise(near), first + 2):
        if word.row != before.row and (not run or _NUMBER.fullmatch(word.text)):
            # A broken line has some of it on its number's row, and its next row does not begin with
            # a number.
            return
        run = [*run, word.text]
        length += word.length
        if length > LENGTHS[-1]:
            return
        if length in LENGTHS and _like_a_line(run):
            odd = (
                [*map(len, run)] != _GROUPS,
                word.row != words[first].row,
                LENGTHS.index(length),
                False,
            )
            yield _Run(first, end, number, "".join(run), odd)


def _like_a_line(run: Sequence[str]) -> bool:
    capitals = sum(character in ALPHABET for text in run for character in text)
    return (
        capitals >= _LEAST_CAPITALS
        or sum(len(text) in (GROUP, GROUP + 1) for text in run) >= _LEAST_GROUPS
    )
