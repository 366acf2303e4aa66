"""QR symbols as a handheld scanner types them, on keyboards of several countries."""

import random
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keyboards import KEYS, typed

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.reading import sources
from paperkey_alt.reading.text import handheld
from paperkey_alt.sheet import qr

SET = lay_out(random.Random(3).randbytes(300), 4)
FIRST = 13
BLOCK = [(0, SET.head_line), *enumerate(SET.lines[FIRST - 1 : FIRST + 7], FIRST)]
TEXT = qr.encode_block(SET.head_line, FIRST, [text for _, text in BLOCK[1:]])


def test_a_symbol_as_it_is():
    """Nothing is repaired, and nothing is to be changed."""
    scan = handheld.read(TEXT)
    assert (list(scan.block), scan.advice, scan.complete) == (BLOCK, (), True)


@pytest.mark.parametrize(("scanner", "computer"), [*permutations(KEYS, 2)])
def test_other_keyboards_are_repaired(scanner, computer):
    """
    Whatever two keyboards of the five: all lines are as printed. Where letters or digits moved, the
    setting is named; US and UK do not differ here.
    """
    arriving = typed(TEXT, scanner, computer)
    scan = handheld.read(arriving)
    assert list(scan.block) == BLOCK
    if arriving == TEXT:
        assert scan.advice == ()
        return
    (advice,) = scan.advice
    assert "keyboard country to that of this computer" in advice
    names = [{"UK": "US"}.get(name, name) for name in (computer, scanner)]
    told = advice.replace("UK", "US")
    said = [f"has a {names[0]} one" in told, f"for a {names[1]} keyboard" in told]
    # These two swap Y and Z and nothing else, whichever the scanner is set to.
    are_alike = set(names) == {"German", "Spanish"}
    assert are_alike or said == [True, True]
    assert ("or the other way round" in advice) == are_alike


DAMAGE = {
    "blanks lost": TEXT.replace(" ", ""),
    "small letters": TEXT.lower(),
    "Caps Lock, German": typed(TEXT, "US", "German").swapcase(),
    "another sign for /": TEXT.replace("/", "-"),
    "no sign for /": TEXT.replace("/", ""),
    "blanks and sign lost": TEXT.replace("/", "").replace(" ", ""),
    "blanks around": f"  {TEXT}\t",
}


@pytest.mark.parametrize("name", DAMAGE)
def test_other_damage_is_repaired(name):
    """To the blanks, the sign / and the case of letters."""
    assert list(handheld.read(DAMAGE[name]).block) == BLOCK


@pytest.mark.parametrize("lost", [40, 50, 100, len(TEXT) - 1])
def test_what_lost_a_key_is_told(lost):
    """No lines but the head line are taken from it; it is to be scanned again."""
    scan = handheld.read(TEXT[:lost] + TEXT[lost + 1 :])
    assert not scan.complete
    assert [number for number, _ in scan.block] == [0]
    assert "scan it again" in scan.advice[0]


NONE = {
    "nothing": "",
    "a line": f"13 {SET.lines[12]}",
    "the head line": f"0 {SET.head_line}",
    "words": "0 and other words that go on for as long as a symbol has characters, or longer",
    "a wrong head line": TEXT.replace(SET.head_line, SET.head_line[::-1]),
    "a lost key of the head line": TEXT[:9] + TEXT[10:],
}


@pytest.mark.parametrize("name", NONE)
def test_other_text_is_no_symbol(name):
    """Even where it begins like one."""
    assert handheld.read(NONE[name]) is None


def test_rows_of_text_are_read_with_what_is_to_be_said():
    """A text from a scanner gives the lines, the number of symbols and the setting to change."""
    rows = f"{typed(TEXT, 'US', 'German')}\r\n{TEXT}\n14 {SET.lines[13]}\n"
    (page,) = sources.read(rows.encode(), "-")
    assert page.typed_symbols == 2
    assert len(page.advice) == 1
    assert "German" in page.advice[0]
    read = [(raw_line.number, raw_line.text) for raw_line in page.raw_lines]
    assert read[: len(BLOCK)] == read[len(BLOCK) : 2 * len(BLOCK)] == BLOCK


@pytest.mark.long
@settings(max_examples=60)
@given(st.text("0/AZ?à)&2 \t", max_size=200) | st.text(max_size=80), st.integers(0, len(TEXT)))
def test_any_text_is_read_without_an_error(text, at):
    """Alone, in the middle of the text of a symbol, before and after it."""
    for given_ in (text, TEXT[:at] + text + TEXT[at:], f"{TEXT}{text}", f"{text}{TEXT}"):
        for scan in (handheld.read(given_), handheld.last(given_)):
            assert scan is None or scan.block[0] == BLOCK[0]


def test_a_symbol_behind_other_keys():
    """What was typed before it does not hide it."""
    assert list(handheld.last(f"4 {SET.lines[3]}00 100 {TEXT}").block) == BLOCK
    assert handheld.last("0" * 4_000) is None
    assert handheld.read("0" * 1_000_000) is None
