"""A handheld scanner that types like a keyboard, as a user has it before them."""

import pytest
from desks import CERTIFICATE, KEY
from keyboards import typed
from terminals import terminal

from paperkey_alt.entry import position
from paperkey_alt.sheet import qr


@pytest.fixture
def symbols(desk, compact):
    """The texts of the symbols of the compact demo sheet, in order; the sheet is s.pdf."""
    desk.take(compact)
    rows = [row.split(None, 1) for row in desk.read("s.txt").decode().splitlines()]
    lines = ["".join(row[1].split()) for row in rows if row and row[0] != "#"]
    return [
        qr.encode_block(lines[0], symbol.first, lines[symbol.first : symbol.last + 1])
        for symbol in position.symbols(len(lines) - 1)
    ]


@pytest.mark.parametrize("computer", ["US", "UK", "German", "French"])
def test_check_takes_what_it_types(desk, symbols, computer):
    """
    On standard input, one symbol a row: how many there are and which are missing, and what to set
    where the keyboards differ.
    """
    rows = [typed(text, "US", computer) for text in symbols]
    some = desk.run("check", "-", stdin="\n".join((*rows[2:], rows[0])))
    assert some.status == 1
    count = f"{len(rows) - 1} of {len(rows)} symbols"
    assert f"{count}. Missing, counted from the top: 2 of sheet 1." in some.err
    assert ("this computer has a" in some.err) == (computer not in ("US", "UK"))


def test_restore_takes_what_it_types(desk, symbols):
    """On standard input, on a French keyboard, one of them twice."""
    rows = [typed(text, "US", "French") for text in (*symbols, symbols[1])]
    given = ("--public", CERTIFICATE, "--passphrase-from", "pw", "-o", "key.asc")
    done = desk.ok("restore", "-", *given, stdin="\n".join(rows))
    assert f"{len(symbols)} of {len(symbols)} symbols: all of them" in done.err
    assert desk.read("key.asc") == KEY.read_bytes()


def test_check_says_at_a_terminal_what_it_waits_for(desk, symbols):
    """Scan or type, and how to end; one Ctrl-D is the end."""
    with terminal(desk, "check", "-") as (send, process):
        send("", "Ctrl-D")
        send(f"{symbols[0]}\n\x04", f"1 of {len(symbols)} symbols")
        assert process.wait(10) == 1


def test_what_is_scanned_at_a_terminal_is_not_shown(desk, symbols):
    """
    It is the secret: none of it is on the screen. How many lines came is said meanwhile, each
    counted once; a signal ends it as it ends other work.
    """
    with terminal(desk, "restore", "-", "-o", "key.asc") as (send, process):
        shown = send("", "What you scan is not shown; end with Enter, then Ctrl-D.")
        lines = len(symbols[0].split("/")[1]) // 29
        for text in (symbols[0], symbols[0]):
            shown += send(f"{text}\n", f"{lines + 1} lines so far.")
        process.terminate()
        shown += send("", "ended by a signal (SIGTERM)")
        assert process.wait(10) == 143
    line = symbols[0].split()[1][:29]
    assert not any(line[at : at + 5] in shown for at in range(25))


def test_symbols_that_are_not_needed_are_said_to_be_so(desk, symbols):
    """Where all lines were typed but the spare ones, the symbol of these is missing to no harm."""
    rows = desk.read("s.txt").decode().split("# spare lines")[0]
    done = desk.ok("check", "-", stdin=f"{rows}\n{symbols[0]}\n")
    assert f"{len(symbols) - 1} of {len(symbols)} symbols. Missing" in done.err
    assert "These are enough." in done.err


def test_type_takes_what_it_types_line_by_line(desk, symbols):
    """Each symbol is an answer; when all is there, nothing more is asked."""
    answers = "\n".join(typed(text, "US", "German") for text in symbols)
    done = desk.ok("type", "l.txt", "--plain", stdin=f"{answers}\n")
    assert "complete, and it agrees with its digest" in done.err
    assert "set the scanner's keyboard country" in " ".join(done.err.split())


def test_type_takes_what_it_types_on_a_full_screen(desk, symbols):
    """Keys and Enter, on a terminal with a German keyboard."""
    with terminal(desk, "type", "l.txt") as (send, process):
        send("", "Ctrl-Q")
        places = position.symbols(53)
        last = next(at for at, place in enumerate(places) if place.last >= 42)
        for at, text in enumerate(symbols[: last + 1]):
            send(
                typed(text, "US", "German") + "\r", "Put the scanner away" if at == last else "?25h"
            )
        send("\x11", "l.txt")
        assert process.wait(10) == 0
    assert b" 42  " in desk.read("l.txt")
