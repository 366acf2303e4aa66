"""
The typing screen, driven by keys: what it takes, what it points at, and that it fits a small
terminal.
"""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keyboards import typed

from paperkey_alt.entry import position, read_aloud, screen, window
from paperkey_alt.entry.transcript import Transcript
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, group
from paperkey_alt.sheet import layout, qr

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
            row, column = window.cursor(shown)
            to_come = window.large(typed.ljust(29, "."))
            assert window.rows(shown)[row] == f"{4:5d}   {to_come}"
            assert to_come.startswith(window.large(typed))
            assert "".join(window.large(typed).split()) == typed
            large = [" ".join(characters) for characters in group(typed).split()]
            assert window.large(typed) == "   ".join(large)
            assert column - 8 - len(window.large(typed)) in ((1, 3) if typed else (0,))
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
    rows = window.rows(shown)
    line = window.cursor(shown)[0]
    column = rows[line + 1].index("^")
    assert rows[line][column] == wrong_at(EVERY[4], at)[at]
    assert any(group(EVERY[4]) in row for row in rows[line + 2 :])
    assert pressed(shown, "enter").transcript.lines[4] == EVERY[4]


def test_a_character_that_cannot_be_read_is_proposed():
    """What it was typed as is no news."""
    shown = pressed(begun(4), EVERY[4][:6] + "?" + EVERY[4][7:])
    assert shown.problem.what == f"character 7 is perhaps {EVERY[4][6]}"
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
    """Put off, back, and by number; that there is no line beyond the last one is said."""
    shown = pressed(begun(4), "put off")
    assert (shown.number, shown.transcript.skipped) == (5, {4})
    assert pressed(shown, "back").number == 4
    assert pressed(shown, "go", "12", "enter").number == 12
    assert pressed(shown, "go", "999", "enter").number == 5
    told = "There is no line 999: the last line of this set is 14."
    assert told in window.rows(pressed(shown, "go", "999", "enter"))
    assert told not in window.rows(pressed(shown, "go", "999", "enter", "go", "3", "enter"))
    assert pressed(shown, "go", "1", "stop").number == 5
    assert pressed(shown, "go", "1", "cancel").number == 5
    assert pressed(shown, "forward", "forward", "back").number == 6
    assert "Line 4 is put off; a spare line may replace it." in window.rows(shown)
    assert "    4   put off" in window.rows(shown)
    assert pressed(shown, "stop").left


def test_line_0_is_neither_put_off_nor_passed():
    """It is said that it comes first."""
    first = screen.start(Transcript())
    for keys_ in (["put off"], ["forward"], ["back"], ["go", "3", "enter"], ["3 "]):
        shown = pressed(first, *keys_)
        assert (shown.number, shown.text) == (0, "")
    told = window.rows(pressed(first, "go", "3", "enter"))
    assert "Line 0 comes first: it says how many lines there are." in told
    assert "cannot be put off" in "\n".join(window.rows(pressed(first, "put off")))


def test_what_was_dropped_comes_back():
    """Emptied, put off or left for another line: its text and its problem are there again."""
    wrong = wrong_at(EVERY[4], 7)
    for keys_ in (["empty"], ["put off"], ["back"], ["go", "9", "enter"], ["forward", "forward"]):
        shown = pressed(begun(4), wrong, *keys_)
        assert shown.text == ""
        back = pressed(shown, "undo")
        assert (back.number, back.text, back.problem.proposal) == (4, wrong, EVERY[4])
        assert pressed(back, "enter").transcript.lines[4] == EVERY[4]
    assert pressed(begun(4), EVERY[4][:9], "empty", "undo").text == EVERY[4][:9]
    assert "Nothing was emptied" in "\n".join(window.rows(pressed(begun(4), "undo")))


def test_a_spare_line_is_asked_for_when_a_line_was_put_off():
    """After the last data line; when it is in, the screen is left."""
    shown = pressed(begun(4), "put off", *EVERY[5:11])
    assert shown.number == 11
    assert "spare line" in "\n".join(window.rows(shown))
    assert pressed(shown, EVERY[11]).left


