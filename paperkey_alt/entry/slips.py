"""
What a typed line may have been meant to be: `explain` finds the slips that lead from a line of the
set to what was typed.

`paperkey_alt.format.lines.decode` mends what a reader of paper may mend by itself. Here somebody
has the paper at hand and is asked, so more is tried: a slip and a wrong character together, groups
that were swapped or typed twice, a row that was skipped. The likeliest slips are tried first, and
what is found is a proposal; where two lines would do, there is none.

The check is linear over GF(2): each symbol adds its own part to the set mark that a line implies
(`lines.implied_mark`), whatever the others are. So one number of 25 bits says how far a line is
from being fine, a wrong character changes it in one of 899 ways, and each of these is looked up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING

from paperkey_alt.errors import LineError
from paperkey_alt.format import lines
from paperkey_alt.format.lines import (
    ALPHABET,
    CHARACTERS,
    DATA_CHARACTERS,
    GROUP,
    LAST_NUMBER,
    UNREADABLE,
    Mend,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

# How far from the line that is due a row is looked for that has a wrong character besides. By
# reasoning: with one of 899 each row tried adds 3 in 100,000 that a random line fits.
_NEAR = 3
_SYMBOL_BITS = 5
_VALUE = {character: value for value, character in enumerate(ALPHABET)}
_GROUPS = range(DATA_CHARACTERS // GROUP)


@dataclass(frozen=True)
class Slip:
    """
    How a typed text comes from line *number* of the set, whose 29 characters are *exact*: in words
    *what*, at which *column* of the text (from 1; None where it is no single place), and how many
    of the characters *used* are of this line: those behind them are of the next one.
    """

    number: int
    exact: str
    used: int
    what: str
    column: int | None


@dataclass(frozen=True)
class _Attempt:
    """29 characters that may have been meant by the first *used* ones, and why they may."""

    text: str
    used: int
    what: str
    column: int | None


def explain(text: str, number: int, mark: str, others: Sequence[int]) -> Slip | None:
    """
    Return the slip that makes *text*, readable characters alone, of line *number*, or of one of
    the *others*, of the set marked *mark*; None where none is found, or several that end in
    different lines.

    *text* may go on with what was typed behind the line. Tried in this order are some 3,000,
    450,000 and 100,000 ways: a random text fits one of 2²⁵ checks by a chance of 10⁻⁴, 1 % and
    0.3 %. Three wrong characters never fit two, which are most of the 450,000.
    """
    target = _number_of(mark)
    for tier in (_likely, _less_likely, _unlikely):
        slips: dict[tuple[int, str], Slip] = {}
        for slip in tier(text, number, target, tuple(others)):
            slips.setdefault((slip.number, slip.exact), slip)
        if slips:
            return next(iter(slips.values())) if len(slips) == 1 else None
    return None


def left_out(text: str, number: int, mark: str) -> tuple[int, ...]:
    """
    Return the groups, from 0, of which one was left out where *text* is a line without one: 25
    characters. Each group that was not left out passes by a chance of 1 in 32.
    """
    if len(text) != CHARACTERS - GROUP or UNREADABLE in text:
        return ()
    return tuple(at for at in _GROUPS if _fills(_with_gap(text, at), number, mark, at * GROUP))


def _likely(text: str, number: int, target: int, others: tuple[int, ...]) -> Iterator[Slip]:
    """Yield one slip: another line, or one of the small ones in this line."""
    line = text[:CHARACTERS]
    if len(line) == CHARACTERS:
        away = _away(line, 0, target)
        for other in others:
            if other != number and away == _numbers()[other]:
                what = f"this seems to be line {other}, not line {number}"
                yield Slip(other, line, CHARACTERS, what, None)
        yield from _one_wrong(_Attempt(line, CHARACTERS, "", None), number, target)
    for attempt in _exactly(text):
        if _away(attempt.text, number, target) == 0:
            yield _slip(attempt, number)
    yield from _missing(text, number, target)


def _less_likely(text: str, number: int, target: int, others: tuple[int, ...]) -> Iterator[Slip]:
    """Yield two slips of the commoner kinds."""
    line = text[:CHARACTERS]
    if len(line) == CHARACTERS:
        away = _away(line, number, target)
        for change, (at, by) in _changes().items():
            second = _changes().get(away ^ change)
            if second is not None and second[0] > at:
                yield _wrong(_Attempt(line, CHARACTERS, "", None), number, ((at, by), second))
        for other in others:
            if other != number and abs(other - number) <= _NEAR:
                what = f"this seems to be line {other}, not line {number}"
                yield from _one_wrong(_Attempt(line, CHARACTERS, what, None), other, target)
    for attempt in _exactly(text):
        yield from _one_wrong(attempt, number, target)
    for attempt in _with_two_less(text):
        if _away(attempt.text, number, target) == 0:
            yield _slip(attempt, number)
    for attempt in _with_one_less(text[:CHARACTERS], CHARACTERS - 1):
        yield from _missing(attempt.text, number, target, attempt, CHARACTERS)


def _unlikely(text: str, number: int, target: int, others: tuple[int, ...]) -> Iterator[Slip]:  # noqa: ARG001 - as the others
    """Yield a character that is missing, and another slip."""
    short = text[: CHARACTERS - 1]
    if len(short) < CHARACTERS - 1:
        return
    for at, away in _gaps(short, number, target):
        for value, part in enumerate(_parts()[at]):
            place = _changes().get(away ^ part)
            if place is None or place[0] == at:
                continue
            gap = _with_room(short, at)
            if _is_likely(gap, place):
                exact = _changed(gap, at, value)
                attempt = _Attempt(exact, len(short), _is_missing(at, value), at + 1)
                yield _wrong(attempt, number, (place,))
    for attempt in _swapped(short):
        yield from _missing(attempt.text, number, target, attempt)


def _is_likely(text: str, place: tuple[int, int]) -> bool:
    """Tell whether a character is easily taken for what *place* makes of it."""
    at, by = place
    return ALPHABET[_VALUE[text[at]] ^ by] in _BESIDE[text[at]]


# Rows of keys of the usual keyboards, and characters that look alike in many types.
_ALIKE = (
    *("QWERTYUIOP", "ASDFGHJKL", "ZXCVBNM", "QWERTZUIOP", "YXCVBNM", "AZERTYUIOP", "WXCVBN"),
    *("234567", "B3", "S5", "Z2", "OQD", "UVY", "IJLT7", "G6C", "EF", "MNW", "PRB", "KX"),
)
_BESIDE = {
    character: frozenset(
        other
        for run in _ALIKE
        for at, one in enumerate(run)
        if one == character
        for other in run[max(0, at - 1) : at + 2]
    )
    for character in ALPHABET
}


# Attempts.


def _exactly(text: str) -> Iterator[_Attempt]:
    """Yield what was meant where one slip changed the order or the count of characters."""
    if len(text) >= CHARACTERS:
        yield from _swapped(text[:CHARACTERS])
    yield from _with_one_less(text)
    yield from _groups(text)


def _swapped(line: str) -> Iterator[_Attempt]:
    for at in range(len(line) - 1):
        if line[at] != line[at + 1]:
            text = line[:at] + line[at + 1] + line[at] + line[at + 2 :]
            what = f"characters {at + 1} and {at + 2} seem to be swapped"
            yield _Attempt(text, len(line), what, at + 1)


def _with_one_less(text: str, length: int = CHARACTERS) -> Iterator[_Attempt]:
    given = text[: length + 1]
    if len(given) == length + 1:
        for at, character in enumerate(given):
            # Of a run of equal characters any may be the surplus one.
            if at == 0 or character != given[at - 1]:
                what = f"character {at + 1}, {character}, is one too many"
                yield _Attempt(given[:at] + given[at + 1 :], length + 1, what, at + 1)


def _with_two_less(text: str) -> Iterator[_Attempt]:
    given = text[: CHARACTERS + 2]
    if len(given) == CHARACTERS + 2:
        doubled = [at for at in range(1, len(given)) if given[at] == given[at - 1]]
        for at, also in combinations(doubled, 2):
            what = f"characters {at + 1} and {also + 1} are typed twice"
            cut = given[:at] + given[at + 1 : also] + given[also + 1 :]
            yield _Attempt(cut, len(given), what, at + 1)


def _groups(text: str) -> Iterator[_Attempt]:
    """Yield what was meant where two groups were swapped, or one was typed twice."""
    if len(text) >= CHARACTERS:
        for at, also in combinations(_GROUPS, 2):
            cut = [text[group * GROUP : (group + 1) * GROUP] for group in _GROUPS]
            cut[at], cut[also] = cut[also], cut[at]
            what = f"groups {at + 1} and {also + 1} seem to be swapped"
            meant = "".join(cut) + text[DATA_CHARACTERS:CHARACTERS]
            yield _Attempt(meant, CHARACTERS, what, at * GROUP + 1)
    if len(text) >= CHARACTERS + GROUP:
        for at in _GROUPS:
            place, end = at * GROUP, CHARACTERS + GROUP
            if text[place : place + GROUP] == text[place + GROUP : place + 2 * GROUP]:
                what = f"group {at + 1} is typed twice"
                yield _Attempt(text[:place] + text[place + GROUP : end], end, what, place + 1)


def _one_wrong(attempt: _Attempt, number: int, target: int) -> Iterator[Slip]:
    place = _changes().get(_away(attempt.text, number, target))
    if place is not None:
        yield _wrong(attempt, number, (place,))


def _missing(
    text: str, number: int, target: int, before: _Attempt | None = None, used: int = CHARACTERS - 1
) -> Iterator[Slip]:
    """Yield the lines of which the first 28 characters of *text* lack one."""
    short = text[: CHARACTERS - 1]
    if len(short) < CHARACTERS - 1:
        return
    for at, away in _gaps(short, number, target):
        place = _changes().get(away, (at, 0) if away == 0 else (-1, 0))
        if place[0] == at:
            what = _is_missing(at, place[1])
            yield Slip(
                number,
                _changed(_with_room(short, at), at, place[1]),
                used,
                f"{before.what}; {what}" if before else what,
                before.column if before else at + 1,
            )


def _is_missing(at: int, value: int) -> str:
    return f"a character is missing at {at + 1}, perhaps {ALPHABET[value]}"


def _wrong(attempt: _Attempt, number: int, places: Iterable[tuple[int, int]]) -> Slip:
    """Return *attempt* with the characters at *places* changed by so much."""
    mended, told = attempt.text, [attempt.what] if attempt.what else []
    for at, by in sorted(places):
        was = mended[at]
        mended = _changed(mended, at, _VALUE[was] ^ by)
        told.append(wrong(Mend(at + 1, was, mended[at])))
    column = attempt.column or (min(at for at, _ in places) + 1)
    return Slip(number, mended, attempt.used, "; ".join(told), column)


def _slip(attempt: _Attempt, number: int) -> Slip:
    return Slip(number, attempt.text, attempt.used, attempt.what, attempt.column)


def wrong(mend: Mend) -> str:
    """Return in words that a character is another one, or which one that could not be read is."""
    if mend.was == UNREADABLE:
        return f"character {mend.column} is perhaps {mend.now}"
    return f"character {mend.column} is perhaps {mend.now}, not {mend.was}"


# The check as one number.


def _away(text: str, number: int, target: int) -> int:
    """Return how far *text* is from being line *number*; 0 is a fine line."""
    away = target ^ _numbers()[number]
    for part, character in zip(_parts(), text, strict=True):
        away ^= part[_VALUE[character]]
    return away


def _gaps(short: str, number: int, target: int) -> Iterator[tuple[int, int]]:
    """
    Yield each place at which the 28 characters *short* may lack one, and how far they are from
    being a line if that one adds nothing.
    """
    parts = _parts()
    away = target ^ _numbers()[number]
    for at, character in enumerate(short, 1):
        away ^= parts[at][_VALUE[character]]
    yield 0, away
    for at, character in enumerate(short):
        value = _VALUE[character]
        away ^= parts[at][value] ^ parts[at + 1][value]
        yield at + 1, away


@cache
def _parts() -> tuple[tuple[int, ...], ...]:
    """What each of the 32 values adds at each of the 29 places."""
    parts = []
    for at in range(CHARACTERS):
        bits = [_implied(_changed(_NOTHING, at, 1 << bit), 0) for bit in range(_SYMBOL_BITS)]
        parts.append(
            tuple(
                _sum(part for bit, part in enumerate(bits) if value >> bit & 1)
                for value in range(len(ALPHABET))
            )
        )
    return tuple(parts)


@cache
def _numbers() -> tuple[int, ...]:
    """What each line number adds."""
    bits = [_implied(_NOTHING, 1 << bit) for bit in range(2 * _SYMBOL_BITS)]
    return tuple(
        _sum(part for bit, part in enumerate(bits) if number >> bit & 1)
        for number in range(LAST_NUMBER + 1)
    )


@cache
def _changes() -> dict[int, tuple[int, int]]:
    """What a wrong character changes → its place and the XOR of its value with the right one."""
    return {
        part: (at, by) for at, parts in enumerate(_parts()) for by, part in enumerate(parts) if by
    }


_NOTHING = ALPHABET[0] * CHARACTERS


def _implied(text: str, number: int) -> int:
    return _number_of(lines.implied_mark(text, number) or "")


def _number_of(characters: str) -> int:
    value = 0
    for character in characters:
        value = value << _SYMBOL_BITS | _VALUE[character]
    return value


def _sum(parts: Iterable[int]) -> int:
    total = 0
    for part in parts:
        total ^= part
    return total


def _changed(text: str, at: int, value: int) -> str:
    return text[:at] + ALPHABET[value] + text[at + 1 :]


def _with_room(text: str, at: int) -> str:
    return text[:at] + ALPHABET[0] + text[at:]


def _with_gap(text: str, group: int) -> str:
    return text[: group * GROUP] + UNREADABLE * GROUP + text[group * GROUP :]


def _fills(text: str, number: int, mark: str, gap: int) -> bool:
    """Tell whether the characters at *gap* can be such that *text* is the line."""
    try:
        mends = lines.decode(text, number, mark).mends
    except LineError:
        return False
    return all(gap < mend.column <= gap + GROUP for mend in mends)
