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
from dataclasses import dataclass
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from paperkey_alt.cli import files
from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import NoSuchKey, RagleafError
from paperkey_alt.format import shares

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    Ask = Callable[[str, str | None], str]
    Execute = Callable[[Sequence[str]], int]

Chosen = TypeVar("Chosen")

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
    ask = ask or _ask
    say(_GREETING)
    topic = _choose("What do you want to do?", _TOPICS, ask)
    status, is_declined = 0, False
    for step in topic(ask):
        say(["", "This is the command:", f"  {step}", ""])
        if not _is_yes("Run it now?", ask):
            say(["It was not run."])
            is_declined = True
            continue
        status = step.run(execute)
        if status:
            say([f"The command ended with status {status}: read what it says above."])
            break
    if status or is_declined:
        say(["To begin again: ragleaf"])
    return status


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


def _put_on_paper(ask: Ask) -> list[Step]:
    key, which = _key(ask)
    arguments = ["backup", key, *which]
    arguments += _choose("How do you want to bring it back later?", _KINDS, ask)
    terms = _terms(ask)
    if terms:
        arguments += ["--any", terms[0], "--of", terms[1]]
    if _is_yes("Large print, for tired eyes and plain cameras, on more sheets?", ask, "n"):
        arguments.append("--large")
    targets = _SHARE_TARGETS if terms else _TARGETS
    if _EACH in which:
        targets = _FOLDER_OF_EACH
    target = _choose("Where should the sheets go?", targets, ask)
    if target == "printer":
        command = _command("Which command prints what it reads?", _print_command(), ask)
        return [Step((*arguments, "-o", _STREAM), print_=command)]
    option, question, default = _OUTPUTS[target]
    return [Step((*arguments, option, _new(question, default, ask)))]


def _key(ask: Ask) -> tuple[str, list[str]]:
    """Return the file with the key, and the options that tell which keys of it are meant."""
    # What reads keys is not needed by other topics.
    from paperkey_alt import keys  # noqa: PLC0415

    while True:
        name = _file("Which file has the secret key?", ask)
        try:
            there = keys.secret_keys(files.read(name, files.LONGEST_KEY_FILE))
        except NoSuchKey as error:
            say([f"{name}: {error}.", f"  {error.advice}"])
            continue
        except RagleafError:
            # It may be a key of another kind; if not, the command says why.
            return name, []
        if len(there) == 1:
            return name, []
        each = f"All {len(there)} keys, each as a backup of its own"
        single = {key.title: ["--fingerprint", key.fingerprint.hex().upper()] for key in there}
        return name, _choose("Which keys of this file?", {each: [_EACH]} | single, ask)


def _see_whether_good(ask: Ask) -> list[Step]:
    return _reading(("check",), (), ask)


def _bring_back(ask: Ask) -> list[Step]:
    behind: list[str] = []
    if _is_yes("Is there a file with the public certificate, which most sheets need?", ask, "n"):
        behind += ["--public", _file("Which file has the certificate?", ask)]
    behind += ["-o", _new("Which file is for the key?", "key.asc", ask)]
    return _reading(("restore",), tuple(behind), ask)


def _yearly_round(ask: Ask) -> list[Step]:
    steps = [Step(("register",))]
    if _is_yes("Do you want to rehearse a loss now, with the sheets and the live key?", ask):
        key = _file("Which file has the live key?", ask)
        steps += _reading(("drill",), ("--key", key), ask)
    return steps


def _nothing(_: Ask) -> list[Step]:
    return []


