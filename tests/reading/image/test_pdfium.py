"""PDFium by its own functions: the same as pypdfium2 makes of the same files with them."""

import io
import math
import sys

import pypdfium2
import pypdfium2.raw
import pytest
from pictures import LENGTHS, encoded, printed
from PIL import Image
from reportlab.lib.pdfencrypt import StandardEncryption
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.reading.image import pdfium


def with_pictures():
    """A PDF of a page with a picture, and one with two, the second within a form."""
    picture = ImageReader(Image.effect_noise((60, 40), 50))
    target = io.BytesIO()
    canvas = Canvas(target, pagesize=(300, 200))
    canvas.drawImage(picture, 10, 20, 120, 80)
    canvas.showPage()
    canvas.beginForm("form")
    canvas.drawImage(picture, 0, 0, 30, 20)
    canvas.endForm()
    canvas.drawImage(picture, 5, 5, 60, 40)
    canvas.doForm("form")
    canvas.showPage()
    canvas.save()
    return target.getvalue()


FILES = {
    "sheets": lambda: printed(LENGTHS["two sheets"])[1],
    "pictures": with_pictures,
    "a scan": lambda: encoded(Image.effect_noise((80, 70), 60), "PDF", resolution=72),
}


@pytest.mark.parametrize("name", FILES)
def test_pages_are_those_of_pypdfium2(name):
    """Their number, sizes and pixels, and the pictures on them, also within forms."""
    data = FILES[name]()
    with pdfium.Document(data) as document, pypdfium2.PdfDocument(data) as same:
        assert len(document) == len(same)
        pages = document.pages(range(1, len(same) + 1))
        for page, expected in zip(pages, same, strict=True):
            assert (page.width, page.height) == (expected.get_width(), expected.get_height())
            bitmap = expected.render(scale=2, grayscale=True)
            wide, high = math.ceil(2 * page.width), math.ceil(2 * page.height)
            assert (wide, high) == (bitmap.width, bitmap.height)
            assert page.rendered(wide, high) == memoryview(bitmap.buffer).cast("B")
            pictures = expected.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
            assert [*page.pictures()] == [
                ((right - left) * (top - bottom), math.prod(picture.get_px_size()))
                for picture in pictures
                for left, bottom, right, top in (picture.get_bounds(),)
            ]


def test_a_page_is_taken_by_its_number():
    """From 1, in the order that is asked for."""
    with pdfium.Document(with_pictures()) as document:
        assert [len([*page.pictures()]) for page in document.pages([2, 1])] == [2, 1]
        with pytest.raises(pdfium.PdfError):
            next(document.pages([3]))


def locked():
    """A PDF under a password."""
    target = io.BytesIO()
    canvas = Canvas(target, encrypt=StandardEncryption("tide"))
    canvas.showPage()
    canvas.save()
    return target.getvalue()


NOT_OPENED = {
    "a password": (locked, True),
    "nothing": (lambda: b"", False),
    "the first bytes alone": (lambda: b"%PDF-1.4\n", False),
    "cut short": (lambda: with_pictures()[:400], False),
    "noise": (lambda: b"%PDF-1.4\n" + bytes(range(256)), False),
}


@pytest.mark.parametrize("name", NOT_OPENED)
def test_what_cannot_be_opened(name):
    """An error of ours, which tells whether a password is what is missing."""
    make, is_locked = NOT_OPENED[name]
    with pytest.raises(pdfium.PdfError) as caught:
        pdfium.Document(make())
    assert caught.value.is_locked is is_locked


def test_a_library_that_is_elsewhere_is_found(monkeypatch):
    """Where a system brings PDFium itself, by what pypdfium2 says of it."""
    monkeypatch.setitem(pdfium._NAMES, sys.platform, "not-there.so")
    assert pdfium._library().FPDF_GetPageCount(None) == 0


def test_without_the_library(monkeypatch):
    """An ImportError that names what is to be installed."""
    monkeypatch.setattr(pdfium, "find_spec", lambda _: None)
    with pytest.raises(ImportError) as caught:
        pdfium._library()
    assert caught.value.name == "pypdfium2"
