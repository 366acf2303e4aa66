"""Typed text: every spelling of a row, and rows that are none."""

import random

import pytest

from paperkey_alt.errors import SourceError
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import group
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.reading import sources
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import qr, text_file

BODY = random.Random(7).randbytes(200)
SET = lay_out(BODY, 4)
LINE = SET.lines[6]
BARE = LINE.lower()

SPELLINGS = {
    "as printed": f"   7  {group(LINE)}",
    "small letters": f"7 {group(LINE).lower()}",
    "no blanks": f"7 {LINE}",
    "a full stop": f"7. {LINE}",
    "a bracket": f"7) {LINE}",
    "a colon": f"7: {LINE}",
    "a colon and no blank": f"7:{LINE}",
    "a bar": f"7 | {LINE}",
    "leading zeros": f"007 {LINE}",
    "tabs": f"7\t{LINE}\t",
    "hyphens": f"7 {'-'.join(group(LINE).split())}",
    "other groups": f"7 {' '.join(LINE[at : at + 5] for at in range(0, 29, 5))}",
    "no blank behind the number": f"7{LINE}",
    "look-alikes": f"7 {LINE.replace('O', '0').replace('I', '1').replace('B', '8')}",
    "no number": LINE,
    "no number, in groups": group(LINE).lower(),
}


@pytest.mark.parametrize("name", SPELLINGS)
def test_every_spelling_of_a_row(name):
    """Number and line are found, however they are written."""
    rows = [text_file.write(SET, ()).splitlines()[0], SPELLINGS[name]]
    (found,) = recover(typed.read("\n".join(rows), "typed")).sets
    assert [line.number for line in found.lines if line.status is Status.FINE] == [7]


PASSED_OVER = [
    "",
    "   ",
    "# a remark",
    "Saltmarrow Buoy Keepers",
    "set mark KQ7MB",
    "page 1 of 2",
    "To restore",
    "2026-11-25",
    "x" * 80,
]


@pytest.mark.parametrize("row", PASSED_OVER)
def test_rows_that_are_no_lines_are_passed_over(row):
    """Prose and blanks around the lines do no harm."""
    whole = f"{row}\n{text_file.write(SET, ())}{row}\n"
    assert recover(typed.read(whole, "typed")).sets[0].body == BODY


def test_the_text_file_is_read_back():
    """What is written beside the sheets restores, remarks and all."""
    whole = text_file.write(SET, ("a remark", "another"))
    assert recover(typed.read(whole, "typed")).sets[0].body == BODY


def test_the_text_of_a_symbol_is_read():
    """What any QR reader gives is taken as it is."""
    block = qr.encode_block(SET.head_line, 1, SET.lines)
    assert recover(typed.read(f"{block}\n", "typed")).sets[0].body == BODY


ENCODINGS = {
    "UTF-8": "utf-8",
    "UTF-8 with a mark": "utf-8-sig",
    "UTF-16": "utf-16",
    "line ends of Windows": "crlf",
}


@pytest.mark.parametrize("name", ENCODINGS)
def test_encodings(name):
    """As editors save text."""
    whole = text_file.write(SET, ("Zoë",))
    data = (
        whole.replace("\n", "\r\n").encode()
        if name.startswith("line")
        else whole.encode(ENCODINGS[name])
    )
    assert recover(next(sources.read(data, "typed")).raw_lines).sets[0].body == BODY


def test_places_are_rows():
    """A row is named by its number in the file."""
    raw_lines = typed.read(f"# remark\n\n0 {SET.head_line}\n\n7 {LINE}\n", "typed.txt")
    assert [str(one.place) for one in raw_lines] == ["typed.txt, row 3", "typed.txt, row 5"]


@pytest.mark.parametrize("data", [b"\xff\xfe\0", b"\x80abc", b"abc\0def"])
def test_what_is_no_text_is_refused(data):
    """Neither text nor a picture: an error of ours."""
    with pytest.raises(SourceError):
        next(sources.read(data, "typed"))


def test_a_line_that_is_too_short_is_named():
    """A row that begins like a line and breaks off is a wrong line, not prose."""
    rows = text_file.write(SET, ()).replace(group(LINE), group(LINE)[:14])
    (found,) = recover(typed.read(rows, "typed")).sets
    assert found.lines[6].status is Status.WRONG
    assert "12 characters" in found.lines[6].remark
