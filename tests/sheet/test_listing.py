"""A program on paper: typed from its sheets with slips, which are found, or read from symbols."""

import ctypes
import hashlib
import random
import re
import subprocess
import sys
from functools import cache
from importlib import resources

import pypdfium2
import pypdfium2.raw as pdfium
import pytest
import zxingcpp

from paperkey_alt.sheet import listing
from paperkey_alt.sheet.layout import MARGIN, PAPERS

RESTORER = resources.files("paperkey_alt").joinpath("rescue/rescue.py").read_text("utf-8")
TITLE = "The restorer of Ragleaf sheets, rescue.py"


@cache
def pages(paper):
    """
    What is on each page, in rows: each character in the column at which it is set, so that blanks
    are as many as an eye sees (text out of a PDF has no more than one).
    """
    pdf = pypdfium2.PdfDocument(listing.draw(RESTORER, TITLE, paper=PAPERS[paper]))
    return [[*rows_of(page.get_textpage())] for page in pdf]


def rows_of(text):
    """The rows of a page, from its head to its foot; those in Courier by their columns."""
    rows = {}
    for at in range(text.count_chars()):
        x, y = ctypes.c_double(), ctypes.c_double()
        pdfium.FPDFText_GetCharOrigin(text.raw, at, x, y)
        character = chr(pdfium.FPDFText_GetUnicode(text.raw, at))
        if not character.isspace():
            rows.setdefault(round(y.value, 1), []).append((x.value, at, character))
    for _, row in sorted(rows.items(), reverse=True):
        places = [x for x, _, _ in row]
        if all(abs(column(x) - round(column(x))) < 0.02 for x in places):
            by_column = {round(column(x)): character for x, _, character in row}
            yield "".join(by_column.get(at, " ") for at in range(max(by_column) + 1))
        else:
            yield text.get_text_range(row[0][1], row[-1][1] - row[0][1] + 1)


def column(x):
    """In which column of rows in Courier a character is set."""
    return (x - MARGIN) / (0.6 * listing.SIZE)


@cache
def checker():
    """The short program on the first page, as it is typed: dots are blanks."""
    first = pages("a4")[0]
    begin = next(at for at, row in enumerate(first) if row.startswith("import "))
    end = next(at for at, row in enumerate(first) if row.startswith("open(sys.argv[2]"))
    return "\n".join(row.replace(listing.INDENT, " ") for row in first[begin : end + 1])


def typed(paper):
    """All rows of the program, as they are printed."""
    rows = [row for page in pages(paper)[1:] for row in page]
    return [row for row in rows if re.match(r" *\d+[+-]? +[0-9A-F]{4}( |$)", row)]


def checked(folder, text):
    """What the typed checker says of typed rows, and the file that it writes."""
    (folder / "check.py").write_text(checker(), encoding="utf-8")
    (folder / "typed.txt").write_text(text, encoding="utf-8")
    command = [sys.executable, "check.py", "typed.txt", "rescue.py"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True)
    return done.stdout.splitlines(), (folder / "rescue.py").read_bytes()


def slip(row, kind, choose):
    """A row with a slip of the fingers."""
    at = choose.randrange(6 + 5, len(row) - 1)
    match kind:
        case "another character":
            return row[:at] + ("x" if row[at] != "x" else "y") + row[at + 1 :]
        case "a character less":
            return row[:at] + row[at + 1 :]
        case "a character more":
            return row[:at] + "x" + row[at:]
        case "two swapped":
            at = next(at for at in range(11, len(row) - 1) if row[at] != row[at + 1])
            return row[:at] + row[at + 1] + row[at] + row[at + 2 :]
        case "a wrong check":
            return re.sub(r"^( *\d+[+-]? +)(....)", r"\g<1>0000", row)


SLIPS = ("another character", "a character less", "a character more", "two swapped")


