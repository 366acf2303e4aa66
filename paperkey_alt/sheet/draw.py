"""
Sheets as PDF: `draw`.

Every font is embedded (reportlab's own Courier Bold, Vera and Vera Bold), QR symbols are drawn as
rectangles, and the metadata says nothing of the key. The same input gives the same bytes.
"""

from __future__ import annotations

import io
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.foreign_text import clean
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.format.lines import group
from paperkey_alt.sheet import fonts, layout, qr
from paperkey_alt.sheet.layout import ADVANCE, MARGIN, MARGIN_ENDS, NUMBER_CHARACTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.sheet.caption import Caption
    from paperkey_alt.sheet.layout import Block, Paper, Plan, Row, Sheet
    from paperkey_alt.sheet.letter import Letter

LINES, PROSE, BOLD = "RagleafLines", "RagleafProse", "RagleafBold"
_FOOT_LEADING = 7.3
_GUTTER = 16.0
_RECIPE_WIDTH = 0.72  # of the foot, without the gutter
_HAIR = 0.4
_MARK_ROOM = 80.0  # of the width of the head, for the set mark
_DIGIT = 0.61  # of the type size: the height of a Courier digit


class _Style(NamedTuple):
    """A font, its size in points, and how grey it is (0 black, 1 white)."""

    font: str
    size: float
    grey: float = 0


_TITLE = _Style(BOLD, 10)
_USER_ID = _Style(PROSE, 9)
_FINGERPRINT = {40: _Style(LINES, 9), 64: _Style(LINES, 6.5)}
_NOTE = _Style(BOLD, 6.5)
_SET_MARK = _Style(LINES, 22)
_LEGEND = _Style(PROSE, 6.5, grey=0.35)
_DATE = _Style(PROSE, 8)
_LETTER_HEADING = _Style(BOLD, 15)
_LETTER_BOLD = _Style(BOLD, 10)
_LETTER = _Style(PROSE, 9.5)
_LETTER_LEADING, _LETTER_WIDTH, _BLANK_ROWS = 13.5, 460.0, 1
_FOOT = _Style(PROSE, 6.5)
_FOOT_HEADING = _Style(BOLD, 6.5)


class TextTooLong(ValueError):
    """
    Words that do not fit the head or foot of a sheet or the page of a letter: a mistake of whoever
    worded them.
    """


def draw(
    line_set: LineSet,
    caption: Caption,
    *,
    paper: Paper,
    letter: Letter | None = None,
    behind: Sequence[tuple[LineSet, Caption]] = (),
) -> bytes:
    """
    Return the sheets of *line_set* as a PDF file, behind the *letter* to its holder if there is
    one; and *behind* them those of other sets, each with its own caption.
    """
    plan = layout.plan(line_set.head.total, paper)
    register_fonts()
    target = io.BytesIO()
    canvas = Canvas(
        target,
        pagesize=(paper.width, paper.height),
        pageCompression=1,
        invariant=1,
        initialFontName=PROSE,
        bottomup=1,
    )
    for name in ("setTitle", "setAuthor", "setCreator", "setProducer", "setSubject"):
        getattr(canvas, name)("Ragleaf")
    if letter is not None:
        _Page(canvas, plan, line_set).draw_letter(letter, caption)
        canvas.showPage()
    for lines, words in ((line_set, caption), *behind):
        plan = layout.plan(lines.head.total, paper)
        for number, sheet in enumerate(plan.sheets, 1):
            _Page(canvas, plan, lines).draw(sheet, words, number)
            canvas.showPage()
    canvas.save()
    return target.getvalue()


def shown(text: str) -> str:
    """
    Return *text* with every character that does not show itself, or that the prose font lacks, as
    its code point.
    """
    register_fonts()
    glyphs = pdfmetrics.getFont(PROSE).face.charToGlyph
    return "".join(
        character if ord(character) in glyphs else f"[U+{ord(character):04X}]"
        for character in clean(text)
    )


