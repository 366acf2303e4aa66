"""
The command ``ragleaf``: the list of its commands, and the way a foreseen mistake is worded.

Each command is a module in `paperkey_alt.cli`, imported when it is called: ``ragleaf --help`` loads
none of the libraries that draw, compute or see.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

import click

from paperkey_alt import __version__
from paperkey_alt.cli.options import say
from paperkey_alt.errors import RagleafError

# name → module and what the list of commands says of it
COMMANDS = {
    "backup": ("backup", "Print a secret key on sheets."),
    "check": ("check", "Tell what stands on the paper, line by line."),
    "drill": ("drill", "Rehearse a loss: compare what the sheets give with the live key."),
    "preflight": ("preflight", "Look whether this computer is fit for handling a secret key."),
    "register": ("register", "List what was printed and what is due."),
    "rescue": ("rescue", "Write the restorer that needs nothing but Python."),
    "revoke-sheet": ("revoke_sheet", "Print a revocation certificate on a sheet of its own."),
    "restore": ("restore", "Rebuild the key from its sheets."),
    "type": ("type", "Type lines from the paper; each is checked as it ends."),
}


class _Commands(click.Group):
    """
    Finds commands by the list, and words every foreseen mistake: what is wrong, and below it what
    to do.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's interface
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's interface
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(
            f"paperkey_alt.cli.{COMMANDS[cmd_name][0]}_command"
        ).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's interface
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except RagleafError as error:
            say([f"ragleaf: {error}.", f"  {error.advice}"])
            ctx.exit(error.exit_status)


def main() -> None:
    """Run the command line."""
    commands(prog_name="ragleaf")


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="ragleaf")
def commands() -> None:
    """
    Put a cryptographic key on paper, and get it back byte for byte.

    Exit status: 0 done; 1 the paper or the key is at fault; 2 wrong use.
    """
