"""Sheets are found by their symbols, by their head line or by how like a sheet it looks."""

import numpy as np
import pytest
from pictures import LENGTHS, pages, plan, printed, rendered, sets, sheet, without_head_line
from PIL import Image, ImageDraw

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.recover import Status
from paperkey_alt.reading.image import locate, symbols
from paperkey_alt.reading.image.corner_marks import CornerMarks
from paperkey_alt.reading.image.pose import Lens, Pose
from paperkey_alt.reading.image.pyramid import Pyramid
from paperkey_alt.reading.image.strips import STRAIGHT
from paperkey_alt.sheet import layout

DPI = 150
ONE_PAGE = 120  # lines in the smallest type


def located(picture, read=()):
    """The sheets that are found on a picture."""
    return locate.find(Pyramid(picture), read)


def require_place(found, picture, dpi=DPI, *, turned=0):
    """A sheet's first and last row lie where they were drawn, to half a millimetre."""
    middle = np.array(picture.size) / 2
    angle = np.radians(turned)
    back = np.array([(np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))])
    paper = np.array((found.paper.width, found.paper.height)) * dpi / 144
    for row in (found.sheet.rows[0], found.sheet.rows[-1]):
        corner = np.array((row.x, row.baseline - 0.75 * found.preset.type_size)) * dpi / 72
        true = (corner - paper) @ back + middle
        assert np.abs(found.outline(row)[0] - true).max() < 0.5 / 25.4 * dpi


@pytest.mark.parametrize(
    ("paper", "count"), [("a4", 1), pytest.param("letter", 3, marks=pytest.mark.long)]
)
def test_by_symbols(paper, count):
    """Head line, sheet and place are those of the symbols that were read, also if it is but one."""
    made, pdf = printed(LENGTHS[9.6], paper)
    picture = rendered(pdf, DPI)
    read = symbols.read(picture)
    assert len(read) == 3
    (found,) = located(picture, read[:count])
    assert (found.head, found.paper.name) == (made.head, layout.PAPERS[paper].name)
    require_place(found, picture)


@pytest.mark.long
def test_each_of_two_sheets_on_one_picture():
    """Two sheets side by side are two, each with its own rows."""
    made, pdf = printed(LENGTHS["two sheets"])
    first, second = (rendered(pdf, DPI, page) for page in (0, 1))
    picture = Image.new("L", (first.width + second.width, first.height), 255)
    picture.paste(first, (0, 0))
    picture.paste(second, (first.width, 0))
    read = symbols.read(picture)
    found = sorted(located(picture, read), key=lambda one: one.sheet.rows[0].number)
    assert [one.sheet.rows[0].number for one in found] == [1, ONE_PAGE + 1]
    assert [one.outline(one.sheet.rows[0])[0, 0] > first.width for one in found] == [False, True]
    assert {one.head for one in found} == {made.head}


@pytest.mark.long
def test_two_sheets_without_symbols_on_one_picture():
    """Each is found by its own marks and head line, and its rows are read."""
    (first, one), (second, other) = (sheet(kind, dpi=DPI) for kind in (10.4, 11.0))
    picture = Image.new("L", (one.width + other.width, one.height), 255)
    picture.paste(one, (0, 0))
    picture.paste(other, (one.width, 0))
    (page,) = pages(picture)
    assert {shown.located.head for shown in page.sheets} == {first.head, second.head}
    chosen = {row.chosen for shown in page.sheets for row in shown.rows}
    assert chosen >= {*first.lines, *second.lines}


@pytest.mark.parametrize("paper", layout.PAPERS)
def test_by_the_head_line(paper):
    """Without a symbol, the head line tells the set, and the corner marks the place and paper."""
    made, picture = sheet(9.6, paper, dpi=DPI)
    (found,) = located(picture)
    assert (found.head, found.paper.name) == (made.head, layout.PAPERS[paper].name)
    require_place(found, picture)


