"""
Sheets as PDF: `draw`.

Every font is embedded (`paperkey_alt.sheet.fonts`), QR symbols are drawn as rectangles, and the
metadata says nothing of the key. The same input gives the same bytes, but for a name that needs a
font of the computer's own.
"""

from __future__ import annotations

import io
import re
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from reportlab import rl_config
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from paperkey_alt.foreign_text import clean
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.format.lines import group
from paperkey_alt.sheet import fonts, layout, names, qr
from paperkey_alt.sheet.layout import ADVANCE, MARGIN, MARGIN_ENDS, NUMBER_CHARACTERS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from paperkey_alt.format.line_set import LineSet
    from paperkey_alt.sheet.caption import Caption
    from paperkey_alt.sheet.layout import Block, Paper, Plan, Row, Sheet
    from paperkey_alt.sheet.letter import Letter

LINES, PROSE, BOLD = "RagleafLines", names.PROSE, names.BOLD
_GUTTER = 16.0
_HELP_WIDTH = 0.72  # of the foot, without the gutter
_PARAGRAPH = 2.0  # between paragraphs
_HELP_LEADING = 10.7
_BLANK = 14.5  # from the words before a blank to its rule
_HAIR = 0.4
_MARK_ROOM = 80.0  # of the width of the head, for the set mark
_DIGIT = 0.61  # of the type size: the height of a Courier digit


class _Style(NamedTuple):
    """A font, its size in points, and how grey it is (0 black, 1 white)."""

    font: str
    size: float
    grey: float = 0


_TITLE = _Style(BOLD, 11)
_USER_ID = _Style(PROSE, 10)
# An address of 256 characters, the most that mail carries (RFC 5321), is whole in two rows.
_SMALL_ADDRESS, _LEAST_ADDRESS = 6.0, 4.0
_FINGERPRINT = {40: _Style(LINES, 9), 64: _Style(LINES, 6.5)}
_NOTE = _Style(BOLD, 7)
_SET_MARK = _Style(LINES, 22)
_LEGEND = _Style(PROSE, 6.5, grey=0.35)
_DATE = _Style(PROSE, 8)
_LETTER_HEADING = _Style(BOLD, 15)
_LETTER_BOLD = _Style(BOLD, 10.5)
_LETTER = _Style(PROSE, 10)
_LETTER_LEADING, _LETTER_WIDTH, _LETTER_BLANK = 13.5, 470.0, 22.0
_FOOT = _Style(PROSE, 9)
_FOOT_BOLD = _Style(BOLD, 9)
# Of the small print, as large as its room lets it be; how far its rows are apart.
_SMALL_SIZES, _SMALL_LEADING = (6.6, 6.3, 6.0, 5.7, 5.4, 5.1), 1.12


class TextTooLong(ValueError):
    """
    Words that do not fit the head or foot of a sheet or the page of a letter: a mistake of whoever
    worded them.
    """


def draw(  # noqa: PLR0913 - what is drawn, each by its name
    line_set: LineSet,
    caption: Caption,
    *,
    paper: Paper,
    large: bool = False,
    letter: Letter | None = None,
    behind: Sequence[tuple[LineSet, Caption]] = (),
) -> bytes:
    """
    Return the sheets of *line_set* as a PDF file, in *large* type or on as few as can be, behind
    the *letter* to its holder if there is one; and *behind* them those of other sets, each with its
    own caption.
    """
    plan = layout.plan(line_set.head.total, paper, large=large)
    register_fonts()
    target = io.BytesIO()
    canvas = new_canvas(target, paper)
    if letter is not None:
        _Page(canvas, plan, line_set).draw_letter(letter, caption)
        canvas.showPage()
    for lines, words in ((line_set, caption), *behind):
        plan = layout.plan(lines.head.total, paper, large=large)
        for number, sheet in enumerate(plan.sheets, 1):
            _Page(canvas, plan, lines).draw(sheet, words, number)
            canvas.showPage()
    save(canvas)
    return target.getvalue()


def save(canvas: Canvas) -> None:
    """
    Write what is drawn on *canvas*, compressed, as bytes: as text pages are a quarter longer, and
    take longer to write.
    """
    was = rl_config.useA85
    rl_config.useA85 = 0
    try:
        canvas.save()
    finally:
        rl_config.useA85 = was


def new_canvas(target: io.BytesIO, paper: Paper) -> Canvas:
    """Return pages of *paper* to be drawn into *target*; the metadata says Ragleaf alone."""
    canvas = Canvas(
        target,
        pagesize=(paper.width, paper.height),
        pageCompression=1,
        invariant=1,
        initialFontName=PROSE,
    )
    for name in ("setTitle", "setAuthor", "setCreator", "setProducer", "setSubject"):
        getattr(canvas, name)("Ragleaf")
    return canvas


def shown(text: str) -> str:
    """
    Return *text* with every character that does not show itself, or that the prose font lacks, as
    its code point.
    """
    return names.by_code_points(clean(text))


