"""The head line, both ways, and heads that cannot be."""

import base64
import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.errors import UnknownFormat
from paperkey_alt.format.head_line import (
    Head,
    Share,
    backup_characters,
    completed,
    pack,
    read,
    shape_characters,
    unpack,
)
from paperkey_alt.format.lines import NO_MARK, Line, encode

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


# What is told of heads that cannot be, to the word.
SENSELESS = "the head line makes no sense: "
LINES = SENSELESS + "a set has 1 to 1023 lines"
SHARE = SENSELESS + "a share is one of 2 to 16, of which 2 or more are needed"
TOLD = {
    "another version": "the head line is of format version 2; this program knows version 1",
    "an unknown flag": "the head line has a flag that this program does not know",
    "no data lines": LINES,
    "more lines than there are numbers": LINES,
    "too many spare lines for one data line": (
        SENSELESS + "a data line has at most 254 spare lines"
    ),
    "padding of a whole line": (SENSELESS + "the last data line has at least one byte of the body"),
    "a share without a threshold": SHARE,
    "a share past their count": SHARE,
    "a threshold of one": SHARE,
    "a backup number without a share": SHARE,
}


@pytest.mark.parametrize("name", BAD_CHARACTERS)
def test_what_is_wrong_with_a_head_is_told(name):
    """In full."""
    with pytest.raises(UnknownFormat) as told:
        unpack(Line(0, base64.b32decode(BAD_CHARACTERS[name])))
    assert told.value.what == TOLD[name]


@pytest.mark.parametrize(
    ("digest", "width"), [(("AAAA", "AAAA"), 5), (("AAAAA", "AAAAA"), 4), (("AAAAA", "AAA0"), 4)]
)
def test_a_head_has_a_digest_of_its_width(digest, width):
    """Five characters, then four; more, fewer and others are refused."""
    with pytest.raises(ValueError, match=f"^the digest is in the head line as {width} base32 char"):
        Head(1, 0, 0, mark=digest[0], body_check=digest[1])


def test_shares_at_their_limits():
    """The first and the last of the most, and the first and the last backup number."""
    last = (1 << 25) - 1
    for share in (Share(1, 2, 2, 0), Share(16, 16, 16, last), Share(16, 2, 16, 1)):
        head = Head(1, 254, 14, share=share)
        assert unpack(pack(head)) == head
    for backup in (-1, last + 1):
        with pytest.raises(ValueError, match=r"^a backup number has 25 bits$"):
            Share(1, 2, 2, backup)
    for number, threshold, count in ((0, 2, 2), (1, 2, 17), (17, 2, 17), (1, 1, 2), (1, 3, 2)):
        with pytest.raises(ValueError, match="a share is one of 2 to 16"):
            Share(number, threshold, count, 0)


def test_a_head_is_completed_where_the_mark_agrees():
    """From its first fifteen characters and the body; with another set mark it is none."""
    body = b"the bell on Gannet Rock"
    for share in (None, Share(3, 2, 5, 33)):
        head = Head(2, 4, 7, share=share).of(body)
        covered = shape_characters(head) + ("DCFAAABB" if share else "A" * 8)
        assert completed(covered, body, head.mark) == head
        assert completed(covered, body, head.mark[:4] + "Q") is None
        assert completed(covered, body, "Q" + head.mark[1:]) is None
        assert completed(covered, body[:-1], head.mark) is None
    assert backup_characters(33) == "AAABB"


def test_a_head_line_is_read_from_its_characters():
    """Mended where need be; what is no head line says none."""
    head = Head(2, 4, 7).of(b"the bell on Gannet Rock")
    text = encode(pack(head), NO_MARK)
    assert read(text) == read("?" + text[1:]) == read(text[1:]) == head
    for other in (
        encode(pack(head), head.mark),
        encode(Line(0, base64.b32decode(BAD_CHARACTERS["another version"])), NO_MARK),
        "",
    ):
        assert read(other) is None
