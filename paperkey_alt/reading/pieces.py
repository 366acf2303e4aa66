"""
Lines among other text, as programs for reading text leave them: `read`.

Such text has columns side by side on one row, lines broken over two rows, blanks lost or added, numbers lost, and what the
program made of the symbols and words around. A line is looked for as a run of words that together have about as many characters
as a line; whether it is one, its check decides.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from paperkey_alt.lines import ALPHABET, CHARACTERS, GROUP, LAST_NUMBER, group, normalise
from paperkey_alt.reading.sighting import Sighting

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from paperkey_alt.errors import Place

LENGTHS = (CHARACTERS, CHARACTERS - 1, CHARACTERS + 1)
_NUMBER = re.compile(r"[\[(|]*([0-9]{1,4})[.:,;)\]|]*", re.ASCII)
_NUMBER_AND_GROUP = re.compile(rf"([0-9]{{1,3}})([{ALPHABET}]{{{GROUP}}})")
_GROUPS = [len(characters) for characters in group("x" * CHARACTERS).split()]
_LEAST_GROUPS = 5  # words of a group's length that a run of other text hardly has
_LEAST_CAPITALS = 20


@dataclass(frozen=True)
class _Word:
    """A word, and its row among those given."""

    text: str
    row: int

    @property
    def number(self) -> int | None:
        match = _NUMBER.fullmatch(self.text)
        return int(match[1]) if match and int(match[1]) <= LAST_NUMBER else None


@dataclass(frozen=True)
class _Run:
    """Words *first* up to *end* taken for a line."""

    first: int
    end: int
    number: int | None
    text: str


def read(rows: Sequence[tuple[Place, str]]) -> Iterator[tuple[frozenset[int], Sighting]]:
    """Yield the lines that consecutive *rows* may hold, each with the indices of the rows it was made of."""
    words = [word for row, (_, content) in enumerate(rows) for word in _words(content, row)]
    at = 0
    while at < len(words):
        runs = _numbered(words, at) or _unnumbered(words, at)
        if not runs:
            at += 1
            continue
        place = rows[words[at].row][0]
        yield (
            frozenset(word.row for word in words[at : runs[0].end]),
            Sighting(place, tuple((run.number, run.text) for run in runs)),
        )
        at = runs[0].end


def _words(content: str, row: int) -> Iterator[_Word]:
    for text in content.split():
        # The blank between a number and its line is easily lost.
        glued = _NUMBER_AND_GROUP.fullmatch(text)
        yield from (_Word(part, row) for part in (glued.groups() if glued and len(text) > GROUP + 1 else (text,)))


def _numbered(words: Sequence[_Word], at: int) -> list[_Run]:
    """Return the runs behind the number at *at* that may be its line, likeliest first."""
    number = words[at].number
    if number is None:
        return []
    runs = [
        _Run(at, end, number, text)
        for end, text in _texts(words, at + 1)
        if len(normalise(text)) in LENGTHS and _like_a_line(words[at + 1 : end])
    ]
    return sorted(runs, key=lambda run: LENGTHS.index(len(normalise(run.text))))


def _unnumbered(words: Sequence[_Word], at: int) -> list[_Run]:
    """Return the run from *at* on if it has just the groups of a line; its number may have been lost."""
    run = words[at : at + len(_GROUPS)]
    if [len(word.text) for word in run] != _GROUPS or run[0].row != run[-1].row or not _like_a_line(run):
        return []
    return [_Run(at, at + len(run), None, "".join(word.text for word in run))]


def _texts(words: Sequence[_Word], first: int) -> Iterator[tuple[int, str]]:
    """Yield where runs from *first* on end and what they say, as long as they may be of one line."""
    text = ""
    for end, (before, word) in enumerate(pairwise(words[first - 1 :]), first + 1):
        if word.row != before.row and word.number is not None:
            return
        text += word.text
        if len(text) > 2 * CHARACTERS:
            return
        yield end, text


def _like_a_line(words: Sequence[_Word]) -> bool:
    capitals = sum(character in ALPHABET for word in words for character in word.text)
    return capitals >= _LEAST_CAPITALS or sum(len(word.text) in (GROUP, GROUP + 1) for word in words) >= _LEAST_GROUPS