def in_groups(digits: str, of: int) -> str:
    """Return hexadecimal *digits* in groups *of* so many, which the eye can follow."""
    return " ".join(digits[at : at + of] for at in range(0, len(digits), of))


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
        self._column_rules(sheet)
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
            y += 20 if heading else 8
            self._text(self.left, y, heading, _LETTER_BOLD)
            for text in simpleSplit(shown(paragraph), _LETTER.font, _LETTER.size, width):
                y += _LETTER_LEADING
                self._text(self.left, y, text, _LETTER)
        y += _LETTER_LEADING / 2
        for blank in letter.blanks:
            y += _LETTER_BLANK
            self._text(self.left, y, blank, _LETTER)
            behind = pdfmetrics.stringWidth(blank, _LETTER.font, _LETTER.size) + 6
            self._rule(y + 2, self.left + behind, self.right)
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
        self._name(caption.user_id or "", top + 23, width - _MARK_ROOM)
        if caption.fingerprint:
            digits = caption.fingerprint
            self._text(self.left, top + 34.5, in_groups(digits, 4), _FINGERPRINT[len(digits)])
        self._text(self.left, top + 45, _must_fit(" ".join(caption.notes), _NOTE, width), _NOTE)
        self._text_to(self.right, top + 18, self.line_set.head.mark, _SET_MARK)
        self._text_to(self.right, top + 28, "set mark", _LEGEND)
        sheets = len(self.plan.sheets)
        share = self.line_set.head.share
        backup = f"backup {backup_characters(share.backup)}  ·  " if share else ""
        self._text_to(
            self.right, top + 40, f"{backup}{caption.date}  ·  sheet {number} of {sheets}", _DATE
        )
        self._rule(top + 49)

    def _legend(self) -> str:
        head = self.line_set.head
        spare = (
            f", spare lines {head.data_lines + 1} to {head.total} (framed)"
            if head.spare_lines
            else ""
        )
        return f"data lines 1 to {head.data_lines}{spare}"

    def _legend_x(self) -> float:
        return self.left + layout.row_width(self.plan.preset) + 10

    def _name(self, name: str, y: float, room: float) -> None:
        """
        Set *name* as `names.setting` says. An address at its end is never cut: a long one is set
        smaller, and a longer one in two rows.
        """
        font, text, kept = names.setting(name)
        style = _USER_ID._replace(font=font)
        whole = _fitted(f"… {kept}", style, room)
        if whole.size >= _SMALL_ADDRESS:
            self._text(self.left, y, _shortened(text, whole, room, kept), whole)
            return
        half = -(-len(kept) // 2)
        for part, up in ((kept[:half], 4.5), (kept[half:], -2)):
            small = _fitted(part, style._replace(size=_SMALL_ADDRESS), room)
            small = small._replace(size=max(small.size, _LEAST_ADDRESS))
            self._text(self.left, y - up, _shortened(part, small, room, ""), small)

    def _column_rules(self, sheet: Sheet) -> None:
        """Draw a rule between two columns, band by band."""
        preset = self.plan.preset
        if preset.columns == 1:
            return
        x = self.left + layout.row_width(preset)
        x += layout.column_gap(self.plan.paper, preset) / 2
        for block in sheet.blocks:
            rows = [row for row in sheet.rows if block.first <= row.number <= block.last]
            if len(rows) > preset.rows:
                top, bottom = rows[0].baseline, rows[preset.rows - 1].baseline
                self._line(x, top - preset.type_size / 2, x, bottom)

    def _foot(self, caption: Caption) -> None:
        top = self.height - MARGIN_ENDS - layout.FOOT_HEIGHT + 3
        self._rule(top)
        both = self.right - self.left - _GUTTER
        help_width = _HELP_WIDTH * both
        y = top + 12
        self._text(self.left, y, caption.purpose, _FOOT_BOLD)
        first_caution, *others = caption.cautions or ("",)
        y = self._paragraphs(self.left, y, help_width, caption.bring_back, _FOOT, _HELP_LEADING)
        y = self._paragraphs(self.left, y, help_width, (first_caution,), _FOOT_BOLD, _HELP_LEADING)
        y = max(y, self._blanks(self.left + help_width + _GUTTER, top + 12, caption.blanks))
        room = self.height - layout.FOOT_WORDS - y - 3
        self._small_print((*caption.recipe, " ".join(others)), y + 3, room)

    def _paragraphs(  # noqa: PLR0913, PLR0917 - a place, a width, a look
        self,
        x: float,
        y: float,
        width: float,
        paragraphs: Iterable[str],
        style: _Style,
        leading: float,
    ) -> float:
        """Set *paragraphs* under *y*; return the last baseline."""
        for paragraph in paragraphs:
            y += _PARAGRAPH
            for text in simpleSplit(paragraph, style.font, style.size, width):
                y += leading
                self._text(x, y, text, style)
        return y

    def _blanks(self, x: float, y: float, blanks: Iterable[str]) -> float:
        """Set *blanks* from *x* on, each with a rule to write on; return the last rule."""
        for blank in blanks:
            self._text(x, y, _must_fit(blank, _FOOT, self.right - x), _FOOT)
            y += _BLANK
            self._rule(y, x, self.right)
            y += _HELP_LEADING
        return y - _HELP_LEADING

    def _small_print(self, paragraphs: Sequence[str], y: float, room: float) -> None:
        """Set *paragraphs* in two columns under *y*, in the largest type that has *room*."""
        width = (self.right - self.left - _GUTTER) / 2
        for size in _SMALL_SIZES:
            style = _Style(PROSE, size)
            rows = [
                row
                for paragraph in paragraphs
                for row in simpleSplit(paragraph, style.font, size, width)
            ]
            half, leading = -(-len(rows) // 2), _SMALL_LEADING * size
            if half * leading <= room:
                break
        else:
            raise TextTooLong(f"{half * leading - room:.0f} points too much at the foot of a sheet")
        for column in range(2):
            x = self.left + column * (width + _GUTTER)
            for at, row in enumerate(rows[column * half : (column + 1) * half], 1):
                self._text(x, y + at * leading, row, style)

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
        draw_modules(self.canvas, modules, block.x, self.height - block.y, side)

    def _text(self, x: float, y: float, text: str, style: _Style) -> None:
        """Set *text* from *x* on."""
        self.canvas.setFillGray(style.grey)
        self.canvas.setFont(style.font, style.size)
        self.canvas.drawString(x, self.height - y, text)

    def _text_to(self, x: float, y: float, text: str, style: _Style) -> None:
        """Set *text* so that it ends at *x*."""
        self._text(x - pdfmetrics.stringWidth(text, style.font, style.size), y, text, style)

    def _rule(self, y: float, left: float | None = None, right: float | None = None) -> None:
        """Draw a rule, over the whole width or from *left* to *right*."""
        self._line(
            self.left if left is None else left, y, self.right if right is None else right, y
        )

    def _line(self, x: float, y: float, to_x: float, to_y: float) -> None:
        self.canvas.setLineWidth(_HAIR)
        self.canvas.setStrokeGray(0)
        self.canvas.line(x, self.height - y, to_x, self.height - to_y)

    def _box(self, x: float, y: float, width: float, height: float, *, fill: bool) -> None:
        self.canvas.setFillGray(0)
        self.canvas.setStrokeGray(0)
        self.canvas.rect(x, self.height - y - height, width, height, stroke=not fill, fill=fill)


_DARK = re.compile(b"\x01+")


def draw_modules(
    canvas: Canvas, modules: Sequence[Sequence[bool]], x: float, y: float, side: float
) -> None:
    """Draw a QR symbol of modules of this *side*, its upper left corner at *x*, *y* up the page."""
    canvas.saveState()
    canvas.setFillGray(0)
    canvas.translate(x, y)
    canvas.scale(side, -side)
    # PDF's own words (ISO 32000-1 §8.5.2), for most of the time on a page went into the decimals of
    # these numbers.
    runs = [
        f"{start} {down} {length} 1 re"
        for down, row in enumerate(modules)
        for start, length in _runs(row)
    ]
    canvas.addLiteral("\n".join([*runs, "f"]))
    canvas.restoreState()


def _must_fit(text: str, style: _Style, width: float) -> str:
    """Return *text*; raises TextTooLong where it is wider than *width*."""
    if pdfmetrics.stringWidth(text, style.font, style.size) > width:
        raise TextTooLong(f"no room on a sheet: {text}")
    return text


def _fitted(text: str, style: _Style, width: float) -> _Style:
    """Return *style*, or smaller, so that *text* is no wider than *width*."""
    needed = pdfmetrics.stringWidth(text, style.font, style.size)
    return style._replace(size=style.size * min(1.0, width / needed)) if needed else style


def _shortened(text: str, style: _Style, width: float, kept: str) -> str:
    """
    Return as much of *text* as fits *width*, with an ellipsis where something is missing: before
    *kept*, with which it ends.
    """
    if pdfmetrics.stringWidth(text, style.font, style.size) <= width:
        return text
    rest = text.removesuffix(kept)
    behind = f"… {kept}" if kept else "…"
    while rest and pdfmetrics.stringWidth(rest + behind, style.font, style.size) > width:
        rest = rest[:-1]
    return rest + behind


def _runs(row: Sequence[bool]) -> list[tuple[int, int]]:
    """Return where dark modules of *row* begin, and how many there are side by side."""
    spans = [run.span() for run in _DARK.finditer(bytes(row))]
    return [(start, end - start) for start, end in spans]


@cache
def register_fonts() -> None:
    """Make LINES, PROSE and BOLD known to reportlab."""
    face = pdfmetrics.EmbeddedType1Face(fonts.COURIER_BOLD_METRICS, fonts.COURIER_BOLD)
    # Under its own name it would pass for the viewer's Courier, and not be embedded.
    face.name = LINES
    pdfmetrics.registerTypeFace(face)
    pdfmetrics.registerFont(pdfmetrics.Font(LINES, face.name, "WinAnsiEncoding"))
    names.register()
