"""
The typing screen as a value: `press` takes it on by a key and `paste` by a text, `rows` says what
it shows; nothing here touches a terminal, and the clock is the caller's.

It needs no colour, and 46 columns and 8 rows at the least; what matters less makes room for the
line, the message and what is proposed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median
from textwrap import wrap
from typing import TYPE_CHECKING

from paperkey_alt.entry import position, spelling, transcript
from paperkey_alt.entry.transcript import Accepted, Problem, Transcript
from paperkey_alt.errors import SeveralSets
from paperkey_alt.format.lines import CHARACTERS, DATA_CHARACTERS, GROUP, group
from paperkey_alt.reading.text import handheld, typed
from paperkey_alt.wording import counted, noun, ranges

if TYPE_CHECKING:
    from collections.abc import Callable

WIDE, HIGH = 80, 24
FEWEST_COLUMNS, FEWEST_ROWS = 46, 8
_INDENT = 8  # columns before the characters of a line
_BEFORE, _BEHIND = 4, 2  # lines shown above and below the one being typed
_BAR = 20
# Characters that are kept where somebody types on without a look: ten lines.
_MOST = 10 * CHARACTERS
# With so many the answer is the same as with more: a line with a group too many, and its number.
_JUDGED = CHARACTERS + GROUP + 4
# Of a QR symbol's text, the longest that fits into the largest symbol at level M has 3,391.
_MOST_KEYS = 4_000
_MOST_DIGITS = 4
_PACE_LINES = 10  # by which the pace is told
_FEWEST_LINES = 3
# What a line may be typed with, look-alikes and the digits of its number included.
_TYPED = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789?")
_HELP = (
    "Enter   take what is proposed    Tab, arrows  move    Backspace, Delete  erase",
    "Insert  make room for a character left out           ?  one you cannot read",
    "Ctrl-N put the line off   Ctrl-P go back   Ctrl-G go to a line   Ctrl-U empty",
    "Ctrl-R read aloud   Ctrl-Q stop; every line is saved as soon as it is correct",
)


@dataclass(frozen=True)
class Screen:
    """
    The transcript so far, the line *number* that waits, the *text* of it as typed (and of the next
    ones, where somebody typed on), the *cursor* in it; a *problem* with it; the digits of a line to
    go to while these are typed; whether it is to be left.

    Also the *keys* as they came since the last Enter, which may be a scanner's; what was *told* of
    several lines at once; whether lines are spelt to be read *aloud*; when the last lines were
    taken, in seconds.
    """

    transcript: Transcript
    number: int
    text: str = ""
    cursor: int = 0
    problem: Problem | None = None
    going: str | None = None
    left: bool = False
    keys: str = ""
    told: tuple[str, ...] = ()
    aloud: bool = False
    times: tuple[float, ...] = ()


def start(begun: Transcript) -> Screen:
    """
    Return the screen with the first line that is missing; one that is left at once where none is.
    """
    number = begun.due() if begun.needed else None
    return Screen(begun, number or 0, left=not begun.needed)


def press(screen: Screen, key: str, seconds: float | None = None) -> Screen:
    """
    Return *screen* after *key*: a character, or one of the names in `KEYS`; other keys change
    nothing. *seconds* is when it was pressed, by a clock that goes forward.
    """
    before = screen.transcript
    if screen.going is not None:
        pressed = _while_going(screen, key)
    elif key == "enter":
        pressed = _enter(screen)
    elif key in KEYS:
        pressed = KEYS[key](replace(screen, keys="", told=()))
    else:
        log = (screen.keys + key)[-_MOST_KEYS:]
        pressed = _typed(replace(screen, keys=log, told=()), key)
    taken = len(pressed.transcript.lines) - len(before.lines)
    if seconds is None or taken != 1:
        return pressed
    return replace(pressed, times=(*pressed.times, seconds)[-_PACE_LINES - 1 :])


def paste(screen: Screen, text: str) -> Screen:
    """
    Return *screen* after *text* was pasted: part of a line, or several lines of which all that are
    fine are taken; the first that is not waits to be mended.
    """
    if len(text.split()) == 0 or len(text.strip().splitlines()) == 1:
        scan = handheld.read(text)
        if scan is not None:
            return _scanned(screen, scan)
        for character in text.strip("\r\n"):
            screen = press(screen, character)
        return screen
    try:
        taken = transcript.take_all(screen.transcript, typed.read(text, "pasted"))
    except SeveralSets as error:
        return replace(screen, told=(f"{error}.", error.advice))
    told = f"Pasted: {counted(len(taken.numbers), 'line')} taken"
    if taken.wrong:
        told += f"; {counted(len(taken.wrong), 'line is', 'lines are')} not correct"
    after = _next(screen, taken.transcript, screen.number)
    wrong = next(((number, row) for number, row in taken.wrong if number), None)
    if wrong is not None and taken.transcript.head and wrong[0] <= taken.transcript.head.total:
        row = "".join(character for character in wrong[1].upper() if character in _TYPED)
        after = replace(after, number=wrong[0], text=row[:_MOST], cursor=len(row[:_MOST]))
        after = _judged(after, ended=True)
    return replace(after, told=(f"{told}.",))


def rows(screen: Screen, wide: int = WIDE, high: int = HIGH) -> list[str]:
    """Return what the screen shows: *high* rows of at most *wide* characters."""
    return _shown(screen, wide, high)[0]


def cursor(screen: Screen, wide: int = WIDE, high: int = HIGH) -> tuple[int, int]:
    """Return the row and column, from 0, at which the next character appears."""
    return _shown(screen, wide, high)[1], min(_column(screen, screen.cursor, wide), wide - 1)


# Keys.


def _typed(screen: Screen, key: str) -> Screen:
    character = key.upper()
    if character == " ":
        return _numbered(screen)
    if character not in _TYPED:
        return screen
    text, at = screen.text, screen.cursor
    if at == len(text) or len(text) < CHARACTERS:
        if len(text) >= _MOST:
            return screen
        text = text[:at] + character + text[at:]
    else:
        # A whole line is mended by typing over what is wrong.
        text = text[:at] + character + text[at + 1 :]
    changed = replace(screen, text=text, cursor=at + 1)
    if len(text) > _JUDGED and screen.problem and at + 1 == len(text):
        return _typed_on(changed)
    changed = replace(changed, problem=None)
    return _judged(changed) if len(text) >= CHARACTERS else changed


def _numbered(screen: Screen) -> Screen:
    """Return *screen* at the line whose number was typed, if that is what is before the blank."""
    if not (screen.text.isdecimal() and len(screen.text) <= _MOST_DIGITS):
        return screen
    number, head = int(screen.text), screen.transcript.head
    if number > (head.total if head else 0):
        return screen
    return replace(screen, number=number, text="", cursor=0)


def _judged(screen: Screen, *, ended: bool = False) -> Screen:
    """Return *screen* after a look at its text, which is all there is of the line if *ended*."""
    text, number = screen.text, screen.number
    for length in range(CHARACTERS, min(len(text), CHARACTERS + _MOST_DIGITS) + 1):
        answer = transcript.exactly(screen.transcript, number, text[:length])
        if answer is not None:
            return _answered(screen, answer, text[length:])
    has_number = transcript.is_numbered(number, text)
    if not ended and has_number and len(text) < CHARACTERS + len(str(number)):
        return screen
    goes_on = len(text) > CHARACTERS
    answer = transcript.feed(screen.transcript, number, text[:_JUDGED], goes_on=goes_on)
    return _typed_on(_answered(screen, answer, ""))


def _typed_on(screen: Screen) -> Screen:
    """
    Return *screen* with the line that was typed behind the one with a problem, if it is fine: what
    was typed on is not lost.
    """
    text, number = screen.text, screen.transcript.due(screen.number)
    least = CHARACTERS - GROUP
    if screen.problem is None or number in (None, screen.number) or screen.cursor < len(text):
        return screen
    if number is None or len(text) < CHARACTERS + least:
        return screen
    answer = transcript.exactly(screen.transcript, number, text[-CHARACTERS:])
    if not isinstance(answer, Accepted) or answer.number != number:
        return screen
    rest = text[:-CHARACTERS]
    if len(rest) > CHARACTERS:
        rest = rest.removesuffix(str(number))
    if not answer.transcript.needed:
        return replace(screen, transcript=answer.transcript, left=True)
    shorter = replace(
        screen, transcript=answer.transcript, text=rest, cursor=len(rest), problem=None
    )
    return _judged(shorter, ended=True)


def _answered(screen: Screen, answer: Accepted | Problem, rest: str) -> Screen:
    if isinstance(answer, Accepted):
        return _next(screen, answer.transcript, answer.number, rest)
    # The cursor stays: who looks at the paper, not at the screen, may be typing on.
    missed = transcript.missed(screen.transcript, answer)
    return replace(screen, problem=answer, transcript=missed)


def _next(screen: Screen, done: Transcript, after: int, rest: str = "") -> Screen:
    number = done.due(after) if done.needed else None
    waiting = replace(
        screen, transcript=done, text="", cursor=0, problem=None, going=None, left=not done.needed
    )
    if number is None:
        return waiting
    waiting = replace(waiting, number=number, text=rest, cursor=len(rest))
    return _judged(waiting) if len(rest) >= CHARACTERS else waiting


def _enter(screen: Screen) -> Screen:
    scan = handheld.last(screen.keys)
    ended = replace(screen, keys="", told=())
    if scan is not None and (scan.complete or not _is_by_hand(screen)):
        return _scanned(ended, scan)
    problem = screen.problem
    if problem and problem.proposal:
        used = len(screen.text) if problem.used is None else problem.used
        answer = transcript.accept(screen.transcript, problem)
        return _answered(ended, answer, screen.text[used:])
    if not screen.text:
        return ended
    judged = _judged(ended, ended=True)
    if judged.problem and judged.problem.column and not judged.problem.proposal:
        # Nobody types on who has pressed Enter: the place is where the next character belongs.
        return replace(judged, cursor=min(judged.problem.column - 1, len(judged.text)))
    return judged


def _is_by_hand(screen: Screen) -> bool:
    """
    Tell whether the keys since the last Enter gave lines: so they do where somebody types the
    numbers too. What a scanner types goes on behind a key that was lost.
    """
    keys = "".join(screen.keys.upper().split())
    lines = screen.transcript.lines.items()
    return len(screen.text) <= 2 * CHARACTERS and any(text in keys for n, text in lines if n)


def _scanned(screen: Screen, scan: handheld.Scan) -> Screen:
    try:
        taken = transcript.take_all(screen.transcript, scan.raw_lines)
    except SeveralSets as error:
        return replace(screen, text="", cursor=0, problem=None, told=(f"{error}.", error.advice))
    after = _next(replace(screen, text="", cursor=0), taken.transcript, -1)
    return replace(after, told=scanned(taken, scan))


def scanned(taken: transcript.Taken, scan: handheld.Scan) -> tuple[str, ...]:
    """Return in sentences what came of the symbol that a scanner typed."""
    numbers = [number for number in taken.numbers if number]
    wrong = f"; {counted(len(taken.wrong), 'line')} of it not correct" if taken.wrong else ""
    told = [f"Symbol with {noun(numbers, 'line')} {ranges(numbers)} taken{wrong}."]
    if taken.transcript.head is not None:
        told.append(f"{position.symbols_in(taken.transcript.lines, taken.transcript.head.total)}.")
    return (*told, *scan.advice)


def _put_off(screen: Screen) -> Screen:
    return _next(screen, transcript.skip(screen.transcript, screen.number), screen.number)


def _back(screen: Screen) -> Screen:
    if screen.transcript.head is None:
        return screen
    return _at_line(screen, max(0, screen.number - 1))


def _at_line(screen: Screen, number: int) -> Screen:
    return replace(screen, number=number, text="", cursor=0, problem=None, going=None)


def _move(step: int) -> Callable[[Screen], Screen]:
    return lambda screen: replace(
        screen, cursor=min(max(0, screen.cursor + step), len(screen.text))
    )


def _to_group(screen: Screen, *, forward: bool) -> Screen:
    starts = [*range(0, DATA_CHARACTERS + 1, GROUP), CHARACTERS, len(screen.text)]
    there = sorted({start for start in starts if start <= len(screen.text)})
    if forward:
        at = next((start for start in there if start > screen.cursor), there[0])
    else:
        at = next((start for start in reversed(there) if start < screen.cursor), there[-1])
    return replace(screen, cursor=at)


def _make_room(screen: Screen) -> Screen:
    text, at = screen.text, screen.cursor
    if at == len(text) or len(text) >= _MOST:
        return screen
    changed = replace(screen, text=f"{text[:at]}?{text[at:]}", problem=None)
    return _judged(changed) if len(text) >= CHARACTERS else changed


def _erase(before: int) -> Callable[[Screen], Screen]:
    def erase(screen: Screen) -> Screen:
        at = screen.cursor - before
        if not 0 <= at < len(screen.text):
            return screen
        text = screen.text[:at] + screen.text[at + 1 :]
        changed = replace(screen, text=text, cursor=at, problem=None)
        # Erased in the middle, it was one too many; erased at the end, it will be typed anew.
        is_inside = at < len(text) and len(text) >= CHARACTERS
        return _judged(changed) if is_inside else changed

    return erase


def _while_going(screen: Screen, key: str) -> Screen:
    going = screen.going or ""
    if key == "enter":
        number = int(going) if going else screen.number
        last = screen.transcript.head.total if screen.transcript.head else 0
        return _at_line(screen, min(number, last))
    if key == "backspace":
        return replace(screen, going=going[:-1])
    if key.isdecimal() and key.isascii() and len(going) < _MOST_DIGITS:
        return replace(screen, going=going + key)
    return replace(screen, going=None) if key in KEYS else screen


KEYS: dict[str, Callable[[Screen], Screen]] = {
    "enter": _enter,
    "left": _move(-1),
    "right": _move(1),
    "home": _move(-_MOST),
    "end": _move(_MOST),
    "next group": lambda screen: _to_group(screen, forward=True),
    "group before": lambda screen: _to_group(screen, forward=False),
    "make room": _make_room,
    "backspace": _erase(1),
    "delete": _erase(0),
    "empty": lambda screen: _at_line(screen, screen.number),
    "put off": _put_off,
    "back": _back,
    "go": lambda screen: replace(screen, going=""),
    "aloud": lambda screen: replace(screen, aloud=not screen.aloud),
    "stop": lambda screen: replace(screen, left=True),
}


# What is shown.


def _shown(screen: Screen, wide: int, high: int) -> tuple[list[str], int]:
    """Return the rows, and which of them, from 0, is the line being typed."""
    if wide < FEWEST_COLUMNS or high < FEWEST_ROWS:
        told = (
            f"This window is too small: make it {FEWEST_COLUMNS} columns and {FEWEST_ROWS} rows or "
            "larger. Nothing is lost."
        )
        shown = wrap(told, max(wide, 1))[:high]
        return [*shown, *[""] * (high - len(shown))], max(0, min(high, len(shown)) - 1)
    line = _line(screen, wide)
    # In their order on the screen, each with its weight: what weighs least makes room first.
    room = high - 2
    parts = [
        (3, _title(screen)),
        (_BLANK, [""]),
        (4, _neighbours(screen, range(screen.number - _BEFORE, screen.number))),
        (5, [""]),
        (_KEPT, [line]),
        (_KEPT, [_pointer(screen, wide)]),
        (4, _neighbours(screen, range(screen.number + 1, screen.number + 1 + _BEHIND))),
        (_BLANK, [""]),
        (6, _where(screen)),
        (_KEPT, _message(screen, wide, room)),
        (7, _aloud(screen, wide) if screen.aloud else []),
        (_HELPS, [""]),
        (_HELPS, list(_HELP)),
    ]
    for weight in range(_KEPT):
        if sum(len(part) for _, part in parts) > high:
            parts = [(its, [] if its == weight else part) for its, part in parts]
    above = next(at for at, (_, part) in enumerate(parts) if part == [line])
    row = sum(len(part) for _, part in parts[:above])
    shown = [text for _, part in parts[:-1] for text in part]
    foot = parts[-1][1]
    shown = [*shown, *[""] * (high - len(shown) - len(foot)), *foot]
    return [text[:wide] for text in shown][:high], min(row, high - 1)


_BLANK, _HELPS, _KEPT = 1, 2, 9


def _on_line(screen: Screen) -> int:
    """Return how many of the characters typed are shown on the line itself."""
    used = screen.problem.used if screen.problem else None
    return used or CHARACTERS + 1


def _title(screen: Screen) -> list[str]:
    head, done = screen.transcript.head, screen.transcript
    if head is None:
        return ["Line 0, the head line, is at the top of every sheet. Type it first."]
    share = f", share {head.share.number} of {head.share.count}" if head.share else ""
    first = (
        f"Set {head.mark}{share}: {counted(head.data_lines, 'data line')}, "
        f"{counted(head.spare_lines, 'spare line')}"
    )
    there = head.data_lines - min(done.needed, head.data_lines)
    filled = _BAR * there // head.data_lines
    minutes = _minutes(screen)
    pace = f", {counted(minutes, 'minute')} at your pace" if minutes else ""
    put_off = f"; {len(done.skipped)} put off" if done.skipped else ""
    bar = f"[{'=' * filled}{' ' * (_BAR - filled)}]"
    return [first, f"{bar} {done.needed} more needed{pace}{put_off}"]


def _minutes(screen: Screen) -> int:
    """Return the minutes that are left at the pace of the last lines; 0 where it is not known."""
    if len(screen.times) < _FEWEST_LINES:
        return 0
    # A pause is one long time among short ones: the median passes over it.
    pace = median(later - earlier for earlier, later in pairwise(screen.times))
    return max(1, round(screen.transcript.needed * pace / 60))


def _neighbours(screen: Screen, numbers: range) -> list[str]:
    head = screen.transcript.head
    last = head.total if head else 0
    return [
        _row(number, screen.transcript.lines.get(number, "")) if 0 <= number <= last else ""
        for number in numbers
    ]


def _row(number: int, text: str) -> str:
    return f"{number:5d}   {group(text) if text else '.'}"


def _is_large(screen: Screen, wide: int) -> bool:
    """Tell whether there is room for the line being typed with its letters set apart."""
    return wide >= WIDE - 2 and len(screen.text[: _on_line(screen)]) <= CHARACTERS


def _line(screen: Screen, wide: int) -> str:
    text = screen.text[: _on_line(screen)]
    shown = large(text) if _is_large(screen, wide) else _grouped(text)
    return f"{screen.number:5d}   {shown}"


def _grouped(text: str) -> str:
    """Return a line as printed, and what is behind it."""
    behind = text[CHARACTERS:]
    return f"{group(text[:CHARACTERS])} {behind}".rstrip()


def large(text: str) -> str:
    """Return the characters of a line in their groups with a blank behind each."""
    cuts = [*range(0, DATA_CHARACTERS + 1, GROUP), CHARACTERS, len(text)]
    return "   ".join(" ".join(text[start:end]) for start, end in pairwise(cuts)).rstrip()


def _column(screen: Screen, place: int, wide: int) -> int:
    """Return at what column of the screen the character at *place*, from 0, is."""
    at = column(place) + (place >= CHARACTERS and len(screen.text) > CHARACTERS)
    return _INDENT + (2 * at if _is_large(screen, wide) else at)


def column(place: int) -> int:
    """Return at what column of a grouped line the character at *place*, from 0, is."""
    return place + min(place, DATA_CHARACTERS) // GROUP


def _pointer(screen: Screen, wide: int) -> str:
    """Return signs below the likely character, and below the others where several are wrong."""
    problem = screen.problem
    if problem is None or problem.column is None:
        return ""
    places = {problem.column - 1}
    text = screen.text[:CHARACTERS]
    if problem.proposal and problem.number == screen.number and problem.used in (None, CHARACTERS):
        wrong = [
            at
            for at, (was, now) in enumerate(zip(text, problem.proposal, strict=False))
            if was != now
        ]
        if len(wrong) <= 2:
            places.update(wrong)
    columns = {_column(screen, place, wide) for place in places}
    return "".join("^" if at in columns else " " for at in range(max(columns) + 1))


def _where(screen: Screen) -> list[str]:
    head = screen.transcript.head
    if head is None or screen.number == 0:
        return []
    kind = " (a spare line)" if screen.number > head.data_lines else ""
    return [f"{position.position(screen.number, head.total)}{kind}"]


def _message(screen: Screen, wide: int, room: int) -> list[str]:
    if screen.going is not None:
        return [f"Go to line: {screen.going}"]
    told = [row for text in screen.told for row in wrap(text, wide - 2)]
    problem = screen.problem
    if problem is None:
        return told or ([] if screen.text else _waiting(screen, wide))
    told += wrap(f"Line {screen.number}: {problem.what}.", wide - 2)
    typed_on = screen.text[_on_line(screen) :]
    behind = [f"Typed on: {group(typed_on[:CHARACTERS])}"] if typed_on else []
    if problem.proposal is None:
        behind = [*wrap("Compare each group with the paper.", wide - 2), *behind]
    else:
        proposed = _row(problem.number, problem.proposal)
        behind = ["Compare with the paper; Enter takes", proposed, *behind]
    # What to do about it is always seen; in a small window the end of the reason is not.
    return [*told[: max(1, room - len(behind))], *behind]


def _waiting(screen: Screen, wide: int) -> list[str]:
    done, number = screen.transcript, screen.number
    told = ""
    if not done.needed:
        told = "All the lines you need are there."
    elif number in done.lines:
        told = "You have typed this line already; type it again only to compare."
    elif done.due() is None:
        told = (
            "No other line would help: type a line you put off, with ? for what you cannot read, "
            "or go to a spare line (Ctrl-G)."
        )
    elif done.head and number > done.head.data_lines:
        told = "A spare line, framed on the sheet: it replaces a line that you put off."
    return wrap(told, wide - 2)


def _aloud(screen: Screen, wide: int) -> list[str]:
    """Return the proposal, or what was typed, in words: a reader compares it with the paper."""
    problem = screen.problem
    proposal = problem.proposal if problem else None
    spelt = spelling.spell(proposal or screen.text[:CHARACTERS])
    beginning = "Proposed, read aloud:" if proposal else "Read aloud:"
    rows_: list[str] = [beginning]
    for words in spelt:
        if len(rows_) > 1 and len(rows_[-1]) + len(words) + 3 <= wide - 1:
            rows_[-1] += f" | {words}"
        else:
            rows_.append(words)
    return rows_
