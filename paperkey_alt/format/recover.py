"""
The body of a set of lines, from what was read of it: `recover`. The way there is
`paperkey_alt.format.line_set`.

`recover` believes a line by its check, a mended line only until the digest in the head line agrees,
and lets the spare lines decide where it does not.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from enum import Enum
from itertools import combinations, islice
from typing import TYPE_CHECKING

from paperkey_alt.errors import (
    DigestMismatch,
    LineError,
    NoHeadLine,
    NoLines,
    NotEnoughLines,
    PaperError,
    UnknownFormat,
)
from paperkey_alt.format import head_line, lines, spare_lines
from paperkey_alt.format.lines import NO_MARK, DecodedLine, Line, Mend
from paperkey_alt.wording import ranges

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from paperkey_alt.errors import Place
    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.raw_line import RawLine

MOST_SPENT_ON_ONE = 2
SPENT_ON_CHOICE = 3  # as weak a proof as that of a line with an unreadable and a wrong character
MOST_DROPPED = 2
MOST_BELIEFS = 200


class Status(Enum):
    """What became of a line."""

    FINE = "fine"
    MENDED = "mended"
    WRONG = "wrong"
    MISSING = "missing"


@dataclass(frozen=True)
class LineFinding:
    """
    What was found of one line: its status, where it was seen, what was mended in it or is known to
    be wrong, and a remark.
    """

    number: int
    status: Status
    places: tuple[Place, ...] = ()
    mends: tuple[Mend, ...] = ()
    remark: str = ""


@dataclass(frozen=True)
class SetFinding:
    """
    What was found of one set. *body* is there only when the digest in the head line agrees with it;
    otherwise *problem* says why it is not, and *needed* how many more lines would do.
    """

    head: Head
    lines: tuple[LineFinding, ...]
    body: bytes | None
    problem: PaperError | None
    needed: int

    def count(self, status: Status) -> int:
        """Return how many lines have *status*."""
        return sum(line.status is status for line in self.lines)


@dataclass(frozen=True)
class Stray:
    """
    A raw_line that belongs to no set here: the place, its line number and set mark where they can
    be told, and why.
    """

    place: Place
    number: int | None
    mark: str | None
    reason: str


@dataclass(frozen=True)
class Findings:
    """The sets that were found, and the raw_lines that belong to none."""

    sets: tuple[SetFinding, ...]
    strays: tuple[Stray, ...]


def recover(raw_lines: Sequence[RawLine]) -> Findings:
    """
    Find the sets that *raw_lines*, in any order, are lines of, and the body of each set that is
    complete enough.

    Raises NoLines where nothing is a line, NoHeadLine where none is a head line, UnknownFormat
    where it is of another version.
    """
    found, rest = _head_lines(raw_lines)
    if not found:
        if not rest:
            raise NoLines("no line was found")
        raise NoHeadLine("no head line was read, so nothing says how many lines there are")
    placed, strays = _place(rest, found)
    return Findings(tuple(_finding(head, placed[head.mark]) for head in found.values()), strays)


@dataclass(frozen=True)
class _Placed:
    """
    A raw_line at its line number in a set; *reading* is None where it cannot be taken for a line.
    """

    raw_line: RawLine
    number: int
    reading: DecodedLine | None
    remark: str = ""


def _head_lines(raw_lines: Iterable[RawLine]) -> tuple[dict[str, Head], list[RawLine]]:
    votes: dict[str, Counter[Head]] = defaultdict(Counter)
    rest, unknown = [], None
    for raw_line in raw_lines:
        try:
            reading = _head_reading(raw_line)
            head = head_line.unpack(reading.line) if reading else None
        except UnknownFormat as error:
            unknown = UnknownFormat(error.what, place=raw_line.place)
            continue
        if reading is None or head is None:
            rest.append(raw_line)
        else:
            votes[head.mark][head] += 1 << 2 * (lines.MOST_SPENT - reading.spent)
    if unknown and not votes:
        raise unknown
    return {mark: counter.most_common(1)[0][0] for mark, counter in votes.items()}, rest


def _head_reading(raw_line: RawLine) -> DecodedLine | None:
    for number, text in raw_line.candidates:
        if number in (head_line.NUMBER, None):
            reading = _try(raw_line, text, number, NO_MARK)
            if reading and reading.line.number == head_line.NUMBER:
                return reading
    return None


def _place(
    raw_lines: Sequence[RawLine], found: Mapping[str, Head]
) -> tuple[dict[str, list[_Placed]], tuple[Stray, ...]]:
    placed: dict[str, list[_Placed]] = {mark: [] for mark in found}
    strays: list[Stray] = []
    marks = [_implied_marks(raw_line) for raw_line in raw_lines]
    common = Counter(mark for implied in marks for mark in implied if mark not in found)
    home, expected = next(iter(found)), 1
    for raw_line, implied in zip(raw_lines, marks, strict=True):
        mark, reading, remark = _best(raw_line, implied, found, home, expected)
        other = max(implied, key=lambda one: common[one], default=None)
        if other is not None and _is_foreign(reading, common[other]):
            strays.append(Stray(raw_line.place, raw_line.number, other, "of another set"))
            continue
        number = reading.line.number if reading else raw_line.number
        if number is None or not 1 <= number <= found[mark].total:
            strays.append(
                Stray(
                    raw_line.place, number, None, remark or f"the set has {found[mark].total} lines"
                )
            )
            continue
        placed[mark].append(_Placed(raw_line, number, reading, remark))
        home, expected = mark, number + 1
    return placed, tuple(strays)


def _is_foreign(reading: DecodedLine | None, alike: int) -> bool:
    """
    Tell whether a raw_line is of a set that is not here: *alike* raw_lines, itself included, imply
    its set mark.

    The mark that a damaged line implies depends on its damage alone, so two lines of this set with
    the same slip imply the same one. There are 899 ways to get one character wrong and 400,000 for
    two: the better the reading here, the more it takes.
    """
    if reading is None:
        return alike >= 2
    return reading.spent > MOST_SPENT_ON_ONE and alike >= 3


def _implied_marks(raw_line: RawLine) -> tuple[str, ...]:
    implied = (
        lines.implied_mark(text, number)
        for number, text in raw_line.candidates
        if number is not None
    )
    return tuple(mark for mark in implied if mark is not None)


def _best(
    raw_line: RawLine, implied: tuple[str, ...], found: Mapping[str, Head], home: str, expected: int
) -> tuple[str, DecodedLine | None, str]:
    """
    Return the set of *found* that *raw_line* fits best, its reading and, where there is none, the
    reason.
    """
    likely = [mark for mark in implied if mark in found] or [
        home,
        *(mark for mark in found if mark != home),
    ]
    readings, reasons = [], []
    for mark in likely:
        for number, text in raw_line.candidates:
            for guess in (expected, None) if number is None else (number,):
                try:
                    reading = _read(raw_line, text, guess, mark)
                except LineError as error:
                    reasons.append(error.what)
                    continue
                # A number that was only expected is no evidence against the one that the line
                # itself tells.
                unexpected = number is None and guess not in (None, reading.line.number)
                if 1 <= reading.line.number <= found[mark].total and not unexpected:
                    readings.append((mark, reading))
    if not readings:
        return home, None, reasons[0] if reasons else ""
    return *min(readings, key=lambda pair: pair[1].spent), ""


def _read(raw_line: RawLine, text: str, number: int | None, mark: str) -> DecodedLine:
    """Return what *text*, one way to cut *raw_line*, says as a line; raises LineError."""
    reading = lines.decode(text, number, mark)
    if raw_line.seen is None:
        return reading
    exact = lines.encode(reading.line, mark)
    return DecodedLine(
        reading.line,
        lines.differences(raw_line.seen, exact) or (),
        max(reading.spent, SPENT_ON_CHOICE),
    )


def _try(raw_line: RawLine, text: str, number: int | None, mark: str) -> DecodedLine | None:
    try:
        return _read(raw_line, text, number, mark)
    except LineError:
        return None


def _finding(head: Head, placed: Sequence[_Placed]) -> SetFinding:
    seen: dict[int, list[_Placed]] = defaultdict(list)
    for one in placed:
        seen[one.number].append(one)
    readings = {number: reading for number, ones in seen.items() if (reading := _agreed(ones))}
    try:
        every = _resolve(head, readings)
    except PaperError as problem:
        found = tuple(
            _unproven(number, seen[number], readings.get(number))
            for number in range(1, head.total + 1)
        )
        needed = _needed(head, readings)
        return SetFinding(
            head, found, None, _shortfall(found, needed) if needed else problem, needed
        )
    found = tuple(
        _proven(number, seen[number], every[number - 1], head.mark)
        for number in range(1, head.total + 1)
    )
    return SetFinding(head, found, _body(head, every), None, 0)


def _shortfall(found: Sequence[LineFinding], needed: int) -> NotEnoughLines:
    unread = {
        status: ranges(line.number for line in found if line.status is status)
        for status in (Status.WRONG, Status.MISSING)
    }
    where = "; ".join(f"{status.value} {numbers}" for status, numbers in unread.items() if numbers)
    return NotEnoughLines(
        f"{needed} more {'line is' if needed == 1 else 'lines are'} needed ({where})"
    )


def _agreed(ones: Iterable[_Placed]) -> DecodedLine | None:
    """
    Return the reading that has least mended in it; two that are equally good and differ cancel out.
    """
    readings = [one.reading for one in ones if one.reading]
    least = min((reading.spent for reading in readings), default=0)
    best = {reading.line: reading for reading in readings if reading.spent == least}
    return next(iter(best.values())) if len(best) == 1 else None


def _resolve(head: Head, readings: Mapping[int, DecodedLine]) -> tuple[bytes, ...]:
    """
    Return all lines of the set, by the first belief in *readings* with which the digest agrees.
    """
    problem: PaperError = NotEnoughLines("no line of the set was read")
    for known in _beliefs(readings):
        try:
            every = spare_lines.mend(known, head.data_lines, head.spare_lines)
        except NotEnoughLines as error:
            problem = problem if isinstance(problem, DigestMismatch) else error
            continue
        if head.agrees_with(_body(head, every)) and not any(_padding(head, every)):
            return every
        problem = DigestMismatch(
            "the lines pass their checks, but the digest in the head line does not agree with them"
        )
    raise problem


def _beliefs(readings: Mapping[int, DecodedLine]) -> Iterator[dict[int, bytes]]:
    """
    Yield the lines as read: all of them; all but one or two of the doubtful ones; then without all
    that were mended, the most heavily mended first.
    """
    everything = {number: reading.line.data for number, reading in readings.items()}
    doubtful = sorted(
        (reading.spent, number)
        for number, reading in readings.items()
        if reading.spent > MOST_SPENT_ON_ONE
    )
    dropped = (
        numbers
        for size in range(MOST_DROPPED + 1)
        for numbers in combinations([n for _, n in reversed(doubtful)], size)
    )
    for numbers in islice(dropped, MOST_BELIEFS):
        yield {number: data for number, data in everything.items() if number not in numbers}
    for limit in sorted({reading.spent for reading in readings.values()}, reverse=True)[1:]:
        yield {
            number: data for number, data in everything.items() if readings[number].spent <= limit
        }


def _body(head: Head, every: Sequence[bytes]) -> bytes:
    return b"".join(every[: head.data_lines])[: head.body_length]


def _padding(head: Head, every: Sequence[bytes]) -> bytes:
    return b"".join(every[: head.data_lines])[head.body_length :]


def _needed(head: Head, readings: Mapping[int, DecodedLine]) -> int:
    groups = spare_lines.groups(head.data_lines, head.spare_lines)
    short = (
        sum(number not in readings for part in group for number in part) - len(group[1])
        for group in groups
    )
    return sum(max(0, lines_short) for lines_short in short)


def _unproven(number: int, ones: Sequence[_Placed], reading: DecodedLine | None) -> LineFinding:
    places = tuple(one.raw_line.place for one in ones)
    if reading is not None:
        return LineFinding(
            number, Status.MENDED if reading.mends else Status.FINE, places, reading.mends
        )
    if not ones:
        return LineFinding(number, Status.MISSING)
    remark = (
        "read more than once, and differently"
        if any(one.reading for one in ones)
        else ones[0].remark
    )
    return LineFinding(number, Status.WRONG, places, _unreadable(ones[0].raw_line.text), remark)


def _proven(number: int, ones: Sequence[_Placed], data: bytes, mark: str) -> LineFinding:
    exact = lines.encode(Line(number, data), mark)
    places = tuple(one.raw_line.place for one in ones)
    right = [one.reading for one in ones if one.reading and one.reading.line == Line(number, data)]
    if right:
        best = min(right, key=lambda reading: reading.spent)
        return LineFinding(number, Status.MENDED if best.mends else Status.FINE, places, best.mends)
    if not ones:
        return LineFinding(number, Status.MISSING)
    wrong = lines.differences(ones[0].raw_line.text, exact) or ()
    return LineFinding(number, Status.WRONG, places, wrong, ones[0].remark)


def _unreadable(text: str) -> tuple[Mend, ...]:
    given = lines.normalise(text)
    return tuple(
        Mend(at, lines.UNREADABLE, lines.UNREADABLE)
        for at, was in enumerate(given, 1)
        if was == lines.UNREADABLE
    )
