"""
The body of a set of lines, from what was read of it: `recover` (docs/format.md, "Restoring"). The
way there is `paperkey_alt.format.line_set`.

The strategy is errors-and-erasures decoding with a digest to decide, and hypotheses where it does
not agree. What is believed, in this order:

1. *Head lines.* They say which sets there are. Each copy that its check lets pass votes for the
   head it says, the more it weighs the less was spent on it. Where copies with one set mark say
   several heads, each is tried in turn, for anyone can print a line 0, and the digest decides. Of a
   set without a legible one, or with none that agrees, the head is computed from the other lines
   (`computed_head`). A head under whose mark no other line was read is no set.
2. *A place for each line.* It belongs to the set under whose mark its check spends least. The set
   mark is XORed to the check, so a line that is fine names its mark; a mark that several raw lines
   name and no head has is a set that is not here.
3. *One reading of each line:* that on which least was spent; where two are equally good and differ,
   the line is lost, for nothing tells which is forged. Where the digest does not agree then, the
   sources that were given are believed one at a time, and then either reading of one such line, and
   of each two of them.
4. *Across the lines.* Lines that are lost are erasures and cost one spare line; those that passed
   their check and are wrong all the same are errors and cost two (`spare_lines.mend`).
5. *The digest in the head line* says whether that was right. Where it does not agree, or too much
   is wrong, the likeliest fault is a line that was mended into another one; dropped, it costs one
   spare line instead of two. So hypotheses are tried: without each of the doubtful lines, without
   each two of them, then without all on which as much was spent. The first with which the digest
   agrees is the body; it agrees with a wrong one by a chance of 2⁻⁴⁵ for each.

At most MOST_HYPOTHESES are of the first two kinds, 4 of the last, MOST_SOURCES of sources and
MOST_HYPOTHESES of lines with two readings: for each of MOST_HEADS no more than that many times are
the spare lines decoded.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from enum import Enum
from itertools import chain, combinations, islice, product
from typing import TYPE_CHECKING, NamedTuple

from paperkey_alt.errors import (
    DigestMismatch,
    LineError,
    NoHeadLine,
    NoLines,
    NotEnoughLines,
    PaperError,
    UnknownFormat,
)
from paperkey_alt.format import computed_head, head_line, lines, spare_lines
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import NO_MARK, DecodedLine, Line, Mend
from paperkey_alt.wording import counted, ranges

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

    from paperkey_alt.errors import Place
    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.format.raw_line import RawLine

# A line is doubtful where more check symbols than this were spent on it. By reasoning: what is left
# lets a random line pass in 3 of 100,000 cases for 2 spent, in 1 of 1,000 for 3 and in 3 of 100 for
# 4 (`lines.DecodedLine`); a set has some hundred lines.
MOST_SPENT_UNDOUBTED = 2

# Spent on a line whose characters were chosen from likely ones by the check. By reasoning: up to
# 8,192 choices are tried (`reading.image.soft_decision`), which is a chance of 2·10⁻⁴ that a random
# line passes, between those for 2 and for 3.
SPENT_ON_CHOICE = 3

# tests/bench/hypotheses.py: of 2,000 sets of 100 lines with as many lines of four to eight wrong
# characters as spare lines, and as many more of two, 78.8 % come back where none is dropped, 98.0 %
# where one may be, 99.3 % where two may be. A third changes nothing within the bound on hypotheses,
# all of which take 0.4 s. So many lines with two equally good readings are chosen at a time, too.
MOST_DROPPED = 2
MOST_HYPOTHESES = 200

# How many raw lines, itself included, must imply the mark of a set that is not here for a raw line
# to be taken for one of that set. By reasoning: the mark that a damaged line implies depends on its
# damage alone, so two lines of this set with the same slip imply the same one. There are 899 ways
# to get one character wrong and 400,000 for two: the better its reading here, the more it takes.
ALIKE_UNREAD = 2
ALIKE_DOUBTFUL = 3

# A copy of the head line weighs 4 times as much for each check symbol that was not spent on it. By
# reasoning: each one spent lets some 30 times as many random lines pass; but copies that agree
# support each other, and a fine copy must not outvote any number of them.
VOTE_BITS_PER_SYMBOL = 2

# Heads of one set mark that are tried, those with most votes first, and sources that are believed
# one at a time. By reasoning: honest sheets have one of each; after so many the head is computed.
MOST_HEADS = 4
MOST_SOURCES = 16

# Sets under whose marks a line is tried that implies none of them, those with most lines first. By
# reasoning: 16 shares, and some that were mixed in; each takes a third of a millisecond a line.
MOST_SETS = 20


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
    otherwise *problem* says why it is not, and *needed* how many more lines would do. *first* are
    the bytes of line 1, where it was read and nothing in it mended. *computed* tells that line 0
    was not read, and follows from the others.
    """

    head: Head
    lines: tuple[LineFinding, ...]
    body: bytes | None
    problem: PaperError | None
    needed: int
    first: bytes | None = None
    computed: bool = False

    @property
    def is_partly_given(self) -> bool:
        """
        Whether it is incomplete for want of lines of which nothing was read, and would do with
        them: of the lines that are there, no more are wrong than spare lines can replace.
        """
        wrong = {line.number for line in self.lines if line.status is Status.WRONG}
        return self.needed > 0 and all(
            len(wrong.intersection((*data, *spare))) <= len(spare)
            for data, spare in spare_lines.groups(self.head.data_lines, self.head.spare_lines)
        )

    def laid_out(self) -> LineSet | None:
        """Return the set as it was printed; None where its lines are not known in full."""
        if self.body is None:
            return None
        head = self.head
        return lay_out(self.body, head.spare_lines, sealed=head.sealed, share=head.share)

    def count(self, status: Status) -> int:
        """Return how many lines have *status*."""
        return sum(line.status is status for line in self.lines)


