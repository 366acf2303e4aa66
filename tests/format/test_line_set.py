"""A body laid out as a set of lines, as docs/format.md says."""

import base64
import random

import pytest

from paperkey_alt.errors import TooLarge
from paperkey_alt.format import head_line, spare_lines
from paperkey_alt.format.head_line import Head, Share
from paperkey_alt.format.line_set import LineSet, lay_out
from paperkey_alt.format.lines import NO_MARK, decode


def body_of(length, seed=0):
    """Some body."""
    return random.Random(seed).randbytes(length)


def test_the_same_body_gives_the_same_set():
    """Nothing of a set is random: it can be printed again, and compared."""
    assert lay_out(body_of(100), 4) == lay_out(body_of(100), 4)
    assert lay_out(body_of(100), 4).head.mark != lay_out(body_of(100, seed=1), 4).head.mark


@pytest.mark.parametrize(("length", "padding"), [(1, 14), (14, 1), (15, 0), (16, 14), (300, 0)])
def test_the_data_lines_are_the_body_in_order(length, padding):
    """Decoded in one go they are the body and so many zero bytes, as anyone can do with base32."""
    line_set = lay_out(body_of(length), 4)
    head = line_set.head
    characters = "".join(text[:24] for text in line_set.lines[: head.data_lines])
    assert base64.b32decode(characters) == body_of(length) + bytes(padding)
    assert (head.padding, head.body_length) == (padding, length)


def test_the_spare_lines_are_behind_the_data_lines():
    """They are what the data lines make, numbered on, and every line is fine under its number."""
    line_set = lay_out(body_of(300), 5)
    lines = [
        decode(text, number, line_set.head.mark) for number, text in enumerate(line_set.lines, 1)
    ]
    assert [decoded.spent for decoded in lines] == [0] * 25
    data = [decoded.line.data for decoded in lines]
    assert tuple(data[20:]) == spare_lines.add(data[:20], 5)


@pytest.mark.parametrize("share", [None, Share(2, 2, 3, 33)])
@pytest.mark.parametrize("sealed", [False, True])
def test_the_head_line_says_the_shape_and_the_digest(sealed, share):
    """Line 0, under no mark, is the head; its digest is that of the body."""
    line_set = lay_out(body_of(50), 6, sealed=sealed, share=share)
    head = line_set.head
    assert head_line.unpack(decode(line_set.head_line, 0, NO_MARK).line) == head
    assert (head.data_lines, head.spare_lines, head.sealed, head.share) == (4, 6, sealed, share)
    assert head.agrees_with(body_of(50))


def test_the_line_limit():
    """1,023 lines are a set; one more is refused with the figures."""
    assert lay_out(body_of(15 * 818), 205).head.total == 1023
    with pytest.raises(
        TooLarge,
        match=r"^12,271 bytes make 819 lines and 205 spare lines; the limit is 1,023$",
    ):
        lay_out(body_of(15 * 818 + 1), 205)


def test_no_body_no_set():
    """Nothing is not laid out."""
    with pytest.raises(ValueError, match=r"^a body is not empty$"):
        lay_out(b"", 4)


def test_no_set_holds_another_number_of_lines():
    """A LineSet whose head says otherwise cannot exist."""
    line_set = lay_out(body_of(20), 4)
    with pytest.raises(ValueError, match=r"^a set has as many lines as its head says$"):
        LineSet(Head(2, 5, 10), line_set.lines)
