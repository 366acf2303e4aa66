"""
A desk to work at: runs the command as a user does, in a process of its own, in a folder of its own.
"""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
KEY, CERTIFICATE = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
CORPUS = ROOT / "tests/keys/corpus"
PASSPHRASE = "low water at dawn"


@dataclass(frozen=True)
class Done:
    """How a command ended and what it said."""

    status: int
    out: str
    err: str


class Desk:
    """A folder to work in."""

    def __init__(self, folder):
        self.folder = folder
        self.write("pw", f"{PASSPHRASE}\n")

    def run(self, *arguments, stdin="", command=(sys.executable, "-m", "paperkey_alt"), **others):
        """
        Run ragleaf with these arguments in the folder; no traceback is ever shown, whatever
        happens.
        """
        # The register of whoever runs the tests is left alone.
        others = {"env": os.environ | {"XDG_DATA_HOME": f"{self.folder}-data"}} | others
        run = [*command, *map(str, arguments)]
        done = subprocess.run(
            run, cwd=self.folder, input=stdin, capture_output=True, text=True, check=False, **others
        )
        assert "Traceback" not in done.stderr, done.stderr
        return Done(done.returncode, done.stdout, done.stderr)

    def ok(self, *arguments, **others):
        """Run ragleaf and expect it to be done."""
        done = self.run(*arguments, **others)
        assert done.status == 0, done.err
        return done

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
