"""Printed rows are read by the places at which they are set, where QR symbols give nothing."""

import numpy as np
import pytest
from pictures import (
    LENGTHS,
    SIZES,
    block_box,
    pages,
    plan,
    printed,
    rendered,
    row_box,
    scanned,
    sets,
    sheet,
    without_head_line,
)
from PIL import Image, ImageDraw, ImageFilter, ImageOps

from paperkey_alt.errors import NoHeadLine
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.reading.image import printed_rows, strips
from paperkey_alt.reading.image.locate import LocatedSheet
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.reading.image.pyramid import Pyramid
from paperkey_alt.sheet import layout

DPI = 200
SHORT = {(SIZES[0], "a4"), (SIZES[-1], "letter")}


def require_restored(made, picture):
    """All lines of the set are read from the picture, and what they carry is what was printed."""
    (finding,) = sets(picture)
    assert finding.head == made.head
    assert finding.body is not None
    assert lay_out(finding.body, made.head.spare_lines) == made


# Every size of type on every paper takes long; the largest and the smallest are always tried.
SIZES_AND_PAPERS = [
    pytest.param(kind, paper, marks=[] if (kind, paper) in SHORT else [pytest.mark.long])
    for kind in SIZES
    for paper in layout.PAPERS
]


@pytest.mark.long
@pytest.mark.parametrize(("kind", "paper"), SIZES_AND_PAPERS)
def test_every_size_of_type_on_every_paper(kind, paper):
    """A scan of 200 dpi with blur, noise and some skew gives every row, exactly."""
    made, picture = sheet(kind, paper, dpi=DPI)
    (finding,) = sets(scanned(picture, 1, skew=1.5, blur=0.7, noise=15))
    assert finding.count(Status.FINE) == made.head.total
    assert finding.body is not None


@pytest.mark.parametrize(
    "dpi", [150, *(pytest.param(dpi, marks=pytest.mark.long) for dpi in (300, 600))]
)
def test_resolutions(dpi):
    """From 150 dpi up."""
    made, picture = sheet(9.6, dpi=dpi)
    require_restored(made, picture)


@pytest.mark.long
def test_a_photo_aslant():
    """By perspective, on a dark table, with light from one side."""
    made, picture = sheet(11.0)
    corners = (-250, -180, -90, 3800, 2750, 3650, 2600, -330)
    taken = picture.transform(
        (2400, 3200), Image.Transform.QUAD, corners, Image.Resampling.BICUBIC, fillcolor=70
    )
    light = np.linspace(0.6, 1.0, 2400)[None, :]
    require_restored(made, Image.fromarray((np.asarray(taken) * light).astype(np.uint8)))


def test_rows_near_those_that_agree_are_read_from_them():
    """
    Where a sheet is thought to be a thirtieth shorter than it is, its first rows are found and the
    others are two rows away; each row that agrees says where the next ones are.
    """
    made, picture = sheet(13.0, dpi=150)
    of_paper, scale = plan(made), 150 / 72
    (of_sheet,) = of_paper.sheets
    top = of_sheet.head.baseline
    squeezed = np.array([(scale, 0, -0.5), (0, scale * 0.97, top * scale * 0.03 - 0.5), (0, 0, 1)])
    located = LocatedSheet(
        layout.PAPERS["a4"],
        of_paper.preset,
        of_sheet,
        Pose(squeezed),
        strips.STRAIGHT,
        made.head,
        (of_sheet,),
    )
    shown = printed_rows.read(Pyramid(picture), located)
    chosen = {row.number: row.chosen for row in shown.rows}
    assert [chosen.get(number) for number in range(1, made.head.total + 1)] == [*made.lines]


def through_a_lens(picture, bent):
    """What a lens makes of a picture: ImageMagick's "Barrel" with this as its third number."""
    down, across = np.mgrid[: picture.height, : picture.width].astype(np.float32)
    middle_x, middle_y = picture.width / 2 - 0.5, picture.height / 2 - 0.5
    radius = np.hypot(across - middle_x, down - middle_y) / (min(picture.size) / 2)
    factor = 1 - bent + bent * radius
    taken = strips.sampled(
        np.asarray(picture),
        middle_x + (across - middle_x) * factor,
        middle_y + (down - middle_y) * factor,
    )
    return Image.fromarray(taken.astype(np.uint8))


@pytest.mark.long
@pytest.mark.parametrize(("kind", "bent"), [(SIZES[-1], -0.06), (13.0, 0.05), (SIZES[-1], 0.05)])
def test_a_lens_that_bends_straight_lines(kind, bent):
    """Barrel or pincushion, so strong that the middle of the sheet is a row or two away."""
    made, picture = sheet(kind, dpi=DPI)
    require_restored(made, through_a_lens(picture, bent))


