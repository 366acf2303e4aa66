"""
Typing line by line, for terminals that can do no more, and without any extra: `run`. The terminal
is the caller's: it hands in what says, what asks and what rings a bell.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.entry import position, screen, spelling, transcript
from paperkey_alt.entry.transcript import Accepted, Problem
from paperkey_alt.errors import SeveralSets
from paperkey_alt.format.lines import CHARACTERS, group, normalise
from paperkey_alt.reading.text import handheld
from paperkey_alt.sheet.text_file import row
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from paperkey_alt.entry.transcript import Transcript

    Say = Callable[[Iterable[str]], None]
    Ask = Callable[[str], str | None]
    Ring = Callable[[], None]

_MOST_DIGITS = 9
_HELP = (
    (
        "Type the characters of the line with this number, with or without spaces; ? for each "
        "character that you cannot read. You may type the number first, or paste several lines."
    ),
    (
        "Other answers: skip (put the line off), go N (go to line N), aloud (the last answer in "
        "words), help, stop. Every line is saved as soon as it is correct."
    ),
)


def run(  # noqa: C901 - one branch for each answer
    begun: Transcript,
    save: Callable[[Transcript], None],
    *,
    say: Say,
    ask: Ask,
    ring: Ring | None = None,
) -> Transcript:
    """
    Return the transcript as it is left; *save* is called with it after every line.

    *say* is called with texts to show, *ask* with a prompt; it returns the answer, None where the
    input has ended. *ring* is called for a line that is wrong.
    """
    say(_HELP)
    typed, number = begun, begun.due() if begun.needed else None
    # The line that was wrong last; an answer that was given to another question; what was typed.
    failed: int | None = None
    unread: str | None = None
    last, there = "", None
    while number is not None:
        if unread is None:
            there = _tell_position(typed, number, there, say)
            answer = ask(f"{number:5d} ")
        else:
            answer, unread = unread, None
        if answer is None:
            break
        words = answer.lower().split()
        if words == ["stop"]:
            break
        if words in (["help"], ["aloud"]):
            say(_HELP if words == ["help"] else spelling.spell(normalise(last)[:CHARACTERS]))
            continue
        if words == ["skip"]:
            typed = transcript.skip(typed, number)
        elif words[:1] == ["go"] and len(words) == 2 and words[1].isdecimal():
            # Of a number that is too long for any set, the first digits are.
            number = min(int(words[1][:_MOST_DIGITS]), typed.head.total if typed.head else 0)
            continue
        elif (scan := handheld.read(answer)) is not None:
            typed = _scanned(typed, scan, say)
            save(typed)
            number = typed.due(number - 1) if typed.needed else None
            continue
        elif words:
            last = answer
            ahead = _ahead(typed, answer, failed)
            if ahead is not None:
                typed = ahead.transcript
                save(typed)
                say([f"Line {ahead.number} taken; line {failed} is still wrong."])
                number = number if typed.needed else None
                continue
            accepted = transcript.feed(typed, number, answer)
            if isinstance(accepted, Problem):
                if ring is not None:
                    ring()
                typed, failed = transcript.missed(typed, accepted), number
                accepted, unread = _agreed(typed, accepted, answer, say=say, ask=ask)
            if accepted is None:
                continue
            typed, number = accepted.transcript, accepted.number
            save(typed)
        number = typed.due(number) if typed.needed else None
    return typed


def _tell_position(
    typed: Transcript, number: int, there: tuple[int, ...] | None, say: Say
) -> tuple[int, ...] | None:
    """Say how much is needed, and where the line is if not beside the same symbol as before."""
    if typed.head is None:
        return None
    say([f"Set {typed.head.mark}: {counted(typed.needed, 'more line')} needed."])
    if number == 0:
        return None
    place = position.position(number, typed.head.total)
    here = (place.sheet, place.symbol, place.column)
    if here != there:
        say([f"{place}."])
    return here


def _ahead(typed: Transcript, text: str, failed: int | None) -> Accepted | None:
    """
    Return *typed* with *text* as the line behind the one that *failed*, if it is that: of several
    lines that were pasted one was wrong, and the others are none the worse for it.
    """
    number = typed.due(failed) if failed is not None else None
    if number is None or number == failed or typed.head is None:
        return None
    answer = transcript.exactly(typed, number, text)
    if isinstance(answer, Accepted) and answer.number not in (failed, 0):
        return answer
    return None


def _agreed(
    typed: Transcript, problem: Problem, text: str, *, say: Say, ask: Ask
) -> tuple[Accepted | None, str | None]:
    """
    Return *typed* with the line that is proposed, if it is taken; and the answer, if it was no
    answer to that question but a line.
    """
    say(_shown(problem, text))
    if problem.proposal is None:
        return None, None
    agreed = ask("      Is that what the paper says? y or n")
    if agreed is None or agreed.lower() not in ("y", "yes"):
        is_line = agreed is not None and len(normalise(agreed)) >= CHARACTERS - 1
        return None, agreed if is_line else None
    accepted = transcript.accept(typed, problem)
    return (accepted if isinstance(accepted, Accepted) else None), None


def _scanned(typed: Transcript, scan: handheld.Scan, say: Say) -> Transcript:
    try:
        taken = transcript.take_all(typed, scan.raw_lines)
    except SeveralSets as error:
        say([f"{error}.", error.advice])
        return typed
    say(screen.scanned(taken, scan))
    return taken.transcript


def _shown(problem: Problem, text: str) -> list[str]:
    rows = [f"      {group(''.join(text.upper().split()))}"]
    if problem.column is not None:
        rows.append(f"      {' ' * screen.column(problem.column - 1)}^")
    rows.append(f"Line {problem.number}: {problem.what}.")
    if problem.proposal is not None:
        rows.append(row(problem.number, problem.proposal))
    return rows
