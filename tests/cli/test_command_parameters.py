"""
Each command has a parameter for each of its options and arguments, by the same name and annotated:
in its body the type checker tells what is misspelt, and here the one thing it cannot.
"""

import inspect
from pathlib import Path

import click
import pytest

from paperkey_alt.cli import group
from paperkey_alt.cli.group import COMMANDS, commands

CLI = Path(group.__file__).parent


def parameters(name):
    """The options and arguments of a command, and the parameters of its function, by name."""
    command = commands.get_command(click.Context(commands), name)
    options = {option.name: option for option in command.params}
    return options, inspect.signature(command.callback).parameters


@pytest.mark.parametrize("name", COMMANDS)
def test_a_parameter_for_each_option(name):
    """No option is left out, none is made up, and no parameter takes whatever comes."""
    options, given = parameters(name)
    assert set(options) == set(given)
    plain = (inspect.Parameter.POSITIONAL_OR_KEYWORD, inspect.Parameter.KEYWORD_ONLY)
    assert all(parameter.kind in plain for parameter in given.values())


@pytest.mark.parametrize("name", COMMANDS)
def test_annotations_say_what_the_command_line_gives(name):
    """A flag is a bool, what may be repeated is a tuple, and what may be left out may be None."""
    options, given = parameters(name)
    for option_name, option in options.items():
        annotation = given[option_name].annotation
        if getattr(option, "is_flag", False):
            assert annotation == "bool"
        elif option.multiple if isinstance(option, click.Option) else option.nargs == -1:
            assert annotation.startswith("tuple[")
            assert annotation.endswith(", ...]")
        else:
            may_be_left_out = not option.required and option.to_info_dict()["default"] is None
            assert annotation.endswith(" | None") is may_be_left_out, option_name


def test_the_list_has_every_command():
    """Each module of a command is in the list, and a name that is not in the list is no command."""
    modules = {path.stem.removesuffix("_command") for path in CLI.glob("*_command.py")}
    assert modules == {name.replace("-", "_") for name in COMMANDS}
    assert commands.get_command(click.Context(commands), "frobnicate") is None
