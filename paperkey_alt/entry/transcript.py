"""
What has been typed of a set so far: `Transcript`, which `feed` and `accept` take on by a line at a
time.

Nothing here prompts or prints. A line is taken without a question only when its check agrees with
every character; a mended one is a proposal, and somebody who has the paper at hand decides.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from paperkey_alt.entry import slips
from paperkey_alt.errors import LineError, SeveralSets, UnknownFormat
from paperkey_alt.format import head_line, lines, spare_lines
from paperkey_alt.format.lines import CHARACTERS, GROUP, NO_MARK, UNREADABLE, Line, Mend

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.raw_line import RawLine


@dataclass(frozen=True)
class Transcript:
    """
    The head once line 0 is there, the lines that are, each as its 29 characters, and those that
    were put off as illegible; of lines that were not taken since, the set mark that they *implied*.
    """

    head: Head | None = None
    lines: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))
    skipped: frozenset[int] = frozenset()
    implied: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))

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
class Taken:
    """
    What came of several lines at once: the transcript with those that are fine, the *numbers* of
    these, and the others, each with its number if it has one and its characters.
    """

    transcript: Transcript
    numbers: tuple[int, ...]
    wrong: tuple[tuple[int | None, str], ...]


@dataclass(frozen=True)
class Problem:
    """
    A line that was not taken: what is wrong, the column of the likely character from 1 (None where
    it cannot be told), and where the check allows one, the line that may be meant, to be compared
    with the paper.

    *used* is how many of the characters typed are of this line (None: all); *implied* the set mark
    under which what was typed would be fine.
    """

    number: int
    what: str
    column: int | None = None
    proposal: str | None = None
    used: int | None = None
    implied: str | None = None


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


def feed(
    transcript: Transcript, number: int, text: str, *, goes_on: bool = False
) -> Accepted | Problem:
    """
    Return *transcript* with *text* as line *number*, or what is wrong with it.

    A line number before the characters is read as that (`printed_number`). The characters may be
    those of the next line from some place on; where it *goes_on*, it has more characters than a
    line for that.
    """
    meant, characters = printed_number(transcript, number, text)
    if meant != head_line.NUMBER and transcript.head is None:
        return Problem(meant, "line 0 comes first: it says how many lines there are")
    answer = exactly(transcript, number, text)
    if answer is not None:
        return answer
    number, text = meant, characters
    own = next((rest for meant, rest in _numbered(text) if meant == number), None)
    if own is not None and len(lines.normalise(own)) >= CHARACTERS:
        problem = _problem(transcript, number, own, goes_on=goes_on)
        if problem.proposal is not None:
            before = len(lines.normalise(text)) - len(lines.normalise(own))
            return replace(
                problem,
                column=problem.column and problem.column + before,
                used=problem.used and problem.used + before,
            )
    return _problem(transcript, number, text, goes_on=goes_on)


def exactly(transcript: Transcript, number: int, text: str) -> Accepted | Problem | None:
    """
    Return *transcript* with *text*, if every character of it agrees with the check of line
    *number*, or of the line that its first digits name; None where not.
    """
    for meant, rest in _readings(transcript, number, text):
        mark = _mark(transcript, meant)
        line = _fine(rest, meant, mark)
        if line is not None:
            return _take(transcript, line, lines.encode(line, mark))
    return None


def printed_number(transcript: Transcript, number: int, text: str) -> tuple[int, str]:
    """
    Return the number of the line that *text* is, and its characters: *number* and all of it; or,
    where the printed number of a line of the set is before the characters, with a blank or a sign
    behind it, that number and what follows.
    """
    match = _PRINTED.fullmatch(text)
    if match is None:
        return number, text
    printed, rest = int(match[1]), match[2]
    last = transcript.head.total if transcript.head else head_line.NUMBER
    # As many digits as a group has are one, unless a line follows them.
    is_number = len(match[1]) < GROUP or len(lines.normalise(rest)) >= CHARACTERS - 1
    return (printed, rest) if is_number and printed <= last else (number, text)


def take_all(transcript: Transcript, raw_lines: Iterable[RawLine]) -> Taken:
    """
    Return *transcript* with all lines among *raw_lines* that are fine.

    Raises SeveralSets where a head line of another set is among them.
    """
    every = list(raw_lines)
    typed = transcript
    if typed.head is None:
        typed = begin(every)
    elif any(_head_of(raw_line) not in (None, typed.head) for raw_line in every):
        marks = {head.mark for head in map(_head_of, every) if head is not None}
        raise SeveralSets(
            f"this is of set {', '.join(sorted(marks))}; you are typing set {typed.head.mark}",
            advice="Put these sheets aside, or type them into a file of their own.",
        )
    taken, wrong = [], []
    for raw_line in every:
        answers = [
            exactly(typed, number, text)
            for number, text in raw_line.candidates
            if number is not None and (number == head_line.NUMBER or typed.head is not None)
        ]
        accepted = next((answer for answer in answers if isinstance(answer, Accepted)), None)
        if accepted is None:
            wrong.append((raw_line.number, raw_line.text))
        else:
            typed = accepted.transcript
            taken.append(accepted.number)
    return Taken(typed, tuple(taken), tuple(wrong))


def missed(transcript: Transcript, problem: Problem) -> Transcript:
    """Return *transcript* with what the line of *problem*, which was not taken, implies."""
    if problem.implied is None:
        return transcript
    implied = MappingProxyType({**transcript.implied, problem.number: problem.implied})
    return replace(transcript, implied=implied)


def is_numbered(number: int, text: str) -> bool:
    """Tell whether *text* may begin with its line's *number*."""
    return any(meant == number for meant, _ in _numbered(text))