class Stray(NamedTuple):
    """
    A raw line that belongs to no set here: the place, its line number and set mark where they can
    be told, and why.
    """

    place: Place
    number: int | None
    mark: str | None
    reason: str


@dataclass(frozen=True)
class Findings:
    """The sets that were found, and the raw lines that belong to none."""

    sets: tuple[SetFinding, ...]
    strays: tuple[Stray, ...]


def recover(raw_lines: Sequence[RawLine]) -> Findings:
    """
    Find the sets that *raw_lines*, in any order, are lines of, and the body of each set that is
    complete enough.

    Raises NoLines where nothing is a line, NoHeadLine where none is a head line, UnknownFormat
    where it is of another version.
    """
    heads, places, others = _head_lines(raw_lines)
    computed = computed_head.compute(others, heads)
    if not heads and not computed:
        if not others:
            raise NoLines("no line was found")
        raise NoHeadLine(
            "no line 0 was read, and the other lines are too few to compute it from them"
        )
    known = {**heads, **{head.mark: [head] for head in computed}}
    totals = {mark: max(head.total for head in several) for mark, several in known.items()}
    placed, strays = _place(others, totals)
    # A head line by itself is a scrap of a sheet, or was forged to confuse.
    there = [mark for mark in known if placed[mark]] or list(known)
    alone = tuple(
        Stray(place, head_line.NUMBER, mark, "a line 0 without any other line of its set")
        for mark, place in places.items()
        if mark not in there
    )
    findings = [
        finding
        for mark in there
        for finding in _set_findings(known[mark], placed[mark], computed=mark not in heads)
    ]
    return Findings(tuple(findings), (*alone, *strays))


def heads(raw_lines: Sequence[RawLine]) -> tuple[Head, ...]:
    """
    Return the heads that were read of the sets that *raw_lines* are lines of, of each set the
    likeliest first; none is computed.
    """
    try:
        said, _, _ = _head_lines(raw_lines)
    except UnknownFormat:
        return ()
    return tuple(chain.from_iterable(said.values()))


class _Placed(NamedTuple):
    """
    A raw line at its line number in a set; *decoded* is None where it cannot be taken for a line,
    for the reason in *remark*.
    """

    raw_line: RawLine
    number: int
    decoded: DecodedLine | None
    remark: str = ""


def _head_lines(
    raw_lines: Iterable[RawLine],
) -> tuple[dict[str, list[Head]], dict[str, Place], list[RawLine]]:
    """
    Return what is said to be the head of each set by its mark, the likeliest first; where it was
    read first; and the raw lines that are no head lines.
    """
    votes: dict[str, Counter[Head]] = defaultdict(Counter)
    places: dict[str, Place] = {}
    others, unknown = [], None
    for raw_line in raw_lines:
        try:
            decoded = _decoded_as_head(raw_line)
            head = head_line.unpack(decoded.line) if decoded else None
        except UnknownFormat as error:
            unknown = UnknownFormat(error.what, place=raw_line.place)
            continue
        if decoded is None or head is None:
            others.append(raw_line)
        else:
            left = lines.MOST_SPENT - decoded.spent
            votes[head.mark][head] += 1 << VOTE_BITS_PER_SYMBOL * left
            places.setdefault(head.mark, raw_line.place)
    if unknown and not votes:
        raise unknown
    heads = {mark: [head for head, _ in said.most_common()] for mark, said in votes.items()}
    return heads, places, others


