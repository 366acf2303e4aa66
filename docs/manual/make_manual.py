"""
Writes the manual pages and the completions of three shells from the commands themselves:
``python docs/manual/make_manual.py [FOLDER]``.

`pages` and `completions` take what `--help` shows; nothing is worded twice.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path

import click

from paperkey_alt import __version__
from paperkey_alt.cli import group
from paperkey_alt.records import register

FOLDER = Path(__file__).parent
# What a value is, by its name in --help; of other values a shell knows nothing.
FILES = frozenset({"CERT", "FILE", "KEYFILE", "PATH", "PDF", "PNG", "SOURCE"})
FOLDERS = frozenset({"FOLDER"})
STATUS = (
    ("0", "It is done."),
    ("1", "The paper or the key is at fault."),
    ("2", "The command was used wrongly, or the computer does not let it."),
)
# Where it is kept on systems that have manual pages.
_HOME = Path("/HOME")
_REGISTER = register.default_path({}, "linux", _HOME).relative_to(_HOME)
REGISTER = (
    f"The register of what was printed: ~/{_REGISTER}, or below $XDG_DATA_HOME where that is set."
)


@dataclass(frozen=True)
class Option:
    """
    An option as a shell needs it: *value* is the name of its value in --help, or None;
    *is_multiple* where it may be given several times.
    """

    names: tuple[str, ...]
    value: str | None
    choices: tuple[str, ...]
    is_multiple: bool
    help: str
    shown: tuple[str, str]


@dataclass(frozen=True)
class Command:
    """A command: *arguments* as its usage shows them, its *words* and its options."""

    name: str
    summary: str
    arguments: tuple[str, ...]
    words: str
    options: tuple[Option, ...]


def _outermost() -> click.Context:
    return click.Context(group.commands, info_name="ragleaf", **group.commands.context_settings)


def own_options() -> tuple[Option, ...]:
    """Return the options of ``ragleaf`` without a command."""
    with _outermost() as context:
        return _options(group.commands, context)


def commands() -> list[Command]:
    """Return the commands in the order of ``ragleaf --help``."""
    return [_command(name, summary) for name, summary in group.COMMANDS.items()]


def _command(name: str, summary: str) -> Command:
    with _outermost() as above:
        command = group.commands.get_command(above, name)
    assert command is not None
    with click.Context(command, info_name=name, parent=above) as context:
        pieces = command.collect_usage_pieces(context)
        options = _options(command, context)
    return Command(name, summary, tuple(pieces[1:]), command.help or "", options)


def _options(command: click.Command, context: click.Context) -> tuple[Option, ...]:
    return tuple(
        _option(parameter, shown)
        for parameter in command.get_params(context)
        if isinstance(parameter, click.Option) and (shown := parameter.get_help_record(context))
    )


def _option(option: click.Option, shown: tuple[str, str]) -> Option:
    names = tuple(sorted((*option.opts, *option.secondary_opts), key=len))
    choices: tuple[str, ...] = ()
    if isinstance(option.type, click.Choice):
        choices = tuple(map(str, option.type.choices))
    value = None if option.is_flag else option.metavar or ""
    return Option(names, value, choices, option.multiple, option.help or "", shown)


# Manual pages (groff_man(7)).


def pages() -> dict[str, str]:
    """Return the pages of section 1 by the names of their files."""
    there = commands()
    names = ["ragleaf", *(f"ragleaf-{command.name}" for command in there)]
    made = {"man1/ragleaf.1": _overview(there, names)}
    for command in there:
        name = f"ragleaf-{command.name}"
        made[f"man1/{name}.1"] = _page(command, name, names)
    return made


def _overview(there: list[Command], names: list[str]) -> str:
    # The last paragraph is of the exit status, which has a section here.
    summary, *more, _ = _paragraphs(group.commands.help or "")
    return "\n".join(
        [
            _title("ragleaf"),
            ".SH NAME",
            f"ragleaf \\- {_roff(summary.rstrip('.'))}",
            ".SH SYNOPSIS",
            "\\fBragleaf\\fR [\\fICOMMAND\\fR [\\fIOPTIONS\\fR] ...]",
            ".SH DESCRIPTION",
            *(row for paragraph in more for row in (".PP", _roff(paragraph))),
            ".SH COMMANDS",
            *(row for one in there for row in _item(f"ragleaf {one.name}", one.summary)),
            ".SH OPTIONS",
            *(row for option in own_options() for row in _item(*option.shown)),
            *_ending(names, "ragleaf"),
            "",
        ]
    )


def _page(command: Command, name: str, names: list[str]) -> str:
    arguments = "".join(f" \\fI{_roff(argument)}\\fR" for argument in command.arguments)
    rows = [
        _title(name),
        ".SH NAME",
        f"{_roff(name)} \\- {_roff(command.summary.rstrip('.'))}",
        ".SH SYNOPSIS",
        f"\\fBragleaf {_roff(command.name)}\\fR [\\fIOPTIONS\\fR]{arguments}",
        ".SH DESCRIPTION",
    ]
    for paragraph in _paragraphs(command.words):
        rows += [".PP", _roff(paragraph)]
    rows.append(".SH OPTIONS")
    for option in command.options:
        rows += _item(*option.shown)
    return "\n".join([*rows, *_ending(names, name), ""])


def _ending(names: list[str], name: str) -> list[str]:
    others = [f"\\fB{_roff(other)}\\fR(1)" for other in names if other != name]
    return [
        ".SH EXIT STATUS",
        *(row for status in STATUS for row in _item(*status)),
        ".SH FILES",
        _roff(REGISTER),
        ".SH SEE ALSO",
        ",\n".join(others),
    ]


def _title(name: str) -> str:
    return f'.TH {_roff(name.upper())} 1 "" "Ragleaf {__version__}" "Ragleaf"'


def _item(term: str, words: str) -> tuple[str, str, str]:
    return ".TP", f"\\fB{_roff(term)}\\fR", _roff(words)


def _paragraphs(words: str) -> list[str]:
    return [" ".join(part.split()) for part in re.split(r"\n\s*\n", words.strip())]


def _roff(words: str) -> str:
    escaped = words.replace("\\", "\\e").replace("-", "\\-").replace("~", "\\(ti")
    shown = re.sub("[^ -\x7f]", lambda found: f"\\[u{ord(found[0]):04X}]", escaped)
    # A row that begins with one of these is an order to groff.
    return f"\\&{shown}" if shown.startswith((".", "'")) else shown


# Completions. Each is a list of words, so that a key press starts no Python.


def completions() -> dict[str, str]:
    """Return the completions by the file names under which the shells look for them."""
    there = commands()
    return {
        "bash/ragleaf": _bash(there),
        "zsh/_ragleaf": _zsh(there),
        "fish/ragleaf.fish": _fish(there),
    }


_HEADING = "# Completion of ragleaf, written by docs/manual/make_manual.py."


def _takes(value: str, among: frozenset[str]) -> bool:
    return not among.isdisjoint(re.findall("[A-Z]+", value))


def _names(options: tuple[Option, ...]) -> str:
    return " ".join(name for option in options for name in option.names)


# Files are left to readline, which knows how a name is quoted. What is behind = is a word to it.
_BASH_HEAD = """\
_ragleaf() {
  local command=${COMP_WORDS[1]}
  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}
  if [ "$word" = = ]; then
    word=
  elif [ "$before" = = ]; then
    before=${COMP_WORDS[COMP_CWORD-2]}
  fi
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then"""


def _bash(there: list[Command]) -> str:
    first = " ".join(command.name for command in there) + " " + _names(own_options())
    rows = [_HEADING, _BASH_HEAD, f"    {_bash_words(first)}"]
    rows += ["    return", "  fi", '  case "$command $before" in']
    for command in there:
        for option in command.options:
            if option.value is None:
                continue
            pattern = "|".join(f"'{command.name} {name}'" for name in option.names)
            rows.append(f"    {pattern}) {_bash_values(option)}return ;;")
    rows += ["  esac", "  if [[ $word == -* ]]; then", '    case "$command" in']
    rows += [f"      {one.name}) {_bash_words(_names(one.options))} ;;" for one in there]
    with_files = "|".join(command.name for command in there if command.arguments)
    rows += ["    esac", "    return", "  fi", '  case "$command" in']
    rows += [f"    {with_files}) compopt -o default ;;", "  esac", "}"]
    return "\n".join([*rows, "complete -F _ragleaf ragleaf", ""])


def _bash_words(words: str) -> str:
    return f"COMPREPLY=($(compgen -W '{words}' -- \"$word\"))"


def _bash_values(option: Option) -> str:
    if option.choices:
        return f"{_bash_words(' '.join(option.choices))}; "
    for among, kind in ((FILES, "default"), (FOLDERS, "dirnames")):
        if _takes(option.value or "", among):
            return f"compopt -o {kind}; "
    return ""


def _zsh(there: list[Command]) -> str:
    rows = ["#compdef ragleaf", _HEADING, "_ragleaf() {", "  local -a commands", "  commands=("]
    rows += [f"    '{command.name}:{_zsh_words(command.summary)}'" for command in there]
    rows += ["  )", "  if (( CURRENT == 2 )); then", "    if [[ $words[2] == -* ]]; then"]
    rows += _zsh_arguments("      ", own_options(), ())
    rows += [
        "    else",
        "      _describe command commands",
        "    fi",
        "    return",
        "  fi",
        "  local command=$words[2]",
        "  shift words",
        "  (( CURRENT-- ))",
        '  case "$command" in',
    ]
    for command in there:
        rows.append(f"    {command.name})")
        rows += _zsh_arguments("      ", command.options, command.arguments)
        rows.append("      ;;")
    return "\n".join([*rows, "  esac", "}", '_ragleaf "$@"', ""])


def _zsh_arguments(
    margin: str, options: tuple[Option, ...], arguments: tuple[str, ...]
) -> list[str]:
    rows = [f"{margin}_arguments -s"]
    for option in options:
        words = f"[{_zsh_words(option.help)}]{_zsh_value(option)}"
        # Named among those that it excludes, an option is offered once.
        before = "*" if option.is_multiple else f"({' '.join(option.names)})"
        for name in option.names:
            sign = ""
            if option.value is not None:
                sign = "=" if name.startswith("--") else "+"
            rows.append(f"{margin}  '{before}{name}{sign}{words}'")
    for argument in arguments:
        before = "*" if argument.endswith("...") else ""
        rows.append(f"{margin}  '{before}:{argument.rstrip('.').lower()}:_files'")
    return [*(f"{row} \\" for row in rows[:-1]), rows[-1]]


def _zsh_words(words: str) -> str:
    return re.sub(r"([\[\]:\\])", r"\\\1", words).replace("'", "'\\''")


def _zsh_value(option: Option) -> str:
    if option.value is None:
        return ""
    if option.choices:
        return f":value:({' '.join(option.choices)})"
    for among, action in ((FILES, "_files"), (FOLDERS, "_files -/")):
        if _takes(option.value, among):
            return f":{option.value.lower()}:{action}"
    return ":value: "


# A word counts as the command in its place only: a file may have the name of one.
_FISH_HEAD = """\
function __ragleaf_command
    set -l words (commandline -opc)
    test "$words[2]" = "$argv[1]"
