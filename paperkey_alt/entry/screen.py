"""
The typing screen as a value: `press` takes it on by a key and `paste` by a text. What it shows is
in `paperkey_alt.entry.window`; nothing here touches a terminal, and the clock is the caller's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from paperkey_alt.entry import position, transcript
from paperkey_alt.entry.transcript import Accepted, Problem, Transcript
from paperkey_alt.errors import SeveralSets
from paperkey_alt.format.head_line import NUMBER
from paperkey_alt.format.lines import CHARACTERS, DATA_CHARACTERS, GROUP
from paperkey_alt.reading.text import handheld, typed
from paperkey_alt.wording import counted, noun, ranges

if TYPE_CHECKING:
    from collections.abc import Callable, Container

# Characters that are kept where somebody types on without a look: ten lines.
_MOST = 10 * CHARACTERS
# With so many the answer is the same as with more: a line with a group too many, and its number.
_JUDGED = CHARACTERS + GROUP + 4
# Of a QR symbol's text, the longest that fits into the largest symbol at level M has 3,391.
_MOST_KEYS = 4_000
_MOST_DIGITS = 4
_PACE_LINES = 10  # by which the pace is told
# What a line may be typed with, look-alikes and the digits of its number included.
_TYPED = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789?")


@dataclass(frozen=True)
class Screen:
    """
    The transcript so far, the line *number* that waits, the *text* of it as typed (and of the next
    ones, where somebody typed on), the *cursor* in it; a *problem* with it; the digits of a line to
    go to while these are typed; whether it is to be left.

    Also the *keys* as they came since the last Enter, which may be a scanner's; what was *told* of
    several lines at once or of a wish; the line and text that were *dropped* last, to be brought
    back; whether lines are spelt to be read *aloud*; when the last lines were taken, in seconds;
    whether all is there and the screen is *held* until somebody stops, for a scanner may type on.
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
    dropped: tuple[int, str] | None = None
    aloud: bool = False
    times: tuple[float, ...] = ()
    held: bool = False


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
    if screen.held:
        return replace(screen, left=key == "stop")
    if screen.going is not None:
        pressed = _while_going(screen, key)
    elif key == "enter":
        pressed = _enter(screen)
    elif key in KEYS:
        pressed = KEYS[key](replace(screen, keys="", told=()))
    else:
        log = (screen.keys + key)[-_MOST_KEYS:]
        pressed = _typed(replace(screen, keys=log, told=()), key)
    if pressed.left and key != "stop":
        # The rest of a symbol, and those that are not needed, would go to what comes next: a shell
        # keeps what it is told.
        keys = screen.keys if key in KEYS else pressed.keys
        if handheld.last(keys) is not None:
            pressed = replace(pressed, left=False, held=True, told=(*pressed.told, _HELD))
    taken = len(pressed.transcript.lines) - len(before.lines)
    if seconds is None or taken != 1:
        return pressed
    return replace(pressed, times=(*pressed.times, seconds)[-_PACE_LINES - 1 :])


_HELD = (
    "All the lines you need are there. Put the scanner away, then press Ctrl-Q: what it types now "
    "goes nowhere."
)


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
        return replace(screen, told=another_set(error))
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
    number = int(screen.text)
    lacking = no_line(screen.transcript, number)
    if lacking is None:
        return replace(screen, number=number, text="", cursor=0)
    if len(screen.text) >= GROUP:
        # As many digits as a group has are one.
        return screen
    return replace(screen, text="", cursor=0, told=(lacking,))


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
        return replace(_next(screen, screen.transcript, -1), told=another_set(error))
    after = _next(replace(screen, text="", cursor=0), taken.transcript, -1)
    return replace(after, told=scanned(taken, scan))


def another_set(error: SeveralSets) -> tuple[str, str]:
    """Return *error* in sentences."""
    told = str(error)
    return f"{told[0].upper()}{told[1:]}.", error.advice


def scanned(
    taken: transcript.Taken, scan: handheld.Scan, before: Container[int] = ()
) -> tuple[str, ...]:
    """
    Return in sentences what came of the symbol that a scanner typed; lines *before* were there.
    """
    numbers = [number for number in taken.numbers if number]
    told = []
    if numbers:
        wrong = f"; {counted(len(taken.wrong), 'line')} of it not correct" if taken.wrong else ""
        again = " again" if all(number in before for number in numbers) else ""
        told.append(f"Symbol with {noun(numbers, 'line')} {ranges(numbers)} taken{again}{wrong}.")
    if taken.transcript.head is not None:
        told.append(f"{position.symbols_in(taken.transcript.lines, taken.transcript.head.total)}.")
    return (*told, *scan.advice)


def no_line(done: Transcript, number: int) -> str | None:
    """Return in a sentence that the set has no line *number*; None where it has one."""
    if done.head is None:
        return _LINE_0_FIRST if number else None
    if number > done.head.total:
        return f"There is no line {number}: the last line of this set is {done.head.total}."
    return None


def what_putting_off_means(done: Transcript, number: int) -> str:
    """Return in a sentence what comes of putting off line *number*."""
    if done.head is None or number == NUMBER:
        return "Line 0 cannot be put off: it says how many lines there are."
    is_replaceable = number <= done.head.data_lines and done.head.spare_lines > 0
    means = "; a spare line may replace it" if is_replaceable else ""
    return f"Line {number} is put off{means}."


_LINE_0_FIRST = "Line 0 comes first: it says how many lines there are."


def _put_off(screen: Screen) -> Screen:
    number, done = screen.number, screen.transcript
    told = (what_putting_off_means(done, number),)
    if number == NUMBER:
        return replace(screen, told=told)
    return replace(_next(_kept(screen), transcript.skip(done, number), number), told=told)


def _step(step: int) -> Callable[[Screen], Screen]:
    def to_line(screen: Screen) -> Screen:
        number = screen.number + step
        if number < NUMBER or no_line(screen.transcript, number) is not None:
            return screen
        return _at_line(screen, number)

    return to_line


def _at_line(screen: Screen, number: int) -> Screen:
    waiting = _kept(screen)
    return replace(waiting, number=number, text="", cursor=0, problem=None, going=None)


def _kept(screen: Screen) -> Screen:
    """Return *screen* with its text, if there is any, as what was dropped last."""
    return replace(screen, dropped=(screen.number, screen.text)) if screen.text else screen


def _undo(screen: Screen) -> Screen:
    if screen.dropped is None:
        return replace(screen, told=("Nothing was emptied that could come back.",))
    number, text = screen.dropped
    back = replace(_at_line(screen, number), text=text, cursor=len(text))
    return _judged(back, ended=True) if len(text) >= CHARACTERS else back


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
        if not going:
            return replace(screen, going=None)
        lacking = no_line(screen.transcript, int(going))
        if lacking is not None:
            return replace(screen, going=None, told=(lacking,))
        return replace(_at_line(screen, int(going)), told=())
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
    "back": _step(-1),
    "forward": _step(1),
    "go": lambda screen: replace(screen, going=""),
    "cancel": lambda screen: screen,
    "undo": _undo,
    "aloud": lambda screen: replace(screen, aloud=not screen.aloud),
    "stop": lambda screen: replace(screen, left=True),
}
