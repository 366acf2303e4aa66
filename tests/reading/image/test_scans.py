"""Pictures of sheets: good and bad scans give their lines, hostile files an error of ours."""

import io
import random

import numpy as np
import pytest
import segno
from pictures import LENGTHS, encoded, printed, rendered, scanned
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from reportlab.lib.pdfencrypt import StandardEncryption
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.errors import SourceError
from paperkey_alt.reading import sources
from paperkey_alt.reading.image import scans

LARGE, LARGE_PDF = printed(LENGTHS[11.5])
DENSE, DENSE_PDF = printed(LENGTHS["two sheets"])


def raw_lines(data, name="scan"):
    """All that is sighted in a file."""
    return [one for part in sources.read(data, name) for one in part.raw_lines]


def numbers(data, name="scan"):
    """The numbers of the lines read from a file."""
    return {one.number for one in raw_lines(data, name)}


@pytest.mark.parametrize("skew", [-2, 0, 2])
@pytest.mark.parametrize("dpi", [150, 200, 300])
@pytest.mark.parametrize("pdf", [LARGE_PDF, DENSE_PDF], ids=["large type", "dense"])
def test_every_symbol_is_read_from_an_ordinary_scan(pdf, dpi, skew):
    """
    At 150, 200 and 300 dpi, with blur, noise and 2° of skew: every block that was drawn, with the
    text it was drawn from.
    """
    made = LARGE if pdf is LARGE_PDF else DENSE
    picture = scanned(rendered(pdf, dpi), dpi + skew, skew=skew, blur=dpi / 300, noise=12)
    seen = {one.number: one.text for one in raw_lines(encoded(picture))}
    on_page = min(made.head.total, 120)
    assert seen == {0: made.head_line} | dict(enumerate(made.lines[:on_page], 1))


WAYS = {
    "PNG": encoded,
    "JPEG": lambda picture: encoded(picture, "JPEG", quality=60),
    "1-bit TIFF": lambda picture: encoded(picture.convert("1"), "TIFF", compression="group4"),
    "WebP": lambda picture: encoded(picture.convert("RGB"), "WEBP"),
    "BMP": lambda picture: encoded(picture, "BMP"),
    "colour": lambda picture: encoded(picture.convert("RGB")),
    "palette": lambda picture: encoded(picture.convert("P")),
    "transparent paper": lambda picture: encoded(
        Image.merge("LA", (Image.new("L", picture.size), Image.eval(picture, lambda v: 255 - v)))
    ),
    "upside down": lambda picture: encoded(picture.rotate(180)),
    "sideways": lambda picture: encoded(picture.rotate(90, expand=True)),
    "EXIF orientation": lambda picture: encoded(
        picture.rotate(90, expand=True), "JPEG", exif=bytes(turned_exif())
    ),
    "PDF of a picture": lambda picture: encoded(picture, "PDF", resolution=300),
    "16-bit grey": lambda picture: encoded(
        Image.fromarray(np.asarray(picture).astype(np.uint16) * 257)
    ),
    "CMYK": lambda picture: encoded(picture.convert("CMYK"), "TIFF"),
    "1,200 dpi, 1-bit": lambda _: encoded(rendered(LARGE_PDF, 1200).convert("1")),
    "600 dpi": lambda _: encoded(rendered(LARGE_PDF, 600)),
    "100 dpi": lambda _: encoded(rendered(LARGE_PDF, 100)),
}


def turned_exif():
    """EXIF data that says that the picture lies on its side."""
    exif = Image.Exif()
    exif[0x0112] = 6
    return exif.tobytes()


@pytest.mark.parametrize("way", WAYS)
def test_every_kind_of_picture(way):
    """Formats, depths and orientations."""
    assert numbers(WAYS[way](rendered(LARGE_PDF))) == set(range(LARGE.head.total + 1))


def test_several_pages_in_one_file():
    """Of a PDF and of a TIFF, each page in its turn; the pages are told apart in the places."""
    pages = [rendered(DENSE_PDF, page=page) for page in (0, 1)]
    for data in (DENSE_PDF, encoded(pages[0], "TIFF", save_all=True, append_images=pages[1:])):
        parts = list(sources.read(data, "sheets"))
        assert {one.number for part in parts for one in part.raw_lines} == set(
            range(DENSE.head.total + 1)
        )
        assert [len(part.blocks) for part in parts] == [5, 5]
        assert [(part.page, part.pages) for part in parts] == [(1, 2), (2, 2)]
        assert [{one.place.sheet for one in part.raw_lines} for part in parts] == [{1}, {2}]