def _reading(before: tuple[str, ...], behind: tuple[str, ...], ask: Ask) -> list[Step]:
    """Return the steps that read sheets for a command with these arguments around them."""
    way = _choose("How do the sheets come into this computer?", _WAYS, ask)
    if way == "files":
        sources = _files("Which files are the scans, or the lines you typed?", ask)
        return [Step((*before, *sources, *behind))]
    if way == "scan":
        command = _command("Which command scans a page to its output?", _SCAN_COMMAND, ask)
        return [Step((*before, _STREAM, *behind), scan=command)]
    lines = _path(ask("Which file is for the lines?", "lines.txt"))
    if Path(lines).exists():
        say([f"{lines} is there already: you go on with it."])
    else:
        say([f"{lines} will have what the sheets have: erase it when you are done."])
    if way == "handheld":
        say(["Read each QR symbol, in any order; the screen says which are missing."])
    return [Step(("type", lines)), Step((*before, lines, *behind))]


_GREETING = (
    "This is Ragleaf. It asks what you want, shows the command for it, and runs it if you agree.",
    "Ctrl-C ends it at any question. All commands: ragleaf --help",
)
_TOPICS: Mapping[str, Callable[[Ask], list[Step]]] = {
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


def _choose(question: str, choices: Mapping[str, Chosen], ask: Ask) -> Chosen:
    """Return what stands for the choice that is named by its number; the one, if there is one."""
    if len(choices) == 1:
        return next(iter(choices.values()))
    say(["", question, *(f"  {number}  {text}" for number, text in enumerate(choices, 1))])
    while True:
        answer = ask("Number", "1").strip()
        if answer.isdecimal() and answer.isascii() and 1 <= int(answer[:3]) <= len(choices):
            return list(choices.values())[int(answer[:3]) - 1]
        say([f"Type a number from 1 to {len(choices)}."])


def _is_yes(question: str, ask: Ask, default: str = "y") -> bool:
    while True:
        answer = ask(f"{question} y or n", default).strip().lower()
        if answer in ("y", "yes", "n", "no"):
            return answer[0] == "y"
        say(["Type y or n."])


def _file(question: str, ask: Ask) -> str:
    """Return the name of a file that is there."""
    while True:
        name = _path(ask(question, None))
        if Path(name).is_file():
            return name
        say([f"{name} is not a file here. Type its name, with its folder if it is in another."])


def _new(question: str, default: str, ask: Ask) -> str:
    """Return the name of a file or folder that is not there yet, in a folder that is."""
    while True:
        name = _path(ask(question, _free(default)))
        if not Path(name).parent.is_dir():
            say([f"There is no folder {Path(name).parent}. Make it first, or name another."])
        elif Path(name).exists():
            say([f"{name} is there already. Type another name."])
        else:
            return name


def _free(name: str) -> str:
    """Return *name*, or the first like it with a number in it that is not there."""
    path = Path(name)
    others = (f"{path.stem}-{number}{path.suffix}" for number in count(2))
    return next(free for free in chain([name], others) if not Path(free).exists())


def _files(question: str, ask: Ask) -> list[str]:
    """Return the names of files that are there, given as in a shell."""
    while True:
        names = [_path(name) for name in _words(ask(question, None))]
        lacking = [name for name in names if not Path(name).is_file()]
        if names and not lacking:
            return names
        say([f"Not a file here: {', '.join(lacking) or 'nothing'}. Put quotes around blanks."])


def _command(question: str, default: str, ask: Ask) -> tuple[str, ...]:
    """Return a command of the system that is there, as its words."""
    while True:
        words = _words(ask(question, default))
        if words and shutil.which(words[0]):
            return tuple(words)
        say([f"This computer has no command {words[0] if words else ''}."])


def _terms(ask: Ask) -> tuple[str, str] | None:
    """Return how many of how many shares are needed, None where it is not to be split."""
    while True:
        answer = ask(_SPLIT, "no")
        if answer.strip().lower() in ("no", "n"):
            return None
        match = _SHARES.fullmatch(answer.lower())
        if match and shares.FEWEST <= int(match[1]) <= int(match[2]) <= shares.MOST:
            return match[1], match[2]
        say(["Type how many shares are needed, and of how many: 3 of 5. From 2 to 16; or type no."])


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
