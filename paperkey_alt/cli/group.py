"""
The command ``ragleaf``: the list of its commands, and the way a foreseen mistake is worded.

Each command is a module in `paperkey_alt.cli`, imported when it is called: ``ragleaf --help`` loads
none of the libraries that draw, compute or see.
"""

from __future__ import annotations

import io
import os
import sys
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import __version__
from paperkey_alt.cli import process
from paperkey_alt.cli.terminal import say, settle
from paperkey_alt.errors import RagleafError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

# name → what the list of commands says of it; revoke-sheet is in the module revoke_sheet_command
COMMANDS = {
    "backup": "Print a secret key on sheets.",
    "check": "Tell what can be read from the paper, line by line.",
    "drill": "Rehearse a loss: compare what the sheets give with the live key.",
    "preflight": "Check whether this computer is fit for handling a secret key.",
    "register": "List what was printed and what is due.",
    "rescue": "Write the stand-alone restorers, for Python and for a browser.",
    "revoke-sheet": "Print a revocation certificate on a sheet of its own.",
    "restore": "Rebuild the key from its sheets.",
    "type": "Type lines from the paper; each is checked at its end.",
}


class _Commands(click.Group):
    """
    Finds commands by the list, and words every foreseen mistake: what is wrong, and below it what
    to do.
    """

    # The context that nothing here needs is click's interface.

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"paperkey_alt.cli.{cmd_name.replace('-', '_')}_command")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except RagleafError as error:
            say([f"ragleaf: {error}.", f"  {error.advice}"])
            ctx.exit(error.exit_status)


def main() -> None:
    """Run the command line and end with its status; whatever happens is told in a sentence."""
    process.lock_down()
    process.mend_streams()
    is_terminal = all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr))
    if is_terminal and not sys.argv[1:]:
        status = _run(_guide)
    else:
        status = _run(partial(_execute, sys.argv[1:]))
    settle()
    sys.exit(status)


def _execute(arguments: Sequence[str]) -> int:
    """Run a command and return its exit status."""
    return commands.main([*arguments], prog_name="ragleaf", standalone_mode=False) or 0


def _guide() -> int:
    # Only where somebody wants to be asked.
    from paperkey_alt.cli import guide  # noqa: PLC0415

    return guide.run(lambda arguments: _run(partial(_execute, arguments)))


def _run(work: Callable[[], int]) -> int:
    """Return the exit status of *work*; whatever keeps it from its end is told in a sentence."""
    try:
        return work()
    except click.ClickException as error:
        said = io.StringIO()
        error.show(said)
        # Rows before the message are click's; in the message, an argument may hold more of them.
        usage, sign, message = said.getvalue().rstrip("\n").partition("Error: ")
        rows = [*usage.split("\n")[:-1], _shortened(f"{sign}{message}")]
        say([*rows, *_files_like_options(sys.argv[1:])])
        return error.exit_code
    except click.Abort:
        say(["", "ragleaf: the input ended before an answer."])
        return 1
    except MemoryError:
        say(["ragleaf: this computer does not have enough memory for it.", f"  {_ROOM}"])
        return 2
    except (OSError, ImportError) as error:
        # What is foreseen is told by what it happened to; this is what the system refuses besides.
        reason = getattr(error, "strerror", None) or str(error)
        say([f"ragleaf: the system refuses: {reason}.", f"  {_ROOM}"])
        return 2


_ROOM = "Check the memory, the disk and the limits of this terminal (ulimit -a), and try again."


def _shortened(row: str) -> str:
    """Return *row* without the middle of an argument that is longer than anybody reads."""
    if len(row) <= _LONGEST_ROW:
        return row
    return f"{row[: _LONGEST_ROW // 2]} … {row[-_LONGEST_ROW // 2 :]}"


_LONGEST_ROW = 400  # characters


def _files_like_options(arguments: Sequence[str]) -> Iterator[str]:
    """Yield how to name files that click took for options."""
    for argument in arguments:
        if argument.startswith("-") and argument.strip("-") and os.path.lexists(argument):
            yield f"  If the name of a file begins with -, write its folder before it: ./{argument}"


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="ragleaf")
def commands() -> None:
    """
    Put a cryptographic key on paper, and get its secrets back byte for byte.

    Without a command, in a terminal, Ragleaf asks what you want and runs the command for it.

    Exit status: 0 done; 1 the paper, the key or another input is at fault; 2 wrong use.
    """
