"""
One line of paper: 15 bytes as 24 base32 characters with 5 check characters behind them: `encode`
and `decode` (docs/format.md, "A line" and "Leniency").

The check is a Reed–Solomon code over GF(32) on 31 symbols: the line number (two symbols, printed in
decimal instead), the data and the check. Up to five wrong symbols are always noticed, three are
never mended into another line, two are located. The check characters are masked with the set mark,
so a line of another set fails.

`decode` is errors-and-erasures decoding within the bounded distance of the code, on a word of which
one check symbol is kept to test the answer. A missing or surplus character is no error of a symbol:
it is found by trial, each place in turn, with erasures alone. `normalise` is the one place where
what people and readers confuse is forgiven.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from paperkey_alt.errors import LineError
from paperkey_alt.format.reed_solomon import Code, Uncorrectable
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"  # RFC 4648 §6, table 3
DATA_BYTES = 15
DATA_CHARACTERS = 24
CHECK_CHARACTERS = 5
CHARACTERS = DATA_CHARACTERS + CHECK_CHARACTERS
GROUP = 4
NUMBER_SYMBOLS = 2
LAST_NUMBER = (1 << 5 * NUMBER_SYMBOLS) - 1

UNREADABLE = "?"
NO_MARK = "A" * CHECK_CHARACTERS

_CODE = Code(field_bits=5, polynomial=0x25, checks=CHECK_CHARACTERS)
_VALUE = {character: value for value, character in enumerate(ALPHABET)}
_SILENT = dict.fromkeys(map(ord, " \t\r\n\f\v-\u00a0\u00ad\u2010\u2011\u2012\u2013\u2014\u2212"))
_LOOK_ALIKES = {"0": "O", "1": "I", "8": "B"}


class _ReadAs(dict[int, str | None]):
    """A table for `str.translate`: what is not in it is unreadable."""

    def __missing__(self, _: int) -> str:
        return UNREADABLE


_READ_AS = _ReadAs(
    str.maketrans(
        {character: character for character in ALPHABET}
        | {character.lower(): character for character in ALPHABET}
        | _LOOK_ALIKES
    )
    | _SILENT
)

# A mended line must leave one check symbol unspent, or nothing would speak for the mend.
MOST_SPENT = CHECK_CHARACTERS - 1
# By reasoning: a missing character has 29 places and 32 values, 928 lines to be tried; a
# surplus one makes 30, a swap 28. One wrong character makes 899, and spends two symbols: the
# evidence that is left is about as strong, or stronger.
SPENT_ON_SLIP = 2


@dataclass(frozen=True)
class Line:
    """A line number, 0 to 1,023, and 15 bytes."""

    number: int
    data: bytes

    def __post_init__(self) -> None:
        if not 0 <= self.number <= LAST_NUMBER:
            raise ValueError(f"a line number is 0 to {LAST_NUMBER}")
        if len(self.data) != DATA_BYTES:
            raise ValueError(f"a line carries {DATA_BYTES} bytes")


class Mend(NamedTuple):
    """
    One difference between what was given and the line it was taken for.

    *column* counts the characters of the line from 1, spaces left out; column 0 is the line number.
    *was* is empty for a character that was missing, *now* for one that was too many.
    """

    column: int
    was: str
    now: str


@dataclass(frozen=True)
class DecodedLine:
    """
    A line as decoded, and what had to be mended for it.

    *spent* is the number of check symbols used up by mending: one for each character known to be
    unreadable, two for each found wrong, two for a swap, a missing or a surplus character, two for
    a number not given. 0 is a fine line. The more is spent, the weaker is the evidence that is
    left: a random line passes with a chance of about 2⁻²⁵, 10⁻⁶, 3·10⁻⁵, 10⁻³ and 3 % for 0 to 4
    (the ways to mend one, over the 2²⁵ checks there are).
    """

    line: Line
    mends: tuple[Mend, ...]
    spent: int


def encode(line: Line, mark: str) -> str:
    """
    Return the 29 characters of *line*, its check masked with the set mark *mark* (five base32
    characters).
    """
    symbols = [*_number_symbols(line.number), *_symbols(base64.b32encode(line.data).decode())]
    check = (
        value ^ mask for value, mask in zip(_CODE.encode(symbols), _symbols(mark), strict=True)
    )
    return _characters([*symbols[NUMBER_SYMBOLS:], *check])


def decode(text: str, number: int | None, mark: str) -> DecodedLine:
    """
    Return what *text* says as a line of the set marked *mark*; *number* is None where none was
    given.

    Mended are: up to two wrong characters, an unreadable one counting as half (with no number
    given, one); two neighbours swapped; one character missing or one too many. Raises LineError
    where none of it, or more than one line, fits.
    """
    given = normalise(text)
    if not CHARACTERS - 1 <= len(given) <= CHARACTERS + 1:
        length = "short" if len(given) < CHARACTERS else "long"
        raise LineError(
            f"line too {length}: {counted(len(given), 'character')}, expected {CHARACTERS}"
        )
    if number is not None and not 0 <= number <= LAST_NUMBER:
        raise LineError(f"{number} is not a line number; line numbers go from 0 to {LAST_NUMBER}")
    if len(given) < CHARACTERS:
        return _by_trial(_with_one_more(given), number, mark)
    if len(given) > CHARACTERS:
        return _by_trial(_with_one_less(given), number, mark)
    exact = (_exactly(attempt, number, mark) for attempt in _readings_of_one(text, given))
    return next(filter(None, exact), None) or _nearest(given, number, mark)


def implied_mark(text: str, number: int) -> str | None:
    """
    Return the set mark under which *text* is a fine line, None where it is not 29 readable
    characters.
    """
    given = normalise(text)
    if len(given) != CHARACTERS or UNREADABLE in given or not 0 <= number <= LAST_NUMBER:
        return None
    symbols = _symbols(given)
    check = _CODE.encode([*_number_symbols(number), *symbols[:DATA_CHARACTERS]])
    return _characters(
        [was ^ now for was, now in zip(symbols[DATA_CHARACTERS:], check, strict=True)]
    )


def differences(text: str, exact: str) -> tuple[Mend, ...] | None:
    """
    Return where *text* differs from the 29 characters *exact*, None where its length is another.
    """
    given = normalise(text)
    return _differences(given, exact) if len(given) == CHARACTERS else None


def is_swap(mends: tuple[Mend, ...]) -> bool:
    """Tell whether *mends* are two neighbours that were exchanged."""
    # Only 28 swaps are possible, against some 400,000 pairs of wrong characters.
    if len(mends) != 2 or mends[0].column + 1 != mends[1].column:
        return False
    return (mends[0].was, mends[0].now) == (mends[1].now, mends[1].was)


def normalise(text: str) -> str:
    """
    Return *text* in the alphabet, with ``?`` for each character that cannot be one of it.

    Forgiven, and nothing else: lower case; spaces and hyphens of any kind anywhere; 0 for O, 1 for
    I (`decode` then tries L), 8 for B. RFC 4648 §3.4 leaves these readings to the application.
    """
    return text.translate(_READ_AS)


def group(characters: str) -> str:
    """
    Return the characters of a line, all or the first of them, as they are printed: six groups of
    four and one of five.
    """
    cuts = [characters[at : at + GROUP] for at in range(0, DATA_CHARACTERS, GROUP)]
    return " ".join(filter(None, [*cuts, characters[DATA_CHARACTERS:]]))


def _readings_of_one(text: str, given: str) -> Iterator[str]:
    """Yield *given* with every 1 of *text* read as I, then as L, then as either."""
    yield given
    ones = [at for at, character in enumerate(text.translate(_SILENT)) if character == "1"]
    for other in ("L", UNREADABLE) if ones else ():
        yield "".join(other if at in ones else character for at, character in enumerate(given))


def _by_trial(
    attempts: Iterator[tuple[str, int, str, int]], number: int | None, mark: str
) -> DecodedLine:
    # A run of equal characters can lose any of its members: several attempts, one line.
    fitting: dict[Line, DecodedLine] = {}
    for attempt, at, was, spent in attempts:
        decoded = _exactly(attempt, number, mark)
        if decoded is not None and decoded.spent + spent <= MOST_SPENT:
            line = decoded.line
            mend = Mend(at + 1, was, "" if was else encode(line, mark)[at])
            fitting.setdefault(line, DecodedLine(line, (mend,), decoded.spent + spent))
    if len(fitting) != 1:
        raise LineError(
            "a character is missing, or one is too many, and the check cannot tell which"
        )
    (mended,) = fitting.values()
    return mended


def _with_one_more(given: str) -> Iterator[tuple[str, int, str, int]]:
    """
    Yield each attempt, its place, what stood there, and the check symbols spent on it besides those
    for what is unreadable.
    """
    for at in range(CHARACTERS):
        yield given[:at] + UNREADABLE + given[at:], at, "", SPENT_ON_SLIP - 1


def _with_one_less(given: str) -> Iterator[tuple[str, int, str, int]]:
    for at in range(len(given)):
        yield given[:at] + given[at + 1 :], at, given[at], SPENT_ON_SLIP


def _exactly(given: str, number: int | None, mark: str) -> DecodedLine | None:
    """
    Return the line that agrees with every readable character of *given*, if one does and enough
    checks speak for it.
    """
    word, erased = _word(given, number, mark)
    if len(erased) > MOST_SPENT:
        return None
    try:
        codeword = _CODE.fill(word, erased)
    except Uncorrectable:
        return None
    return _decoded(given, number, mark, codeword, len(erased))


def _nearest(given: str, number: int | None, mark: str) -> DecodedLine:
    """
    Return the line nearest to the 29 characters *given*; *number* None counts as two unreadable
    symbols.
    """
    word, erased = _word(given, number, mark)
    if len(erased) > MOST_SPENT:
        raise LineError(
            f"{given.count(UNREADABLE)} characters cannot be read; the check can replace at most "
            f"{MOST_SPENT}"
        )
    try:
        codeword, changed = _CODE.correct(word, erased)
    except Uncorrectable:
        raise LineError("the check fails, and more than two characters are wrong") from None
    spent = len(erased) + 2 * sum(at not in erased for at in changed)
    decoded = _decoded(given, number, mark, codeword, spent)
    if decoded.spent > MOST_SPENT:
        raise LineError("the check fails, and more characters are wrong than it can locate")
    return decoded


def _word(given: str, number: int | None, mark: str) -> tuple[list[int], list[int]]:
    """Return the 31 symbols of the code, unmasked, and the places of those that are not known."""
    symbols = [*_number_symbols(number or 0), *[_VALUE.get(character, 0) for character in given]]
    erased = list(range(NUMBER_SYMBOLS)) if number is None else []
    if UNREADABLE in given:
        erased += [
            at + NUMBER_SYMBOLS for at, character in enumerate(given) if character == UNREADABLE
        ]
    return _masked(symbols, mark), erased


def _decoded(
    given: str, number: int | None, mark: str, codeword: Sequence[int], spent: int
) -> DecodedLine:
    symbols = _masked(codeword, mark)
    exact = _characters(symbols[NUMBER_SYMBOLS:])
    value = 0
    for symbol in symbols[NUMBER_SYMBOLS : NUMBER_SYMBOLS + DATA_CHARACTERS]:
        value = value << 5 | symbol
    line = Line(symbols[0] << 5 | symbols[1], value.to_bytes(DATA_BYTES, "big"))
    mends = _differences(given, exact)
    if number not in (None, line.number):
        mends = (Mend(0, str(number), str(line.number)), *mends)
    return DecodedLine(line, mends, SPENT_ON_SLIP if is_swap(mends) else spent)


def _differences(given: str, exact: str) -> tuple[Mend, ...]:
    if given == exact:
        return ()
    return tuple(
        Mend(at, was, now)
        for at, (was, now) in enumerate(zip(given, exact, strict=True), 1)
        if was != now
    )


def _masked(symbols: Sequence[int], mark: str) -> list[int]:
    at = NUMBER_SYMBOLS + DATA_CHARACTERS
    return [
        *symbols[:at],
        *(value ^ mask for value, mask in zip(symbols[at:], _symbols(mark), strict=True)),
    ]


def _number_symbols(number: int) -> list[int]:
    return [number >> 5, number & 31]


def _symbols(characters: str) -> list[int]:
    return [_VALUE[character] for character in characters]


def _characters(symbols: list[int]) -> str:
    return "".join([ALPHABET[symbol] for symbol in symbols])
