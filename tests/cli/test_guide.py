"""The guide that asks: it builds commands, shows them and runs them, and does nothing else."""

import os
import signal
import stat
from contextlib import suppress
from subprocess import TimeoutExpired

import pytest
from desks import CORPUS, SMALL, SMALL_CERTIFICATE
from terminals import terminal

from paperkey_alt.cli import guide
from paperkey_alt.keys.openpgp import key_file

OTHER = CORPUS / "nist-p256.asc"


class Asked:
    """Somebody with answers in a row; what was asked, and the commands that were run."""

    def __init__(self, *answers, status=0):
        self.answers, self.status, self.asked, self.ran = list(answers), status, [], []

    def __call__(self, question, default):
        """The next answer; the empty one takes what is offered."""
        self.asked.append(question)
        return self.answers.pop(0) or default or ""

    def execute(self, arguments):
        """Note a command."""
        self.ran.append(" ".join(arguments))
        return self.status

    def follow(self):
        """Run the guide to its end; nothing is left unanswered."""
        status = guide.run(self.execute, self)
        assert self.answers == []
        return status


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with files of the names that are answered."""
    monkeypatch.chdir(tmp_path)
    for name in ("key.asc", "cert.asc", "scan.pdf", "-dash.txt", "a b.txt"):
        (tmp_path / name).write_text("x")
    return tmp_path


# What is answered → the commands that are run.
TALKS = {
    "a key onto paper": (
        ("1", "key.asc", "", "", "", "", "", "y"),
        ["backup key.asc -o sheets.pdf"],
    ),
    "from the paper alone": (
        ("1", "key.asc", "2", "no", "n", "1", "out.pdf", "y"),
        ["backup key.asc --whole -o out.pdf"],
    ),
    "to be typed": (
        ("1", "key.asc", "3", "", "", "1", "", ""),
        ["backup key.asc --compact -o sheets.pdf"],
    ),
    "split": (
        ("1", "key.asc", "", "3 of 5", "", "", "", "y"),
        ["backup key.asc --any 3 --of 5 -o shares"],
    ),
    "split, said otherwise at first": (
        ("1", "key.asc", "", "5 of 3", "17 18", "2 3", "", "1", "desk", "y"),
        ["backup key.asc --any 2 --of 3 -o desk"],
    ),
    "all that belongs together": (
        ("1", "key.asc", "", "", "", "3", "", "y"),
        ["backup key.asc --envelope envelope"],
    ),
    "for holders": (
        ("1", "key.asc", "", "2 of 3", "n", "2", "folders", "y"),
        ["backup key.asc --any 2 --of 3 --envelope folders"],
    ),
    "in large print": (
        ("1", "key.asc", "", "", "y", "1", "", "y"),
        ["backup key.asc --large -o sheets.pdf"],
    ),
    "not over a file that is there": (
        ("1", "key.asc", "", "", "", "1", "scan.pdf", "nowhere/s.pdf", "s.pdf", "y"),
        ["backup key.asc -o s.pdf"],
    ),
    "is it good": (("2", "1", "scan.pdf", "y"), ["check scan.pdf"]),
    "names with blanks and dashes": (
        ("2", "1", "-dash.txt 'a b.txt'", "y"),
        ["check ./-dash.txt a b.txt"],
    ),
    "typed and looked at": (("2", "4", "", "y", "y"), ["type lines.txt", "check lines.txt"]),
    "with a handheld scanner": (("2", "3", "l.txt", "y", "y"), ["type l.txt", "check l.txt"]),
    "back, with a certificate": (
        ("3", "y", "cert.asc", "", "1", "scan.pdf", "y"),
        ["restore scan.pdf --public cert.asc -o key-2.asc"],
    ),
    "back, without": (
        ("3", "", "new.asc", "1", "scan.pdf", "y"),
        ["restore scan.pdf -o new.asc"],
    ),
    "the yearly round": (
        ("4", "y", "key.asc", "1", "scan.pdf", "y", "y"),
        ["register", "drill scan.pdf --key key.asc"],
    ),
    "the list alone": (("4", "n", "y"), ["register"]),
    "nothing": (("5",), []),
    "not run after all": (("2", "1", "scan.pdf", "n"), []),
    "back to a file and to a choice": (
        ("1", "scan.pdf", "back", "key.asc", "2", "back", "1", "no", "", "1", "out.pdf", "y"),
        ["backup key.asc -o out.pdf"],
    ),
    "back over several questions": (
        ("1", "key.asc", "3", "2 of 3", "y", " Back", "BACK", "no", "n", "", "out.pdf", "y"),
        ["backup key.asc --compact -o out.pdf"],
    ),
    "back to the beginning": (("back", "3", "y", "back", "back", "2", "back", "5"), []),
    "back from the command": (
        ("2", "1", "scan.pdf", "back", "-dash.txt", "y"),
        ["check ./-dash.txt"],
    ),
    "back to a command that was run": (
        ("2", "4", "l.txt", "y", "back", "n", "y"),
        ["type l.txt", "check l.txt"],
    ),
    "back to one that was not run": (
        ("2", "4", "l.txt", "n", "back", "y", "y"),
        ["type l.txt", "check l.txt"],
    ),
    "back after answers that are none": (
        ("2", "1", "nowhere", "back", "9", "1", "scan.pdf", "y"),
        ["check scan.pdf"],
    ),
    "answers that are none": (
        ("9", "x", "2", "0", "1", "", "nowhere", "scan.pdf", "perhaps", "y"),
        ["check scan.pdf"],
    ),
}


@pytest.mark.parametrize("name", TALKS)
@pytest.mark.usefixtures("folder")
def test_answers_make_commands(name, capsys):
    """Each command is shown as it is typed, and run as it is shown."""
    answers, commands = TALKS[name]
    asked = Asked(*answers)
    assert asked.follow() == 0
    assert asked.ran == commands
    shown = [row.strip() for row in capsys.readouterr().err.splitlines() if row[:2] == "  "]
    for command in commands:
        assert any(row.replace("'", "") == f"ragleaf {command}" for row in shown)


@pytest.mark.usefixtures("folder")
def test_each_question_says_that_one_can_go_back(capsys):
    """All but the first, which has none before it."""
    asked = Asked("back", "2", "1", "scan.pdf", "y")
    asked.follow()
    first, again, *others = asked.asked
    assert first == again == "Number"
    assert len(others) == 3
    assert all(question.endswith(" (or back)") for question in others)
    said = " ".join(capsys.readouterr().err.split())
    assert "type back to go to the one before" in said
    assert "This is the first question." in said


@pytest.mark.usefixtures("folder")
def test_what_is_not_asked_again_is_not_said_again(capsys):
    """One question back, and no more than that is on the screen anew."""
    Asked("3", "", "", "1", "back", "back", "k.asc", "1", "scan.pdf", "n").follow()
    said = capsys.readouterr().err
    assert said.count("What do you want to do?") == 1
    assert said.count("How do the sheets come into this computer?") == 3


@pytest.mark.parametrize(
    ("answers", "arguments"),
    [
        (("1", "", "", "", "", "y"), "--each -o sheets"),
        (
            ("", "3", "2 of 3", "y", "", "y"),
            "--each --compact --any 2 --of 3 --large -o sheets",
        ),
        (("3", "", "", "", "", "", "y"), "--fingerprint {} -o sheets.pdf"),
    ],
)
def test_of_several_keys_all_or_one_is_printed(folder, answers, arguments, capsys):
    """Each is listed with its user ID; all go into a folder, which neither printer nor heir has."""
    rings = [key_file.read(path.read_bytes())[0] for path in (SMALL, OTHER)]
    data = b"".join(key_file.write(key, armored=False) for key in rings)
    (folder / "ring").write_bytes(data)
    asked = Asked("1", "ring", *answers)
    asked.follow()
    named = arguments.format(rings[1].fingerprint.hex().upper())
    assert asked.ran == [f"backup ring {named}"]
    said = capsys.readouterr().err
    assert "1  All 2 keys, each as a backup of its own" in said
    assert f"3  {rings[1].title}" in said


@pytest.mark.usefixtures("folder")
def test_a_file_without_a_secret_key_is_asked_for_again(capsys):
    """The commonest mistake: the public certificate."""
    asked = Asked("1", str(SMALL_CERTIFICATE), str(SMALL), "", "", "", "", "", "n")
    asked.follow()
    assert asked.ran == []
    said = capsys.readouterr().err
    assert said.rstrip().endswith("It was not run.\nTo begin again: ragleaf")
    assert "has no secret key" in said


@pytest.mark.usefixtures("folder")
def test_after_a_failure_nothing_else_is_run():
    """The guide ends with the status of the command."""
    asked = Asked("2", "4", "", "y", status=1)
    assert asked.follow() == 1
    assert asked.ran == ["type lines.txt"]


def test_in_a_terminal_it_asks(desk):
    """``ragleaf`` alone: the greeting, the questions, the command, and what it says."""
    desk.write("scan.txt", "nothing\n")
    with terminal(desk) as (send, process):
        send("", "Number")
        send("2\r", "Number")
        send("1\r", "lines you typed")
        send("scan.txt\r", "Run it now?")
        send("y\r", "status 1")
        assert process.wait(10) == 1


def test_ctrl_c_ends_it(desk):
    """At any question, with a sentence that names the key and fits into 60 columns."""
    with terminal(desk) as (send, process):
        send("", "Number")
        # One that comes between the question and the wait for its answer waits for a key too; one
        # that comes while the command ends would end it without a word.
        for _ in range(5):
            process.send_signal(signal.SIGINT)
            with suppress(TimeoutExpired):
                process.wait(3)
                break
        said = send("", "half written.")
        assert process.returncode == 130
    (row,) = (row for row in said.splitlines() if row.startswith("ragleaf: "))
    assert row == "ragleaf: stopped by Ctrl-C. No file is left half written."
    assert len(row) < 60


def test_without_a_terminal_it_is_the_help(desk):
    """As it always was: the commands, and the status of wrong use."""
    done = desk.run()
    assert done.status == 2
    assert "Usage: ragleaf" in done.out + done.err
    assert "What do you want" not in done.err


# Pipes, with stand-ins for the system's commands.


@pytest.fixture
def system(tmp_path, monkeypatch):
    """
    A folder with an ``lp`` that keeps what it reads in the file *printed*, and a ``scanimage`` that
    writes the file *page*; they are the first that are found.
    """
    commands = tmp_path / "bin"
    commands.mkdir()
    scripts = {
        "lp": f"cat > {tmp_path}/printed",
        "scanimage": f"cat {tmp_path}/page",
        "broken": "exit 3",
    }
    for name, script in scripts.items():
        (commands / name).write_text(f"#!/bin/sh\n{script}\n")
        (commands / name).chmod(0o700)
    desk = tmp_path / "desk"
    desk.mkdir()
    monkeypatch.chdir(desk)
    monkeypatch.setenv("PATH", f"{commands}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def test_to_the_printer_and_from_the_scanner_without_a_file(system, capfd):
    """
    The sheets go to the print command and come from the scan command; nothing is left in the folder
    but the key that was asked for.
    """
    asked = Asked("1", str(SMALL), "", "", "", "2", "", "y")
    assert asked.follow() == 0
    assert "ragleaf backup" in capfd.readouterr().err
    assert (system / "printed").read_bytes().startswith(b"%PDF")
    assert list((system / "desk").iterdir()) == []
    (system / "printed").rename(system / "page")
    asked = Asked("2", "2", "", "y")
    assert asked.follow() == 0
    assert "fine" in capfd.readouterr().out
    asked = Asked("3", "y", str(SMALL_CERTIFICATE), "back.asc", "2", "scanimage", "y")
    assert asked.follow() == 0
    assert [path.name for path in (system / "desk").iterdir()] == ["back.asc"]
    restored = system / "desk/back.asc"
    assert packets(restored) == packets(SMALL)
    assert stat.S_IMODE(restored.stat().st_mode) == 0o600


def packets(path):
    """The base64 of an armored key, however its rows are cut."""
    rows = path.read_text().splitlines()
    return "".join(row for row in rows if row and row[0] not in "-=" and ":" not in row)


@pytest.mark.usefixtures("system")
def test_what_fails_in_a_pipe_is_told(capfd):
    """Of either side; a command that is not there is asked for again."""
    asked = Asked("1", str(SMALL), "", "", "", "2", "nowhere", "broken", "y")
    assert asked.follow() != 0
    assert "broken ended with status 3" in capfd.readouterr().err
    asked = Asked("2", "2", "broken", "y")
    assert asked.follow() != 0
    err = capfd.readouterr().err
    assert "broken ended with status 3" in err
    assert "Traceback" not in err