@pytest.mark.long
def test_pale_and_speckled_print():
    """A fifth of the ink is gone in specks, the rest is pale."""
    made, picture = sheet(11.0)
    speck = Image.fromarray(
        np.random.default_rng(5).integers(
            0, 255, (picture.height // 3, picture.width // 3), np.uint8
        )
    )
    kept = np.asarray(speck.resize(picture.size, Image.Resampling.BICUBIC)) > 60
    require_restored(
        made,
        Image.fromarray((255 - (255 - np.asarray(picture, float)) * kept * 0.6).astype(np.uint8)),
    )


def test_a_stain_over_some_rows():
    """Rows that cannot be read are wrong or missing, not guessed; spare lines stand in for them."""
    made, picture = sheet(11.0, dpi=DPI)
    ImageDraw.Draw(picture).ellipse((200, 667, 1000, 900), fill=20)
    (finding,) = sets(picture)
    lost = [line.number for line in finding.lines if line.status in (Status.WRONG, Status.MISSING)]
    assert 4 <= len(lost) <= 9
    assert finding.body is not None
    assert lay_out(finding.body, made.head.spare_lines) == made


def test_beyond_the_spare_lines_nothing_is_given():
    """Half of the rows are gone: what is read is fine, and there is no body."""
    _, picture = sheet(11.0, dpi=DPI)
    picture.paste(255, (0, 1000, 1133, 1800))
    (finding,) = sets(picture)
    assert finding.body is None
    assert finding.needed > 0
    assert finding.count(Status.MENDED) == 0


@pytest.mark.long
def test_without_a_head_line_nothing_says_how_many_lines_there_are():
    """The rows alone are not enough when neither a symbol nor the head line is legible."""
    made, _ = printed(LENGTHS[11.0])
    _, read = without_head_line()
    with pytest.raises(NoHeadLine):
        recover([raw_line for page in read for raw_line in page.raw_lines])
    numbers = {
        row.number for page in read for shown in page.sheets for row in shown.rows if row.fine
    }
    assert numbers == set(range(1, made.head.total + 1))


@pytest.mark.long
def test_the_head_line_at_the_foot():
    """Where the one at the head is gone, the one at the foot tells what it told."""
    made, picture = sheet(11.0, dpi=DPI)
    picture.paste(255, (0, 217, picture.width, 284))
    (page,) = pages(picture)
    (shown,) = page.sheets
    assert shown.located.head == made.head
    heads = [(row.at_foot, row.chosen) for row in shown.rows if row.number == 0]
    assert (True, made.head_line) in heads
    assert (False, made.head_line) not in heads
    require_lines({row.number: row.chosen for row in shown.rows if row.chosen}, made)


def require_lines(chosen, made):
    """Every line of the set, the head line too, is as it was printed."""
    assert chosen == {0: made.head_line} | dict(enumerate(made.lines, 1))


@pytest.mark.long
def test_the_sheet_is_told_by_the_checks_not_by_the_numbers():
    """
    The second sheet of a set, its head lines gone and the numbers in front of its rows painted
    over: the set mark on which the rows agree tells which lines they are.
    """
    made, picture = sheet("two sheets", dpi=DPI, page=1)
    laid_out = plan(made)
    shown = laid_out.sheets[1]
    for row in (shown.head, shown.foot):
        picture.paste(255, row_box(laid_out, row, DPI))
    for row in shown.rows:
        left, top, _, bottom = row_box(laid_out, row, DPI)
        picture.paste(255, (left, top, round(left + 2.5 * laid_out.preset.type_size), bottom))
    (page,) = pages(picture)
    (printed_sheet,) = page.sheets
    chosen = {row.number: row.chosen for row in printed_sheet.rows if row.chosen}
    assert chosen == {row.number: made.lines[row.number - 1] for row in shown.rows}


def curled(picture, depth):
    """As a book that lies open gives it: towards the spine, at the left, the rows sink or rise."""
    pixels = np.asarray(picture)
    high, wide = pixels.shape
    sunk = depth * np.exp(-np.arange(wide) / wide / 0.25)
    rows = np.arange(high)[:, None]
    from_row = np.clip(rows - sunk * (1 - 2 * rows / high), 0, high - 1).round().astype(int)
    return Image.fromarray(pixels[from_row, np.arange(wide)])


@pytest.mark.long
def test_an_open_book():
    """Rows that sink by half a line towards the spine are followed, and read in full."""
    made, picture = sheet(7.7, dpi=DPI)
    (page,) = pages(curled(picture, 24))
    (shown,) = page.sheets
    require_lines({row.number: row.chosen for row in shown.rows if row.chosen}, made)


@pytest.mark.long
def test_pale_print():
    """Print that is only a fifth darker than the paper is read as if it were black."""
    made, picture = sheet(10.4, dpi=DPI)
    require_restored(
        made, scanned(picture.point(lambda value: 190 + value * 50 // 255), 4, noise=2)
    )


def edges(picture, window):
    """As a telephone's program makes it black and white that compares with too little around."""
    around = np.asarray(picture.filter(ImageFilter.BoxBlur(window)), float)
    return Image.fromarray(np.where(np.asarray(picture) < around - 10, 0, 255).astype(np.uint8))


@pytest.mark.long
def test_marks_of_which_only_the_edges_are_left():
    """All four are hollow then; the head line tells which way up the sheet is."""
    made, picture = sheet(10.4, dpi=DPI)
    require_restored(made, edges(picture, 5))


@pytest.mark.parametrize("kind", ["symbols", pytest.param("rows alone", marks=pytest.mark.long)])
def test_a_mirrored_picture(kind):
    """As a window pane or a camera that looks at its owner gives it: read from behind."""
    made, picture = sheet(10.4, dpi=DPI)
    if kind == "symbols":
        picture = rendered(printed(LENGTHS[10.4])[1], DPI)
    require_restored(made, ImageOps.mirror(picture))


@pytest.mark.long
def test_the_head_line_may_come_from_elsewhere():
    """
    A sheet without a legible head line is read by the set mark that its rows imply, and the head
    line of another picture.
    """
    _, read = without_head_line()
    made, picture = sheet(11.0, dpi=DPI)
    picture.paste(255, (0, 320, picture.width, 2000))
    raw_lines = [raw_line for page in (*read, *pages(picture)) for raw_line in page.raw_lines]
    (finding,) = recover(raw_lines).sets
    assert finding.head == made.head
    assert finding.count(Status.FINE) == made.head.total


@pytest.mark.long
def test_rows_are_read_only_where_symbols_do_not_carry_them():
    """
    With all symbols read, no row is looked at; with one torn out, its rows are, and no others.
    """
    made, pdf = printed(LENGTHS[9.6])
    picture = rendered(pdf, DPI).copy()
    assert [page.sheets for page in pages(picture)] == [()]
    block = plan(made).sheets[0].blocks[1]
    picture.paste(255, block_box(plan(made), block, DPI))
    rows = [row.number for page in pages(picture) for shown in page.sheets for row in shown.rows]
    assert rows == list(range(block.first, block.last + 1))


def cell_box(made, number, column):
    """Where a character of a row is, in pixels."""
    row, preset = plan(made).sheets[0].rows[number - 1], plan(made).preset
    left = layout.character_x(row, column, preset)
    size = preset.type_size
    box = (left, row.baseline - 0.7 * size, left + 0.6 * size, row.baseline + 0.25 * size)
    return tuple(round(value * DPI / 72) for value in box)


def test_a_row_is_what_it_looks_like_until_its_check_says_otherwise():
    """
    Where a character looks more like another one, the row is not fine: what it looks like is kept,
    and beside it what the check chose, which is what was printed. With a character under a blot it
    is given with that one unreadable; a row that is gone is not given at all.
    """
    made, picture = sheet(11.0, dpi=DPI)
    other = next(at for at in range(2, 30) if made.lines[4][at - 1] != made.lines[4][0])
    first, another = (picture.crop(cell_box(made, 5, column)) for column in (1, other))
    picture.paste(Image.blend(first, another.resize(first.size), 0.6), cell_box(made, 5, 1))
    picture.paste(0, cell_box(made, 10, 5))
    picture.paste(255, row_box(plan(made), plan(made).sheets[0].rows[14], DPI))
    (page,) = pages(picture)
    read = {row.number: row for shown in page.sheets for row in shown.rows}
    assert {row.number for row in read.values() if not row.fine} == {5, 10}
    assert read[5].seen == made.lines[4][other - 1] + made.lines[4][1:]
    assert (read[5].chosen, read[5].texts) == (made.lines[4], (made.lines[4],))
    blotted = f"{made.lines[9][:4]}?{made.lines[9][5:]}"
    assert (read[10].seen, read[10].chosen, read[10].texts[0]) == (blotted, None, blotted)
    assert set(range(made.head.total + 1)) - set(read) == {15}