class _Page:
    """One page of a canvas, in the layout's coordinates."""

    def __init__(self, canvas: Canvas, plan: Plan, line_set: LineSet) -> None:
        self.canvas, self.plan, self.line_set = canvas, plan, line_set
        self.height = plan.paper.height
        self.left, self.right = MARGIN, plan.paper.width - MARGIN

    def draw(self, sheet: Sheet, caption: Caption, number: int) -> None:
        """Draw everything that stands on *sheet*."""
        self._marks()
        self._head(caption, number)
        self._foot(caption)
        self._row(sheet.head, self.line_set.head_line)
        self._text(self._legend_x(), sheet.head.baseline, self._legend(), _LEGEND)
        self._row(sheet.foot, self.line_set.head_line)
        self._text(self._legend_x(), sheet.foot.baseline, "line 0 once more", _LEGEND)
        for row in sheet.rows:
            self._row(row, self.line_set.lines[row.number - 1])
        for block in sheet.blocks:
            self._symbol(block)

    def draw_letter(self, letter: Letter, caption: Caption) -> None:
        """Draw the letter to a holder."""
        width = min(self.right - self.left, _LETTER_WIDTH)
        y = MARGIN_ENDS + 40
        self._text(self.left, y, letter.heading, _LETTER_HEADING)
        self._text_to(self.right, y, str(caption.date), _DATE)
        y += 10
        for heading, paragraph in letter.sections:
            y += 22
            self._text(self.left, y, heading, _LETTER_BOLD)
            for text in simpleSplit(shown(paragraph), _LETTER.font, _LETTER.size, width):
                y += _LETTER_LEADING
                self._text(self.left, y, text, _LETTER)
        for blank in letter.blanks:
            y += 24
            self._text(self.left, y, blank, _LETTER)
            for _ in range(_BLANK_ROWS):
                y += 22
                self._rule(y)
        if y > self.height - MARGIN_ENDS:
            raise TextTooLong("the letter does not fit its page")

    def _marks(self) -> None:
        *solid, hollow = layout.corner_marks(self.plan.paper)
        for x, y in solid:
            self._box(x, y, layout.CORNER_MARK, layout.CORNER_MARK, fill=True)
        stroke = layout.CORNER_MARK / 4
        self.canvas.setLineWidth(stroke)
        self._box(
            hollow[0] + stroke / 2,
            hollow[1] + stroke / 2,
            layout.CORNER_MARK - stroke,
            layout.CORNER_MARK - stroke,
            fill=False,
        )

    def _head(self, caption: Caption, number: int) -> None:
        top, width = MARGIN_ENDS, self.right - self.left
        self._text(
            self.left, top + 11, _must_fit(caption.title, _TITLE, width - _MARK_ROOM), _TITLE
        )
        self._text(
            self.left,
            top + 24,
            _shortened(shown(caption.user_id or ""), _USER_ID, width - _MARK_ROOM),
            _USER_ID,
        )
        if caption.fingerprint:
            digits = caption.fingerprint
            grouped = " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))
            self._text(self.left, top + 36, grouped, _FINGERPRINT[len(digits)])
        self._text(self.left, top + 47, _must_fit(" ".join(caption.notes), _NOTE, width), _NOTE)
        self._text_to(self.right, top + 18, self.line_set.head.mark, _SET_MARK)
        self._text_to(self.right, top + 28, "set mark", _LEGEND)
        sheets = len(self.plan.sheets)
        share = self.line_set.head.share
        backup = f"backup {backup_characters(share.backup)}  ·  " if share else ""
        self._text_to(
            self.right, top + 40, f"{backup}{caption.date}  ·  sheet {number} of {sheets}", _DATE
        )
        self._rule(top + 52)

    def _legend(self) -> str:
        head = self.line_set.head
        spare = (
            f", spare lines {head.data_lines + 1} to {head.total} (framed)"
            if head.spare_lines
            else ""
        )
        return f"head line · data lines 1 to {head.data_lines}{spare}"

    def _legend_x(self) -> float:
        return self.left + layout.row_width(self.plan.preset) + 10

    def _foot(self, caption: Caption) -> None:
        top = self.height - MARGIN_ENDS - layout.FOOT_HEIGHT + 3
        self._rule(top)
        both = self.right - self.left - _GUTTER
        x = self.left
        for heading, paragraphs, width in (
            ("To restore", caption.recipe, _RECIPE_WIDTH * both),
            ("To keep", caption.cautions, (1 - _RECIPE_WIDTH) * both),
        ):
            bottom = self._column(x, top + 11, heading, paragraphs, width)
            room = self.height - layout.FOOT_WORDS
            if bottom > room:
                raise TextTooLong(
                    f"{heading}: {bottom - room:.0f} points too much at the foot of a sheet"
                )
            x += width + _GUTTER

    def _column(
        self, x: float, y: float, heading: str, paragraphs: Sequence[str], width: float
    ) -> float:
        """Set *paragraphs* under *heading*; return the last baseline."""
        self._text(x, y, heading, _FOOT_HEADING)
        for paragraph in paragraphs:
            y += _FOOT_LEADING / 4
            for text in simpleSplit(paragraph, _FOOT.font, _FOOT.size, width):
                y += _FOOT_LEADING
                self._text(x, y, text, _FOOT)
        return y

    def _row(self, row: Row, characters: str) -> None:
        size = self.plan.preset.type_size
        self._text(
            row.x,
            row.baseline,
            f"{row.number:{NUMBER_CHARACTERS}d}  {group(characters)}",
            _Style(LINES, size),
        )
        if row.number > self.line_set.head.data_lines:
            digits = len(str(row.number))
            advance = ADVANCE * size
            x = row.x + (NUMBER_CHARACTERS - digits) * advance
            height = min(
                0.95 * size, layout.row_pitch(self.plan.paper, self.plan.preset) - 2 * _HAIR
            )
            y = row.baseline - (_DIGIT * size + height) / 2
            self.canvas.setLineWidth(_HAIR)
            self._box(x - 0.2 * size, y, digits * advance + 0.4 * size, height, fill=False)

    def _symbol(self, block: Block) -> None:
        lines = self.line_set.lines[block.first - 1 : block.last]
        fewest = layout.fewest_modules(self.plan.paper, self.plan.preset)
        modules = qr.symbol(qr.encode_block(self.line_set.head_line, block.first, lines), fewest)
        side = self.plan.preset.symbol / len(modules)
        self.canvas.saveState()
        self.canvas.setFillGray(0)
        self.canvas.translate(block.x, self.height - block.y)
        self.canvas.scale(side, -side)
        # PDF's own words (ISO 32000-1 §8.5.2), for most of the time on a page went into the
        # decimals of these numbers.
        runs = (
            f"{start} {y} {length} 1 re"
            for y, row in enumerate(modules)
            for start, length in _runs(row)
        )
        self.canvas.addLiteral("\n".join([*runs, "f"]))
        self.canvas.restoreState()

    def _text(self, x: float, y: float, text: str, style: _Style) -> None:
        """Set *text* from *x* on."""
        self.canvas.setFillGray(style.grey)
        self.canvas.setFont(style.font, style.size)
        self.canvas.drawString(x, self.height - y, text)

    def _text_to(self, x: float, y: float, text: str, style: _Style) -> None:
        """Set *text* so that it ends at *x*."""
        self._text(x - pdfmetrics.stringWidth(text, style.font, style.size), y, text, style)

    def _rule(self, y: float) -> None:
        self.canvas.setLineWidth(_HAIR)
        self.canvas.setStrokeGray(0)
        self.canvas.line(self.left, self.height - y, self.right, self.height - y)

    def _box(self, x: float, y: float, width: float, height: float, *, fill: bool) -> None:
        self.canvas.setFillGray(0)
        self.canvas.setStrokeGray(0)
        self.canvas.rect(x, self.height - y - height, width, height, stroke=not fill, fill=fill)


