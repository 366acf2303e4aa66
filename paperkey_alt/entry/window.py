"""
What the typing screen shows: its `rows`, and where in them the `cursor` is.

It needs no colour, and 46 columns and 8 rows at the least; what matters less makes room for the
line, the message and what is proposed.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from textwrap import wrap
from typing import TYPE_CHECKING

from paperkey_alt.entry import position, read_aloud
from paperkey_alt.format.lines import CHARACTERS, DATA_CHARACTERS, GROUP, group
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Container, Sequence

    from paperkey_alt.entry.screen import Screen

WIDE, HIGH = 80, 24
FEWEST_COLUMNS, FEWEST_ROWS = 46, 8
_INDENT = 8  # columns before the characters of a line
_BEFORE, _BEHIND = 4, 2  # lines shown above and below the one being typed
_MOST_MARKED = 2 * GROUP  # two groups that are swapped
_FASTEST = 2  # seconds a line of somebody who types
_FEWEST_LINES = 3  # by whose times the pace is told
_TO_COME = "."  # for a character, and for a line, that is not typed yet
# What the keys do: before a line is begun, in it, and with one that is proposed.
_HELP_FIRST = (
    f"A line has {CHARACTERS} letters and digits, which you type without blanks.",
    "Type ? for a character you cannot read. Ctrl-R: read aloud. Ctrl-Q stops.",
)
_HELP_BEFORE = (
    "You cannot read this line? Ctrl-N puts it off, and a spare line may replace it.",
    "Up and Down go to the lines beside it, Ctrl-G to any. Ctrl-R: read aloud.",
    "Ctrl-Q stops, and Ctrl-Z brings back what you dropped. Correct lines are saved.",
)
_HELP_WITHIN = (
    "Type ? for a character you cannot read. Arrows and Tab move, Backspace erases.",
    "Insert makes room for a character you left out. Ctrl-U empties the line.",
    "Ctrl-N puts the line off. Ctrl-R: read aloud. Ctrl-Q stops.",
)
_HELP_PROPOSED = (
    "Enter takes the proposed line. Or change yours: arrows and Tab move,",
    "a character replaces the one it is typed on, Insert makes room, Delete erases.",
    "Ctrl-U empties the line, Ctrl-N puts it off. Ctrl-R: read aloud. Ctrl-Q stops.",
)
_HELP_HELD = ("Ctrl-Q ends.",)
_SHORT_HELP = "Ctrl-N: put off, Ctrl-G: go to, Ctrl-Q: stop"


def rows(screen: Screen, wide: int = WIDE, high: int = HIGH) -> list[str]:
    """Return what the screen shows: *high* rows of at most *wide* characters."""
    return _shown(screen, wide, high)[0]


def cursor(screen: Screen, wide: int = WIDE, high: int = HIGH) -> tuple[int, int]:
    """Return the row and column, from 0, at which the next character appears."""
    return _shown(screen, wide, high)[1], min(_column(screen, screen.cursor, wide), wide - 1)


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
    neighbours = [
        _neighbours(screen, range(screen.number - _BEFORE, screen.number)),
        _neighbours(screen, range(screen.number + 1, screen.number + 1 + _BEHIND)),
    ]
    # In their order on the screen, each with its weight: what weighs least makes room first.
    room = high - 2
    parts = [
        (3, [row for told in _title(screen) for row in wrap(told, wide)]),
        (_BLANK, [""]),
        (_BESIDE, neighbours[0]),
        (5, [""]),
        (_KEPT, [line]),
        (_KEPT, [_pointer(screen, wide)]),
        (_BESIDE, neighbours[1]),
        (_BLANK, [""]),
        (6, _where(screen, wide)),
        (_KEPT, _message(screen, wide, room)),
        (7, _aloud(screen, wide) if screen.aloud else []),
        (_HELPS, [""]),
        (_HELPS, [row for told in _help(screen) for row in wrap(told, wide)]),
    ]
    every = set(range(_KEPT + 1))
    if _high(parts, every - {_BLANK}) > high:
        # The lines before line 0 and behind the last one are empty rows.
        parts = [
            (weight, [row for row in part if row] if weight == _BESIDE else part)
            for weight, part in (*parts[:-2], (_SHORT_HELPS, [_SHORT_HELP]))
        ]
    there = set(every)
    for weight in range(_KEPT):
        if _high(parts, there) > high:
            there.discard(weight)
    # Where a large part went, a small one that went before it may have room again.
    for weight in reversed(range(_KEPT)):
        if _high(parts, there | {weight}) <= high:
            there.add(weight)
    parts = [(weight, part if weight in there else []) for weight, part in parts]
    above = next(at for at, (_, part) in enumerate(parts) if part == [line])
    row = sum(len(part) for _, part in parts[:above])
    shown = [text for _, part in parts[:-1] for text in part]
    foot = parts[-1][1]
    shown = [*shown, *[""] * (high - len(shown) - len(foot)), *foot]
    return [text[:wide] for text in shown][:high], min(row, high - 1)


_BLANK, _HELPS, _BESIDE, _SHORT_HELPS, _KEPT = 1, 2, 4, 8, 9


def _high(parts: Sequence[tuple[int, Sequence[str]]], weights: Container[int]) -> int:
    """Return how many rows the parts with these *weights* have."""
    return sum(len(part) for weight, part in parts if weight in weights)


def _help(screen: Screen) -> tuple[str, ...]:
    if screen.held:
        return _HELP_HELD
    if screen.problem is not None and screen.problem.proposal is not None:
        return _HELP_PROPOSED
    if screen.text:
        return _HELP_WITHIN
    return _HELP_FIRST if screen.transcript.head is None else _HELP_BEFORE


def _on_line(screen: Screen) -> int:
    """Return how many of the characters typed are shown on the line itself."""
    used = screen.problem.used if screen.problem else None
    return used or CHARACTERS + 1


def _title(screen: Screen) -> list[str]:
    head, done = screen.transcript.head, screen.transcript
    if head is None:
        return [
            "Type line 0 first: it is at the top of every sheet.",
            "With a handheld scanner, read the QR symbols instead, in any order.",
        ]
    share = f", share {head.share.number} of {head.share.count}" if head.share else ""
    first = (
        f"Set {head.mark}{share}: {counted(head.data_lines, 'data line')}, "
        f"{counted(head.spare_lines, 'spare line')}"
    )
    if not done.needed:
        return [first, "You have all the lines you need."]
    there = head.data_lines - min(done.needed, head.data_lines)
    minutes = _minutes(screen)
    pace = f", {counted(minutes, 'minute')} at your pace" if minutes else ""
    put_off = f"; {len(done.skipped)} put off" if done.skipped else ""
    return [
        first,
        f"You have {there} of {head.data_lines} lines; {done.needed} more needed{pace}{put_off}",
    ]


def _minutes(screen: Screen) -> int:
    """
    Return the minutes that are left at the pace of the last lines; 0 where it is not known, and
    where it is a scanner's.
    """
    if len(screen.times) < _FEWEST_LINES:
        return 0
    # A pause is one long time among short ones: the median passes over it.
    pace = median(later - earlier for earlier, later in pairwise(screen.times))
    if pace < _FASTEST:
        return 0
    return max(1, round(screen.transcript.needed * pace / 60))


def _neighbours(screen: Screen, numbers: range) -> list[str]:
    done = screen.transcript
    last = done.head.total if done.head else 0
    shown = []
    for number in numbers:
        text = group(done.lines.get(number, ""))
        to_come = "put off" if number in done.skipped else _TO_COME
        shown.append(_row(number, text or to_come) if 0 <= number <= last else "")
    return shown


def _row(number: int, text: str) -> str:
    return f"{number:5d}   {text}"


def _is_large(screen: Screen, wide: int) -> bool:
    """Tell whether there is room for the line being typed with its letters set apart."""
    return wide >= WIDE - 2 and len(screen.text[: _on_line(screen)]) <= CHARACTERS


def _line(screen: Screen, wide: int) -> str:
    text = screen.text[: _on_line(screen)].ljust(CHARACTERS, _TO_COME)
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
        if len(wrong) <= _MOST_MARKED:
            places.update(wrong)
    columns = {_column(screen, place, wide) for place in places}
    return "".join("^" if at in columns else " " for at in range(max(columns) + 1))


def _where(screen: Screen, wide: int) -> list[str]:
    head = screen.transcript.head
    if head is None or screen.number == 0:
        return []
    first, *others = position.described(screen.number, head.total, wide)
    if screen.number > head.data_lines:
        first = f"{first} (a spare line)"
    return [first, *others]


def _message(screen: Screen, wide: int, room: int) -> list[str]:
    if screen.going is not None:
        return [f"Go to line: {screen.going}"]
    told = [row for text in screen.told for row in wrap(text, wide - 2)]
    problem = screen.problem
    if problem is None:
        is_waiting = not (screen.text or screen.held)
        return [*told, *(_waiting(screen, wide) if is_waiting else [])]
    told += wrap(f"Line {screen.number}: {problem.what}.", wide - 2)
    typed_on = screen.text[_on_line(screen) :]
    behind = [f"You typed on: {group(typed_on[:CHARACTERS])}"] if typed_on else []
    if problem.proposal is None:
        behind = [*wrap("Compare each group with the paper.", wide - 2), *behind]
    else:
        proposed = _row(problem.number, group(problem.proposal))
        behind = ["Compare with the paper. Enter takes this line:", proposed, *behind]
    # What to do about it is always seen; in a small window the end of the reason is not.
    return [*told[: max(1, room - len(behind))], *behind]


def _waiting(screen: Screen, wide: int) -> list[str]:
    done, number = screen.transcript, screen.number
    told, there = "", []
    if not done.needed:
        told = "All the lines you need are there."
    elif number in done.lines:
        told = "You have typed this line already; type it again only to compare:"
        there = [_row(number, group(done.lines[number]))]
    elif done.due() is None:
        told = (
            "No other line would help: type a line you put off, with ? for what you cannot read, "
            "or go to a spare line (Ctrl-G)."
        )
    elif done.head and number > done.head.data_lines:
        told = "A spare line, framed on the sheet: it replaces a line that you put off."
    return [*wrap(told, wide - 2), *there]


def _aloud(screen: Screen, wide: int) -> list[str]:
    """Return the proposal, or what was typed, in words: a reader compares it with the paper."""
    problem = screen.problem
    if not screen.text:
        return ["Read aloud: what you type appears here in words."]
    proposal = problem.proposal if problem else None
    spelt = read_aloud.spell(proposal or screen.text[:CHARACTERS])
    beginning = "Proposed, read aloud:" if proposal else "Read aloud:"
    rows_: list[str] = [beginning]
    for words in spelt:
        if len(rows_) > 1 and len(rows_[-1]) + len(words) + 3 <= wide - 1:
            rows_[-1] += f" | {words}"
        else:
            rows_.append(words)
    return rows_
