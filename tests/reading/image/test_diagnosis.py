"""What is said of a picture on which little or nothing was read."""

import pytest
from pictures import LENGTHS, pages, printed, rendered, scanned, sheet
from PIL import Image

from paperkey_alt.errors import NoHeadLine, NoLines
from paperkey_alt.format.recover import recover
from paperkey_alt.reading.image import diagnosis


def said(picture):
    """What is said of a picture by itself."""
    return diagnosis.hints(picture, (), legible=False)


def text_only(dpi=200):
    """A sheet without symbols."""
    return sheet(11.0, dpi=dpi)[1]


def pale(picture, contrast):
    """With print that is only so much darker than the paper."""
    return picture.point(lambda value: round(250 - (255 - value) * 250 / 255 * contrast))


FAULTS = {
    "blank": (
        lambda: Image.new("L", (1654, 2339), 245),
        "paper and print are of the same brightness",
    ),
    "70 dpi": (lambda: text_only(70), "about 70 dpi"),
    "pale": (lambda: pale(text_only(), 0.15), "print is only 15 % darker"),
    "blurred at 200 dpi": (lambda: scanned(text_only(), 1, blur=3, noise=6), "It is blurred"),
    "blurred at 300 dpi": (lambda: scanned(text_only(300), 2, blur=5, noise=6), "It is blurred"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_named(fault):
    """One sentence with what was measured, and one with what to do; only the first that applies."""
    picture, words = FAULTS[fault]
    (hint,) = said(picture())
    assert words in hint
    assert hint.count(". ") == 1


@pytest.mark.parametrize("blur", [0, 0.8, 1.6])
def test_what_is_legible_is_not_called_blurred(blur):
    """A blur with which pages are read is no fault."""
    (hint,) = said(scanned(text_only(), 3, blur=blur, noise=8))
    assert hint.startswith("No sheet was found by its corner marks")


@pytest.mark.long
def test_rows_beyond_the_picture_are_named():
    """Cut off through the rows: which lines, and that all of the sheet is wanted."""
    picture = rendered(printed(LENGTHS[11.0])[1], 150)
    (page,) = pages(picture.crop((0, 0, picture.width, round(0.6 * picture.height))))
    (hint,) = page.hints
    assert hint.startswith("The sheet is cut off: the rows of lines 37–44 ")
    assert {line.number for line in page.raw_lines} >= set(range(13))


def test_nothing_is_said_of_a_good_page():
    """Neither by its symbols nor by its rows."""
    assert [page.hints for page in pages(rendered(printed(LENGTHS[11.0])[1], 150))] == [()]
    assert [page.hints for page in pages(text_only(150))] == [()]


@pytest.mark.long
def test_a_blur_is_no_format_yet_to_come():
    """
    Of rows that nobody can read line 0 is given only where it makes a head: what is wrong is never
    the version.
    """
    true = printed(LENGTHS[11.0])[0].head
    for blur in (2.2, 3.5):
        picture = scanned(text_only(150), 0, blur=blur, noise=10)
        raw_lines = [raw_line for page in pages(picture) for raw_line in page.raw_lines]
        try:
            heads = [found.head for found in recover(raw_lines).sets]
        except (NoLines, NoHeadLine):
            heads = []
        assert heads in ([], [true])
