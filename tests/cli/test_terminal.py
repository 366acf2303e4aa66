"""What is said: to standard error, in rows that a terminal has room for."""

import os

from paperkey_alt.cli import terminal

WORDS = "The bell buoy off the north mole is back on station, and the lamp of buoy 7 is lit again."


def test_nothing_is_wrapped_where_there_is_no_terminal(capsys):
    """A file or a pipe gets each row as it is."""
    terminal.say([WORDS, f"  {WORDS}", "short"])
    written = capsys.readouterr()
    assert (written.out, written.err) == ("", f"{WORDS}\n  {WORDS}\nshort\n")


def test_long_rows_are_wrapped_in_a_terminal(monkeypatch, capsys):
    """No row is wider; what is carried over is indented by two more; no word is lost."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((40, 24)))
    terminal.say([f"  {WORDS}", "short"])
    *rows, last = capsys.readouterr().err.splitlines()
    assert last == "short"
    assert max(map(len, rows)) <= 40
    assert [len(row) - len(row.lstrip()) for row in rows] == [2, *[4] * (len(rows) - 1)]
    assert " ".join(row.strip() for row in rows) == WORDS