def test_when_nothing_else_would_help():
    """With more put off than there are spare lines, the screen says so and stays."""
    shown = pressed(begun(1), *["put off"] * 14)
    assert not shown.left
    assert "No other line would help" in "\n".join(window.rows(shown))


keys = st.one_of(
    st.sampled_from(sorted(screen.KEYS)), st.characters(codec="utf-8"), st.sampled_from(EVERY[:6])
)


@pytest.mark.long
@settings(max_examples=200)
@given(st.lists(keys, max_size=40))
def test_any_keys_leave_a_screen_that_fits_and_lines_that_are_right(pressed_keys):
    """
    24 rows of at most 80 characters without control characters, a cursor on it, and no line but as
    printed.
    """
    shown = pressed(screen.start(Transcript()), *pressed_keys)
    rows = window.rows(shown)
    assert len(rows) == window.HIGH
    assert all(len(row) <= window.WIDE and row.isprintable() for row in rows)
    row, column = window.cursor(shown)
    assert 0 <= row < window.HIGH
    assert 0 <= column < window.WIDE
    assert all(EVERY[number] == characters for number, characters in shown.transcript.lines.items())


LONG = lay_out(random.Random(5).randbytes(600), 12)
ROWS = [LONG.head_line, *LONG.lines]


def at_line(number):
    """The screen of the long set at a line."""
    return pressed(screen.start(Transcript()), *ROWS[:number])


def test_a_missing_character_is_seen_as_the_next_line_begins():
    """At its first key; Enter takes the line, and what was typed on begins the next one."""
    shown = pressed(at_line(4), ROWS[4][:7] + ROWS[4][8:])
    assert shown.problem is None
    shown = pressed(shown, ROWS[5][:1])
    assert shown.problem.proposal == ROWS[4]
    shown = pressed(shown, ROWS[5][1:9], "enter")
    assert (shown.number, shown.text, shown.transcript.lines[4]) == (5, ROWS[5][:9], ROWS[4])


def test_lines_typed_on_without_a_look_are_taken():
    """Behind a line that is wrong; that one waits, and then the first that was not typed."""
    heavy = "Q" + ROWS[4][1:9] + "QQ" + ROWS[4][11:20] + "Z" + ROWS[4][21:]
    shown = pressed(at_line(4), heavy + ROWS[5] + ROWS[6])
    assert (shown.number, shown.text) == (4, heavy)
    assert {5, 6} <= set(shown.transcript.lines)
    assert 4 not in shown.transcript.lines
    assert pressed(shown, "empty", ROWS[4]).number == 7


@pytest.mark.parametrize("printed", ["7", "7 ", " 7 ", "7. "])
def test_the_printed_number_may_be_typed(printed):
    """With a blank behind it or without; it is no part of the line."""
    shown = pressed(at_line(7), printed, ROWS[7])
    assert (shown.number, shown.transcript.lines[7]) == (8, ROWS[7])


def test_another_number_leads_to_its_line():
    """Typed with a blank, at once; without, when the line is in. The one left out waits."""
    assert pressed(at_line(7), "12 ").number == 12
    shown = pressed(at_line(7), "12", ROWS[12])
    assert (shown.number, shown.transcript.lines[12]) == (13, ROWS[12])
    assert 7 not in shown.transcript.lines
    shown = pressed(at_line(7), "99 ")
    assert (shown.number, shown.text) == (7, "")
    assert f"There is no line 99: the last line of this set is {LONG.head.total}." in window.rows(
        shown
    )
    assert pressed(shown, ROWS[7]).transcript.lines[7] == ROWS[7]


def test_a_line_that_begins_with_its_number_by_chance():
    """The line is taken as it is: its check decides."""
    number = next(number for number in range(2, 8) for text in [ROWS[number]] if text)
    shown = pressed(at_line(number), f"{number}{ROWS[number]}")
    assert shown.transcript.lines[number] == ROWS[number]


