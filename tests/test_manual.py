"""
The manual pages and completions: they say what --help says, groff and the shells take them, and the
wheel puts them where systems look.
"""

import os
import pty
import re
import select
import shlex
import shutil
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from paperkey_alt.cli import group

ROOT = Path(__file__).parents[1]
MANUAL = ROOT / "docs/manual"
PAGES = sorted(MANUAL.glob("man1/*.1"))
needs_groff = pytest.mark.skipif(shutil.which("groff") is None, reason="needs groff")


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


# In each shell ragleaf is what writes its words to the file $OFFERED, and ESC * puts all that is
# offered for a word in the place of the word.
SHELLS = {
    "bash": (
        ["bash", "--norc", "--noprofile", "-i"],
        f"""source '{MANUAL}/bash/ragleaf'
        ragleaf() {{ printf '%s\\n' "$@" > "$OFFERED"; }}
        bind '"\\e*": insert-completions'""",
    ),
    "zsh": (
        ["zsh", "-f", "-i"],
        f"""fpath=('{MANUAL}/zsh' $fpath); autoload -U compinit; compinit -u -D
        ragleaf() {{ printf '%s\\n' "$@" > "$OFFERED"; }}
        zle -C all complete-word _generic; bindkey '^[*' all
        zstyle ':completion:all::::' completer _all_matches _complete
        zstyle ':completion:all:*' insert true""",
    ),
}


class Shell:
    """An interactive shell in a terminal, in *folder*; `offered` asks it to complete a row."""

    def __init__(self, name, folder):
        self.ours, theirs = pty.openpty()
        self.path = folder / "offered"
        environment = os.environ | {
            "HOME": str(folder),
            "OFFERED": str(self.path),
            "PS1": "ready> ",
            "TERM": "dumb",
        }
        arguments, setting = SHELLS[name]
        self.process = subprocess.Popen(
            arguments, cwd=folder, stdin=theirs, stdout=theirs, stderr=theirs, env=environment,
            start_new_session=True,
        )  # fmt: skip
        os.close(theirs)
        self.wait()
        script = folder / "setting"
        script.write_text(setting)
        self.send("source ./setting\r")

    def send(self, keys):
        """Send *keys* and wait for the next prompt."""
        os.write(self.ours, keys.encode())
        return self.wait()

    def wait(self):
        """Read to the prompt after which nothing more comes."""
        written, end = "", time.monotonic() + 20
        while not written.endswith("ready> ") and time.monotonic() < end:
            if select.select([self.ours], [], [], 0.1)[0]:
                written += os.read(self.ours, 1 << 16).decode(errors="replace")
                written = re.sub("\x1b\\[[0-9;?]*[A-Za-z]", "", written)
        assert written.endswith("ready> "), written
        return written

    def offered(self, row):
        """What is offered for the last word of *row*, as words of the command."""
        before = shlex.split(row)[1:]
        typed = "" if row.endswith(" ") else before.pop()
        self.path.unlink(missing_ok=True)
        self.send(f"{row}\x1b*\r")
        words = self.path.read_text().split("\n")[:-1]
        assert words[: len(before)] == before
        return [word for word in words[len(before) :] if word != typed]

    def close(self):
        """End the shell."""
        self.process.kill()
        self.process.wait()
        os.close(self.ours)


@pytest.fixture(scope="module")
def shell(request, tmp_path_factory):
    """A shell in a folder with files whose names need quotes."""
    if shutil.which(request.param) is None:
        pytest.skip(f"needs {request.param}")
    folder = tmp_path_factory.mktemp(request.param)
    for name in ("my key.asc", "the keepers' scan.pdf", "pyproject.toml", "DEVELOPERS.md"):
        (folder / name).touch()
    (folder / "the folder").mkdir()
    opened = Shell(request.param, folder)
    yield opened
    opened.close()


OFFERED = {
    "ragleaf re": ["register", "rescue", "revoke-sheet", "restore"],
    "ragleaf --": ["--help", "--version"],
    "ragleaf backup --allow": ["--allow-unprotected"],
    "ragleaf check type --pr": ["--prove"],
    "ragleaf backup --paper ": ["a4", "letter"],
    "ragleaf backup --paper=l": ["--paper=letter"],
    "ragleaf backup --any ": [],
    "ragleaf nothing --any": [],
    "ragleaf --help ": [],
    "ragleaf register py": [],
    "ragleaf restore --public pypro": ["pyproject.toml"],
    "ragleaf restore --public=pypro": ["--public=pyproject.toml"],
    "ragleaf check DEVEL": ["DEVELOPERS.md"],
    "ragleaf backup my": ["my key.asc"],
    "ragleaf backup my\\ k": ["my key.asc"],
    "ragleaf backup --any 2 --of 3 the": ["the folder/", "the keepers' scan.pdf"],
    "ragleaf backup --envelope ": ["the folder/"],
}


@pytest.mark.parametrize("shell", SHELLS, indirect=True)
@pytest.mark.parametrize(("row", "offered"), OFFERED.items())
def test_a_shell_completes(shell, row, offered):
    """
    Commands, options, the words an option takes, and files whatever their names; nothing where
    there is nothing.
    """
    assert sorted(word.removesuffix("/") for word in shell.offered(row)) == sorted(
        word.removesuffix("/") for word in offered
    )


@pytest.mark.skipif(shutil.which("fish") is None, reason="needs fish")
def test_fish_completes(tmp_path):
    """The same in fish, which tells what it offers without a terminal."""
    for name in ("my key.asc", "the keepers' scan.pdf", "pyproject.toml", "DEVELOPERS.md"):
        (tmp_path / name).touch()
    (tmp_path / "the folder").mkdir()
    code = 'source $argv[1]; for row in $argv[2..]; echo "= $row"; complete -C $row; end'
    done = subprocess.run(
        ["fish", "--no-config", "-c", code, MANUAL / "fish/ragleaf.fish", *OFFERED],
        cwd=tmp_path,
        env=os.environ | {"HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    told = dict.fromkeys(OFFERED, ())
    for part in done.stdout.removeprefix("= ").split("\n= "):
        row, *rows = part.rstrip("\n").split("\n")
        told[row] = sorted(offer.partition("\t")[0] for offer in rows)
    assert told == {row: sorted(offered) for row, offered in OFFERED.items()}


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