def _decoded_as_head(raw_line: RawLine) -> DecodedLine | None:
    for number, text in raw_line.candidates:
        if number not in (head_line.NUMBER, None):
            continue
        try:
            decoded = _decode(raw_line, text, number, NO_MARK)
        except LineError:
            continue
        if decoded.line.number == head_line.NUMBER:
            return decoded
    return None


def _place(
    raw_lines: Sequence[RawLine], totals: Mapping[str, int]
) -> tuple[dict[str, list[_Placed]], tuple[Stray, ...]]:
    """
    Return the raw lines of each set by its mark, and those that are of none; *totals* are how many
    lines the sets have.
    """
    placed: dict[str, list[_Placed]] = {mark: [] for mark in totals}
    strays: list[Stray] = []
    marks = [_implied_marks(raw_line) for raw_line in raw_lines]
    named = Counter(mark for implied in marks for mark in implied)
    foreign = Counter({mark: alike for mark, alike in named.items() if mark not in totals})
    likely = sorted(totals, key=named.__getitem__, reverse=True)[:MOST_SETS]
    tried = {mark: totals[mark] for mark in totals if mark in likely}
    home, expected = next(iter(tried)), 1
    for raw_line, implied in zip(raw_lines, marks, strict=True):
        own = {mark: totals[mark] for mark in implied if mark in totals}
        mark, decoded, remark = _nearest(raw_line, own or tried, home, expected)
        other = max(implied, key=foreign.__getitem__, default=None)
        if other is not None and _is_foreign(decoded, foreign[other]):
            strays.append(Stray(raw_line.place, raw_line.number, other, "of another set"))
            continue
        number = decoded.line.number if decoded else raw_line.number
        total = totals[mark]
        if number is None or not 1 <= number <= total:
            reason = remark or f"the set has {counted(total, 'line')}"
            strays.append(Stray(raw_line.place, number, None, reason))
            continue
        placed[mark].append(_Placed(raw_line, number, decoded, remark))
        home, expected = mark, number + 1
    return placed, tuple(strays)


def _is_foreign(decoded: DecodedLine | None, alike: int) -> bool:
    """
    Tell whether a raw line is of a set that is not here: *alike* raw lines, itself included, imply
    its set mark.
    """
    if decoded is None:
        return alike >= ALIKE_UNREAD
    return decoded.spent > MOST_SPENT_UNDOUBTED and alike >= ALIKE_DOUBTFUL


def _implied_marks(raw_line: RawLine) -> tuple[str, ...]:
    implied = (
        lines.implied_mark(text, number)
        for number, text in raw_line.candidates
        if number is not None
    )
    return tuple(mark for mark in implied if mark is not None)


def _nearest(
    raw_line: RawLine, totals: Mapping[str, int], home: str, expected: int
) -> tuple[str, DecodedLine | None, str]:
    """
    Return the mark of the set among *totals* that *raw_line* fits best, the line decoded and, where
    it cannot be, the reason.

    The set *home* of the line before goes first; without a number the *expected* one does, that
    behind the line before.
    """
    likely = sorted(totals, key=lambda mark: mark != home)
    fitting: list[tuple[str, DecodedLine]] = []
    reasons: list[str] = []
    for mark in likely:
        for number, text in raw_line.candidates:
            for guess in (expected, None) if number is None else (number,):
                try:
                    decoded = _decode(raw_line, text, guess, mark)
                except LineError as error:
                    reasons.append(error.what)
                    continue
                # A number that was only expected is no evidence against the one that the line
                # itself tells.
                unexpected = number is None and guess not in (None, decoded.line.number)
                if 1 <= decoded.line.number <= totals[mark] and not unexpected:
                    fitting.append((mark, decoded))
    if not fitting:
        return home, None, reasons[0] if reasons else ""
    return *min(fitting, key=lambda pair: pair[1].spent), ""


def _decode(raw_line: RawLine, text: str, number: int | None, mark: str) -> DecodedLine:
    """Return what *text*, one way to cut *raw_line*, says as a line; raises LineError."""
    decoded = lines.decode(text, number, mark)
    if raw_line.seen is None:
        return decoded
    mends = lines.differences(raw_line.seen, lines.encode(decoded.line, mark)) or ()
    return DecodedLine(decoded.line, mends, max(decoded.spent, SPENT_ON_CHOICE))