@pytest.mark.parametrize(("wide", "high"), [(80, 24), (120, 50), (60, 12), (46, 8), (79, 9)])
def test_small_windows_show_the_line_the_message_and_the_proposal(wide, high):
    """Whatever else has to go."""
    shown = pressed(at_line(9), wrong_at(wrong_at(ROWS[9], 3), 20))
    rows = window.rows(shown, wide, high)
    assert len(rows) == high
    assert all(len(row) <= wide for row in rows)
    text = "\n".join(rows)
    assert group(ROWS[9]) in text
    assert "Enter takes" in text
    assert "character 4 is perhaps" in text
    row, column = window.cursor(shown, wide, high)
    assert rows[row].startswith("    9   ")
    assert column < wide
    assert rows[row + 1].count("^") == 2


@pytest.mark.parametrize(("wide", "high"), [(45, 24), (80, 7), (10, 3), (1, 1)])
def test_too_small_a_window_says_so(wide, high):
    """As far as there is room for it, and nothing of the key is cut."""
    rows = window.rows(at_line(9), wide, high)
    assert len(rows) == high
    assert all(len(row) <= wide for row in rows)
    if wide > 40 and high > 3:
        assert "too small" in " ".join(rows)


@pytest.mark.parametrize(("wide", "high"), [(80, 20), (60, 15), (46, 12), (46, 9)])
def test_small_windows_say_how_to_stop(wide, high):
    """Where there is no room for all that the keys do; no row is empty for want of a part."""
    rows = window.rows(at_line(9), wide, high)
    assert any("Ctrl-Q" in row for row in rows)
    rows = window.rows(pressed(at_line(9), wrong_at(ROWS[9], 3), "aloud"), 60, 15)
    assert LONG.head.mark in rows[0]
    rows = window.rows(pressed(at_line(1), wrong_at(ROWS[1], 3)), 60, 15)
    assert LONG.head.mark in rows[0]
    first = " ".join(window.rows(screen.start(Transcript()), wide, high))
    assert "in any order." in first


def test_what_a_key_does_is_told_when_it_does_it():
    """Before a line, in it, and where a line is proposed; nothing is wider than the window."""
    before = "\n".join(window.rows(at_line(9)))
    within = "\n".join(window.rows(pressed(at_line(9), "AB")))
    proposed = "\n".join(window.rows(pressed(at_line(9), wrong_at(ROWS[9], 3))))
    first = "\n".join(window.rows(screen.start(Transcript())))
    assert "29 letters and digits" in first
    assert "Ctrl-N" not in first
    assert "Ctrl-G" in before
    assert "Type ? for" in within
    assert "Enter takes the proposed line." in proposed
    assert all("Ctrl-Q" in text and "Ctrl-N" in text for text in (before, within, proposed))
    assert all(len(row) < window.WIDE for row in f"{before}\n{within}\n{proposed}".split("\n"))


def test_groups_that_are_swapped_are_both_marked():
    """Under each character that differs."""
    line = ROWS[4]
    shown = pressed(at_line(4), line[4:8] + line[:4] + line[8:])
    rows = window.rows(shown)
    assert "groups 1 and 2 seem to be swapped" in shown.problem.what
    differing = sum(one != other for one, other in zip(line[:4], line[4:8], strict=True))
    assert rows[window.cursor(shown)[0] + 1].count("^") == 2 * differing


def test_a_line_that_is_there_is_shown_when_it_is_gone_back_to():
    """To be compared; so is what reading aloud is, before anything is typed."""
    rows = window.rows(pressed(at_line(4), "back"))
    assert f"    3   {group(ROWS[3])}" in rows
    assert "Read aloud: what you type appears here in words." in window.rows(
        pressed(at_line(4), "aloud")
    )


def test_where_the_line_is_and_what_is_left():
    """Sheet, symbol, row; lines above and below; and, by the clock, how many minutes are left."""
    shown = screen.start(Transcript())
    for at, key in enumerate("".join(ROWS[:6])):
        shown = screen.press(shown, key, at * 1.0)
    rows = window.rows(shown)
    assert "You have 5 of 40 lines; 35 more needed, 17 minutes at your pace" in rows[1]
    assert str(position.position(6, LONG.head.total)) in rows
    assert f"    5   {group(ROWS[5])}" in rows
    assert "    7   ." in rows


