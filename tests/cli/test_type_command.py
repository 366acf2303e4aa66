"""
``ragleaf type`` as a user sees it: line by line, and on a full screen in a terminal of 80 × 24.
"""

import stat

import pytest
from desks import CERTIFICATE, KEY, SMALL
from terminals import terminal

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, Line, encode
from paperkey_alt.sheet import text_file


@pytest.fixture
def lines(desk, compact):
    """
    The lines of the compact demo backup, by number; the sheets are s.pdf, the text file s.txt.
    """
    desk.take(compact)
    rows = [
        row.split(None, 1)
        for row in desk.read("s.txt").decode().splitlines()
        if row and not row.startswith("#")
    ]
    return {int(number): "".join(characters.split()) for number, characters in rows}


def data_lines(desk):
    """How many lines a typist needs, the head line among them."""
    return int(desk.ok("check", "s.txt").out.split(" data lines")[0].split(",")[-1]) + 1


def wrong_at(line, at):
    """The line with another character at a place."""
    return line[:at] + ALPHABET[ALPHABET.index(line[at]) ^ 5] + line[at + 1 :]


@pytest.mark.parametrize("options", [(), ("--plain",), ("--with", "s.txt")])
def test_without_a_name(desk, options):
    """What to type is said, with an example, and it ends as wrong use does; nothing is written."""
    done = desk.run("type", *options, stdin="stop\n")
    assert done.status == 2
    assert done.err.startswith("ragleaf: you named no file for the lines that you type.\n  Name")
    assert "For example: ragleaf type lines.txt" in done.err
    assert desk.files() == ["pw"]


def test_line_by_line(desk, lines):
    """
    Without a terminal: right lines, a wrong one that is mended, one put off, one gone to; then the
    key is restored.
    """
    last = data_lines(desk)
    answers = [
        lines[0],
        wrong_at(lines[1], 4),
        "n",
        wrong_at(lines[1], 4),
        "y",
        "skip",
        "go 1",
        lines[1],
        lines[3][:20],
        lines[3],
    ]
    answers += [lines[number] for number in range(4, last)] + [lines[last]]
    done = desk.ok("type", "l.txt", stdin="\n".join(answers) + "\n")
    assert "character 5 is perhaps" in done.err
    assert "line too short: 20 characters, expected 29" in done.err
    assert "complete, and it agrees with its digest" in done.err
    desk.ok("restore", "l.txt", "--public", CERTIFICATE, "--passphrase-from", "pw", "-o", "key.asc")
    assert desk.read("key.asc") == KEY.read_bytes()


def test_stop_and_go_on(desk, lines):
    """
    Every right line is in the file at once, readable by its owner alone; the next time the next
    line waits.
    """
    done = desk.ok("type", "l.txt", stdin="\n".join([lines[0], lines[1], lines[2], "stop"]) + "\n")
    assert "more lines are needed" in done.err
    assert stat.S_IMODE((desk.folder / "l.txt").stat().st_mode) == 0o600
    assert len(desk.read("l.txt").splitlines()) == 3
    desk.ok("type", "l.txt", stdin=f"{lines[3]}\n")
    assert len(desk.read("l.txt").splitlines()) == 4


def test_what_a_loss_of_power_cut_short_is_typed_again(desk, lines):
    """Half a row at the end of the file does no harm to the next one."""
    desk.ok("type", "l.txt", stdin=f"{lines[0]}\n{lines[1]}\n")
    desk.write("l.txt", desk.read("l.txt")[:-15])
    desk.ok("type", "l.txt", stdin=f"{lines[1]}\n{lines[2]}\n")
    assert "fine         2   1–2" in desk.run("check", "l.txt").out


def test_lines_read_elsewhere_need_not_be_typed(desk, lines):
    """With another text and with a scan: only what is missing there is asked for."""
    desk.write(
        "most.txt",
        "".join(
            f"{number} {line}\n"
            for number, line in lines.items()
            if number not in (2, 5) and number <= 20
        ),
    )
    done = desk.ok("type", "l.txt", "--with", "most.txt", stdin=f"{lines[2]}\n")
    assert done.err.count("more lines needed") == 2
    done = desk.ok("type", "whole.txt", "--with", "s.pdf")
    assert "complete, and it agrees with its digest" in done.err


WRONG_USE = {
    "a folder": (".",),
    "a folder that is not there": ("nowhere/l.txt",),
    "no file to go with": ("l.txt", "--with", "nowhere"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use(desk, name):
    """One sentence and advice; nothing is written."""
    done = desk.run("type", *WRONG_USE[name])
    assert done.status in (1, 2)
    assert done.err.startswith("ragleaf: ")
    assert desk.files() == ["pw"]


def test_on_a_full_screen(desk, lines):
    """
    A wrong character is pointed at as the line ends, Enter takes the proposal, Ctrl-Q leaves; the
    lines are saved.
    """
    with terminal(desk, "type", "l.txt") as (send, process):
        send("", "Ctrl-Q")
        send(lines[0].lower(), "more needed")
        send(wrong_at(lines[1], 9), "character 10 is perhaps")
        send("\r", "\x1b[?25h")
        send("\x11", "To go on")
        assert process.wait(10) == 0
    assert [row.split()[0] for row in desk.read("l.txt").decode().splitlines()] == ["0", "1"]


def test_what_is_still_needed_is_told_at_the_end(desk):
    """
    Of a share, that others must be there; of lines that are right and disagree with their digest,
    that they do. A file's name is written as a shell takes it.
    """
    desk.ok("backup", SMALL, "--any", 3, "--of", 4, "-o", "s", "--text", "t", "--no-register")
    done = desk.ok("type", "my share.txt", "--with", "t/share-1.txt")
    assert "all the lines you need of this share; it takes 2 other shares" in done.err
    assert "ragleaf restore 'my share.txt' OTHERS" in done.err
    true = lay_out(bytes(range(40)), 0)
    forged = encode(Line(1, bytes(15)), true.head.mark)
    rows = enumerate((true.head_line, forged, *true.lines[1:]))
    desk.write("f.txt", "".join(f"{text_file.row(*row)}\n" for row in rows))
    done = desk.ok("type", "l.txt", "--with", "f.txt")
    assert "not complete: the lines pass their checks" in done.err
    assert "has all the lines you need" not in done.err