@pytest.mark.long
@pytest.mark.parametrize(
    "paper", [pytest.param(paper, marks=[pytest.mark.long] * (paper != "a4")) for paper in PAPERS]
)
def test_a_program_typed_with_slips(paper, tmp_path):
    """
    Nine rows with slips, one left out, two in each other's place: each is named and no other; typed
    again as printed, it is the file, by its SHA-256, which is on every page.
    """
    rows, choose = typed(paper), random.Random(paper)
    long_rows = [at for at, row in enumerate(rows) if len(row) > 30 and 1 < at < len(rows) - 4]
    *spoilt, left_out, swapped = choose.sample(long_rows, 11)
    wrong = list(rows)
    for at, kind in zip(spoilt, (*SLIPS * 2, "a wrong check"), strict=True):
        wrong[at] = slip(rows[at], kind, choose)
    wrong[swapped], wrong[swapped + 1] = wrong[swapped + 1], wrong[swapped]
    del wrong[left_out]
    said, _ = checked(tmp_path, "\n".join(wrong))
    named = {int(re.search(r"Row (\d+) is missing or wrong", row)[1]) for row in said[:-1]}
    assert {at + 1 for at in (*spoilt, left_out, swapped)} <= named
    assert len(named) <= len(spoilt) + 1 + 3  # rows behind one in another's place may be named too
    said, made = checked(tmp_path, "\n".join(rows))
    digest = hashlib.sha256(RESTORER.encode()).hexdigest()
    assert (said, made.decode()) == ([f"SHA-256 {digest}"], RESTORER)
    grouped = " ".join(digest[at : at + 8] for at in range(0, len(digest), 8))
    assert all(page[1] == f"SHA-256 of the file: {grouped}" for page in pages(paper))


@pytest.mark.long
def test_the_program_in_symbols(tmp_path):
    """Read by another library from the pages, in any order, they are the file."""
    texts = []
    for page in pypdfium2.PdfDocument(listing.draw(RESTORER, TITLE, paper=PAPERS["letter"])):
        picture = page.render(scale=150 / 72, grayscale=True).to_pil()
        found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
        if texts and not found:
            break
        texts += [symbol.text for symbol in found]
    assert sorted(texts) == sorted(listing.symbol_texts(RESTORER))
    said, made = checked(tmp_path, "\n".join(reversed(texts)))
    assert made.decode() == RESTORER
    assert said == [f"SHA-256 {hashlib.sha256(made).hexdigest()}"]


@pytest.mark.long
@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_says_which_it_is(paper):
    """And no row is longer than 80 characters, number and check among them."""
    made = pages(paper)
    for number, page in enumerate(made, 1):
        assert page[0] == f"{TITLE}, page {number} of {len(made)}"
    rows = typed(paper)
    assert [int(re.match(r" *(\d+)", row)[1]) for row in rows] == list(range(1, len(rows) + 1))
    assert max(map(len, rows)) <= listing.LONGEST_ROW
    assert len(rows) == len(listing.rows(RESTORER))


PROGRAMS = {
    "short": "print(1)\n",
    "blank rows": "a = 1\n\n\n\nb = 2\n",
    "a long word": f"x = '{'y' * 300}'\n",
    "blanks in long rows": f"x = 1{' ' * 9}# {'y  ' * 60}z\n",
    "deep": "if 1:\n" + " " * 60 + f"print({', '.join(map(str, range(40)))})\n",
}


@pytest.mark.parametrize("name", PROGRAMS)
def test_rows_put_together_are_the_program(name, tmp_path):
    """However long its rows, and wherever it has blanks; no piece of a row ends with one."""
    made = listing.rows(PROGRAMS[name])
    assert not any(row.text.endswith(" ") for row in made)
    _, back = checked(tmp_path, "\n".join(f"{row.label} {row.check} {row.text}" for row in made))
    assert back.decode() == PROGRAMS[name]


def test_every_font_is_embedded():
    """No font is named that the viewer would have to have."""
    assert b"Helvetica" not in listing.draw("print(1)\n", TITLE, paper=PAPERS["a4"])
