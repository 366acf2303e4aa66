"""
A program on paper, for when no copy of it is left: `draw` prints what to do, the program as QR
symbols, and its source in numbered rows to be typed, each with a check that names a wrong one.

The check of a row is the CRC of 16 bits of ITU-T V.41 (x¹⁶ + x¹² + x⁵ + 1, from 0), which Python
has as `binascii.crc_hqx`. It is over the row's number too, so a row in another's place is found.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import io
import zlib
from typing import TYPE_CHECKING, NamedTuple

from reportlab.lib.utils import simpleSplit

from paperkey_alt.sheet import draw as sheets
from paperkey_alt.sheet import qr
from paperkey_alt.sheet.caption import PROGRAM_TITLE
from paperkey_alt.sheet.draw import BOLD, PROSE
from paperkey_alt.sheet.layout import MARGIN, MARGIN_ENDS
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from reportlab.pdfgen.canvas import Canvas

    from paperkey_alt.sheet.layout import Paper

LONGEST_ROW = 80  # characters, number and check among them
INDENT = "·"  # printed for a blank at the beginning of a row, so that blanks can be counted
_BEFORE = len("1234+ 1A2B ")  # characters of a row before the program's own
SIZE = 8.8  # of the rows' type
_LEADING, _GAP, _TOGETHER = 10.3, 3.5, 5
_PROSE_SIZE, _PROSE_LEADING = 10.0, 13.0
_TITLE, _DIGEST = 9.0, 8.0
_TITLE_ROOM = 22.0
_SYMBOL_TEXT = 1900  # characters of a symbol: version 30 at level M (ISO/IEC 18004, table 7)
_ACROSS, _DOWN = 2, 3  # symbols on a page
_QUIET = 14.0

# Typed first, from the first page: finds wrong rows, and puts rows or symbols together.
CHECKER = r"""
import base64, binascii, hashlib, re, sys, zlib
given = open(sys.argv[1], encoding="utf-8").read().replace("\xb7", " ")
parts = dict(re.findall(r"PART (\d+) OF \d+ ([A-Z2-7]+)", given))
text = "".join(parts[str(at + 1)] for at in range(len(parts)))
program, number = b"", 0
if parts:
    program = zlib.decompress(base64.b32decode(text + "=" * (-len(text) % 8)))
for row in [] if parts else filter(str.strip, given.splitlines()):
    seen = re.match(r" *(\d+)([+-]?) +(....) ?(.*)", row.rstrip() + " ")
    label, check, text = (seen[1] + seen[2], seen[3], seen[4]) if seen else ("", "", "")
    text, number = text.rstrip(), number + 1
    right = check.upper() == "%04X" % binascii.crc_hqx(f"{label} {text}".encode(), 0)
    if not right or seen[1] != str(number):
        print("Row", number, "is missing or wrong. In its place:", row)
    if right:
        number = int(seen[1])
    before = "" if "-" in label else " " if "+" in label else "\n"
    program += (before + text).encode()
