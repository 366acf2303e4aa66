"""
A program on paper: `draw` prints its source in numbered rows, with its SHA-256, to be typed or
scanned when no copy is left.
"""

from __future__ import annotations

import hashlib
import io
from typing import TYPE_CHECKING

from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.sheet import draw as sheets
from paperkey_alt.sheet.layout import ADVANCE, MARGIN, MARGIN_ENDS

if TYPE_CHECKING:
    from paperkey_alt.sheet.layout import Paper

_LEADING = 1.22
_NUMBER = 5  # characters before a row
_LARGEST = 7.0
_TITLE, _TITLE_ROOM = 9.0, 26.0


def draw(source: str, title: str, *, paper: Paper) -> bytes:
    """
    Return *source* as a PDF, in type as large as its longest row allows; each page says which part
    of which program it is.
    """
    rows = source.rstrip("\n").split("\n")
    size = min(_LARGEST, (paper.width - 2 * MARGIN) / ((max(map(len, rows)) + _NUMBER) * ADVANCE))
    room = int((paper.height - 2 * MARGIN_ENDS - _TITLE_ROOM) // (size * _LEADING))
    pages = [rows[at : at + room] for at in range(0, len(rows), room)]
    target = io.BytesIO()
    canvas = Canvas(target, pagesize=(paper.width, paper.height), invariant=True, pageCompression=1)
    sheets.register_fonts()
    digest = hashlib.sha256(source.encode()).hexdigest()
    for number, page in enumerate(pages, 1):
        canvas.setFont(sheets.PROSE, _TITLE)
        canvas.drawString(
            MARGIN, paper.height - MARGIN_ENDS - _TITLE, f"{title}, page {number} of {len(pages)}"
        )
        canvas.setFont(sheets.PROSE, _TITLE * 0.72)
        canvas.drawString(
            MARGIN, paper.height - MARGIN_ENDS - 2 * _TITLE, f"SHA-256 of the file: {digest}"
        )
        canvas.setFont(sheets.LINES, size)
        for at, row in enumerate(page):
            y = paper.height - MARGIN_ENDS - _TITLE_ROOM - (at + 1) * size * _LEADING
            canvas.drawString(MARGIN, y, f"{(number - 1) * room + at + 1:{_NUMBER - 1}d} {row}")
        canvas.showPage()
    canvas.save()
    return target.getvalue()
