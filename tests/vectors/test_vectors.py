"""
The test vectors of the format, read by both implementations: each finds in each vector what stands
at its head.
"""

import hashlib
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import make_galois_answers
import make_vectors
import pytest

from paperkey_alt.errors import NoHeadLine, PaperError, UnknownFormat
from paperkey_alt.format import backup, body
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.text import typed

FOLDER = make_vectors.FOLDER
NAMES = sorted(path.stem for path in FOLDER.iterdir())
RESCUE = Path(__file__).parents[2] / "paperkey_alt/rescue/rescue.py"


@dataclass(frozen=True)
class Read:
    """A vector: what is to be found, and the rows."""

    expect: str
    numbers: tuple[int, ...]
    sha256: str | None
    passphrase: str | None
    text: str


def read(name):
    """The vector of this name, with those that are given together with it."""
    text = (FOLDER / f"{name}.txt").read_text("utf-8")
    said = {}
    for row in text.splitlines():
        key, colon, value = row.removeprefix("# ").partition(": ")
        if row.startswith("# ") and colon:
            said.setdefault(key, value)
    if "with" in said:
        text += make_vectors.path(said["with"]).read_text("utf-8")
    word, _, numbers = said["expect"].rpartition(" ")
    if not numbers[:1].isdecimal():
        word, numbers = said["expect"], ""
    return Read(
        word,
        tuple(map(int, filter(None, numbers.split(",")))),
        said.get("sha256"),
        said.get("passphrase"),
        text,
    )


def test_the_vectors_are_those_that_the_script_writes():
    """Nothing is edited by hand."""
    found, contents = make_vectors.vectors()
    assert {make_vectors.path(name) for name in found} == set(FOLDER.iterdir())
    for name, vector in found.items():
        written = make_vectors.path(name).read_text("utf-8")
        assert written == make_vectors.text_of(vector, contents[name]), name


@pytest.mark.long
def test_the_answers_of_galois_are_those_that_it_gives():
    """Nothing is edited by hand."""
    assert make_galois_answers.answers() == make_galois_answers.recorded()


@pytest.mark.parametrize("name", NAMES)
def test_this_program(name):
    """Status of every line, the content, and the kind of failure."""
    vector = read(name)
    errors = {"no head line": NoHeadLine, "other version": UnknownFormat}
    if vector.expect in errors:
        with pytest.raises(errors[vector.expect]):
            recover(typed.read(vector.text, name))
        return
    findings = recover(typed.read(vector.text, name))
    if vector.sha256 is None:
        with pytest.raises(PaperError):
            backup.join(findings, None)
        assert all(one.body is None for one in findings.sets) or "share" in name
        return
    joined = backup.join(findings, None)
    content = body.unwrap(joined.body, lambda _: vector.passphrase).payload.data
    assert hashlib.sha256(content).hexdigest() == vector.sha256
    (one,) = findings.sets if "share" not in name else findings.sets[:1]
    told = {line.number for line in one.lines if line.status.value == vector.expect}
    if vector.expect in ("mended", "wrong", "missing"):
        assert {number for number in told if number <= one.head.data_lines} == set(vector.numbers)


# Runs the restorer with the passphrase from standard input, for it asks at the terminal.
FEED = """
import getpass, runpy, sys
getpass.getpass = lambda _: sys.stdin.read()
runpy.run_path(sys.argv.pop(1), run_name="__main__")
"""


@pytest.mark.parametrize("name", NAMES)
def test_the_restorer(name, tmp_path):
    """The same content or none, and the lines that are not fine named."""
    vector = read(name)
    (tmp_path / "typed.txt").write_text(vector.text, encoding="utf-8")
    command = [sys.executable, "-c", FEED, RESCUE, tmp_path / "typed.txt", "-o", tmp_path / "out"]
    done = subprocess.run(
        command, input=vector.passphrase or "", capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    if vector.sha256 is None:
        assert done.returncode == 1
        assert not (tmp_path / "out").exists()
        return
    assert done.returncode == 0, done.stderr
    assert hashlib.sha256((tmp_path / "out").read_bytes()).hexdigest() == vector.sha256
    words = {"mended": "line {}: mended", "wrong": "line {}: WRONG", "missing": "{}"}
    for number in vector.numbers:
        assert words[vector.expect].format(number) in done.stderr