def _set_findings(
    heads: Sequence[Head], placed: Sequence[_Placed], *, computed: bool
) -> Iterator[SetFinding]:
    """
    Yield what was found of a set; *heads* are what is said to be its head, the likeliest first.

    The digest decides which of them is. Where several agree two sets have one set mark, which
    somebody took pains for: both are yielded. Where none agrees the head is computed.
    """
    found = [_set_finding(head, placed, computed=computed) for head in heads[:MOST_HEADS]]
    complete = [finding for finding in found if finding.body is not None]
    if not complete and len(heads) > 1:
        mark = heads[0].mark
        head = computed_head.compute_one([there.raw_line for there in placed], mark)
        if head is not None:
            complete = [_set_finding(head, placed, computed=True)]
    yield from complete or found[:1]


def _set_finding(head: Head, placed: Iterable[_Placed], *, computed: bool) -> SetFinding:
    seen: dict[int, list[_Placed]] = defaultdict(list)
    for there in placed:
        seen[there.number].append(there)
    readings = _readings(seen)
    numbers = range(1, head.total + 1)
    try:
        every = _mended(head, seen)
    except PaperError as error:
        findings = tuple(
            _finding_unconfirmed(number, seen[number], readings.get(number)) for number in numbers
        )
        needed = _needed(head, readings)
        problem = _shortfall(findings, needed) if needed else error
        line_1 = readings.get(1)
        first = line_1.line.data if line_1 and not line_1.spent else None
        is_mended = any(finding.status is Status.MENDED for finding in findings)
        if isinstance(problem, DigestMismatch) and is_mended:
            problem = DigestMismatch(problem.what, advice=_COMPARE)
        return SetFinding(head, findings, None, problem, needed, first, computed)
    findings = tuple(
        _finding_confirmed(Line(number, data), seen[number], head.mark)
        for number, data in zip(numbers, every, strict=True)
    )
    return SetFinding(head, findings, _body(head, every), None, 0, every[0], computed)


def _readings(seen: Mapping[int, Iterable[_Placed]]) -> dict[int, DecodedLine]:
    return {number: decoded for number, there in seen.items() if (decoded := _least_spent(there))}


def _shortfall(findings: Sequence[LineFinding], needed: int) -> NotEnoughLines:
    lacking = {
        status: ranges(line.number for line in findings if line.status is status)
        for status in (Status.WRONG, Status.MISSING)
    }
    where = "; ".join(f"{status.value} {numbers}" for status, numbers in lacking.items() if numbers)
    return NotEnoughLines(f"{counted(needed, 'more line is', 'more lines are')} needed ({where})")


def _least_spent(placed: Iterable[_Placed]) -> DecodedLine | None:
    """
    Return the reading of a line on which least was spent; two that are equally good and differ
    cancel out.
    """
    best = _best_readings(placed)
    return best[0] if len(best) == 1 else None


def _best_readings(placed: Iterable[_Placed]) -> tuple[DecodedLine, ...]:
    """Return the readings of a line on which least was spent, one of each that differs."""
    readings = [there.decoded for there in placed if there.decoded]
    least = min((decoded.spent for decoded in readings), default=0)
    best = {decoded.line: decoded for decoded in readings if decoded.spent == least}
    return tuple(best.values())


_COMPARE = "Compare the mended lines with the paper first. Then read all lines of this set again."


def _mended(head: Head, seen: Mapping[int, Sequence[_Placed]]) -> tuple[bytes, ...]:
    """
    Return all lines of the set, by the first hypothesis on what was *seen* with which the digest
    agrees.
    """
    here = {number: there for number, there in seen.items() if number <= head.total}
    readings = _readings(here)
    problem: PaperError = NotEnoughLines("no line of the set was read")
    for known in chain(_hypotheses(readings), _by_source(here), _by_choice(here, readings)):
        try:
            every = spare_lines.mend(known, head.data_lines, head.spare_lines)
        except NotEnoughLines as error:
            if not isinstance(problem, DigestMismatch):
                problem = error
            continue
        if head.agrees_with(_body(head, every)) and not any(_padding(head, every)):
            return every
        problem = DigestMismatch(
            "the lines pass their checks, but the digest in the head line does not agree with them"
        )
    raise problem


def _by_source(seen: Mapping[int, Sequence[_Placed]]) -> Iterator[dict[int, bytes]]:
    """
    Yield the lines as each source by itself has them, where sources contradict each other: whoever
    knows a set mark can print lines that pass under it.
    """
    decoded = [there for several in seen.values() for there in several if there.decoded]
    said: dict[int, set[bytes]] = defaultdict(set)
    for there in decoded:
        if there.decoded and not there.decoded.spent:
            said[there.number].add(there.decoded.line.data)
    sources = Counter(there.raw_line.place.source for there in decoded)
    if len(sources) < 2 or all(len(data) < 2 for data in said.values()):
        return
    for source, _ in sources.most_common(MOST_SOURCES):
        own = _readings(
            {
                number: [there for there in several if there.raw_line.place.source == source]
                for number, several in seen.items()
            }
        )
        yield {number: reading.line.data for number, reading in own.items()}