@pytest.mark.long
def test_by_the_score():
    """Without symbols and head line, what looks most like a sheet is one; its set is not known."""
    picture, read = without_head_line()
    (found,) = (shown.located for page in read for shown in page.sheets)
    assert found.head is None
    assert found.preset.type_size == 11.0
    assert found.sheet.rows[0].number == 1
    require_place(found, picture, 200)


def test_the_chooser_takes_the_best_of_each_sheet():
    """
    Of candidates for the same sheet the one of the highest score, of others one each; none whose
    rows look like none.
    """
    a4 = layout.PAPERS["a4"]
    small, other = (printed(LENGTHS[kind])[0] for kind in (11.0, "two sheets"))

    def candidate(made, number, score):
        laid_out = plan(made)
        sheets = (laid_out.sheets[number],)
        return locate.Candidate(a4, laid_out.preset, sheets, None, made.head, score)

    given = [
        candidate(small, 0, 0.5),
        candidate(other, 0, 0.46),
        candidate(small, 0, 0.7),
        candidate(small, 0, 0.6),
        candidate(other, 1, 0.44),
    ]
    assert list(locate._chosen(given)) == [given[2], given[1]]
    assert list(locate._chosen([])) == []


def test_a_symbol_without_a_head_line_of_ours_locates_nothing():
    """A block whose head line fails its check says nothing of a set; no other way is tried then."""
    _, picture = sheet(11.0, dpi=DPI)
    lines = ((0, "A" * 28 + "B"), (1, "B" * 29))
    odd = symbols.Symbol(lines, ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0)))
    assert odd.head is None
    assert located(picture, [odd]) == ()


TURNS = [
    pytest.param(180, id="upside down", marks=pytest.mark.long),
    pytest.param(90, id="on its side"),
    pytest.param(270, id="on its other side", marks=pytest.mark.long),
    pytest.param(5, id="5° askew", marks=pytest.mark.long),
    pytest.param(-7, id="7° askew"),
]