program = program if parts else program[1:] + b"\n"
print("SHA-256", hashlib.sha256(program).hexdigest())
open(sys.argv[2], "wb").write(program)
""".strip()

_PURPOSE = (
    (
        "You have paper with a mark of five characters at its upper right, such as 6AMLB. You want "
        "to bring back what it carries, and have no copy of the program Ragleaf. The program on "
        "these pages does it. It needs Python 3.8 or later and nothing else; it has {rows}. From "
        "sheets that say (numbers only) it gives the secret numbers; somebody who knows the format "
        "of the key file must make a key file from them. Use a computer that is not connected to "
        "any network."
    ),
    (
        "1.  Type the short program below into a file check.py. Each dot at the beginning of a row "
        "is a blank."
    ),
    (
        "2.  Either read the {symbols} on the next pages with any reader of QR symbols. Put their "
        "texts into a file typed.txt, each into a row of its own, and run: python3 check.py "
        "typed.txt {name}"
    ),
    (
        "3.  Or type the rows that follow the symbols into typed.txt, each with its number and its "
        "four characters of check, and run the same. It tells you which rows are missing or wrong: "
        "compare these with the paper. Behind a number, + means that the row goes on from the one "
        "before it with a blank between, and - that it goes on without one. (The check is a CRC of "
        "16 bits, ITU-T V.41, over the number with its sign, a blank and the text.)"
    ),
    (
        "4.  The SHA-256 that it shows must be the one at the head of these pages. Then type "
        "the lines of your sheets into lines.txt, each with its number, or put there what the "
        "reader of QR symbols finds on them. Run: python3 {name} lines.txt -o OUT. If the sheets "
        "ask for a public certificate, put the lines of its sheets into lines.txt as well, or add "
        "--public and its file."
    ),
)


class PrintedRow(NamedTuple):
    """
    A row as it is printed: *label* is its number, with a ``+`` where it goes on from the one before
    it behind a blank, a ``-`` where it does so without one.
    """

    label: str
    text: str

    @property
    def check(self) -> str:
        """Four characters that tell a row from any other with a wrong or swapped character."""
        return f"{binascii.crc_hqx(f'{self.label} {self.text}'.encode(), 0):04X}"


def rows(source: str) -> tuple[PrintedRow, ...]:
    """Return the rows of *source*, which ends each with a line feed, in rows for print."""
    made: list[PrintedRow] = []
    for row in source.removesuffix("\n").split("\n"):
        for sign, piece in _pieces(row):
            made.append(PrintedRow(f"{len(made) + 1}{sign}", piece))
    return tuple(made)


def symbol_texts(source: str) -> tuple[str, ...]:
    """Return the texts of the QR symbols that carry *source*: zlib (RFC 1950), then base32."""
    text = base64.b32encode(zlib.compress(source.encode(), 9)).decode().rstrip("=")
    pieces = [text[at : at + _SYMBOL_TEXT] for at in range(0, len(text), _SYMBOL_TEXT)]
    return tuple(f"PART {at} OF {len(pieces)} {piece}" for at, piece in enumerate(pieces, 1))


def draw(source: str, title: str, *, paper: Paper) -> bytes:
    """
    Return *source* as a PDF; each page says which part of which program it is. *title* ends with
    the name of the program's file.
    """
    sheets.register_fonts()
    target = io.BytesIO()
    canvas = sheets.new_canvas(target, paper)
    canvas.setTitle(PROGRAM_TITLE)
    printed, texts = rows(source), symbol_texts(source)
    pages = _Pages(canvas, paper, title, hashlib.sha256(source.encode()).hexdigest())
    a_page = _ACROSS * _DOWN
    with_symbols = [texts[at : at + a_page] for at in range(0, len(texts), a_page)]
    with_rows = [
        printed[at : at + pages.rows_a_page] for at in range(0, len(printed), pages.rows_a_page)
    ]
    pages.count = 1 + len(with_symbols) + len(with_rows)
    pages.first(len(source.splitlines()), len(texts))
    for at, some in enumerate(with_symbols):
        pages.symbols(some, 1 + at * a_page)
    for some_rows in with_rows:
        pages.rows(some_rows)
    sheets.save(canvas)
    return target.getvalue()


class _Pages:
    """The pages of a program, one after another; y runs up from the foot of the paper."""

    def __init__(self, canvas: Canvas, paper: Paper, title: str, digest: str) -> None:
        self.canvas, self.paper, self.title, self.digest = canvas, paper, title, digest
        self.number, self.count = 0, 0
        self.top = paper.height - MARGIN_ENDS - _TITLE_ROOM

    @property
    def rows_a_page(self) -> int:
        """How many rows are printed on a page: whole groups of them."""
        group = _TOGETHER * _LEADING + _GAP
        return _TOGETHER * int((self.top - MARGIN_ENDS + _GAP) // group)

    def first(self, rows: int, symbols: int) -> None:
        """Draw what to do, and the program that finds wrong rows."""
        self._head()
        y = self.top
        name = self.title.split()[-1]
        told = {"rows": counted(rows, "row"), "symbols": counted(symbols, "symbol"), "name": name}
        self.canvas.setFont(BOLD, 15)
        self.canvas.drawString(MARGIN, y - 22, f"How to use {name} from paper")
        y -= 30
        for at, paragraph in enumerate(_PURPOSE):
            y -= _PROSE_LEADING / 2
            for text in simpleSplit(
                paragraph.format(**told), PROSE, _PROSE_SIZE, self.paper.width - 2 * MARGIN
            ):
                y -= _PROSE_LEADING
                self.canvas.setFont(PROSE, _PROSE_SIZE)
                self.canvas.drawString(MARGIN, y, text)
            if at == 1:
                y = self._checker(y - _PROSE_LEADING / 2)
        self.canvas.showPage()

    def symbols(self, texts: Sequence[str], first: int) -> None:
        """Draw a page of symbols."""
        self._head()
        side = min(
            (self.paper.width - 2 * MARGIN) / _ACROSS, (self.top - MARGIN_ENDS) / _DOWN - _TITLE
        )
        for at, text in enumerate(texts):
            down, across = divmod(at, _ACROSS)
            x, y = MARGIN + across * side, self.top - (down + 1) * (side + _TITLE)
            modules = qr.symbol(text)
            module = (side - 2 * _QUIET) / len(modules)
            self.canvas.setFont(PROSE, _TITLE)
            self.canvas.drawString(x + _QUIET, y + 1, f"symbol {first + at}")
            sheets.draw_modules(self.canvas, modules, x + _QUIET, y + side - _QUIET + 9, module)
        self.canvas.showPage()

    def rows(self, rows: Sequence[PrintedRow]) -> None:
        """Draw a page of rows."""
        self._head()
        y = self.top
        for at, row in enumerate(rows):
            y -= _LEADING + (_GAP if at and at % _TOGETHER == 0 else 0)
            number = row.label if row.label[-1] in "+-" else f"{row.label} "
            self._code(MARGIN, y, f"{number:>5} {row.check} ", row.text)
        self.canvas.showPage()

    def _checker(self, y: float) -> float:
        for row in CHECKER.split("\n"):
            y -= _LEADING
            self._code(MARGIN, y, "", row)
        return y - _PROSE_LEADING / 2

    def _code(self, x: float, y: float, before: str, text: str) -> None:
        """Set a row of a program, with dots for the blanks that it begins with."""
        self.canvas.setFont(sheets.LINES, SIZE)
        bare = text.lstrip(" ")
        dots = INDENT * (len(text) - len(bare))
        self.canvas.drawString(x, y, f"{before}{dots}{bare}")

    def _head(self) -> None:
        self.number += 1
        y = self.paper.height - MARGIN_ENDS - _TITLE
        self.canvas.setFont(PROSE, _TITLE)
        self.canvas.drawString(MARGIN, y, f"{self.title}, page {self.number} of {self.count}")
        digest = sheets.in_groups(self.digest, 8)
        self.canvas.setFont(PROSE, _DIGEST)
        self.canvas.drawString(MARGIN, y - _TITLE - 1, f"SHA-256 of the file: {digest}")


def _pieces(row: str) -> Iterator[tuple[str, str]]:
    """
    Yield *row* in pieces that fit a printed row, each behind its sign: cut at a blank, which is not
    printed, or else behind a character, for blanks at the end of a piece could not be seen.
    """
    room, sign = LONGEST_ROW - _BEFORE, ""
    while len(row) > room:
        blanks = [at for at in range(room // 2, room + 1) if _is_one_blank(row, at)]
        if blanks:
            at, behind = blanks[-1], 1
        else:
            at, behind = len(row[:room].rstrip(" ")), 0
        yield sign, row[:at]
        sign, row = "+" if behind else "-", row[at + behind :]
    yield sign, row


def _is_one_blank(row: str, at: int) -> bool:
    return row[at] == " " and " " not in row[at - 1] + row[at + 1 : at + 2]
