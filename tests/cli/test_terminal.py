"""What is said and shown, in rows that a terminal has room for."""

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


def test_what_was_asked_for_is_wrapped_in_a_terminal_too(monkeypatch, capsys):
    """Between words; in a file or a pipe it is as it is."""
    table = f"{WORDS}\n  fine        53   1–53"
    terminal.show(table)
    assert capsys.readouterr().out == f"{table}\n"
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((40, 24)))
    terminal.show(table)
    *rows, last = capsys.readouterr().out.splitlines()
    assert last == "  fine        53   1–53"
    assert " ".join(row.strip() for row in rows) == WORDS