def test_a_line_is_read_aloud():
    """In the words of the international spelling alphabet: the proposal, if there is one."""
    shown = pressed(at_line(4), "AB2", "aloud")
    assert "Alfa Bravo two" in window.rows(shown)
    shown = pressed(shown, "empty", wrong_at(ROWS[4], 0))
    text = " ".join(window.rows(shown))
    assert all(word in text for word in read_aloud.spell(ROWS[4]))
    assert "Read aloud" not in "\n".join(window.rows(pressed(shown, "aloud")))


def test_groups_are_moved_between_and_room_is_made():
    """By Tab from group to group; Insert makes room for what was left out of a whole line."""
    shown = pressed(at_line(4), wrong_at(ROWS[4], 9))
    assert [pressed(shown, *["next group"] * n).cursor for n in (1, 2, 3)] == [0, 4, 8]
    assert pressed(shown, "group before").cursor == 24
    two = ROWS[4][:5] + ROWS[4][6:14] + ROWS[4][15:] + ROWS[5][:2]
    shown = pressed(at_line(4), two, "home", "next group", "right", "make room")
    shown = pressed(shown, ROWS[4][5])
    assert shown.problem.proposal == ROWS[4]


def test_a_group_left_out_is_shown_its_place():
    """After Enter the cursor is where it belongs; typed there, the line is taken."""
    shown = pressed(at_line(4), ROWS[4][:8] + ROWS[4][12:], "enter")
    assert "left out" in shown.problem.what
    assert shown.problem.proposal is None
    if shown.cursor == 8:
        assert pressed(shown, ROWS[4][8:12]).transcript.lines[4] == ROWS[4]


def test_several_pasted_lines_are_all_taken():
    """With numbers or without; of those that are wrong the first waits to be mended."""
    rows = [f"{number} {group(ROWS[number])}" for number in range(10)]
    rows[4] = f"4 {group(wrong_at(ROWS[4], 2))}"
    shown = screen.paste(screen.start(Transcript()), "\n".join(rows))
    assert set(shown.transcript.lines) == set(range(10)) - {4}
    assert (shown.number, shown.problem.proposal) == (4, ROWS[4])
    assert "Pasted: 9 lines taken; 1 line is not correct." in "\n".join(window.rows(shown))
    assert pressed(shown, "enter").transcript.lines[4] == ROWS[4]
    part = screen.paste(at_line(4), group(ROWS[4]))
    assert part.transcript.lines[4] == ROWS[4]


def test_pasted_lines_of_another_set_are_not_taken():
    """It is said which set they are of."""
    shown = screen.paste(at_line(4), "\n".join([f"0 {SET.head_line}", f"1 {EVERY[1]}"]))
    assert dict(shown.transcript.lines) == dict(at_line(4).transcript.lines)
    assert SET.head.mark in "\n".join(window.rows(shown))


def test_no_set_mark_is_invented_for_a_heavy_slip():
    """Any text implies some mark: it is told only where two lines imply the same one."""
    shown = pressed(at_line(4), "Q" * 29)
    assert LONG.head.mark in shown.problem.what
    assert "of another set" not in shown.problem.what
    shown = pressed(at_line(1), EVERY[1], "put off", EVERY[2])
    assert SET.head.mark in shown.problem.what


def test_a_line_that_is_there_already_is_recognised():
    """Also the head line, which is at the foot of the sheet too; Enter goes on."""
    for known in (0, 2):
        shown = pressed(at_line(4), ROWS[known])
        assert f"this is line {known}, which you have typed already" in shown.problem.what
        assert pressed(shown, "enter").number == 4


def symbol(first, last):
    """The text of a QR symbol of the long set."""
    return qr.encode_block(ROWS[0], first, ROWS[first : last + 1])


