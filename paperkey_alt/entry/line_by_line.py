"""Typing line by line, for terminals that can do no more, and without any extra: `run`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from paperkey_alt.cli.options import say
from paperkey_alt.entry import screen, transcript
from paperkey_alt.entry.transcript import Accepted
from paperkey_alt.format.lines import group
from paperkey_alt.sheet.text_file import row

if TYPE_CHECKING:
    from collections.abc import Callable

    from paperkey_alt.entry.transcript import Problem, Transcript

_HELP = (
    (
        "Type the characters of the line that is named, in any grouping; ? stands for one that "
        "cannot be read."
    ),
    (
        "Other answers: skip (put it off), go N (go to line N), stop. Every line is saved as soon as "
        "it is right."
    ),
)


def run(begun: Transcript, save: Callable[[Transcript], None]) -> Transcript:
    """Return the transcript as it is left; *save* is called with it after every line."""
    say(_HELP)
    typed, number = begun, begun.due() if begun.needed else None
    while number is not None:
        if typed.head:
            say([f"Set {typed.head.mark}, {typed.needed} more lines needed."])
        answer = _asked(f"{number:5d} ")
        words = answer.lower().split()
        if words == ["stop"] or answer == _END:
            break
        if words == ["skip"]:
            typed = transcript.skip(typed, number)
        elif words[:1] == ["go"] and len(words) == 2 and words[1].isdecimal():
            number = min(int(words[1]), typed.head.total if typed.head else 0)
            continue
        elif words:
            taken = _taken(typed, number, answer)
            if taken is None:
                continue
            typed, number = taken.transcript, taken.number
            save(typed)
        number = typed.due(number) if typed.needed else None
    return typed


def _taken(typed: Transcript, number: int, text: str) -> Accepted | None:
    """Return *typed* with the line, if it is right or what is proposed is taken."""
    answer = transcript.feed(typed, number, text)
    if isinstance(answer, Accepted):
        return answer
    _show(answer, text)
    if answer.proposal is None or _asked(
        "      Is that what the paper says? y or n"
    ).lower() not in ("y", "yes"):
        return None
    accepted = transcript.accept(typed, answer)
    return accepted if isinstance(accepted, Accepted) else None


def _show(problem: Problem, text: str) -> None:
    given = "".join(text.upper().split())
    lines = [f"      {group(given)}"]
    if problem.column is not None:
        lines.append(f"      {' ' * screen.column(problem.column - 1)}^")
    lines.append(f"Line {problem.number}: {problem.what}.")
    if problem.proposal is not None:
        lines.append(row(problem.number, problem.proposal))
    say(lines)


_END = "\x04"


def _asked(prompt: str) -> str:
    try:
        answer: str = click.prompt(
            prompt, default="", show_default=False, prompt_suffix=" ", err=True
        )
    except click.Abort:
        return _END
    return answer
