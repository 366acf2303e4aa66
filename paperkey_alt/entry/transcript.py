"""
What has been typed of a set so far: `Transcript`, which `feed` and `accept` take on by a line at a
time.

Nothing here prompts or prints. A line is taken without a question only when its check agrees with
every character; a mended one is a proposal, and somebody who has the paper at hand decides.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from paperkey_alt.errors import LineError, SeveralSets, UnknownFormat
from paperkey_alt.format import head_line, lines, spare_lines
from paperkey_alt.format.lines import CHARACTERS, NO_MARK, Line, Mend

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.raw_line import RawLine


@dataclass(frozen=True)
class Transcript:
    """
    The head once line 0 is there, the lines that are, each as its 29 characters, and those that
    were put off as illegible.
    """

    head: Head | None = None
    lines: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))
    skipped: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        if (self.head is None) != (head_line.NUMBER not in self.lines):
            raise ValueError("a transcript has a head when it has line 0, and no other line before")

    @property
    def needed(self) -> int:
        """
        How many more lines are needed, data lines or spare lines; 0 when the set can be had back.
        """
        if self.head is None:
            return 1
        return sum(
            self._short(data, spare)
            for data, spare in spare_lines.groups(self.head.data_lines, self.head.spare_lines)
        )

    def due(self, after: int = -1) -> int | None:
        """
        Return the next line to type: the data line behind *after* that is missing, or the first
        one; where data lines were put off, a spare line; None when nothing is left that would help.
        """
        if self.head is None:
            return head_line.NUMBER
        missing = [number for number in range(1, self.head.data_lines + 1) if self._is_open(number)]
        if missing:
            return next((number for number in missing if number > after), missing[0])
        groups = spare_lines.groups(self.head.data_lines, self.head.spare_lines)
        return next(
            (
                number
                for data, spare in groups
                if self._short(data, spare)
                for number in spare
                if self._is_open(number)
            ),
            None,
        )

    def lines_since(self, earlier: Transcript) -> list[tuple[int, str]]:
        """Return the lines, with their numbers, that are not in *earlier*, or otherwise there."""
        return [
            (number, characters)
            for number, characters in self.lines.items()
            if earlier.lines.get(number) != characters
        ]

    def _is_open(self, number: int) -> bool:
        return number not in self.lines and number not in self.skipped

    def _short(self, data: range, spare: range) -> int:
        missing = sum(number not in self.lines for number in data)
        return max(0, missing - sum(number in self.lines for number in spare))


@dataclass(frozen=True)
class Accepted:
    """A line that was taken: the transcript with it, its number and its 29 characters."""

    transcript: Transcript
    number: int
    characters: str


@dataclass(frozen=True)
class Problem:
    """
    A line that was not taken: what is wrong, the column of the likely character from 1 (None where
    it cannot be told), and where the check allows one, the line that may be meant, to be compared
    with the paper.
    """

    number: int
    what: str
    column: int | None = None
    proposal: str | None = None


def begin(raw_lines: Iterable[RawLine]) -> Transcript:
    """
    Return the transcript of the lines among *raw_lines* that are fine without any mend; others are
    left to be typed.

    Raises SeveralSets where head lines of more than one set are among them.
    """
    every = list(raw_lines)
    heads = {
        head: text
        for raw_line in every
        for number, text in raw_line.candidates
        if (head := _head(text, number)) is not None
    }
    if len(heads) > 1:
        marks = ", ".join(head.mark for head in heads)
        raise SeveralSets(
            f"there are lines of {len(heads)} sets: {marks}",
            advice="Type each set into a file of its own.",
        )
    if not heads:
        return Transcript()
    ((head, text),) = heads.items()
    exact = {head_line.NUMBER: lines.normalise(text)}
    # What was chosen among several readings of a picture is not fine, however well it checks.
    certain = (raw_line for raw_line in every if raw_line.seen is None)
    for number, characters in (cut for raw_line in certain for cut in raw_line.candidates):
        line = _fine(characters, number, head.mark) if number else None
        if line is not None and line.number <= head.total:
            exact[line.number] = lines.encode(line, head.mark)
    return Transcript(head, MappingProxyType(exact))


def feed(transcript: Transcript, number: int, text: str) -> Accepted | Problem:
    """Return *transcript* with *text* as line *number*, or what is wrong with it."""
    if number == head_line.NUMBER:
        mark = NO_MARK
    elif transcript.head is not None:
        mark = transcript.head.mark
    else:
        return Problem(number, "line 0 comes first: it says how many lines there are")
    try:
        reading = lines.decode(text, number, mark)
    except LineError as error:
        return Problem(number, f"{error.what}{_another_set(text, number, mark)}")
    exact = lines.encode(reading.line, mark)
    if reading.mends:
        return _proposed(number, reading.line.number, reading.mends, exact)
    return _take(transcript, reading.line, exact)


def accept(transcript: Transcript, problem: Problem) -> Accepted | Problem:
    """Return *transcript* with the line that *problem* proposes."""
    if problem.proposal is None:
        return problem
    return feed(transcript, problem.number, problem.proposal)


def skip(transcript: Transcript, number: int) -> Transcript:
    """Return *transcript* with line *number* put off as illegible; the head line cannot be."""
    if number == head_line.NUMBER:
        return transcript
    return replace(transcript, skipped=transcript.skipped | {number})


def _take(transcript: Transcript, line: Line, exact: str) -> Accepted | Problem:
    head = transcript.head
    if line.number == head_line.NUMBER:
        try:
            head = head_line.unpack(line)
        except UnknownFormat as error:
            return Problem(line.number, error.what)
        if transcript.head not in (None, head):
            return Problem(
                line.number,
                f"this is the head line of set {head.mark}, and you typed lines of another set",
            )
    if head is None or line.number > head.total:
        return Problem(line.number, f"the set has no line {line.number}")
    typed = MappingProxyType({**transcript.lines, line.number: exact})
    return Accepted(Transcript(head, typed, transcript.skipped - {line.number}), line.number, exact)


def _proposed(number: int, meant: int, mends: tuple[Mend, ...], exact: str) -> Problem:
    if meant != number:
        return Problem(meant, f"this seems to be line {meant}, not line {number}", None, exact)
    if lines.is_swap(mends):
        return Problem(
            number,
            f"characters {mends[0].column} and {mends[1].column} seem to be swapped",
            mends[0].column,
            exact,
        )
    return Problem(number, "; ".join(map(_mended, mends)), mends[0].column, exact)


def _mended(mend: Mend) -> str:
    if not mend.was:
        return f"a character is missing at {mend.column}, perhaps {mend.now}"
    if not mend.now:
        return f"character {mend.column}, {mend.was}, is one too many"
    return f"character {mend.column} is perhaps {mend.now}, not {mend.was}"


def _another_set(text: str, number: int, mark: str) -> str:
    implied = lines.implied_mark(text, number)
    if mark == NO_MARK or implied is None:
        return ""
    return (
        f"; if the set mark on the sheet is {implied} and not {mark}, it is a sheet of another set"
    )


def _head(text: str, number: int | None) -> Head | None:
    line = _fine(text, number, NO_MARK) if number in (head_line.NUMBER, None) else None
    try:
        return head_line.unpack(line) if line and line.number == head_line.NUMBER else None
    except UnknownFormat:
        return None


def _fine(text: str, number: int | None, mark: str) -> Line | None:
    if len(lines.normalise(text)) != CHARACTERS:
        return None
    try:
        reading = lines.decode(text, number, mark)
    except LineError:
        return None
    return reading.line if not reading.mends and reading.spent == 0 else None
