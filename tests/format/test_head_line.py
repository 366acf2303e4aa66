"""The head line, both ways, and heads that cannot be."""

import base64
import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.errors import UnknownFormat
from paperkey_alt.format.head_line import Head, Share, pack, unpack
from paperkey_alt.format.lines import Line

digests = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567", min_size=9, max_size=9)


@st.composite
def shares(draw):
    """Any share there can be."""
    count = draw(st.integers(2, 16))
    return Share(
        draw(st.integers(1, count)),
        draw(st.integers(2, count)),
        count,
        draw(st.integers(0, (1 << 25) - 1)),
    )


@st.composite
def head_values(draw):
    """Any head there can be."""
    data = draw(st.integers(1, 1023))
    spare = draw(st.integers(0, min(1023 - data, 254 * data)))
    digest = draw(digests)
    share = draw(st.none() | shares())
    return Head(
        data, spare, draw(st.integers(0, 14)), draw(st.booleans()), share, digest[:5], digest[5:]
    )


@given(head_values())
def test_both_ways(head):
    """Every head comes back from its line."""
    assert unpack(pack(head)) == head


def test_the_head_line_as_docs_format_lays_it_out():
    """Character by character, from the table in docs/format.md."""
    body = b"the bell on Gannet Rock"
    head = Head(2, 4, 7, sealed=True, share=Share(3, 2, 5, 33)).of(body)
    characters = base64.b32encode(pack(head).data).decode()
    covered = "B" + "B" + "AC" + "AE" + "H" + "D" + "C" + "F" + "AAABB"
    digest = base64.b32encode(hashlib.sha256(covered.encode() + body).digest()).decode()
    assert characters == covered + digest[:9]
    assert (head.mark, head.body_check) == (digest[:5], digest[5:9])
    assert head.agrees_with(body)


def test_the_digest_covers_the_body_and_the_fields():
    """Another body, another length or another field disagree."""
    body = b"the bell on Gannet Rock"
    head = Head(2, 4, 7).of(body)
    assert head.agrees_with(body)
    assert not head.agrees_with(body[:-1] + b"c")
    assert not head.agrees_with(body + b"\0")
    assert not Head(2, 4, 7, sealed=True, mark=head.mark, body_check=head.body_check).agrees_with(
        body
    )


BAD_CHARACTERS = {
    "another version": "CAABAAAAAAAAAAAAAAAAAAAA",
    "an unknown flag": "BCABAAAAAAAAAAAAAAAAAAAA",
    "no data lines": "BAAAABAAAAAAAAAAAAAAAAAA",
    "more lines than there are numbers": "BA7777AAAAAAAAAAAAAAAAAA",
    "too many spare lines for one data line": "BAABPPAAAAAAAAAAAAAAAAAA",
    "padding of a whole line": "BAABAAPAAAAAAAAAAAAAAAAA",
    "a share without a threshold": "BAABAAABAAAAAAAAAAAAAAAA",
    "a share past their count": "BAABAAADCCAAAAAAAAAAAAAA",
    "a threshold of one": "BAABAAABBBAAAAAAAAAAAAAA",
    "a backup number without a share": "BAABAAAAAAAAAABAAAAAAAAA",
}


@pytest.mark.parametrize("name", BAD_CHARACTERS)
def test_heads_that_cannot_be_are_refused(name):
    """A head line of another version, or one that makes no sense, is UnknownFormat."""
    with pytest.raises(UnknownFormat):
        unpack(Line(0, base64.b32decode(BAD_CHARACTERS[name])))


BAD_HEADS = {
    "no data": (0, 4, 0),
    "too many lines": (1000, 24, 0),
    "negative spare": (1, -1, 0),
    "padding 15": (1, 0, 15),
    "a short mark": (1, 0, 0, False, None, "AAAA"),
    "a mark of other characters": (1, 0, 0, False, None, "AAAA0"),
}


@pytest.mark.parametrize("name", BAD_HEADS)
def test_no_head_holds_an_invalid_value(name):
    """A Head outside its bounds cannot exist."""
    with pytest.raises(ValueError, match=r"."):
        Head(*BAD_HEADS[name])
