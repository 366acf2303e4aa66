"""
A desk to work at: runs the command as a user does, in a process of its own, in a folder of its own.
"""

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
KEY, CERTIFICATE = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
CORPUS = ROOT / "tests/keys/corpus"
# A key whose print takes one sheet, for what does not depend on the key.
SMALL, SMALL_CERTIFICATE = CORPUS / "curve25519.asc", CORPUS / "curve25519.cert.asc"
PASSPHRASE = "low water at dawn"


@dataclass(frozen=True)
class Done:
    """How a command ended and what it said."""

    status: int
    out: str
    err: str


class Desk:
    """A folder to work in; *forks* is what runs the command, None where each is to start anew."""

    def __init__(self, folder, forks):
        self.folder, self.forks = folder, forks
        self.write("pw", f"{PASSPHRASE}\n")

    def run(self, *arguments, stdin="", command=None, **others):
        """
        Run ragleaf with these arguments in the folder; no traceback is ever shown, whatever
        happens. With another *command* or *others*, it is started and not forked.
        """
        run = [str(argument) for argument in arguments]
        # The register of whoever runs the tests is left alone.
        environment = {"XDG_DATA_HOME": f"{self.folder}-data"}
        if self.forks and command is None and not others:
            done = Done(*self.forks.run(run, self.folder, environment, stdin))
        else:
            ended = subprocess.run(
                [*(command or (sys.executable, "-m", "paperkey_alt")), *run],
                cwd=self.folder,
                input=stdin,
                capture_output=True,
                text=True,
                check=False,
                **{"env": os.environ | environment} | others,
            )
            done = Done(ended.returncode, ended.stdout, ended.stderr)
        assert "Traceback" not in done.err, done.err
        return done

    def ok(self, *arguments, **others):
        """Run ragleaf and expect it to be done."""
        done = self.run(*arguments, **others)
        assert done.status == 0, done.err
        return done

    def take(self, other):
        """Lay a copy of all that lies on another desk on this one, its register too."""
        shutil.copytree(other.folder, self.folder, dirs_exist_ok=True)
        if Path(f"{other.folder}-data").exists():
            shutil.copytree(f"{other.folder}-data", f"{self.folder}-data")

    def write(self, name, content):
        """Write a file."""
        data = content if isinstance(content, bytes) else content.encode()
        (self.folder / name).write_bytes(data)
        return name

    def read(self, name):
        """The bytes of a file."""
        return (self.folder / name).read_bytes()

    def files(self):
        """The names of all files, hidden ones included."""
        return sorted(path.name for path in self.folder.iterdir())
