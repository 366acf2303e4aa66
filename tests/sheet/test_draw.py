"""
The PDF: what stands on it is what was to stand on it, and nothing of the key is in its metadata.
"""

import datetime as dt
import random

import pypdfium2
import pytest

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import group
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.reading import sources
from paperkey_alt.reading.text import typed
from paperkey_alt.sheet import draw, layout
from paperkey_alt.sheet.caption import Caption

FINGERPRINT = "5A2B4966F259FA1ED461D1C422E9DF7411088C8E"


def caption(
    user_id="Saltmarrow Buoy Keepers <notices@saltmarrow.example>",
    fingerprint=FINGERPRINT,
    **others,
):
    """Words for a sheet."""
    texts = {"notes": (), "recipe": ("How to restore.",), "cautions": ("How to keep.",)} | others
    return Caption("A title", user_id, fingerprint, dt.date(2026, 11, 25), **texts)


def line_set(length=300):
    """Some set."""
    return lay_out(random.Random(length).randbytes(length), spare_count(-(-length // 15)))


def texts(pdf):
    """The text of each page."""
    return [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(pdf)]


def raw_lines(pdf):
    """All that is read from a PDF."""
    return [one for part in sources.read(pdf, "s.pdf") for one in part.raw_lines]


@pytest.mark.long
@pytest.mark.parametrize("paper", layout.PAPERS)
@pytest.mark.parametrize("length", [20, 520, 800, 2755])
def test_printed_text_and_symbols_carry_the_same_lines(length, paper):
    """
    The text of the PDF and its QR blocks, read back by other libraries, are the lines of the set,
    every one.
    """
    made = line_set(length)
    pdf = draw.draw(made, caption(), paper=layout.PAPERS[paper])
    printed = " ".join(" ".join(texts(pdf)).split())
    expected = {0: made.head_line} | dict(enumerate(made.lines, 1))
    for number, characters in expected.items():
        assert f"{number} {group(characters)}" in printed
    seen = {one.number: one.text for one in raw_lines(pdf)}
    assert seen == expected


def test_the_head_line_stands_on_every_sheet():
    """Twice, at the head and the foot; with it the set mark, the date and the sheet's number."""
    made = line_set(2755)
    for number, text in enumerate(texts(draw.draw(made, caption(), paper=layout.PAPERS["a4"])), 1):
        assert " ".join(text.split()).count(f"0 {group(made.head_line)}") == 2
        for part in (
            made.head.mark,
            "2026-11-25",
            f"sheet {number} of 2",
            "5A2B 4966",
            "A title",
            "Saltmarrow Buoy Keepers",
        ):
            assert part in text


def test_the_same_input_gives_the_same_bytes():
    """Nothing but the date changes from print to print."""
    made = line_set()
    one, other = (draw.draw(made, caption(), paper=layout.PAPERS["a4"]) for _ in range(2))
    assert one == other


def test_the_metadata_says_nothing_of_the_key():
    """Title, author and the rest name the program alone."""
    made = line_set()
    metadata = pypdfium2.PdfDocument(
        draw.draw(made, caption(), paper=layout.PAPERS["a4"])
    ).get_metadata_dict()
    assert {value for key, value in metadata.items() if not key.endswith("Date")} <= {"Ragleaf", ""}


def test_every_font_is_embedded():
    """
    What is printed does not depend on the fonts of the viewer: each font object has a font file.
    """
    pdf = draw.draw(line_set(), caption(), paper=layout.PAPERS["a4"])
    fonts = pdf.count(b"/Type /Font\n") + pdf.count(b"/Type /Font ")
    assert fonts == 3
    assert pdf.count(b"/FontFile ") + pdf.count(b"/FontFile2 ") == 3
    assert b"Helvetica" not in pdf


USER_IDS = {
    "no user ID": None,
    "empty": "",
    "another script": "Σύλλογος σημαδούρων",
    "characters the font lacks": "潮汐 <tides@saltmarrow.example>",
    "right to left": "\u202egnp.exe\u202c",
    "a newline": "Saltmarrow\nBuoy",
    "a null": "Salt\0marrow",
    "an emoji": "\U0001f30a tide",
    "very long": "buoy " * 200,
    "markup": "<b>&amp;(\\)",
}


@pytest.mark.long
@pytest.mark.parametrize("name", USER_IDS)
def test_any_user_id_can_be_printed(name):
    """
    What the font lacks or what would not stand still is shown by its code point; nothing raises.
    """
    pdf = draw.draw(line_set(), caption(USER_IDS[name]), paper=layout.PAPERS["a4"])
    assert len(texts(pdf)) == 1
    assert {one.number for one in raw_lines(pdf)} == set(range(1 + len(line_set().lines)))
    assert "\u202e" not in "".join(texts(pdf))


def test_characters_that_are_not_there_are_named():
    """By their code points, in brackets."""
    assert draw.shown("a潮\u202e\n") == "a[U+6F6E][U+202E][U+000A]"
    assert draw.shown("Zoë — buoy") == "Zoë — buoy"


def test_a_long_fingerprint_fits():
    """That of a version 6 key has 64 digits."""
    (text,) = texts(
        draw.draw(line_set(), caption(fingerprint="AB12" * 16), paper=layout.PAPERS["letter"])
    )
    assert " ".join(["AB12"] * 16) in text


def test_words_that_do_not_fit_are_an_error_of_ours():
    """A recipe is never silently cut."""
    with pytest.raises(draw.TextTooLong):
        draw.draw(line_set(), caption(recipe=("buoy " * 2000,)), paper=layout.PAPERS["a4"])


def test_spare_lines_are_told_from_data_lines():
    """The legend names them; their numbers are framed."""
    made = line_set()
    (text,) = texts(draw.draw(made, caption(), paper=layout.PAPERS["a4"]))
    assert f"spare lines {made.head.data_lines + 1} to {made.head.total} (framed)" in text
    assert typed.read(f"1 {made.lines[0]}", "x")[0].text == made.lines[0]