def _readings(transcript: Transcript, number: int, text: str) -> Iterator[tuple[int, str]]:
    """Yield what *text* may be: line *number*, or the line that its first digits name."""
    yield number, text
    for meant, rest in _numbered(text):
        if meant == head_line.NUMBER or (transcript.head and meant <= transcript.head.total):
            yield meant, rest


_PRINTED = re.compile(r"\s*([0-9]{1,4})[\s.:,;)\]|]+(.*)", re.ASCII | re.DOTALL)
_DIGITS = re.compile(r"\s*([0-9]{1,4})", re.ASCII)


def _numbered(text: str) -> Iterator[tuple[int, str]]:
    """Yield the line numbers that *text* may begin with, each with the rest."""
    digits = _DIGITS.match(text)
    if digits is not None:
        for end in range(digits.end(), digits.start(1), -1):
            yield int(text[digits.start(1) : end]), text[end:].lstrip(" .:,;)]|")


def _mark(transcript: Transcript, number: int) -> str:
    if number == head_line.NUMBER or transcript.head is None:
        return NO_MARK
    return transcript.head.mark


def _problem(transcript: Transcript, number: int, text: str, *, goes_on: bool) -> Problem:
    mark = _mark(transcript, number)
    given = lines.normalise(text)
    for known, characters in transcript.lines.items():
        if known != number and given[:CHARACTERS] == characters:
            what = f"this is line {known}, which you have typed already"
            return Problem(known, what, None, characters, CHARACTERS)
    is_long = _fine(given[:CHARACTERS], number, mark) is not None
    if UNREADABLE not in given[: CHARACTERS + 1] and not is_long:
        others = range(1, transcript.head.total + 1) if transcript.head and number else ()
        slip = slips.explain(given.split(UNREADABLE)[0], number, mark, others)
        if slip is not None:
            return Problem(slip.number, slip.what, slip.column, slip.exact, slip.used)
        groups = slips.left_out(given, number, mark)
        if groups:
            *before, final = [str(group + 1) for group in groups]
            told = f"{', '.join(before)} or {final}" if before else final
            what = f"group {told} seems to be left out: type it there"
            return Problem(number, what, groups[0] * GROUP + 1)
    if goes_on:
        text = given[:CHARACTERS]
    try:
        decoded = lines.decode(text, number, mark)
    except LineError as error:
        implied = None if mark == NO_MARK else lines.implied_mark(text, number)
        return Problem(
            number, f"{error.what}{_another_set(transcript, number, implied)}", implied=implied
        )
    if UNREADABLE not in given:
        return Problem(number, "more than one line fits what you typed")
    exact = lines.encode(decoded.line, mark)
    return _proposed(number, decoded.line.number, decoded.mends, exact)


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
    return Problem(number, "; ".join(map(_mended, mends)), mends[0].column, exact)


def _mended(mend: Mend) -> str:
    if not mend.was:
        return f"a character is missing at {mend.column}, perhaps {mend.now}"
    if not mend.now:
        return f"character {mend.column}, {mend.was}, is one too many"
    return slips.wrong(mend)


def _another_set(transcript: Transcript, number: int, implied: str | None) -> str:
    """
    Return what to say where the line may be of another set. Any slip implies some mark: only one
    that two lines imply is worth a look.
    """
    if implied is None or transcript.head is None:
        return ""
    if any(mark == implied for other, mark in transcript.implied.items() if other != number):
        return (
            f"; if the set mark on the sheet is {implied} and not {transcript.head.mark}, it is a "
            "sheet of another set"
        )
    return f"; check that the set mark on this sheet is {transcript.head.mark}"


def _head(text: str, number: int | None) -> Head | None:
    line = _fine(text, number, NO_MARK) if number in (head_line.NUMBER, None) else None
    try:
        return head_line.unpack(line) if line and line.number == head_line.NUMBER else None
    except UnknownFormat:
        return None


def _head_of(raw_line: RawLine) -> Head | None:
    heads = (_head(text, number) for number, text in raw_line.candidates)
    return next(filter(None, heads), None)


def _fine(text: str, number: int | None, mark: str) -> Line | None:
    if len(lines.normalise(text)) != CHARACTERS:
        return None
    try:
        reading = lines.decode(text, number, mark)
    except LineError:
        return None
    return reading.line if not reading.mends and reading.spent == 0 else None
