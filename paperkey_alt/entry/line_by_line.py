"""
Typing line by line, for terminals that can do no more, and without any extra: `run`. The terminal
is the caller's: it hands in what says, what asks and what rings a bell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.entry import position, read_aloud, screen, transcript, window
from paperkey_alt.entry.transcript import Accepted, Problem
from paperkey_alt.errors import SeveralSets
from paperkey_alt.format.lines import CHARACTERS, GROUP, group, normalise
from paperkey_alt.reading.text import handheld
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from paperkey_alt.entry.transcript import Transcript

    Say = Callable[[Iterable[str]], None]
    Ask = Callable[[str], str | None]
    Ring = Callable[[], None]

_MOST_DIGITS = 9
_WIDE = 80
_INDENT = " " * 4  # so that a line fits into 40 columns
_HELP = (
    (
        f"Type the {CHARACTERS} characters of the line with this number, with or without spaces; "
        "? for each character that you cannot read. You may type the number first, or paste "
        "several lines."
    ),
    (
        "Other answers: skip (put the line off), back (to the line before), go N (to line N), "
        "aloud (the last answer in words), help, stop. Enter alone goes to the next line. Every "
        "line is saved as soon as it is correct."
    ),
)
_STOP = ("stop", "quit", "exit", "q")
_DONE = ("done", *_STOP)
_HELD = "All the lines you need are there. Put the scanner away, then type: done"
# An answer shorter than this is more likely a word than a line.
_SHORTEST_LINE = 2 * GROUP


def run(
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
    number = begun.due() if begun.needed else None
    talk = _Talk(begun, number, save, say, ask, ring)
    while talk.number is not None and talk.goes_on():
        pass
    return talk.typed


@dataclass
class _Talk:
    """
    Questions and answers: what is *typed*, the line *number* that is asked for (None when all is
    there); the line that *failed* last, an answer that is *unread* because another question was
    asked, the *last* line that was typed, and *where* the one before is.
    """

    typed: Transcript
    number: int | None
    save: Callable[[Transcript], None]
    say: Say
    ask: Ask
    ring: Ring | None
    failed: int | None = None
    unread: str | None = None
    last: str = ""
    where: tuple[int, ...] | None = None

    def goes_on(self) -> bool:
        """Ask, and do what is answered; tell whether to ask again."""
        answer, self.unread = self.unread or self._asked(), None
        if answer is None:
            return False
        words = answer.lower().split()
        word = " ".join(words)
        if word in _STOP:
            return False
        answers = {
            "": self._go_on,
            "skip": self._skip,
            "back": self._back,
            "aloud": self._aloud,
            "help": self._help,
            "?": self._help,
        }
        if word in answers:
            answers[word]()
        elif words[0] == "go" and len(words) <= 2 and not self._may_be_line(answer):
            self._go(words[-1])
        else:
            self._line(answer)
        return True

    @staticmethod
    def _may_be_line(answer: str) -> bool:
        return len(normalise(answer)) in range(CHARACTERS - 1, CHARACTERS + 2)

    def _help(self) -> None:
        self.say(_HELP)

    def _aloud(self) -> None:
        self.say(read_aloud.spell(normalise(self.last)[:CHARACTERS]))

    def _go_on(self) -> None:
        self._next(self.typed, self.number)

    def _skip(self) -> None:
        number = self.number or 0
        self.say([screen.what_putting_off_means(self.typed, number)])
        self._next(transcript.skip(self.typed, number), number)

    def _back(self) -> None:
        self.number = max(0, (self.number or 0) - 1)

    def _go(self, wanted: str) -> None:
        if not (wanted.isdecimal() and wanted.isascii()):
            self.say(["Type go and the number of a line, for example: go 7"])
            return
        # Of a number that is too long for any set, the first digits are too.
        number = int(wanted[:_MOST_DIGITS])
        lacking = screen.no_line(self.typed, number)
        if lacking is None:
            self.number = number
        else:
            self.say([lacking])

    def _asked(self) -> str | None:
        """Say how much is needed, and where the line is if not beside the symbol before; ask."""
        head, number = self.typed.head, self.number or 0
        if head is not None:
            needed = counted(self.typed.needed, "more line")
            self.say([f"Set {head.mark}: {needed} needed."])
            if number:
                place = position.position(number, head.total)
                where = (place.sheet, place.symbol, place.column)
                if where != self.where:
                    self.say([f"{' '.join(position.described(number, head.total, _WIDE))}."])
                self.where = where
        return self.ask(f"{number:5d} ")

    def _next(self, typed: Transcript, after: int | None) -> None:
        self.typed = typed
        self.number = typed.due(after or 0) if typed.needed else None
        if typed.needed and self.number is None:
            self.say([_NOTHING_ELSE])

    def _line(self, text: str) -> None:
        """Take a line, or a symbol that a scanner typed."""
        number = self.number or 0
        scan = handheld.read(text)
        if scan is not None:
            self._next(_scanned(self.typed, scan, self.say), number - 1)
            self.save(self.typed)
            if not self.typed.needed:
                self._hold()
            return
        meant, characters = transcript.printed_number(self.typed, number, text)
        self.last = characters
        ahead = _ahead(self.typed, text, self.failed)
        if ahead is not None:
            self.typed = ahead.transcript
            self.save(self.typed)
            self.say([f"Line {ahead.number} taken; line {self.failed} is still wrong."])
            self.number = number if self.typed.needed else None
            return
        answer = transcript.feed(self.typed, number, text)
        if isinstance(answer, Problem):
            if meant not in self.typed.lines:
                self.number = meant
            self._problem(answer, meant, characters)
        else:
            self._next(answer.transcript, answer.number)
            self.save(self.typed)

    def _hold(self) -> None:
        """Take what a scanner types on: a shell keeps what it is told."""
        self.say([_HELD])
        while (answer := self.ask("")) is not None and answer.strip().lower() not in _DONE:
            self.say([_HELD])

    def _problem(self, problem: Problem, number: int, text: str) -> None:
        """Say what is wrong, and take what is proposed if that is agreed to."""
        if self.ring is not None:
            self.ring()
        self.typed, self.failed = transcript.missed(self.typed, problem), number
        self.say(_shown(problem, text))
        if problem.proposal is None:
            if len(normalise(text)) < _SHORTEST_LINE:
                self.say(["To see what else you can answer, type help."])
            return
        agreed = self.ask("Is that what the paper says? y or n")
        if agreed is None:
            return
        accepted = transcript.accept(self.typed, problem)
        if agreed.lower() in ("y", "yes") and isinstance(accepted, Accepted):
            self._next(accepted.transcript, accepted.number)
            self.save(self.typed)
        elif len(normalise(agreed)) >= CHARACTERS - 1:
            # Several lines were pasted: this is the next one, and no answer.
            self.unread = agreed


_NOTHING_ELSE = (
    "No other line would help: more lines are put off than spare lines can replace. Begin again, "
    "and type lines you put off with ? for each character that you cannot read."
)


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


def _scanned(typed: Transcript, scan: handheld.Scan, say: Say) -> Transcript:
    try:
        taken = transcript.take_all(typed, scan.raw_lines)
    except SeveralSets as error:
        say(screen.another_set(error))
        return typed
    say(screen.scanned(taken, scan, typed.lines))
    return taken.transcript


def _shown(problem: Problem, text: str) -> list[str]:
    rows = [f"{_INDENT}{group(''.join(text.upper().split()))}"]
    if problem.column is not None:
        rows.append(f"{_INDENT}{' ' * window.column(problem.column - 1)}^")
    rows.append(f"Line {problem.number}: {problem.what}.")
    if problem.proposal is not None:
        rows.append(f"{problem.number:{len(_INDENT) - 1}d} {group(problem.proposal)}")
    return rows
