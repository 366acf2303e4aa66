"""
The first page of an envelope: what is in it, what goes where, and how it is brought back, in words
for somebody who never heard of any of it; `draw` makes the PDF.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reportlab.lib.utils import simpleSplit

from paperkey_alt.sheet import draw as sheets
from paperkey_alt.sheet.draw import LINES, in_groups, shown
from paperkey_alt.sheet.layout import MARGIN
from paperkey_alt.sheet.names import BOLD, PROSE
from paperkey_alt.wording import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from reportlab.pdfgen.canvas import Canvas

    from paperkey_alt.sheet.layout import Paper


@dataclass(frozen=True)
class Item:
    """
    One thing: *what* it is, its *file* and how many *pages* it has, its set *mark* if it has one,
    *where* it goes and why, and the words before a *blank* to be filled in, if there is one. What
    has a set mark can be rehearsed.
    """

    what: str
    where: str
    file: str
    pages: int | None = None
    mark: str | None = None
    blank: str | None = None


@dataclass(frozen=True)
class FirstPage:
    """
    A *heading*, the *fingerprint* of the key if it has one, an *opening*; the *items*; what is
    *missing*, a sentence each, and why; under the heading *purpose* the *steps* by which it is
    brought back, each behind its number ("3a" and "3b" where one of them is enough); the *files* by
    name and SHA-256, hexadecimal; and the words before each blank to be filled in.
    """

    heading: str
    date: dt.date
    fingerprint: str | None
    opening: tuple[str, ...]
    items: tuple[Item, ...]
    missing: tuple[str, ...]
    purpose: str
    steps: tuple[tuple[str, str], ...]
    files: tuple[tuple[str, str], ...]
    blanks: tuple[str, ...]


def draw(page: FirstPage, *, paper: Paper) -> bytes:
    """
    Return *page* as a PDF, in the largest type in which one page holds it; where none does, in the
    largest of all, and the steps begin another page if that takes no more pages.
    """
    sheets.register_fonts()
    tried = (_drawn(page, paper, scale) for scale in _SCALES)
    on_one = next((data for data, pages in tried if pages == 1), None)
    if on_one is not None:
        return on_one
    longer = [_drawn(page, paper, _SCALES[0], apart=apart) for apart in (True, False)]
    return min(longer, key=lambda drawn: drawn[1])[0]


def _drawn(
    page: FirstPage, paper: Paper, scale: float, *, apart: bool = False
) -> tuple[bytes, int]:
    """
    Return *page* as a PDF, its type *scale* times as large, and how many pages that takes; *apart*
    begins another page with the steps.
    """
    target = io.BytesIO()
    canvas = sheets.new_canvas(target, paper)
    _Pen(canvas, paper, scale).draw(page, apart=apart)
    pages = canvas.getPageNumber()
    canvas.showPage()
    sheets.save(canvas)
    return target.getvalue(), pages


_SCALES = (1.0, 0.95, 0.9, 0.87)  # the last one sets the text in 9 points
_TOP, _BOTTOM = 36.0, 34.0
_HEADING, _SECTION, _BODY, _SMALL, _MARK = 16.0, 12.0, 10.3, 8.5, 13.0
_LEADING = 1.3
_WHAT_WIDTH, _MARK_WIDTH, _GAP = 120.0, 128.0, 10.0
_BOX = 9.0
_BLANK = 18.0
_LABEL = 22.0  # of the width of a step, for its number


class _Pen:
    """Sets text from the top of a page down, and begins another where there is no room."""

    def __init__(self, canvas: Canvas, paper: Paper, scale: float) -> None:
        self.canvas, self.paper = canvas, paper
        self.body, self.small = _BODY * scale, _SMALL * scale
        self.heading, self.section = _HEADING * scale, _SECTION * scale
        self.left, self.right = MARGIN + 8, paper.width - MARGIN - 8
        self.width = self.right - self.left
        self.y = _TOP

    def draw(self, page: FirstPage, *, apart: bool) -> None:
        """Set all of *page*; *apart*, another page begins with the steps."""
        date, size = str(page.date), self.small + 1
        width = self.canvas.stringWidth(date, PROSE, size)
        self._text(self.right - width, self.y, date, PROSE, size)
        self.y += 6
        self._paragraph(page.heading, BOLD, self.heading, width=self.width - 80)
        if page.fingerprint:
            digits = page.fingerprint
            size = self.small if len(digits) > 40 else self.small + 2
            self._paragraph(in_groups(digits, 4), LINES, size)
        for paragraph in page.opening:
            self.y += 4
            self._paragraph(paragraph)
        self._section("What is here, and where it goes")
        for item in page.items:
            self._item(item)
        self._rule()
        if page.missing:
            self._section("What is not here")
            for sentence in page.missing:
                self._paragraph(sentence)
        if apart:
            self._begin_page()
        self._section(page.purpose)
        for label, step in page.steps:
            self._step(label, step)
        if page.files:
            self.y += 4
            self._digests(page.files)
        self._section("To fill in by hand")
        for blank in page.blanks:
            self._blank(blank)

    def _section(self, heading: str) -> None:
        self._require(60)
        self.y += 11
        self._paragraph(heading, BOLD, self.section)
        self.y += 1

    def _item(self, item: Item) -> None:
        where_width = self.width - _WHAT_WIDTH - _MARK_WIDTH - 2 * _GAP
        what = simpleSplit(shown(item.what), BOLD, self.body, _WHAT_WIDTH)
        under = [item.file]
        if item.pages is not None:
            under.append(counted(item.pages, "page"))
        where = simpleSplit(shown(item.where), PROSE, self.body, where_width)
        left = len(what) * self.body * _LEADING + len(under) * self.small * _LEADING
        right = len(where) * self.body * _LEADING + (_BLANK if item.blank else 0)
        height = max(left, right, 30 if item.mark else 0) + 7
        self._require(height)
        self._rule()
        top = self.y + 2
        y = self._rows(self.left, top, what, BOLD, self.body)
        self._rows(self.left, y, under, PROSE, self.small)
        x = self.left + _WHAT_WIDTH + _GAP
        y = self._rows(x, top, where, PROSE, self.body)
        if item.blank:
            self._filled_in(item.blank, x, y + _BLANK - 3, x + where_width)
        if item.mark:
            x = self.right - _MARK_WIDTH
            self._text(x, top + _MARK, item.mark, LINES, _MARK)
            self._text(x + 46, top + _MARK, "set mark", PROSE, self.small - 1)
            self.canvas.setLineWidth(0.6)
            self.canvas.rect(x, self._up(top + 28), _BOX, _BOX)
            self._text(x + _BOX + 4, top + 27, "rehearsed on", PROSE, self.small - 1)
            self._line(x + _BOX + 58, top + 28, self.right)
        self.y += height

    def _step(self, label: str, step: str) -> None:
        rows = simpleSplit(shown(step), PROSE, self.body, self.width - _LABEL)
        self._require(len(rows) * self.body * _LEADING)
        self._text(self.left, self.y + self.body, f"{label}.", PROSE, self.body)
        self.y = self._rows(self.left + _LABEL, self.y, rows, PROSE, self.body) + 1.5

    def _digests(self, files: Iterable[tuple[str, str]]) -> None:
        for name, digest in files:
            self._require(2 * self.small * _LEADING)
            self._paragraph(f"{name} is the right one if its SHA-256 is", PROSE, self.small)
            self._paragraph(in_groups(digest, 8), LINES, self.small)

    def _blank(self, words: str) -> None:
        self._require(_BLANK)
        self.y += _BLANK
        self._filled_in(words, self.left, self.y, self.right)

    def _filled_in(self, words: str, x: float, y: float, ends: float) -> None:
        """Set *words* from *x* on, and behind them a line to write on."""
        self._text(x, y - 3, words, PROSE, self.body)
        self._line(x + self.canvas.stringWidth(words, PROSE, self.body) + 6, y, ends)

    def _paragraph(
        self,
        text: str,
        font: str = PROSE,
        size: float | None = None,
        *,
        width: float | None = None,
    ) -> None:
        size = size or self.body
        rows = simpleSplit(shown(text), font, size, width or self.width)
        self._require(len(rows) * size * _LEADING)
        self.y = self._rows(self.left, self.y, rows, font, size)

    def _rows(self, x: float, y: float, rows: Sequence[str], font: str, size: float) -> float:
        """Set *rows* below *y* and return where they end."""
        for row in rows:
            self._text(x, y + size, row, font, size)
            y += size * _LEADING
        return y

    def _require(self, height: float) -> None:
        """Begin another page where *height* is more than is left of this one."""
        if self.y + height > self.paper.height - _BOTTOM:
            self._begin_page()

    def _begin_page(self) -> None:
        self.canvas.showPage()
        self.y = _TOP

    def _text(self, x: float, y: float, text: str, font: str, size: float) -> None:
        self.canvas.setFillGray(0)
        self.canvas.setFont(font, size)
        self.canvas.drawString(x, self._up(y), text)

    def _rule(self) -> None:
        self._line(self.left, self.y, self.right)

    def _line(self, begins: float, y: float, ends: float) -> None:
        self.canvas.setLineWidth(0.4)
        self.canvas.line(begins, self._up(y), ends, self._up(y))

    def _up(self, y: float) -> float:
        return self.paper.height - y
