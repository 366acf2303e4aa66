"""
The test vectors of the format, read by both implementations: each finds in each vector what stands
at its head.
"""

import getpass
import hashlib
import runpy
import sys
from dataclasses import dataclass
from pathlib import Path

import make_galois_answers
import make_vectors
import pytest

from paperkey_alt import keys
from paperkey_alt.errors import (
    DigestMismatch,
    NoHeadLine,
    NotEnoughLines,
    NotEnoughShares,
    PaperError,
    SeveralSets,
    SharesConflict,
    SharesDisagree,
    UnknownFormat,
    WrongPassphrase,
)
from paperkey_alt.format import backup, body, payload
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.text import typed

FOLDER = make_vectors.FOLDER
NAMES = sorted(path.stem for path in FOLDER.glob("*.txt"))
RESCUE = Path(__file__).parents[2] / "paperkey_alt/rescue/rescue.py"

# Of the list of digests itself. Version 1 is frozen: who must change this makes another version.
SUMS = "c282a48c823ac240a1e630c11bf9171aea221957e5d58d5de29fd9e617b43fc8"

ERRORS = {
    "ask": SeveralSets,
    "conflict": SharesConflict,
    "beyond repair": (NotEnoughLines, NotEnoughShares, SharesDisagree),
    "wrong set": NotEnoughLines,
    "digest": DigestMismatch,
    "no head line": NoHeadLine,
    "no such set": PaperError,
    "other version": UnknownFormat,
    "unknown": UnknownFormat,
    "passphrase": WrongPassphrase,
}


@dataclass(frozen=True)
class Read:
    """A vector: what is to be found, and the rows."""

    expect: str
    numbers: tuple[int, ...]
    sha256: str | None
    passphrase: str | None
    marks: tuple[str, ...]
    apart: tuple[str, ...]
    text: str


def read(name):
    """The vector of this name, with those that are given together with it."""
    text = (FOLDER / f"{name}.txt").read_text("utf-8")
    said = {}
    for row in text.splitlines():
        key, colon, value = row.removeprefix("# ").partition(": ")
        if row.startswith("# ") and colon:
            said.setdefault(key, []).append(value)
    for other in said.get("with", ()):
        text += make_vectors.path(other).read_text("utf-8")
    (expect,) = said["expect"]
    word, _, numbers = expect.rpartition(" ")
    if not numbers[:1].isdecimal():
        word, numbers = expect, ""
    return Read(
        word,
        tuple(map(int, filter(None, numbers.split(",")))),
        *(said.get(key, [None])[0] for key in ("sha256", "passphrase")),
        *(tuple(said.get(key, ())) for key in ("mark", "apart")),
        text,
    )


def test_version_1_is_frozen():
    """No file of it was changed, none is missing and none was added."""
    sums = (FOLDER / make_vectors.SUMS).read_bytes()
    assert hashlib.sha256(sums).hexdigest() == SUMS
    listed = dict(reversed(row.split("  ")) for row in sums.decode().splitlines())
    there = {path.name for path in FOLDER.iterdir()} - {make_vectors.SUMS}
    assert there == set(listed)
    for name, digest in listed.items():
        assert hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() == digest, name


def test_the_script_writes_nothing_over():
    """Into a folder that is there it writes nothing, least of all into that of version 1."""
    with pytest.raises(FileExistsError):
        make_vectors.main(FOLDER)


def test_the_vectors_are_those_that_the_script_writes(tmp_path):
    """Nothing is edited by hand, and this program prints still what it printed when they froze."""
    make_vectors.main(tmp_path / "again")
    for path in FOLDER.iterdir():
        assert path.read_bytes() == (tmp_path / "again" / path.name).read_bytes(), path.name


@pytest.mark.long
def test_the_answers_of_galois_are_those_that_it_gives():
    """Nothing is edited by hand."""
    assert make_galois_answers.answers() == make_galois_answers.recorded()


def asker(passphrase):
    """Tells the passphrase once."""
    tries = iter([passphrase])

    def ask(_what):
        for there in tries:
            return there
        raise WrongPassphrase("no other is known")

    return ask


def carried(vector, findings):
    """What comes back by *findings*, and the set marks of shares that do not fit."""
    joined = backup.join(findings, vector.marks)
    found = body.unwrap(joined.body, asker(vector.passphrase)).payload
    match found:
        case payload.Lean():
            (packets,) = backup.certificates(findings)
            certificate = keys.certificate(packets, None)
            rebuilt = keys.rebuild(found, certificate=certificate, passphrase=None, ask=None)
            return rebuilt.binary, joined.apart
        case payload.Compact() | payload.RsaFile():
            return payload.encode(found), joined.apart
        case payload.File(data=data):
            return data, joined.apart
        case payload.Revocation(packet=packet):
            return packet, joined.apart
    return found.packets, joined.apart


@pytest.mark.parametrize("name", NAMES)
def test_this_program(name):
    """Status of every line, the content, and the kind of failure."""
    vector = read(name)
    raw_lines = typed.read(vector.text, name)
    if vector.sha256 is None:
        with pytest.raises(ERRORS[vector.expect]):
            carried(vector, recover(raw_lines))
        return
    findings = recover(raw_lines)
    content, apart = carried(vector, findings)
    assert hashlib.sha256(content).hexdigest() == vector.sha256
    assert apart == vector.apart
    if vector.expect in ("mended", "wrong", "missing"):
        told = {
            line.number
            for finding in findings.sets
            for line in finding.lines
            if line.status.value == vector.expect and line.number <= finding.head.data_lines
        }
        assert told == set(vector.numbers)


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_the_restorer(name, tmp_path, monkeypatch, capsys):
    """The same content or none, and the lines that are not fine named."""
    vector = read(name)
    (tmp_path / "typed.txt").write_text(vector.text, encoding="utf-8")
    marks = [word for mark in vector.marks for word in ("--mark", mark)]
    monkeypatch.setattr(getpass, "getpass", lambda _: vector.passphrase or "")
    given = [RESCUE, tmp_path / "typed.txt", "-o", tmp_path / "out", *marks]
    monkeypatch.setattr(sys, "argv", list(map(str, given)))
    status = None
    try:
        runpy.run_path(str(RESCUE), run_name="__main__")
    except SystemExit as end:
        status = end.code
    said = capsys.readouterr().err
    if vector.sha256 is None:
        assert isinstance(status, str)
        assert status.startswith("Not restored: ")
        assert not (tmp_path / "out").exists()
        return
    assert status is None, status
    # It writes the fields of compact sheets and of RSA files as text, each in its own words.
    if not name.startswith(("kind-3", "kind-5")):
        assert hashlib.sha256((tmp_path / "out").read_bytes()).hexdigest() == vector.sha256
    words = {"mended": "line {}: mended", "wrong": "line {}: WRONG", "missing": "{}"}
    for number in vector.numbers:
        assert words[vector.expect].format(number) in said