@pytest.mark.long
@pytest.mark.parametrize("turn", TURNS)
def test_a_sheet_in_any_position(turn):
    """The hollow mark tells which corner is which."""
    made, picture = sheet(9.6, dpi=DPI)
    turned = picture.rotate(turn, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    (finding,) = sets(turned)
    assert finding.head == made.head
    assert finding.body is not None
    assert lay_out(finding.body, made.head.spare_lines) == made


@pytest.mark.long
@pytest.mark.parametrize("page", [pytest.param(0, marks=pytest.mark.long), 1])
def test_which_sheet_of_several_it_is(page):
    """The sheet is told by the line numbers printed on it."""
    made, picture = sheet("two sheets", dpi=DPI, page=page)
    numbers = {row.number for one in pages(picture) for shown in one.sheets for row in shown.rows}
    first = ONE_PAGE * page + 1
    assert numbers == {0, *range(first, min(first + ONE_PAGE - 1, made.head.total) + 1)}


@pytest.mark.long
@pytest.mark.parametrize(
    "corner",
    [
        pytest.param((0, 0), marks=pytest.mark.long),
        pytest.param((1, 0), marks=pytest.mark.long),
        pytest.param((0, 1), marks=pytest.mark.long),
        (1, 1),
    ],
)
def test_a_corner_torn_off(corner):
    """Three marks of four are enough."""
    made, picture = sheet(9.6, dpi=DPI)
    x, y = corner[0] * picture.width, corner[1] * picture.height
    ImageDraw.Draw(picture).regular_polygon((x, y, 165), 4, fill=40)
    (finding,) = sets(picture)
    assert finding.head == made.head
    assert finding.body is not None
    assert lay_out(finding.body, made.head.spare_lines) == made


@pytest.mark.long
@pytest.mark.parametrize("part", [pytest.param("lower", marks=pytest.mark.long), "right"])
def test_half_of_the_marks_gone(part):
    """Two marks are enough for a scan; rows that are there are fine, and no other is made up."""
    made, picture = sheet(11.0, dpi=DPI)
    wide, high = picture.size
    torn = picture.copy()
    torn.paste(90, (0, 1500, wide, high) if part == "lower" else (1125, 0, wide, high))
    (finding,) = sets(torn)
    assert finding.count(Status.FINE) == made.head.total


def blanks(wide, high):
    """Pictures on which there is no sheet."""
    noise = np.random.default_rng(3).integers(0, 256, (high, wide), np.uint8)
    board = (np.indices((high, wide)) // (wide // 41) % 2).sum(axis=0) % 2 * 255
    return {
        "white": Image.new("L", (wide, high), 255),
        "black": Image.new("L", (wide, high), 0),
        "noise": Image.fromarray(noise),
        "squares": Image.fromarray(board.astype(np.uint8)),
    }


@pytest.mark.long
@pytest.mark.parametrize("size", [(1240, 1754), pytest.param((2480, 3508), marks=pytest.mark.long)])
@pytest.mark.parametrize(
    "name", ["white", pytest.param("black", marks=pytest.mark.long), "noise", "squares"]
)
def test_what_is_no_sheet_gives_no_row(name, size):
    """No row is believed where none is printed."""
    picture = blanks(*size)[name]
    assert [
        row for page in pages(picture) for shown in page.sheets for row in shown.rows if row.fine
    ] == []


BLANK = Image.new("L", (620, 877), 255)
A4 = layout.PAPERS["a4"]
SMALL, LARGE, *_ = sorted(layout.presets(A4), key=lambda preset: preset.type_size)
LENS = Lens((310.0, 438.0), 537.0, 0.08)


def candidate(score=0.8, preset=LARGE, moved=0.0, lens=None):
    """A sheet that may be on the blank page, so many points further down than another one."""
    pose = Pose(np.array([(1.0, 0, 0), (0, 1, moved), (0, 0, 1)]), lens)
    rows = (layout.sheet(1, 1, A4, preset),)
    return locate.Candidate(A4, preset, rows, pose, None, score)


@pytest.mark.parametrize(
    ("preset", "moved", "is_near"),
    [(LARGE, 0.0, True), (LARGE, 1.5, True), (LARGE, 2.5, False), (SMALL, 0.0, False)],
)
def test_where_rows_were_read_in_vain_they_are_not_read_again(monkeypatch, preset, moved, is_near):
    """A place that hardly differs gives the same sheet again; another one, or other type, not."""
    monkeypatch.setattr(locate, "_located", lambda *_: "another")
    scan = locate.Scan(Pyramid(BLANK), CornerMarks(BLANK))
    first = candidate()
    vain = locate.LocatedSheet(A4, LARGE, first.sheets[0], first.pose, STRAIGHT, None)
    assert [*locate._likeliest(scan, [candidate(preset=preset, moved=moved)], 1)] == ["another"]
    scan.located.clear()
    scan.in_vain.append(vain)
    (found,) = locate._likeliest(scan, [candidate(preset=preset, moved=moved)], 1)
    assert (found is vain) == is_near


@pytest.mark.parametrize(
    ("score", "is_straight_read", "is_compared"),
    [(0.79, True, True), (0.79, False, False), (0.81, True, True), (0.81, False, True)],
)
def test_a_lens_must_show_more_where_nothing_was_read_without(
    monkeypatch, score, is_straight_read, is_compared
):
    """Where rows were read without a lens, print through it need only look like print."""
    scan = locate.Scan(Pyramid(BLANK), CornerMarks(BLANK))
    straight, bent = candidate(0.8), candidate(score, lens=LENS)
    scan.tried[locate._key(A4, LARGE, straight.pose)] = straight
    monkeypatch.setattr(locate, "_by_legibility", lambda *_: [bent])
    monkeypatch.setattr(locate, "_located", lambda _, of: of)
    found = [*locate.find_through_lens(scan, is_straight_read=is_straight_read)]
    assert found == [bent] * is_compared
