"""
Typing line by line, for terminals that can do no more, and without any extra: `run`. The terminal
is the caller's: it hands in what says and what asks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from paperkey_alt.entry import screen, transcript
from paperkey_alt.entry.transcript import Accepted
from paperkey_alt.format.lines import group
from paperkey_alt.sheet.text_file import row
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from paperkey_alt.entry.transcript import Problem, Transcript

    Say = Callable[[Iterable[str]], None]
    Ask = Callable[[str], str | None]

_MOST_DIGITS = 9
_HELP = (
    (
        "Type the characters of the line with this number, with or without spaces; ? for each "
        "character that you cannot read."
    ),
    (
        "Other answers: skip (put the line off), go N (go to line N), stop. Every line is saved as "
        "soon as it is correct."
    ),
)


def run(begun: Transcript, save: Callable[[Transcript], None], *, say: Say, ask: Ask) -> Transcript:
    """
    Return the transcript as it is left; *save* is called with it after every line.

    *say* is called with texts to show, *ask* with a prompt; it returns the answer, None where the
    input has ended.
    """
    say(_HELP)
    typed, number = begun, begun.due() if begun.needed else None
    while number is not None:
        if typed.head:
            say([f"Set {typed.head.mark}: {counted(typed.needed, 'more line')} needed."])
        answer = ask(f"{number:5d} ")
        if answer is None:
            break
        words = answer.lower().split()
        if words == ["stop"]:
            break
        if words == ["skip"]:
            typed = transcript.skip(typed, number)
        elif words[:1] == ["go"] and len(words) == 2 and words[1].isdecimal():
            # Of a number that is too long for any set, the first digits are.
            number = min(int(words[1][:_MOST_DIGITS]), typed.head.total if typed.head else 0)
            continue
        elif words:
            accepted = _accept(typed, number, answer, say=say, ask=ask)
            if accepted is None:
                continue
            typed, number = accepted.transcript, accepted.number
            save(typed)
        number = typed.due(number) if typed.needed else None
    return typed


def _accept(typed: Transcript, number: int, text: str, *, say: Say, ask: Ask) -> Accepted | None:
    """Return *typed* with the line, if it is right or what is proposed is taken."""
    answer = transcript.feed(typed, number, text)
    if isinstance(answer, Accepted):
        return answer
    say(_shown(answer, text))
    if answer.proposal is None:
        return None
    agreed = ask("      Is that what the paper says? y or n")
    if agreed is None or agreed.lower() not in ("y", "yes"):
        return None
    accepted = transcript.accept(typed, answer)
    return accepted if isinstance(accepted, Accepted) else None


def _shown(problem: Problem, text: str) -> list[str]:
    rows = [f"      {group(''.join(text.upper().split()))}"]
    if problem.column is not None:
        rows.append(f"      {' ' * screen.column(problem.column - 1)}^")
    rows.append(f"Line {problem.number}: {problem.what}.")
    if problem.proposal is not None:
        rows.append(row(problem.number, problem.proposal))
    return rows