def test_other_codes_on_the_picture_are_passed_over():
    """A code that is not ours is no line and no error."""
    picture = rendered(LARGE_PDF).copy()
    target = io.BytesIO()
    segno.make("https://saltmarrow.example/tides").save(target, kind="png", scale=6)
    picture.paste(Image.open(target).convert("L"), (1100, 1500))
    assert numbers(encoded(picture)) >= {0, 1}
    assert all(len(one.text) == 29 for one in raw_lines(encoded(picture)))
    only = Image.new("L", (800, 800), 255)
    only.paste(Image.open(target).convert("L"), (50, 50))
    assert raw_lines(encoded(only)) == []


def noise(length):
    """Bytes that mean nothing."""
    return random.Random(9).randbytes(length)


def blank_pdf(pages=1, **options):
    """A PDF with nothing on its pages."""
    target = io.BytesIO()
    canvas = Canvas(target, **options)
    for _ in range(pages):
        canvas.showPage()
    canvas.save()
    return target.getvalue()


def blank_tiff(frames):
    """A TIFF with nothing on its frames."""
    return encoded(
        Image.new("1", (1, 1)),
        "TIFF",
        save_all=True,
        append_images=[Image.new("1", (1, 1))] * (frames - 1),
    )


def bomb():
    """A small picture with a compressed remark that is not small."""
    remark = PngInfo()
    remark.add_text("Comment", "x" * 70_000_000, zip=True)
    return encoded(Image.new("L", (900, 900)), pnginfo=remark)


GOOD = encoded(rendered(LARGE_PDF, 100))
HOSTILE = {
    "a truncated PNG": GOOD[: len(GOOD) // 2],
    "a PNG of its first bytes": GOOD[:20],
    "a truncated JPEG": encoded(rendered(LARGE_PDF, 100), "JPEG")[:3000],
    "a truncated TIFF": encoded(rendered(LARGE_PDF, 100), "TIFF")[:3000],
    "a truncated PDF": LARGE_PDF[:3000],
    "PNG magic and noise": b"\x89PNG\r\n\x1a\n" + noise(500),
    "JPEG magic and noise": b"\xff\xd8\xff" + noise(500),
    "TIFF magic and noise": b"II*\0" + noise(500),
    "PDF magic and noise": b"%PDF-1.4\n" + noise(500),
    "PDF without pages": b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj "
    b"2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\n"
    b"trailer<</Root 1 0 R>>\n%%EOF",
    "RIFF that is no picture": b"RIFF\x10\0\0\0WAVEfmt " + noise(50),
    "BMP magic and noise": b"BM" + noise(100),
    "150,000 × 1,000 pixels": encoded(Image.new("1", (150_000, 1000), 1)),
    "more memory than there is for one": encoded(Image.new("RGB", (9000, 16_000)), "WEBP"),
    "a text of 70 million characters": bomb(),
    "20,000 × 20,000 pixels": encoded(Image.new("1", (20_000, 20_000), 1)),
    "a PDF page of 200 inches": blank_pdf(pagesize=(14_400, 14_400)),
    "a PDF of 501 pages": blank_pdf(501),
    "a TIFF of 501 pages": blank_tiff(501),
    "a PDF under a password": blank_pdf(encrypt=StandardEncryption("tide")),
    "binary noise": b"\0" + noise(500),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused(name):
    """A clear error of ours, with advice; never another exception."""
    with pytest.raises(SourceError) as caught:
        list(sources.read(HOSTILE[name], "scan"))
    assert "scan" in str(caught.value)
    assert caught.value.advice


def test_as_many_pages_as_there_may_be():
    """Five hundred pages are read; hostile is only what is more."""
    assert [part.page for part in sources.read(blank_tiff(500), "pages")] == list(range(1, 501))


def test_what_to_do_about_a_password():
    """The advice names the password, not the scanner."""
    with pytest.raises(SourceError) as caught:
        list(sources.read(HOSTILE["a PDF under a password"], "scan"))
    assert "password" in caught.value.advice


def test_a_page_without_blocks_is_counted_as_such():
    """A blank page gives nothing, and that is known."""
    (part,) = sources.read(encoded(Image.new("L", (600, 800), 255)), "blank.png")
    assert (part.page, part.pages, part.raw_lines, part.blocks, part.sheets) == (1, 1, (), (), ())


def test_pages_come_one_at_a_time():
    """The next page is not decoded before it is asked for."""
    pages = scans.pages(DENSE_PDF, "sheets")
    assert next(pages).size == (2481, 3508)
    pages.close()


def test_the_name_of_a_file_does_not_matter():
    """What a file is, its first bytes say."""
    assert (
        numbers(encoded(rendered(LARGE_PDF)), "scan.pdf")
        == numbers(LARGE_PDF, "scan.txt")
        == set(range(LARGE.head.total + 1))
    )