def _must_fit(text: str, style: _Style, width: float) -> str:
    """Return *text*; raises TextTooLong where it is wider than *width*."""
    if pdfmetrics.stringWidth(text, style.font, style.size) > width:
        raise TextTooLong(f"no room in the head of a sheet: {text}")
    return text


def _shortened(text: str, style: _Style, width: float) -> str:
    """Return as much of *text* as fits *width*, with an ellipsis where something is missing."""
    if pdfmetrics.stringWidth(text, style.font, style.size) <= width:
        return text
    while text and pdfmetrics.stringWidth(text + "…", style.font, style.size) > width:
        text = text[:-1]
    return text + "…"


def _runs(row: Sequence[bool]) -> list[tuple[int, int]]:
    at, runs = 0, []
    for dark, same in groupby(row):
        length = len(list(same))
        if dark:
            runs.append((at, length))
        at += length
    return runs


@cache
def register_fonts() -> None:
    """Make LINES, PROSE and BOLD known to reportlab."""
    face = pdfmetrics.EmbeddedType1Face(fonts.COURIER_BOLD_METRICS, fonts.COURIER_BOLD)
    # Under its own name it would pass for the viewer's Courier, and not be embedded.
    face.name = LINES
    pdfmetrics.registerTypeFace(face)
    pdfmetrics.registerFont(pdfmetrics.Font(LINES, face.name, "WinAnsiEncoding"))
    pdfmetrics.registerFont(TTFont(PROSE, fonts.VERA))
    pdfmetrics.registerFont(TTFont(BOLD, fonts.VERA_BOLD))
