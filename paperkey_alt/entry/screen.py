"""
The typing screen as a value: `press` takes it on by a key, `rows` says what it shows; nothing here
touches a terminal.

It is 80 columns wide and 24 rows high and needs no colour.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from textwrap import wrap
from typing import TYPE_CHECKING

from paperkey_alt.entry import transcript
from paperkey_alt.entry.transcript import Accepted, Problem, Transcript
from paperkey_alt.format.lines import CHARACTERS, DATA_CHARACTERS, GROUP, group
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable

WIDE, HIGH = 80, 24
_INDENT = 8  # columns before the characters of a line
_BEFORE = 8  # lines shown above the one being typed
_BAR = 30
# Characters that one line can be given: with one too many the check can tell which.
_MOST = CHARACTERS + 1
# What a line may be typed with, look-alikes included.
_TYPED = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567018?")
_HELP = (
    "Enter  accept what is proposed     arrows  move      Backspace, Delete  erase",
    "Ctrl-N put this line off           Ctrl-P  go back   Ctrl-G  go to a line",
    "Ctrl-U empty the line              ?  a character that cannot be read",
    "Ctrl-Q stop; every line is saved as soon as it is correct",
)


@dataclass(frozen=True)
class Screen:
    """
    The transcript so far, the line *number* that waits, the *text* of it as typed, the *cursor* in
    it; a *problem* with it; the digits of a line to go to while these are typed; whether it is to
    be left.
    """

    transcript: Transcript
    number: int
    text: str = ""
    cursor: int = 0
    problem: Problem | None = None
    going: str | None = None
    left: bool = False


def start(begun: Transcript) -> Screen:
    """
    Return the screen with the first line that is missing; one that is left at once where none is.
    """
    number = begun.due() if begun.needed else None
    return Screen(begun, number or 0, left=not begun.needed)


def press(screen: Screen, key: str) -> Screen:
    """
    Return *screen* after *key*: a character, or one of the names in `KEYS`; other keys change
    nothing.
    """
    if screen.going is not None:
        return _while_going(screen, key)
    if key in KEYS:
        return KEYS[key](screen)
    character = key.upper()
    return _typed(screen, character) if character in _TYPED else screen


def rows(screen: Screen) -> list[str]:
    """Return what the screen shows, 24 rows of at most 80 characters."""
    shown = [*_title(screen), "", *_lines_before(screen), _row(screen.number, screen.text)]
    shown += [_pointer(screen), "", *_message(screen)]
    return [*(row[:WIDE] for row in shown), *[""] * (HIGH - len(shown) - len(_HELP)), *_HELP][:HIGH]


def cursor(screen: Screen) -> tuple[int, int]:
    """Return the row and column, from 0, at which the next character appears."""
    return 3 + _BEFORE, _INDENT + column(screen.cursor)


# Keys.


def _typed(screen: Screen, character: str) -> Screen:
    text, at = screen.text, screen.cursor
    if len(text) < CHARACTERS:
        text = text[:at] + character + text[at:]
    elif at < len(text):
        # A whole line is mended by typing over what is wrong.
        text = text[:at] + character + text[at + 1 :]
    elif len(text) < _MOST:
        text += character
    else:
        return screen
    changed = replace(screen, text=text, cursor=at + 1, problem=None)
    return _judged(changed) if len(text) >= CHARACTERS else changed


def _judged(screen: Screen) -> Screen:
    return _answered(screen, transcript.feed(screen.transcript, screen.number, screen.text))


def _answered(screen: Screen, answer: Accepted | Problem) -> Screen:
    if isinstance(answer, Accepted):
        return _next(screen, answer.transcript, answer.number)
    # The cursor stays: who looks at the paper, not at the screen, may be typing on.
    return replace(screen, problem=answer)


def _next(screen: Screen, typed: Transcript, after: int) -> Screen:
    number = typed.due(after) if typed.needed else None
    if number is None:
        return Screen(typed, screen.number, left=not typed.needed)
    return Screen(typed, number)


def _enter(screen: Screen) -> Screen:
    if screen.problem and screen.problem.proposal:
        return _answered(screen, transcript.accept(screen.transcript, screen.problem))
    return _judged(screen) if screen.text else screen


def _put_off(screen: Screen) -> Screen:
    return _next(screen, transcript.skip(screen.transcript, screen.number), screen.number)


def _back(screen: Screen) -> Screen:
    if screen.transcript.head is None:
        return screen
    return Screen(screen.transcript, max(0, screen.number - 1))


def _move(step: int) -> Callable[[Screen], Screen]:
    return lambda screen: replace(
        screen, cursor=min(max(0, screen.cursor + step), len(screen.text))
    )


def _erase(before: int) -> Callable[[Screen], Screen]:
    def erase(screen: Screen) -> Screen:
        at = screen.cursor - before
        if not 0 <= at < len(screen.text):
            return screen
        return replace(
            screen, text=screen.text[:at] + screen.text[at + 1 :], cursor=at, problem=None
        )

    return erase


def _while_going(screen: Screen, key: str) -> Screen:
    going = screen.going or ""
    if key == "enter":
        number = int(going) if going else screen.number
        last = screen.transcript.head.total if screen.transcript.head else 0
        return Screen(screen.transcript, min(number, last))
    if key == "backspace":
        return replace(screen, going=going[:-1])
    if key.isdecimal() and key.isascii() and len(going) < 4:
        return replace(screen, going=going + key)
    return replace(screen, going=None) if key in KEYS else screen


KEYS: dict[str, Callable[[Screen], Screen]] = {
    "enter": _enter,
    "left": _move(-1),
    "right": _move(1),
    "home": _move(-_MOST),
    "end": _move(_MOST),
    "backspace": _erase(1),
    "delete": _erase(0),
    "empty": lambda screen: Screen(screen.transcript, screen.number),
    "put off": _put_off,
    "back": _back,
    "go": lambda screen: replace(screen, going=""),
    "stop": lambda screen: replace(screen, left=True),
}


# What is shown.


def _title(screen: Screen) -> tuple[str, str]:
    head, typed = screen.transcript.head, screen.transcript
    if head is None:
        return "Line 0, the head line, is at the top of every sheet. Type it first.", ""
    share = f", share {head.share.number} of {head.share.count}" if head.share else ""
    first = (
        f"Set {head.mark}{share}: {counted(head.data_lines, 'data line')}, "
        f"{counted(head.spare_lines, 'spare line')}"
    )
    done = head.data_lines - min(typed.needed, head.data_lines)
    filled = _BAR * done // head.data_lines
    put_off = f"; {len(typed.skipped)} put off" if typed.skipped else ""
    return first, f"[{'=' * filled}{' ' * (_BAR - filled)}] {typed.needed} more needed{put_off}"


def _lines_before(screen: Screen) -> list[str]:
    numbers = range(max(0, screen.number - _BEFORE), screen.number)
    shown = [_row(number, screen.transcript.lines.get(number, "")) for number in numbers]
    return [""] * (_BEFORE - len(shown)) + shown


def _row(number: int, text: str) -> str:
    return f"{number:5d}   {group(text)}"


def _pointer(screen: Screen) -> str:
    if screen.problem is None or screen.problem.column is None:
        return ""
    return " " * (_INDENT + column(screen.problem.column - 1)) + "^"


def column(place: int) -> int:
    """Return at what column of a grouped line the character at *place*, from 0, stands."""
    return place + min(place, DATA_CHARACTERS) // GROUP


def _message(screen: Screen) -> list[str]:
    if screen.going is not None:
        return [f"Go to line: {screen.going}"]
    if screen.problem is None:
        return [] if screen.text else _waiting(screen)
    told = wrap(f"Line {screen.number}: {screen.problem.what}.", WIDE - 2)
    if screen.problem.proposal is None:
        return [*told, "Compare it with the paper."]
    proposed = _row(screen.problem.number, screen.problem.proposal)
    return [*told, f"Compare with the paper; Enter takes{proposed}"]


def _waiting(screen: Screen) -> list[str]:
    typed, number = screen.transcript, screen.number
    if number in typed.lines:
        return ["You have typed this line already; type it again only to compare."]
    if typed.due() is None:
        return [
            "No other line would help: type a line you put off, with ? for what you cannot read,",
            "or go to a spare line (Ctrl-G).",
        ]
    if typed.head and number > typed.head.data_lines:
        return ["A spare line, framed on the sheet: it replaces a line that you put off."]
    return []
