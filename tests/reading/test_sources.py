"""Sources of any kind: text or pictures by their first bytes, or an error of ours."""

import builtins
import random

import pytest
from pictures import LENGTHS, encoded, printed, rendered

from paperkey_alt.errors import MissingExtra, SourceError
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.reading import kinds, sources
from paperkey_alt.sheet import layout, listing, text_file

SET = lay_out(random.Random(5).randbytes(100), 3)
TEXT = text_file.write(SET, ("Zoë",))
EVERY = {0, *range(1, SET.head.total + 1)}


def numbers(data, **options):
    """The numbers of the lines read from a source."""
    return {
        line.number for page in sources.read(data, "source", **options) for line in page.raw_lines
    }


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_text_is_one_page_of_none(encoding, end):
    """In any encoding that editors save, it is page 0 of 0, and has no symbols and sheets."""
    (page,) = sources.read(TEXT.replace("\n", end).encode(encoding), "typed.txt")
    assert (page.source, page.page, page.pages) == ("typed.txt", 0, 0)
    assert {line.number for line in page.raw_lines} == EVERY
    assert (page.blocks, page.sheets) == ((), ())


@pytest.mark.parametrize("data", [b"", b"\n\n", "# ¡hola!\n".encode(), b"Dear keepers,\n"])
def test_a_text_without_lines_is_a_text(data):
    """Nothing is found in it, and that is no error here."""
    (page,) = sources.read(data, "typed.txt")
    assert page.raw_lines == ()


def test_a_printed_restorer_is_passed_over():
    """That is said, at once; what is on its pages is not looked at."""
    program = listing.draw("print()\n", "The restorer, rescue.py", paper=layout.PAPERS["a4"])
    (page,) = sources.read(program, "4-restorer.pdf")
    assert (page.raw_lines, page.pages) == ((), 0)
    assert page.advice[0].startswith("4-restorer.pdf is the printed restorer")


NO_TEXT = {
    "a byte that no UTF-8 has": b"\x80abc",
    "cut within a character": TEXT.encode()[: TEXT.encode().index("ë".encode()) + 1],
    "half a UTF-16 character": b"\xff\xfe\0",
    "a surrogate alone in UTF-16": b"\xff\xfe\x00\xd8",
    "a zero byte": b"1 ABC\0DEF",
    "nothing but zeros": bytes(50),
    "Latin-1": "Zoë".encode("latin-1"),
}


@pytest.mark.parametrize("name", NO_TEXT)
def test_what_is_neither_text_nor_a_picture(name):
    """One error, with the source's name and what can be given."""
    with pytest.raises(SourceError, match="source is neither text nor a picture") as caught:
        numbers(NO_TEXT[name])
    assert "PDF" in caught.value.advice


PICTURES = ("PDF", "PNG", "JPEG", "TIFF", "WebP", "BMP", "GIF")


def pictured(kind):
    """A sheet as a file of this kind."""
    _, pdf = printed(LENGTHS[11.0])
    if kind == "PDF":
        return pdf
    picture = rendered(pdf, 100)
    return encoded(picture.convert("RGB") if kind == "WebP" else picture, kind.upper())


@pytest.mark.parametrize("kind", PICTURES)
def test_pictures_are_told_by_their_first_bytes(kind):
    """Each kind that is read, whatever it is called; a text is none."""
    made, _ = printed(LENGTHS[11.0])
    assert kinds.is_picture(pictured(kind))
    assert not kinds.is_picture(TEXT.encode())
    assert numbers(pictured(kind)) == {0, *range(1, made.head.total + 1)}


def test_thorough_reading_is_handed_on():
    """Only then are rows looked at on a page whose symbols are legible."""
    (page,) = sources.read(pictured("BMP"), "scan")
    assert page.sheets == ()
    (page,) = sources.read(pictured("BMP"), "scan", thorough=True)
    assert len(page.sheets) == 1


def test_without_the_imaging_libraries(monkeypatch):
    """A picture is an error that names what is missing and how to get it; a text needs none."""
    real = builtins.__import__

    def without(name, *given, **named):
        if name == "paperkey_alt.reading.image":
            raise ImportError(name="PIL")
        return real(name, *given, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    assert numbers(TEXT.encode()) == EVERY
    with pytest.raises(MissingExtra, match="reading pictures needs the library PIL") as caught:
        numbers(pictured("PNG"))
    assert "ragleaf[scan]" in caught.value.advice
