"""
Names in any script: printed as they are where that is right, with their address whole where it is
not.
"""

import datetime as dt

import pypdfium2
import pytest

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.sheet import draw, fonts, layout, names
from paperkey_alt.sheet.caption import Caption

# Names that the fonts of an installation have, as they are printed.
AS_THEY_ARE = {
    "Latin": "Łukasz Řehoř, Þórunn Ğül, Ștefan Ľuboš, İpek Ērika <l@saltmarrow.example>",
    "Greek": "Σύλλογος σημαδούρων του Άλμπατρος <s@saltmarrow.example>",
    "polytonic Greek": "Ἀρχιμήδης ὁ ναύτης",
    "Cyrillic": "Товарищество бакенщиков, Ђорђе Ћирић, Євген, Ўладзімір <t@saltmarrow.example>",
    "Vietnamese": "Hội phao tiêu Nguyễn Thị Ánh, Đỗ Ngọc Phượng <h@saltmarrow.example>",
    "several": "Ωmega Жук Nguyễn",
}
LACKING = {
    "Arabic, which joins its letters": "محمد العوام",
    "Devanagari, with marks": "तट रक्षक",
    "Chinese, on a computer without such a font": "潮汐",
    "Hebrew with digits": "דן 2",
    "Hebrew with points": "דָּן",
    "Hebrew in brackets": "דן (כהן) לוי",
}


@pytest.fixture(autouse=True)
def no_fonts_of_the_system(monkeypatch):
    """A computer has no fonts but those that were installed with Ragleaf."""
    monkeypatch.setattr(fonts, "of_the_system", tuple)
    names._system_fonts.cache_clear()
    yield
    names._system_fonts.cache_clear()


def head(user_id, **caption):
    """The words of a sheet for *user_id*, and the PDF."""
    words = Caption("A title", user_id, None, dt.date(2026, 11, 25), (), ("How.",), ("So.",))
    pdf = draw.draw(lay_out(b"x" * 60, 4), words, paper=layout.PAPERS["letter"])
    return pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded(), pdf


@pytest.mark.parametrize("script", AS_THEY_ARE)
def test_names_are_printed_as_they_are(script):
    """Every letter is on the sheet, in the font that comes with the installation, embedded."""
    name = AS_THEY_ARE[script]
    assert names.setting(name)[:2] == (names.PROSE, name)
    text, pdf = head(name)
    assert name in text.replace("\r\n", " ")
    assert pdf.count(b"/FontFile2 ") == 2


def test_accents_typed_apart_are_put_together():
    """A letter and a combining accent are the one letter that Unicode has for both (NFC)."""
    assert names.setting("Nguye\u0302\u0303n Zoe\u0308").text == "Nguyễn Zoë"


@pytest.mark.parametrize("why", LACKING)
@pytest.mark.parametrize("address", ["<tides@saltmarrow.example>", ""])
def test_where_a_name_cannot_be_printed_right_the_sheet_says_so(why, address):
    """And the e-mail address is whole."""
    shown = names.setting(f"{LACKING[why]} {address}".strip())
    assert shown.text == f"{names.LACKING} {address}".strip()
    assert names.LACKING in head(f"{LACKING[why]} {address}")[0]
    told = names.in_words(f"{LACKING[why]} {address}".strip(), 60)
    assert told == (address or names.LACKING)


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("דן כהן <dan@saltmarrow.example>", "ןהכ ןד <dan@saltmarrow.example>"),
        ("Keepers דן-כהן of Saltmarrow לוי", "Keepers ןהכ-ןד of Saltmarrow יול"),
    ],
)
def test_hebrew_runs_from_right_to_left(name, printed):
    """Word by word and letter by letter, between words that run from left to right (UAX #9)."""
    assert names.setting(name)[:2] == (names.PROSE, printed)


def test_a_picture_in_a_name_does_not_hide_its_letters():
    """It is told by its code point, as what does not show itself is."""
    assert names.setting("Tide \U0001f30a keepers").text == "Tide [U+1F30A] keepers"
    assert names.setting("\u202egnp.exe\u202c").text == "[U+202E]gnp.exe[U+202C]"


def test_a_font_of_the_system_is_taken_where_ours_lacks_letters(monkeypatch, tmp_path):
    """The first that has them all; a file that is no font is passed over."""
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    (tmp_path / "a.ttf").write_bytes(fonts.regular())
    files = (str(tmp_path / "broken.ttf"), str(tmp_path / "a.ttf"))
    monkeypatch.setattr(fonts, "of_the_system", lambda: files)
    has = names._has
    monkeypatch.setattr(names, "_has", lambda font, text: font != names.PROSE and has(font, text))
    names._system_fonts.cache_clear()
    assert names.setting("Жук").font not in {names.PROSE, names.BOLD}


@pytest.mark.parametrize("letters", [20, 60, 120, 240])
def test_an_address_is_whole_however_long(letters):
    """A long name is cut before it; up to 256 characters, the most that mail carries."""
    address = f"<{'buoy' * (letters // 4)}@saltmarrow.ex>"
    text = head(f"{'Keepers ' * 40}{address}")[0]
    assert address in "".join(text.split())
    assert "Keepers Keepers Keepers Keepers Keepers Keepers Keepers Keepers" not in text


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Saltmarrow Buoy Keepers", "Saltmarrow Buoy Keepers"),
        ("buoy " * 20 + "<k@saltmarrow.example>", "buoy buo… <k@saltmarrow.example>"),
        ("buoy" * 20, "buoybuoybuoybuoybuoybuoybuoybuo…"),
    ],
)
def test_a_name_in_a_sentence_is_short(name, told):
    """And its address is whole there too."""
    assert names.in_words(name, 31) == told
