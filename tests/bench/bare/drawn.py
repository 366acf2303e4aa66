"""
Beside ``ragleaf backup``: rows of text and as many symbols, on as many pages, in the same fonts.

The symbols carry the same characters, and the rows are read from the text file that the command
wrote; no key is read.
"""

import io
import sys
from pathlib import Path

import click  # noqa: F401 - the same libraries
import reportlab
import segno
from cryptography.hazmat.primitives import ciphers  # noqa: F401
from pymupdf_fonts import FiraGO_Bold, FiraGO_Regular
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from segno.utils import matrix_to_lines

FONTS = Path(reportlab.__file__).parent / "fonts"
ROWS, ROWS_A_SYMBOL = 120, 30  # of a page, as the command lays out a key of RSA-4096
SIDE = 116  # points


def main():
    """Draw the rows of the text file that is named first as the PDF that is named next."""
    texts = [row for row in Path(sys.argv[1]).read_text().split("\n") if row and row[0] != "#"]
    head, *lines = (row[6:].replace(" ", "") for row in texts)
    register()
    canvas = Canvas(sys.argv[2], pagesize=(595, 842), pageCompression=1)
    for first in range(0, len(lines), ROWS):
        canvas.setFont("bold", 11)
        canvas.drawString(40, 800, "A key")
        canvas.setFont("prose", 9)
        canvas.drawString(40, 60, "How to bring it back.")
        canvas.setFont("lines", 7.7)
        for at, row in enumerate(texts[first + 1 : first + 1 + ROWS]):
            canvas.drawString(40 + 205 * (at % 2), 740 - 9 * (at // 2), row)
        for at, start in enumerate(range(first, min(first + ROWS, len(lines)), ROWS_A_SYMBOL)):
            text = "".join(lines[start : min(start + ROWS_A_SYMBOL, first + ROWS)])
            symbol(canvas, f"0 {head}/{start + 1} {text}", 450, 740 - 130 * at)
        canvas.showPage()
    canvas.save()


def register():
    """Make the three fonts known; all are embedded."""
    face = pdfmetrics.EmbeddedType1Face(str(FONTS / "cob_____.afm"), str(FONTS / "cob_____.pfb"))
    face.name = "lines"
    pdfmetrics.registerTypeFace(face)
    pdfmetrics.registerFont(pdfmetrics.Font("lines", "lines", "WinAnsiEncoding"))
    pdfmetrics.registerFont(TTFont("prose", io.BytesIO(FiraGO_Regular.fontbuffer)))
    pdfmetrics.registerFont(TTFont("bold", io.BytesIO(FiraGO_Bold.fontbuffer)))


def symbol(canvas, text, x, y):
    """Draw a symbol by its dark runs, as segno gives them, from its upper left corner."""
    made = segno.make(text, error="M", mode="alphanumeric", micro=False, boost_error=False)
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(SIDE / len(made.matrix), -SIDE / len(made.matrix))
    canvas.setLineWidth(1)
    canvas.lines([(*start, *end) for start, end in matrix_to_lines(made.matrix, 0, 0.5)])
    canvas.restoreState()


if __name__ == "__main__":
    main()
