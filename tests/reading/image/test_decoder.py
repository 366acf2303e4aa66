"""The process that decodes: what it gives of a page, and that what it says is checked."""

import io
import random

import pytest
from pictures import LENGTHS, encoded, printed, rendered
from PIL import Image

from paperkey_alt.errors import SourceError
from paperkey_alt.reading import sources
from paperkey_alt.reading.image import codes, decoder, scans
from paperkey_alt.reading.image.decoder_process import CORNERS, Answer, numbers
from paperkey_alt.reading.image.grey import Grey


def sheets():
    """A set on two sheets, and these as a PDF."""
    return printed(LENGTHS["two sheets"])


def test_symbols_and_pixels_are_those_that_are_found_here():
    """Of each page of a PDF, in either way of telling black from white, in any order."""
    _, pdf = sheets()
    here = [Grey(*page) for page in scans.pages(pdf)]
    with decoder.decoded(pdf, "sheets.pdf") as (count, pages):
        assert count == len(here)
        for page, same in zip(pages, here, strict=True):
            for binarizer in (codes.GLOBAL_HISTOGRAM, codes.LOCAL_AVERAGE):
                assert page.codes(binarizer) == same.codes(binarizer)
            assert len(page.codes(codes.LOCAL_AVERAGE)) == 4
            assert (page.width, page.height) == (same.width, same.height)
            assert page.grey.pixels == same.pixels
            assert page.codes(codes.LOCAL_AVERAGE) == same.codes(codes.LOCAL_AVERAGE)


def many_pages(kind):
    """A file of five pages, each of another size."""
    first, *others = [Image.new("L", (100 + page, 90), 10 * page) for page in range(5)]
    return encoded(first, kind, save_all=True, append_images=others)


@pytest.mark.parametrize("kind", ["PDF", "TIFF"])
@pytest.mark.parametrize("wanted", [(), (2,), (1, 4, 5)])
def test_only_pages_that_are_wanted_are_decoded(kind, wanted):
    """Those and no others, in order; how many there are is told all the same."""
    data = many_pages(kind)
    every = [Grey(*page) for page in scans.pages(data)]
    expected = [every[number - 1] for number in wanted or (1, 2, 3, 4, 5)]
    with decoder.decoded(data, "scan", wanted) as (count, pages):
        assert count == 5
        assert [page.grey for page in pages] == expected


def test_a_page_that_is_not_there_is_no_page():
    """Where a file has become shorter since: an error of ours."""
    with (
        decoder.decoded(many_pages("TIFF"), "scan", [6]) as (_, pages),
        pytest.raises(SourceError, match="scan cannot be decoded"),
    ):
        next(pages)


def test_of_legible_pages_no_pixels_come_and_no_symbol_is_looked_for_here(monkeypatch):
    """The library for symbols is not used in this process, and nothing is decoded in it."""
    made, pdf = sheets()

    def refuse(*_):
        raise AssertionError("asked for")

    monkeypatch.setattr(codes, "find", refuse)
    monkeypatch.setattr(decoder, "pull_pixels", refuse)
    read = {line.number for page in sources.read(pdf, "s.pdf") for line in page.raw_lines}
    assert read == set(range(made.head.total + 1))


def test_where_that_process_lacks_memory_symbols_are_looked_for_here(monkeypatch):
    """A page that it can decode, and no more, is read all the same."""
    made, pdf = printed(LENGTHS[13.2])
    monkeypatch.setattr(decoder, "pull_codes", lambda *_: pulled.append(1))
    pulled = []
    data = encoded(rendered(pdf, 100), "BMP")
    # The answers that were not pulled would be taken for the next.
    monkeypatch.setattr(decoder.DecodedPage, "grey", Grey.of(rendered(pdf, 100)))
    read = {line.number for page in sources.read(data, "s.bmp") for line in page.raw_lines}
    assert pulled
    assert read == set(range(made.head.total + 1))


SQUARE = (0, 0, 9, 0, 9, 9, 0, 9)


def code(text, corners=SQUARE, *, valid=1, length=None):
    """A symbol as the process tells it."""
    told = numbers(valid, len(text) if length is None else length)
    return CORNERS.pack(*corners) + told + text


