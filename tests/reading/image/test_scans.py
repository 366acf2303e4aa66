"""Pictures of sheets: good and bad scans give their lines, hostile files an error of ours."""

import io
import random

import numpy as np
import pytest
import segno
from pictures import LENGTHS, encoded, printed, rendered, scanned, sheet
from PIL import Image, ImageOps
from PIL.PngImagePlugin import PngInfo
from reportlab.lib.pdfencrypt import StandardEncryption
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.errors import SourceError
from paperkey_alt.reading import sources
from paperkey_alt.reading.image import scans


def large():
    """A set on one sheet in large type, and the sheet."""
    return printed(LENGTHS[11.0])


def dense():
    """A set on two sheets, and the sheets."""
    return printed(LENGTHS["two sheets"])


def raw_lines(data, name="scan"):
    """All that may be lines in a file."""
    return [line for page in sources.read(data, name) for line in page.raw_lines]


def numbers(data, name="scan"):
    """The numbers of the lines read from a file."""
    return {line.number for line in raw_lines(data, name)}


# Each size, resolution and skew in the shortest pictures; the other combinations take long.
SHORT = {("large type", 150, 2), ("large type", 200, 0), ("dense", 150, -2), ("dense", 300, 0)}


@pytest.mark.long
@pytest.mark.parametrize(
    ("size", "dpi", "skew"),
    [
        pytest.param(
            size, dpi, skew, marks=[] if (size, dpi, skew) in SHORT else [pytest.mark.long]
        )
        for size in ("large type", "dense")
        for dpi in (150, 200, 300)
        for skew in (-2, 0, 2)
    ],
)
def test_every_symbol_is_read_from_an_ordinary_scan(size, dpi, skew):
    """
    At 150, 200 and 300 dpi, with blur, noise and 2° of skew: every block that was drawn, with the
    text it was drawn from.
    """
    made, pdf = large() if size == "large type" else dense()
    picture = scanned(rendered(pdf, dpi), dpi + skew, skew=skew, blur=dpi / 300, noise=12)
    seen = {line.number: line.text for line in raw_lines(encoded(picture, "BMP"))}
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
    "16-bit grey": lambda picture: encoded(deep(picture)),
    "16-bit grey, the other byte order": lambda picture: encoded(
        Image.fromarray(np.asarray(deep(picture)).astype(">u2")), "TIFF"
    ),
    "16-bit grey, white being 0": lambda picture: encoded(
        Image.fromarray(65535 - np.asarray(deep(picture))), "TIFF", tiffinfo={262: 0}
    ),
    "12 bits of 16": lambda picture: encoded(Image.fromarray(np.asarray(deep(picture)) >> 4)),
    "32-bit grey": lambda picture: encoded(
        Image.fromarray(np.asarray(deep(picture)).astype(np.int32)), "TIFF"
    ),
    "float grey to 1": lambda picture: encoded(
        Image.fromarray(np.asarray(deep(picture)).astype(np.float32) / 65535), "TIFF"
    ),
    "float grey to 255": lambda picture: encoded(
        Image.fromarray(np.asarray(deep(picture)).astype(np.float32) / 257), "TIFF"
    ),
    "16-bit PGM": lambda picture: encoded(deep(picture), "PPM"),
    "PGM": lambda picture: encoded(inked(picture), "PPM"),
    "JPEG 2000": lambda picture: encoded(inked(picture), "JPEG2000"),
    "16-bit JPEG 2000": lambda picture: encoded(deep(picture), "JPEG2000"),
    "AVIF": lambda picture: encoded(inked(picture), "AVIF", speed=10),
    "BigTIFF": lambda picture: encoded(inked(picture), "TIFF", big_tiff=True),
    "inverted": lambda picture: encoded(ImageOps.invert(inked(picture))),
    "PDF with a printer's words before it": lambda _: b"\x1b%-12345X@PJL JOB\r\n" + large()[1],
    "two pictures in one JPEG, as telephones make": lambda picture: encoded(
        inked(picture), "MPO", save_all=True, append_images=[Image.new("L", (64, 64), 9)]
    ),
    "CMYK": lambda picture: encoded(picture.convert("CMYK"), "TIFF"),
    "1,200 dpi, the symbols alone": lambda _: encoded(symbols_alone()),
    "100 dpi": lambda _: encoded(rendered(large()[1], 100)),
}