def _by_choice(
    seen: Mapping[int, Sequence[_Placed]], readings: Mapping[int, DecodedLine]
) -> Iterator[dict[int, bytes]]:
    """
    Yield the lines as in *readings*, and with them one reading of each one or two lines of which
    several are equally good: each choice of these.
    """
    contested = {
        number: best for number, there in seen.items() if len(best := _best_readings(there)) > 1
    }
    choices = (
        {
            number: decoded.line.data
            for number, decoded in chain(readings.items(), zip(numbers, chosen, strict=True))
        }
        for size in range(1, MOST_DROPPED + 1)
        for numbers in combinations(contested, size)
        for chosen in product(*(contested[number] for number in numbers))
    )
    return islice(choices, MOST_HYPOTHESES)


def _hypotheses(readings: Mapping[int, DecodedLine]) -> Iterator[dict[int, bytes]]:
    """
    Yield the lines as read: all of them; all but one or two of the doubtful ones; then without all
    that were mended, the most heavily mended first.
    """
    doubtful = sorted(
        (
            (decoded.spent, number)
            for number, decoded in readings.items()
            if decoded.spent > MOST_SPENT_UNDOUBTED
        ),
        reverse=True,
    )
    dropped: Iterator[Collection[int]] = (
        numbers
        for size in range(MOST_DROPPED + 1)
        for numbers in combinations([number for _, number in doubtful], size)
    )
    for numbers in islice(dropped, MOST_HYPOTHESES):
        yield {
            number: decoded.line.data
            for number, decoded in readings.items()
            if number not in numbers
        }
    for most in sorted({decoded.spent for decoded in readings.values()}, reverse=True)[1:]:
        yield {
            number: decoded.line.data
            for number, decoded in readings.items()
            if decoded.spent <= most
        }


def _body(head: Head, every: Sequence[bytes]) -> bytes:
    return b"".join(every[: head.data_lines])[: head.body_length]


def _padding(head: Head, every: Sequence[bytes]) -> bytes:
    return b"".join(every[: head.data_lines])[head.body_length :]


def _needed(head: Head, readings: Mapping[int, DecodedLine]) -> int:
    """Return how many more lines would do, over all groups of spare lines."""
    short = (
        sum(number not in readings for number in (*data, *spare)) - len(spare)
        for data, spare in spare_lines.groups(head.data_lines, head.spare_lines)
    )
    return sum(max(0, lines_short) for lines_short in short)


def _finding_unconfirmed(
    number: int, placed: Sequence[_Placed], decoded: DecodedLine | None
) -> LineFinding:
    """Return what is to be said of a line where no digest agrees."""
    if not placed:
        return LineFinding(number, Status.MISSING)
    places = tuple(there.raw_line.place for there in placed)
    if decoded is not None:
        return _finding_taken(decoded, places)
    remark = placed[0].remark
    if any(there.decoded for there in placed):
        remark = "read more than once, with different results"
    mends = _unreadable(placed[0].raw_line.text)
    return LineFinding(number, Status.WRONG, places, mends, remark)


def _finding_confirmed(line: Line, placed: Sequence[_Placed], mark: str) -> LineFinding:
    """Return what is to be said of a line that is *line*, for the digest agrees."""
    if not placed:
        return LineFinding(line.number, Status.MISSING)
    places = tuple(there.raw_line.place for there in placed)
    right = [there.decoded for there in placed if there.decoded and there.decoded.line == line]
    if right:
        return _finding_taken(min(right, key=lambda decoded: decoded.spent), places)
    mends = lines.differences(placed[0].raw_line.text, lines.encode(line, mark)) or ()
    return LineFinding(line.number, Status.WRONG, places, mends, placed[0].remark)


def _finding_taken(decoded: DecodedLine, places: tuple[Place, ...]) -> LineFinding:
    status = Status.MENDED if decoded.mends else Status.FINE
    return LineFinding(decoded.line.number, status, places, decoded.mends)


def _unreadable(text: str) -> tuple[Mend, ...]:
    """Return the characters of *text* that cannot be read."""
    return tuple(
        Mend(at, lines.UNREADABLE, lines.UNREADABLE)
        for at, was in enumerate(lines.normalise(text), 1)
        if was == lines.UNREADABLE
    )
