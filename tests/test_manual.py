"""
The manual pages and completions: they say what --help says, groff and the shells take them, and the
wheel puts them where systems look.
"""

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from paperkey_alt.cli import group

ROOT = Path(__file__).parents[1]
MANUAL = ROOT / "docs/manual"
PAGES = sorted(MANUAL.glob("man1/*.1"))
needs_groff = pytest.mark.skipif(shutil.which("groff") is None, reason="needs groff")
needs_bash = pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")


def test_they_are_what_the_commands_say(tmp_path):
    """Nothing is edited by hand, and no option is missing since it came."""
    script = MANUAL / "make_manual.py"
    subprocess.run([sys.executable, script, tmp_path], check=True)
    made = {path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file()}
    there = {path.relative_to(MANUAL) for path in MANUAL.glob("*/*") if path.parent.name[0] != "_"}
    assert made == there
    for path in made:
        assert (MANUAL / path).read_bytes() == (tmp_path / path).read_bytes(), path


@needs_groff
@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.stem)
def test_groff_sets_a_page_without_a_warning(page):
    """And each option of the command is on it."""
    done = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww", "-P-c", str(page)], capture_output=True, check=True
    )
    assert done.stderr == b""
    # Bold is printed twice with a step back between, and a word may be broken at the end of a row.
    shown = re.sub("\u2010\n *", "", re.sub(".\b", "", done.stdout.decode()))
    words = " ".join(shown.replace("\u2212", "-").split())
    assert page.stem.upper() in words
    command = page.stem.removeprefix("ragleaf").removeprefix("-")
    if command:
        told = CliRunner().invoke(group.commands, [command, "--help"]).output
        options = {word.strip(",") for word in told.split() if word.startswith("--")}
        assert len(options) > 1
        assert [option for option in options if option.strip(".;)") not in words] == []


def completed(*words):
    """What bash offers for the last of these words."""
    script = (
        'source "$1"; shift; compopt() { :; }; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); '
        '_ragleaf; printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        ["bash", "--norc", "-c", script, "bash", MANUAL / "bash/ragleaf", *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    return done.stdout.split()


@needs_bash
@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("ragleaf", "re"), ["register", "rescue", "revoke-sheet", "restore"]),
        (("ragleaf", "backup", "--paper", ""), ["a4", "letter"]),
        (("ragleaf", "backup", "--allow"), ["--allow-unprotected"]),
        (("ragleaf", "restore", "--public", "pypro"), ["pyproject.toml"]),
        (("ragleaf", "check", "DEVEL"), ["DEVELOPERS.md"]),
        (("ragleaf", "backup", "--any", ""), []),
        (("ragleaf", "nothing", "--any"), []),
    ],
)
def test_bash_completes(words, offered):
    """Commands, options, the words an option takes, and files; nothing where there is nothing."""
    assert sorted(completed(*words)) == sorted(offered)


@pytest.mark.parametrize(
    ("shell", "path"),
    [("bash", "bash/ragleaf"), ("zsh", "zsh/_ragleaf"), ("fish", "fish/ragleaf.fish")],
)
def test_a_shell_can_parse_it(shell, path):
    """No quote is left open, whatever the help says."""
    if shutil.which(shell) is None:
        pytest.skip(f"needs {shell}")
    done = subprocess.run([shell, "-n", MANUAL / path], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_wheel_brings_them():
    """Each folder goes where man and the shells look below the prefix."""
    given = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert given["tool"]["hatch"]["build"]["targets"]["wheel"]["shared-data"] == {
        "docs/manual/man1": "share/man/man1",
        "docs/manual/bash": "share/bash-completion/completions",
        "docs/manual/zsh": "share/zsh/site-functions",
        "docs/manual/fish": "share/fish/vendor_completions.d",
    }
