"""
The typing screen, driven by keys: what it takes, what it points at, and that it fits a small
terminal.
"""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from paperkey_alt.entry import screen
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, group

SET = lay_out(random.Random(3).randbytes(150), 4)
EVERY = [SET.head_line, *SET.lines]


def pressed(shown, *keys):
    """The screen after keys, strings of characters among them."""
    for key in keys:
        for one in (key,) if key in screen.KEYS else key:
            shown = screen.press(shown, one)
    return shown


def begun(count=1):
    """The screen after the first lines."""
    return pressed(screen.start(Transcript()), *EVERY[:count])


def test_lines_are_taken_as_their_last_character_is_typed():
    """No Enter is needed; the next line waits at once, and the screen is left after the last."""
    shown = begun(3)
    assert (shown.number, shown.text, dict(shown.transcript.lines)) == (
        3,
        "",
        dict(enumerate(EVERY[:3])),
    )
    assert begun(11).left


def test_groups_appear_as_one_types():
    """Four by four, the last five together, a blank behind each; the cursor is behind them."""
    for length in range(30):
        typed = EVERY[4][:length]
        shown = pressed(begun(4), typed) if length < 29 else begun(4)
        if length < 29:
            row, column = screen.cursor(shown)
            assert screen.rows(shown)[row].rstrip() == f"{4:5d}   {screen.large(typed)}".rstrip()
            assert "".join(screen.large(typed).split()) == typed
            assert screen.large(typed).split("   ") == [" ".join(g) for g in group(typed).split()] or not typed
            assert column - 8 - len(screen.large(typed)) in ((1, 3) if typed else (0,))
    assert group(EVERY[4]).split() == [EVERY[4][at : at + 4] for at in range(0, 24, 4)] + [
        EVERY[4][24:]
    ]


def wrong_at(line, at):
    """The line with another character at a place."""
    return line[:at] + ALPHABET[ALPHABET.index(line[at]) ^ 5] + line[at + 1 :]


@pytest.mark.parametrize("at", [0, 3, 4, 11, 23, 24, 28])
def test_a_wrong_character_is_pointed_at_and_mended_by_one_key(at):
    """The pointer stands below it; Enter takes what is proposed."""
    shown = pressed(begun(4), wrong_at(EVERY[4], at))
    assert shown.number == 4
    rows = screen.rows(shown)
    line = screen.cursor(shown)[0]
    column = rows[line + 1].index("^")
    assert rows[line][column] == wrong_at(EVERY[4], at)[at]
    assert any(group(EVERY[4]) in row for row in rows[line + 2 :])
    assert pressed(shown, "enter").transcript.lines[4] == EVERY[4]


def test_a_wrong_character_is_mended_by_hand():
    """Typed over where it is wrong, the line is judged again."""
    shown = pressed(begun(4), wrong_at(EVERY[4], 6), "home", *["right"] * 6, EVERY[4][6])
    assert shown.transcript.lines[4] == EVERY[4]
    shown = pressed(begun(4), EVERY[4][:9], "?", "backspace", EVERY[4][9:])
    assert shown.transcript.lines[4] == EVERY[4]


def test_a_character_too_many_or_too_few():
    """Typed on without a look at the screen, or left out: the check tells where."""
    more = pressed(begun(4), EVERY[4][:7] + "Q" + EVERY[4][7:])
    assert pressed(more, "enter").transcript.lines[4] == EVERY[4]
    fewer = pressed(begun(4), EVERY[4][:7] + EVERY[4][8:], "enter")
    assert fewer.problem is not None
    assert pressed(fewer, "enter").transcript.lines[4] == EVERY[4]


def test_lines_are_put_off_gone_back_to_and_gone_to():
    """Put off, back, and by number; a number beyond the last line is the last line."""
    shown = pressed(begun(4), "put off")
    assert (shown.number, shown.transcript.skipped) == (5, {4})
    assert pressed(shown, "back").number == 4
    assert pressed(shown, "go", "12", "enter").number == 12
    assert pressed(shown, "go", "999", "enter").number == 14
    assert pressed(shown, "go", "1", "stop").number == 5
    assert pressed(shown, "stop").left


def test_a_spare_line_is_asked_for_when_a_line_was_put_off():
    """After the last data line; when it is in, the screen is left."""
    shown = pressed(begun(4), "put off", *EVERY[5:11])
    assert shown.number == 11
    assert "spare line" in "\n".join(screen.rows(shown))
    assert pressed(shown, EVERY[11]).left


def test_when_nothing_else_would_help():
    """With more put off than there are spare lines, the screen says so and stays."""
    shown = pressed(begun(1), *["put off"] * 14)
    assert not shown.left
    assert "No other line would help" in "\n".join(screen.rows(shown))


keys = st.one_of(
    st.sampled_from(sorted(screen.KEYS)), st.characters(codec="utf-8"), st.sampled_from(EVERY[:6])
)


@settings(max_examples=200)
@given(st.lists(keys, max_size=40))
def test_any_keys_leave_a_screen_that_fits_and_lines_that_are_right(pressed_keys):
    """
    24 rows of at most 80 characters without control characters, a cursor on it, and no line but as
    printed.
    """
    shown = pressed(screen.start(Transcript()), *pressed_keys)
    rows = screen.rows(shown)
    assert len(rows) == screen.HIGH
    assert all(len(row) <= screen.WIDE and row.isprintable() for row in rows)
    row, column = screen.cursor(shown)
    assert 0 <= row < screen.HIGH
    assert 0 <= column < screen.WIDE
    assert all(EVERY[number] == characters for number, characters in shown.transcript.lines.items())
