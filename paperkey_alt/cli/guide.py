"""
The guide: asks what somebody wants, builds the commands for it, shows each and runs it.

It can do nothing that the commands cannot: a `Step` is a command line, with the system's own scan
command before it or its print command behind it where that is wished, and is run as it is shown.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass, field
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from paperkey_alt.cli import files
from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import NoSuchKey, RagleafError
from paperkey_alt.format import shares

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from paperkey_alt.keys.openpgp.key import Key

    Ask = Callable[[str, str | None], str]
    Execute = Callable[[Sequence[str]], int]

Chosen = TypeVar("Chosen")
Taken = TypeVar("Taken")

_STREAM, _EACH = "-", "--each"
_PRINT_COMMANDS = ("lp", "lpr")
_SCAN_COMMAND = "scanimage --format=png --resolution=300 --mode=Gray"
_SHARES = re.compile(r"\s*(\d{1,2})\s+(?:of\s+)?(\d{1,2})\s*", re.ASCII)


@dataclass(frozen=True)
class Step:
    """
    One command of Ragleaf, by its *arguments*; *scan* is a command whose output it reads, *print_*
    one that its output goes to. As text it is what one types to do the same.
    """

    arguments: tuple[str, ...]
    scan: tuple[str, ...] = ()
    print_: tuple[str, ...] = ()

    def __str__(self) -> str:
        commands = [self.scan, ("ragleaf", *self.arguments), self.print_]
        return " | ".join(shlex.join(command) for command in commands if command)

    def run(self, execute: Execute) -> int:
        """Run it, alone by *execute*, and return its exit status."""
        if not self.scan and not self.print_:
            return execute(self.arguments)
        return _piped(self)


def run(execute: Execute, ask: Ask | None = None) -> int:
    """
    Ask, show and run until what was wanted is done; return the exit status of the last command.

    *execute* runs the arguments of a command and returns its exit status; *ask* is called with a
    question and what is taken for no answer, and asks at the terminal if it is not given. Raises
    Abort where the input ends.
    """
    talk = _Talk(ask or _ask)
    say(_GREETING)
    while True:
        talk.begin()
        try:
            topic = _choose("What do you want to do?", _TOPICS, talk)
            return _follow(topic(talk), execute, talk)
        except _Back:
            talk.taken.pop()


def _follow(steps: Sequence[Step], execute: Execute, talk: _Talk) -> int:
    """
    Show each of the *steps* and run it if that is agreed; return the exit status of the last that
    was run. Raises _Back where the questions before are to be asked again.
    """
    ended: list[int | None] = []  # how each step did, None for one that was not run
    while len(ended) < len(steps) and not (ended and ended[-1]):
        step = steps[len(ended)]
        say(["", "This is the command:", f"  {step}", ""])
        try:
            is_agreed = talk.answer("Run it now? y or n", "y", _yes_or_no)
        except _Back:
            if not ended:
                raise
            ended.pop()
            continue
        ended.append(step.run(execute) if is_agreed else None)
        if not is_agreed:
            say(["It was not run."])
        elif ended[-1]:
            say([f"The command ended with status {ended[-1]}: read what it says above."])
    statuses = [status for status in ended if status is not None]
    status = statuses[-1] if statuses else 0
    if status or None in ended:
        say(["To begin again: ragleaf"])
    return status


class _Back(Exception):
    """Somebody wants to go back to the question before."""


class _NotTaken(Exception):
    """An answer that is none to this question; *rows* say why."""

    def __init__(self, *rows: str) -> None:
        super().__init__()
        self.rows = rows


@dataclass
class _Talk:
    """
    What was *taken* from the answers, question by question, so that all but the last can be asked
    again without a word; *again* is how many of them were.
    """

    ask: Ask
    taken: list[Any] = field(default_factory=list)
    again: int = 0

    def begin(self) -> None:
        """Go through the questions from the first on; what was taken is not asked for again."""
        self.again = 0

    def question(
        self,
        question: str,
        default: str | None,
        read: Callable[[str], Taken],
        before: Sequence[str] = (),
    ) -> Taken:
        """
        Return what *read* takes from the answer, or took before; *before* are rows above the
        question. Raises _Back.
        """
        if self.again == len(self.taken):
            say(before)
            self.taken.append(self.answer(question, default, read))
        self.again += 1
        taken: Taken = self.taken[self.again - 1]
        return taken

    def answer(self, question: str, default: str | None, read: Callable[[str], Taken]) -> Taken:
        """Ask until *read* takes the answer, and return what it takes; raises _Back."""
        is_first = not self.taken
        while True:
            answer = self.ask(question if is_first else f"{question} (or {_BACK})", default)
            if answer.strip().lower() == _BACK:
                if not is_first:
                    raise _Back
                say(["This is the first question."])
                continue
            try:
                return read(answer)
            except _NotTaken as refusal:
                say(refusal.rows)


def _ask(question: str, default: str | None) -> str:
    suffix = " " if question.endswith("?") and not default else ": "
    # click cuts a row that is too long in the middle of a word.
    room = shutil.get_terminal_size().columns - len(f" [{default}]: ")
    if room >= _NARROWEST:
        question = click.wrap_text(question, room)
    answer: str = click.prompt(
        question, default=default, show_default=bool(default), prompt_suffix=suffix, err=True
    )
    return answer


_NARROWEST = 20  # columns


# Topics.


def _put_on_paper(talk: _Talk) -> list[Step]:
    key, which = _key(talk)
    arguments = ["backup", key, *which]
    arguments += _choose("How do you want to bring it back later?", _KINDS, talk)
    terms = talk.question(_SPLIT, "no", _terms)
    if terms:
        arguments += ["--any", terms[0], "--of", terms[1]]
    if _is_yes("Large print, for tired eyes and plain cameras, on more sheets?", talk, "n"):
        arguments.append("--large")
    targets = _SHARE_TARGETS if terms else _TARGETS
    if _EACH in which:
        targets = _FOLDER_OF_EACH
    target = _choose("Where should the sheets go?", targets, talk)
    if target == "printer":
        command = talk.question("Which command prints what it reads?", _print_command(), _command)
        return [Step((*arguments, "-o", _STREAM), print_=command)]
    option, question, default = _OUTPUTS[target]
    return [Step((*arguments, option, talk.question(question, _free(default), _new)))]


def _key(talk: _Talk) -> tuple[str, list[str]]:
    """Return the file with the key, and the options that tell which keys of it are meant."""
    name, there = talk.question("Which file has the secret key?", None, _keys)
    if len(there) < 2:
        return name, []
    each = f"All {len(there)} keys, each as a backup of its own"
    single = {key.title: ["--fingerprint", key.fingerprint.hex().upper()] for key in there}
    return name, _choose("Which keys of this file?", {each: [_EACH]} | single, talk)


def _see_whether_good(talk: _Talk) -> list[Step]:
    return _reading(("check",), (), talk)


def _bring_back(talk: _Talk) -> list[Step]:
    behind: list[str] = []
    if _is_yes("Is there a file with the public certificate, which most sheets need?", talk, "n"):
        behind += ["--public", talk.question("Which file has the certificate?", None, _file)]
    behind += ["-o", talk.question("Which file is for the key?", _free("key.asc"), _new)]
    return _reading(("restore",), tuple(behind), talk)


def _yearly_round(talk: _Talk) -> list[Step]:
    steps = [Step(("register",))]
    if _is_yes("Do you want to rehearse a loss now, with the sheets and the live key?", talk):
        key = talk.question("Which file has the live key?", None, _file)
        steps += _reading(("drill",), ("--key", key), talk)
    return steps


def _nothing(_: _Talk) -> list[Step]:
    return []


def _reading(before: tuple[str, ...], behind: tuple[str, ...], talk: _Talk) -> list[Step]:
    """Return the steps that read sheets for a command with these arguments around them."""
    way = _choose("How do the sheets come into this computer?", _WAYS, talk)
    if way == "files":
        question = "Which files are the scans, or the lines you typed?"
        return [Step((*before, *talk.question(question, None, _files), *behind))]
    if way == "scan":
        question = "Which command scans a page to its output?"
        command = talk.question(question, _SCAN_COMMAND, _command)
        return [Step((*before, _STREAM, *behind), scan=command)]
    lines = talk.question("Which file is for the lines?", "lines.txt", _path)
    if Path(lines).exists():
        say([f"{lines} is there already: you go on with it."])
    else:
        say([f"{lines} will have what the sheets have: erase it when you are done."])
    if way == "handheld":
        say(["Read each QR symbol, in any order; the screen says which are missing."])
    return [Step(("type", lines)), Step((*before, lines, *behind))]


_GREETING = (
    "This is Ragleaf. It asks what you want, shows the command for it, and runs it if you agree.",
    "At any question, type back to go to the one before; Ctrl-C ends it.",
    "All commands: ragleaf --help",
)
_BACK = "back"
_TOPICS: Mapping[str, Callable[[_Talk], list[Step]]] = {
    "Put a key on paper": _put_on_paper,
    "See whether the paper is good": _see_whether_good,
    "Bring a key back from paper": _bring_back,
    "The yearly round: what is due, and a rehearsal": _yearly_round,
    "Nothing": _nothing,
}
_KINDS: Mapping[str, tuple[str, ...]] = {
    "With the public certificate, which I keep elsewhere too (fewer lines)": (),
    "From the paper alone (more lines)": ("--whole",),
    "By typing: as few lines as can be, sealed with the key's passphrase": ("--compact",),
}
_ENVELOPE = "Into a folder with all that belongs together, for an heir or for the holders"
_TARGETS: Mapping[str, str] = {
    "Into a PDF file, which I print and erase": "file",
    "Straight to the printer, by its cable": "printer",
    _ENVELOPE: "envelope",
}
_SHARE_TARGETS: Mapping[str, str] = {
    "Into a folder with a PDF file for each holder": "folder",
    _ENVELOPE: "envelope",
}
_FOLDER_OF_EACH: Mapping[str, str] = {"Into a folder": "each"}
# The option, the question, and what is taken for no answer.
_OUTPUTS: Mapping[str, tuple[str, str, str]] = {
    "file": ("-o", "Which file is for the sheets?", "sheets.pdf"),
    "folder": ("-o", "Which folder is for the shares?", "shares"),
    "each": ("-o", "Which folder is for the sheets of all keys?", "sheets"),
    "envelope": ("--envelope", "Which folder is for them?", "envelope"),
}
_WAYS: Mapping[str, str] = {
    "As files: scans, photos, or lines typed before": "files",
    "From the scanner, by its cable: one page": "scan",
    "From a handheld scanner that types QR symbols": "handheld",
    "I type the lines": "hand",
}


# Questions.


def _choose(question: str, choices: Mapping[str, Chosen], talk: _Talk) -> Chosen:
    """Return what stands for the choice that is named by its number; the one, if there is one."""
    values = list(choices.values())
    if len(values) == 1:
        return values[0]

    def chosen(answer: str) -> Chosen:
        number = answer.strip()
        if number.isdecimal() and number.isascii() and 1 <= int(number[:3]) <= len(values):
            return values[int(number[:3]) - 1]
        raise _NotTaken(f"Type a number from 1 to {len(values)}.")

    rows = ["", question, *(f"  {number}  {text}" for number, text in enumerate(choices, 1))]
    return talk.question("Number", "1", chosen, rows)


def _is_yes(question: str, talk: _Talk, default: str = "y") -> bool:
    return talk.question(f"{question} y or n", default, _yes_or_no)


# What is taken from answers; all raise _NotTaken.


def _yes_or_no(answer: str) -> bool:
    word = answer.strip().lower()
    if word in ("y", "yes", "n", "no"):
        return word[0] == "y"
    raise _NotTaken("Type y or n.")


def _file(answer: str) -> str:
    """Return the name of a file that is there."""
    name = _path(answer)
    if Path(name).is_file():
        return name
    raise _NotTaken(
        f"{name} is not a file here. Type its name, with its folder if it is in another."
    )


def _keys(answer: str) -> tuple[str, Sequence[Key]]:
    """Return the name of a file that is there, and the OpenPGP secret keys in it."""
    # What reads keys is not needed by other topics.
    from paperkey_alt import keys  # noqa: PLC0415

    name = _file(answer)
    try:
        return name, keys.secret_keys(files.read(name, files.LONGEST_KEY_FILE))
    except NoSuchKey as error:
        raise _NotTaken(f"{name}: {error}.", f"  {error.advice}") from None
    except RagleafError:
        # It may be a key of another kind; if not, the command says why.
        return name, ()


def _new(answer: str) -> str:
    """Return the name of a file or folder that is not there yet, in a folder that is."""
    name = _path(answer)
    if not Path(name).parent.is_dir():
        raise _NotTaken(f"There is no folder {Path(name).parent}. Make it first, or name another.")
    if Path(name).exists():
        raise _NotTaken(f"{name} is there already. Type another name.")
    return name


def _free(name: str) -> str:
    """Return *name*, or the first like it with a number in it that is not there."""
    path = Path(name)
    others = (f"{path.stem}-{number}{path.suffix}" for number in count(2))
    return next(free for free in chain([name], others) if not Path(free).exists())


def _files(answer: str) -> list[str]:
    """Return the names of files that are there, given as in a shell."""
    names = [_path(name) for name in _words(answer)]
    lacking = [name for name in names if not Path(name).is_file()]
    if names and not lacking:
        return names
    raise _NotTaken(
        f"Not a file here: {', '.join(lacking) or 'nothing'}. Put quotes around blanks."
    )


def _command(answer: str) -> tuple[str, ...]:
    """Return a command of the system that is there, as its words."""
    words = _words(answer)
    if words and shutil.which(words[0]):
        return tuple(words)
    raise _NotTaken(f"This computer has no command {words[0] if words else ''}.")


def _terms(answer: str) -> tuple[str, str] | None:
    """Return how many of how many shares are needed, None where it is not to be split."""
    if answer.strip().lower() in ("no", "n"):
        return None
    match = _SHARES.fullmatch(answer.lower())
    if match and shares.FEWEST <= int(match[1]) <= int(match[2]) <= shares.MOST:
        return match[1], match[2]
    raise _NotTaken(
        "Type how many shares are needed, and of how many: 3 of 5. From 2 to 16; or type no."
    )


_SPLIT = "Split it into shares for several people? 3 of 5 means that any three of five are needed"


def _words(text: str) -> list[str]:
    try:
        return shlex.split(text)
    except ValueError:
        return []


def _path(name: str) -> str:
    """Return a name as a command takes it, whatever it begins with."""
    name = str(Path(name.strip()).expanduser()) if name.strip() else name
    return f"./{name}" if name.startswith("-") else name


def _print_command() -> str:
    return next(filter(shutil.which, _PRINT_COMMANDS), _PRINT_COMMANDS[0])


# Pipes.


def _piped(step: Step) -> int:
    """Run the commands of *step* at once, each reading what the one before writes."""
    # Not from the current folder, whatever lies there.
    ragleaf = (sys.executable, "-P", "-m", "paperkey_alt", *step.arguments)
    commands = [command for command in (step.scan, ragleaf, step.print_) if command]
    # Each is shown before it is run, and none goes through a shell.
    running: list[subprocess.Popen[bytes]] = []
    for at, command in enumerate(commands):
        before = running[-1].stdout if running else None
        is_last = at == len(commands) - 1
        running.append(
            subprocess.Popen(  # noqa: S603
                command, stdin=before, stdout=None if is_last else subprocess.PIPE
            )
        )
        if before is not None:
            # Only the next one reads it: if that ends, the one before is told.
            before.close()
    statuses = [process.wait() for process in running]
    for command, status in zip(commands, statuses, strict=True):
        if status and command is not ragleaf:
            say([f"{command[0]} ended with status {status}."])
    return statuses[commands.index(ragleaf)] or max(map(abs, statuses))