@pytest.mark.parametrize("computer", ["US", "UK", "German", "French", "Spanish"])
def test_a_scanner_types_symbols(computer):
    """
    Each is taken whole at its Enter, whatever the keyboards; it is told how many there are, which
    are missing, and on other keyboards what to set.
    """
    every = position.symbols(LONG.head.total)
    one, *others, last = every
    shown = screen.start(Transcript())
    for each in (last, one):
        shown = pressed(shown, *typed(symbol(each.first, each.last), "US", computer), "enter")
    there = [*range(one.last + 1), *range(last.first, last.last + 1)]
    assert dict(shown.transcript.lines) == {number: ROWS[number] for number in there}
    assert (shown.number, shown.text, shown.problem) == (one.last + 1, "", None)
    text = " ".join(window.rows(shown))
    assert f"Symbol with lines 1–{one.last} taken." in text
    missing = ", ".join(str(each.number) for each in others)
    told = f"2 of {len(every)} symbols. Missing, counted from the top: {missing} of sheet 1."
    assert told in text
    assert ("Ragleaf repaired the text" in text) == (computer not in ("US", "UK"))


def test_the_symbols_of_large_type_are_counted_as_such():
    """Which way a set was printed follows from the symbols that are there."""
    sheets = layout.plan(LONG.head.total, layout.PAPERS["a4"], large=True).sheets
    one, two, *others = (block for sheet in sheets for block in sheet.blocks)
    keys = (symbol(two.first, two.last), "enter", symbol(one.first, one.last), "enter")
    shown = pressed(screen.start(Transcript()), *keys)
    assert f"2 of {2 + len(others)} symbols. Missing" in " ".join(window.rows(shown))


def test_a_symbol_may_come_after_typed_lines():
    """Also where a line has been begun, or is wrong."""
    for begun_ in ("", ROWS[3][:9], "Q" * 29):
        shown = pressed(at_line(3), begun_, *["enter"] * bool(begun_), symbol(13, 24), "enter")
        assert set(shown.transcript.lines) == {0, 1, 2, *range(13, 25)}
        assert (shown.number, shown.text) == (3, "")


def test_a_symbol_of_another_set_is_not_taken():
    """It is said which set it is of."""
    shown = pressed(at_line(3), qr.encode_block(EVERY[0], 1, EVERY[1:5]), "enter")
    assert set(shown.transcript.lines) == {0, 1, 2}
    assert (shown.number, shown.text) == (3, "")
    assert f"This is of set {SET.head.mark}" in " ".join(window.rows(shown))


@pytest.mark.parametrize("computer", ["US", "German"])
def test_what_a_scanner_types_on_goes_nowhere(computer):
    """
    When all lines are there, the rest of the symbol and further ones are swallowed, until somebody
    presses Ctrl-Q; what is typed by hand or pasted needs no such end.
    """
    shown = at_line(30)
    one, other = (typed(symbol(first, first + 11), "US", computer) for first in (30, 41))
    shown = pressed(shown, *one, "enter")
    assert (shown.left, shown.transcript.needed, shown.held) == (False, 0, True)
    assert "Put the scanner away" in "\n".join(window.rows(shown))
    again = pressed(shown, *other, "enter", "go", "enter", "undo", "put off")
    assert again == shown
    assert pressed(again, "stop").left
    assert screen.paste(at_line(30), symbol(30, 41)).left
    assert pressed(at_line(30), *ROWS[30:41]).left


def test_a_symbol_that_lost_a_key_is_to_be_scanned_again():
    """What is fine of it may be taken; scanned again it is all there."""
    text = symbol(13, 24)
    shown = pressed(screen.start(Transcript()), *typed(text[:70] + text[71:], "US", "German"))
    shown = pressed(shown, "enter")
    assert "scan it again" in " ".join(window.rows(shown))
    assert "Symbol with" not in " ".join(window.rows(shown))
    shown = pressed(shown, *typed(text, "US", "German"), "enter")
    assert set(range(13, 25)) <= set(shown.transcript.lines)


def test_pasted_symbols_are_taken():
    """One alone, and several as rows."""
    shown = screen.paste(screen.start(Transcript()), symbol(1, 12))
    assert set(shown.transcript.lines) == set(range(13))
    shown = screen.paste(shown, f"{symbol(13, 24)}\n{symbol(25, 36)}\n")
    assert set(shown.transcript.lines) == set(range(37))