end
complete -c ragleaf -f"""


def _fish(there: list[Command]) -> str:
    rows = [_HEADING, _FISH_HEAD]
    rows += [
        f"{_fish_of('')} -a {command.name} -d {_fish_words(command.summary)}" for command in there
    ]
    rows += [_fish_option("", option) for option in own_options()]
    for command in there:
        if command.arguments:
            rows.append(f"{_fish_of(command.name)} -F")
        rows += [_fish_option(command.name, option) for option in command.options]
    return "\n".join([*rows, ""])


def _fish_of(command: str) -> str:
    return f"complete -c ragleaf -n '__ragleaf_command \"{command}\"'"


def _fish_option(command: str, option: Option) -> str:
    names = " ".join(
        f"-l {name[2:]}" if name.startswith("--") else f"-s {name[1:]}" for name in option.names
    )
    return f"{_fish_of(command)} {names}{_fish_value(option)} -d {_fish_words(option.help)}"


def _fish_words(words: str) -> str:
    return "'" + words.replace("\\", "\\\\").replace("'", "\\'") + "'"


def _fish_value(option: Option) -> str:
    if option.value is None:
        return ""
    if option.choices:
        return f" -x -a '{' '.join(option.choices)}'"
    if _takes(option.value, FILES):
        return " -r -F"
    if _takes(option.value, FOLDERS):
        return " -x -a '(__fish_complete_directories)'"
    return " -x"


def main(folder: Path = FOLDER) -> None:
    """Write every file into *folder*."""
    for name, text in (pages() | completions()).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
