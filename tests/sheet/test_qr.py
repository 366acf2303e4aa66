"""QR blocks: their text both ways, what is no block, and the standard's capacity."""

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.sheet import layout, qr

rows = st.text(ALPHABET, min_size=29, max_size=29)
HEAD, LINE = "B" * 29, "K" * 29


@given(rows, st.integers(1, 900), st.lists(rows, min_size=1, max_size=40))
def test_both_ways(head, first, lines):
    """Head line, numbers and lines come back from a block's text."""
    text = qr.encode_block(head, first, lines)
    assert qr.decode_block(text) == [(0, head), *enumerate(lines, first)]


NO_BLOCKS = {
    "empty": "",
    "another code": "https://saltmarrow.example/tides",
    "no head": f"/1 {LINE}",
    "a short head": f"0 {HEAD[1:]}/1 {LINE}",
    "another number for the head": f"1 {HEAD}/1 {LINE}",
    "no lines": f"0 {HEAD}/1 ",
    "a cut line": f"0 {HEAD}/1 {LINE}{LINE[1:]}",
    "a long line": f"0 {HEAD}/1 {LINE}A",
    "lower case": f"0 {HEAD}/1 {LINE.lower()}",
    "a look-alike": f"0 {HEAD}/1 {LINE[1:]}0",
    "line 0 as a line": f"0 {HEAD}/0 {LINE}",
    "a leading zero": f"0 {HEAD}/01 {LINE}",
    "a number of five digits": f"0 {HEAD}/10000 {LINE}",
    "a last line past 1023": f"0 {HEAD}/1023 {LINE}{LINE}",
    "other digits": f"0 {HEAD}/١ {LINE}",
    "a newline behind": f"0 {HEAD}/1 {LINE}\n",
    "something before": f" 0 {HEAD}/1 {LINE}",
}


@pytest.mark.parametrize("name", NO_BLOCKS)
def test_what_is_no_block(name):
    """Whatever is not exactly a block is not one: other codes on a picture are passed over."""
    assert qr.decode_block(NO_BLOCKS[name]) is None


def test_capacity_is_that_of_the_standard():
    """
    ISO/IEC 18004, table 7, from memory: 734 alphanumeric characters in version 17-M, and not one
    more.
    """
    assert (
        segno.make(
            "A" * 734, error="M", mode="alphanumeric", boost_error=False, micro=False
        ).version
        == 17
    )
    assert (
        segno.make(
            "A" * 735, error="M", mode="alphanumeric", boost_error=False, micro=False
        ).version
        == 18
    )


@pytest.mark.parametrize(
    "preset",
    [preset for paper in layout.PAPERS.values() for preset in layout.presets(paper)],
    ids=lambda preset: str(preset.type_size),
)
def test_modules_are_large_enough_to_be_read(preset):
    """
    At 150 dpi a module of the fullest block is at least two pixels: common practice, no source.
    """
    modules = qr.symbol(
        qr.encode_block(HEAD, 1000 - preset.lines_a_band, [LINE] * preset.lines_a_band)
    )
    assert preset.symbol / len(modules) / 72 * 150 >= 2


@pytest.mark.parametrize(
    ("fewest", "modules"), [(0, 33), (33, 33), (34, 37), (37, 37), (67, 69), (177, 177)]
)
def test_a_short_block_can_have_small_modules(fewest, modules):
    """
    The smallest version with so many modules, 17 and 4 for each version (ISO/IEC 18004), and never
    fewer than the text needs: version 4, with room for 90 characters at level M, for two lines
    (table 7, from memory).
    """
    text = qr.encode_block(HEAD, 1, [LINE])
    made = qr.symbol(text, fewest)
    assert (len(made), {len(row) for row in made}) == (modules, {modules})
    long = qr.encode_block(HEAD, 1, [LINE] * 24)
    assert len(qr.symbol(long, min(fewest, 85))) == 85


def test_other_characters_are_refused():
    """The text is never silently put into another mode."""
    with pytest.raises(ValueError, match=r"."):
        qr.symbol("lower case")