def inked(picture):
    """With ink that is not quite black, on paper that is not quite white, as scanners give them."""
    return picture.point(lambda value: 25 + value * 210 // 255)


def deep(picture):
    """With ink and paper as such a scanner gives them in 16 bits."""
    return Image.fromarray(np.asarray(inked(picture)).astype(np.uint16) * 257 + 99)


def symbols_alone():
    """The column of the symbols at 1,200 dpi: 39 million pixels, more than are needed."""
    return rendered(large()[1], 1200, crop=(385, 0, 0, 0)).convert("1")


@pytest.mark.long
@pytest.mark.parametrize(("dpi", "mode"), [(300, "L"), (600, "L"), (1200, "1")])
def test_a_page_of_as_many_pixels_as_a_scanner_makes(dpi, mode):
    """A4 at 300 and 600 dpi in grey, and at 1,200 dpi in black and white."""
    assert numbers(encoded(rendered(large()[1], dpi).convert(mode))) == set(
        range(large()[0].head.total + 1)
    )


def turned_exif():
    """EXIF data that says that the picture lies on its side."""
    exif = Image.Exif()
    exif[0x0112] = 6
    return exif.tobytes()


# What scanners make as a rule; the rest is long.
USUAL = ("PNG", "JPEG", "1-bit TIFF", "upside down", "16-bit grey", "PDF of a picture")


@pytest.mark.parametrize(
    "way", [pytest.param(way, marks=[pytest.mark.long] * (way not in USUAL)) for way in WAYS]
)
def test_every_kind_of_picture(way):
    """Formats, depths and orientations."""
    assert numbers(WAYS[way](rendered(large()[1], 200))) == set(range(large()[0].head.total + 1))


def test_ink_and_paper_of_deep_grey_are_where_they_were():
    """What had 25 and 235 of 255 has them still, to a step, at any depth and order of bytes."""
    picture = rendered(large()[1], 100)
    true = np.asarray(inked(picture)).astype(int)
    for way, made in WAYS.items():
        if way.startswith(("16-bit", "32-bit", "float")) and "JPEG" not in way:
            (page,) = scans.pages(made(picture), way)
            assert np.abs(np.asarray(page.picture()).astype(int) - true).max() <= 1


@pytest.mark.long
@pytest.mark.parametrize("turned", [ImageOps.invert, ImageOps.mirror])
def test_an_inverted_page_gives_its_rows_at_once(turned, monkeypatch):
    """Light ink on dark or seen from behind, without symbols: read before any more is tried."""
    monkeypatch.delattr("paperkey_alt.reading.image.symbols.read_slowly")
    made, picture = sheet(11.0, dpi=150)
    assert numbers(encoded(turned(inked(picture)), "BMP")) == set(range(made.head.total + 1))


def scan_in_pdf(dpi, tagged):
    """A scan at *dpi* in a PDF that claims it to be of *tagged* dpi."""
    return encoded(inked(rendered(large()[1], dpi)), "PDF", resolution=tagged)


@pytest.mark.parametrize(("dpi", "tagged"), [(300, 72), (200, 1200), (200, 20)])
def test_a_scan_in_a_pdf_whatever_it_claims_to_measure(dpi, tagged):
    """Of pages of metres or of millimetres: rendered at what is there, and read in full."""
    data = scan_in_pdf(dpi, tagged)
    (page,) = scans.pages(data, "scan")
    assert 2400 < page.width < 2560
    assert numbers(data) == set(range(large()[0].head.total + 1))


def test_a_pdf_page_of_any_nominal_size_is_rendered_within_bounds():
    """From a thumbnail to a street's length, never more pixels than can be worked with."""
    for size in ((14_400, 14_400), (1, 1), (3, 14_400), (612, 792), (2384, 3370)):
        (page,) = scans.pages(blank_pdf(pagesize=size), "scan")
        assert page.width * page.height <= 36_100_000
        assert max(page.width, page.height) <= 20_000


@pytest.mark.long
@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_cut_short_gives_what_is_there(progressive):
    """The lines above the cut, or of a progressive one all that can be made out; and it says so."""
    data = encoded(inked(rendered(large()[1], 200)), "JPEG", quality=80, progressive=progressive)
    (page,) = scans.pages(data[: len(data) * 3 // 5], "scan")
    assert page.is_cut_short
    (page,) = sources.read(data[: len(data) * 3 // 5], "scan")
    assert {line.number for line in page.raw_lines} >= set(range(13))
    assert page.is_cut_short
    (page,) = sources.read(data, "scan")
    assert not page.is_cut_short


OTHER_KINDS = {
    "HEIC": (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC", "JPEG"),
    "video": (b"\0\0\0\x18ftypisom\0\0\0\0", "video", "pictures"),
    "JPEG XL": (b"\xff\x0a" + bytes(40), "JPEG XL", "JPEG"),
    "DjVu": (b"AT&TFORM" + bytes(40), "DjVu", "PDF"),
    "PostScript": (b"%!PS-Adobe-3.0\n\0", "PostScript", "PDF"),
    "archive": (b"PK\x03\x04" + bytes(40), "ZIP", "PDF"),
    "AVIF that is none": (b"\0\0\0\x1cftypavif" + bytes(40), "AVIF", "JPEG"),
}


@pytest.mark.parametrize("kind", OTHER_KINDS)
def test_what_is_not_read_is_named_with_the_way_to_convert_it(kind):
    """Never "neither text nor a picture", of what telephones and scanners make."""
    data, title, way = OTHER_KINDS[kind]
    with pytest.raises(SourceError, match=f"scan is .*{title}.*Ragleaf cannot read") as caught:
        list(sources.read(data, "scan"))
    assert way in caught.value.advice


def test_several_pages_in_one_file():
    """Of a PDF and of a TIFF, each page in its turn; the pages are told apart in the places."""
    pages = [rendered(dense()[1], page=page) for page in (0, 1)]
    for data in (dense()[1], encoded(pages[0], "TIFF", save_all=True, append_images=pages[1:])):
        read = list(sources.read(data, "sheets"))
        assert {line.number for page in read for line in page.raw_lines} == set(
            range(dense()[0].head.total + 1)
        )
        assert [len(page.blocks) for page in read] == [4, 4]
        assert [(page.page, page.pages) for page in read] == [(1, 2), (2, 2)]
        assert [{line.place.sheet for line in page.raw_lines} for page in read] == [{1}, {2}]


def test_other_codes_on_the_picture_are_passed_over():
    """A code that is not ours is no line and no error."""
    picture = rendered(large()[1], 150).copy()
    target = io.BytesIO()
    segno.make("https://saltmarrow.example/tides").save(target, kind="png", scale=6)
    picture.paste(Image.open(target).convert("L"), (550, 750))
    assert numbers(encoded(picture)) >= {0, 1}
    assert all(len(line.text) == 29 for line in raw_lines(encoded(picture)))
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


def good(kind="PNG"):
    """A picture of a sheet, as a file."""
    return encoded(rendered(large()[1], 100), kind)


# What takes a while to make is made when its test runs.
HOSTILE = {
    "a truncated PNG": lambda: good()[: len(good()) // 2],
    "a PNG of its first bytes": lambda: good()[:20],
    "a truncated JPEG": lambda: good("JPEG")[:3000],
    "a truncated TIFF": lambda: good("TIFF")[:3000],
    "a truncated PDF": lambda: large()[1][:3000],
    "PNG magic and noise": b"\x89PNG\r\n\x1a\n" + noise(500),
    "JPEG magic and noise": b"\xff\xd8\xff" + noise(500),
    "TIFF magic and noise": b"II*\0" + noise(500),
    "PDF magic and noise": b"%PDF-1.4\n" + noise(500),
    "PDF without pages": (
        b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n"
        b"2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\n"
        b"trailer<</Root 1 0 R>>\n%%EOF"
    ),
    "RIFF that is no picture": b"RIFF\x10\0\0\0WAVEfmt " + noise(50),
    "BMP magic and noise": b"BM" + noise(100),
    "150,000 × 1,000 pixels": lambda: encoded(Image.new("1", (150_000, 1000), 1), compress_level=1),
    "more memory than there is for one": lambda: encoded(
        Image.new("RGB", (6500, 6500)), "WEBP", method=0
    ),
    "a text of 70 million characters": bomb,
    "20,000 × 20,000 pixels": lambda: encoded(
        Image.new("1", (20_000, 20_000), 1), compress_level=1
    ),
    "a PDF of 501 pages": lambda: blank_pdf(501),
    "a TIFF of 501 pages": lambda: blank_tiff(501),
    "a PDF under a password": lambda: blank_pdf(encrypt=StandardEncryption("tide")),
    "binary noise": b"\0" + noise(500),
}


@pytest.mark.long
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused(name):
    """A clear error of ours, with advice; never another exception."""
    data = HOSTILE[name]() if callable(HOSTILE[name]) else HOSTILE[name]
    with pytest.raises(SourceError) as caught:
        list(sources.read(data, "scan"))
    assert "scan" in str(caught.value)
    assert caught.value.advice


def test_as_many_pages_as_there_may_be():
    """Five hundred pages are read; hostile is only what is more."""
    assert [page.page for page in sources.read(blank_tiff(500), "pages")] == list(range(1, 501))


def test_what_to_do_about_a_password():
    """The advice names the password, not the scanner."""
    with pytest.raises(SourceError) as caught:
        list(sources.read(HOSTILE["a PDF under a password"](), "scan"))
    assert "password" in caught.value.advice


def test_a_page_without_blocks_is_counted_as_such():
    """A blank page gives nothing, and that is known."""
    (page,) = sources.read(encoded(Image.new("L", (600, 800), 255)), "blank.png")
    assert (page.page, page.pages, page.raw_lines, page.blocks, page.sheets) == (1, 1, (), (), ())


def test_pages_come_one_at_a_time():
    """The next page is not decoded before it is asked for."""
    pages = scans.pages(dense()[1], "sheets")
    assert next(pages).picture().size == (2481, 3508)
    pages.close()


def test_the_name_of_a_file_does_not_matter():
    """What a file is, its first bytes say."""
    assert (
        numbers(encoded(rendered(large()[1])), "scan.pdf")
        == numbers(large()[1], "scan.txt")
        == set(range(large()[0].head.total + 1))
    )
