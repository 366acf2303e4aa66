"""What is typed at a terminal unseen: the terminal shows it again, whatever ends the work."""

import os
import pty
import select
import termios
from types import SimpleNamespace

import pytest

from paperkey_alt.cli import keyboard, process
from paperkey_alt.errors import SourceError

LOCAL = 3  # of what tcgetattr returns


@pytest.fixture
def keys(monkeypatch):
    """A terminal as standard input; the descriptor of its other side, where keys are pressed."""
    ours, theirs = pty.openpty()
    monkeypatch.setattr("sys.stdin", SimpleNamespace(fileno=lambda: theirs))
    yield ours
    os.close(ours)
    os.close(theirs)


def modes(keys):
    """The modes of the terminal, and whether it shows what is typed."""
    there = termios.tcgetattr(keys)
    return there, bool(there[LOCAL] & termios.ECHO)


ENDS = {
    "its end": None,
    "a mistake": SourceError("too long"),
    "Ctrl-C": KeyboardInterrupt(),
    "a signal": process.Ended(15),
}


@pytest.mark.parametrize("end", ENDS)
def test_the_terminal_shows_again_what_is_typed(keys, end):
    """Its modes are those of before; what was typed and not read goes to nobody."""
    before, is_shown = modes(keys)
    assert is_shown

    def work():
        with keyboard._unseen() as is_unseen:
            assert is_unseen
            assert not modes(keys)[1]
            os.write(keys, b"0 LOWWATER\n")
            # It takes a moment to the other side.
            assert select.select([keyboard.sys.stdin.fileno()], [], [], 10)[0]
            if ENDS[end] is not None:
                raise ENDS[end]

    if ENDS[end] is None:
        work()
    else:
        with pytest.raises(type(ENDS[end])):
            work()
    assert modes(keys) == (before, True)
    os.write(keys, b"next\n")
    assert os.read(keyboard.sys.stdin.fileno(), 99) == b"next\n"


def test_rows_are_read_to_the_end(keys, capsys):
    """
    One Ctrl-D in a row of its own is the end; what is to be done is said before, and nothing is
    counted where there was no pause.
    """
    os.write(keys, b"flood\nebb\n\x04")
    assert keyboard.read(10) == b"flood\nebb\n"
    said = " ".join(capsys.readouterr().err.split())
    assert "What you scan is not shown; end with Enter, then Ctrl-D." in said
    assert "so far" not in said


def test_no_more_than_may_be(keys):
    """A byte above the bound is refused."""
    os.write(keys, b"0 LOWWATER\n\x04")
    with pytest.raises(SourceError, match="standard input is longer than"):
        keyboard.read(10)
    assert modes(keys)[1]


def test_without_such_modes_nothing_is_promised(keys, monkeypatch, capsys):
    """Where the system has none, or standard input has none, it is read all the same."""
    monkeypatch.setattr("paperkey_alt.cli.files.read", lambda name, longest: b"ebb"[:longest])
    monkeypatch.setitem(keyboard.sys.modules, "termios", None)
    assert keyboard.read(10) == b"ebb"
    monkeypatch.undo()
    read, write = os.pipe()
    os.close(write)
    monkeypatch.setattr("sys.stdin", SimpleNamespace(fileno=lambda: read))
    monkeypatch.setattr("paperkey_alt.cli.files.read", lambda name, longest: b"ebb"[:longest])
    assert keyboard.read(10) == b"ebb"
    os.close(read)
    assert "not shown" not in capsys.readouterr().err