def pulled(*parts):
    """The symbols in an answer that is put together of these parts."""
    return decoder.pull_codes(io.BytesIO(b"".join(parts)), "s.pdf")


def test_symbols_in_answers():
    """A text, or None where it could not be read; corners that are beside the page; no memory."""
    corners = (-3, 0, 9, -1, 9, 9, 0, 9)
    found = pulled(numbers(Answer.CODES, 2), code("Zoë".encode(), corners), code(b"", valid=0))
    assert found == [
        ("Zoë", ((-3, 0), (9, -1), (9, 9), (0, 9))),
        (None, ((0, 0), (9, 0), (9, 9), (0, 9))),
    ]
    mirrored = code(b"tide", (0, 0, 0, 9, 9, 9, 9, 0))
    assert pulled(numbers(Answer.CODES, 1), mirrored)[0][0] == "tide"
    nowhere = code(b"", [5] * 8, valid=0)
    assert pulled(numbers(Answer.CODES, 1), nowhere) == [(None, ((5, 5),) * 4)]
    assert pulled(numbers(Answer.CODES, 0)) == []
    assert pulled(numbers(Answer.NO_MEMORY)) is None


ONE = numbers(Answer.CODES, 1)
NO_ANSWERS = {
    "nothing": (b"",),
    "another answer": (numbers(Answer.PIXELS, 1),),
    "fewer symbols than announced": (numbers(Answer.CODES, 2), code(b"tide")),
    "more symbols than there can be": (numbers(Answer.CODES, 1 << 40), code(b"tide")),
    "a text longer than a symbol holds": (ONE, code(b"A" * (1 << 16))),
    "a text without an end": (ONE, code(b"tide", length=5)),
    "a text that is none": (ONE, code(b"\xff\xfe")),
    "a corner far from any page": (ONE, code(b"tide", (0, 0, 1 << 40, 0, 9, 9, 0, 9))),
    "four corners in one place": (ONE, code(b"tide", [5] * 8)),
    "four corners in a row": (ONE, code(b"tide", (0, 0, 1, 1, 2, 2, 3, 3))),
    "corners that cross": (ONE, code(b"tide", (0, 0, 9, 9, 9, 0, 0, 9))),
    "a corner within the others": (ONE, code(b"tide", (0, 0, 9, 0, 2, 2, 0, 9))),
    "cut within the corners": (ONE, code(b"tide")[:20]),
}


@pytest.mark.parametrize("name", NO_ANSWERS)
def test_what_is_no_answer_is_not_taken_for_one(name):
    """Whatever a decoder that was taken over says, it is symbols or it is refused."""
    with pytest.raises(decoder.Broken):
        pulled(*NO_ANSWERS[name])


def test_a_refusal_at_any_place():
    """It names the file, and gives its advice or the usual one."""
    for advice in (b"Scan it again.", b""):
        refusal = numbers(Answer.REFUSED, 12) + b"has no pages" + numbers(len(advice)) + advice
        with pytest.raises(SourceError, match=r"^s\.pdf has no pages") as caught:
            pulled(refusal)
        assert caught.value.advice == (advice.decode() or SourceError.advice)


def test_noise_in_the_place_of_answers():
    """Symbols, none, a refusal, or no answer; never another error."""
    for seed in range(200):
        noise = random.Random(seed).randbytes(60)
        for start in (b"", numbers(Answer.CODES), ONE, ONE + code(b"")[:-8]):
            with pytest.raises((decoder.Broken, SourceError)):
                pulled(start, noise)


def test_a_decoded_picture_is_let_go_before_its_page_is_looked_at():
    """Of a picture in colour only the grey page is held: the next step has room for its own."""
    data = encoded(Image.new("RGB", (400, 300), "white"))
    opened = []
    real = Image.open

    def noting(*given, **named):
        opened.append(real(*given, **named))
        return opened[-1]

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Image, "open", noting)
        pages = scans.pages(data)
        assert next(pages)[:2] == (400, 300)
        with pytest.raises(ValueError, match="closed"):
            opened[-1].getpixel((0, 0))
        assert list(pages) == []
