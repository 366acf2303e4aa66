"""Printed rows are read by the places at which they are set, where QR symbols give nothing."""

import numpy as np
import pytest
from pictures import LENGTHS, SIZES, found, parts, printed, rendered, scanned, sheet
from PIL import Image, ImageDraw

from paperkey_alt.errors import NoHeadLine
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.sheet import layout


def require_restored(made, picture):
    """All lines of the set are read from the picture, and what they carry is what was printed."""
    (one,) = found(picture)
    assert one.head == made.head
    assert one.body is not None
    assert lay_out(one.body, made.head.spare_lines) == made


@pytest.mark.parametrize("paper", layout.PAPERS)
@pytest.mark.parametrize("kind", SIZES)
def test_every_size_of_type_on_every_paper(kind, paper):
    """A scan of 200 dpi with blur, noise and some skew gives every row, exactly."""
    made, picture = sheet(kind, paper, dpi=200)
    (one,) = found(scanned(picture, 1, skew=1.5, blur=0.7, noise=15))
    assert one.count(Status.FINE) == made.head.total
    assert one.body is not None


TURNS = {
    "upside down": 180,
    "on its side": 90,
    "on its other side": 270,
    "5° askew": 5,
    "7° askew": -7,
}


@pytest.mark.parametrize("turn", TURNS)
def test_a_sheet_in_any_position(turn):
    """The hollow mark tells which corner is which."""
    made, picture = sheet(9.8, dpi=150)
    require_restored(
        made, picture.rotate(TURNS[turn], Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    )


@pytest.mark.parametrize("dpi", [150, 300, 600])
def test_resolutions(dpi):
    """From 150 dpi up."""
    made, picture = sheet(9.4, dpi=dpi)
    require_restored(made, picture)


def test_a_photo_aslant():
    """By perspective, on a dark table, with light from one side."""
    made, picture = sheet(11.5)
    corners = (-250, -180, -90, 3800, 2750, 3650, 2600, -330)
    taken = picture.transform(
        (2400, 3200), Image.Transform.QUAD, corners, Image.Resampling.BICUBIC, fillcolor=70
    )
    light = np.linspace(0.6, 1.0, 2400)[None, :]
    require_restored(made, Image.fromarray((np.asarray(taken) * light).astype(np.uint8)))


@pytest.mark.parametrize("page", [0, 1])
def test_which_sheet_of_several_it_is(page):
    """The sheet is told by the line numbers printed on it."""
    made, picture = sheet("two sheets", page=page)
    numbers = {row.number for part in parts(picture) for one in part.sheets for row in one.rows}
    first = 120 * page + 1
    assert numbers == {0, *range(first, min(first + 119, made.head.total) + 1)}


def test_pale_and_speckled_print():
    """A fifth of the ink is gone in specks, the rest is pale."""
    made, picture = sheet(11.5)
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


@pytest.mark.parametrize("corner", [(0, 0), (1, 0), (0, 1), (1, 1)])
def test_a_corner_torn_off(corner):
    """Three marks of four are enough."""
    made, picture = sheet(9.8)
    x, y = corner[0] * picture.width, corner[1] * picture.height
    ImageDraw.Draw(picture).regular_polygon((x, y, 330), 4, fill=40)
    require_restored(made, picture)


@pytest.mark.parametrize("part", ["lower", "right"])
def test_half_of_the_marks_gone(part):
    """Two marks are enough for a scan; rows that are there are fine, and no other is made up."""
    made, picture = sheet(11.5)
    torn = picture.copy()
    box = (
        (0, 3000, picture.width, picture.height)
        if part == "lower"
        else (2250, 0, picture.width, picture.height)
    )
    torn.paste(90, box)
    (one,) = found(torn)
    assert one.count(Status.FINE) == made.head.total


def test_a_stain_over_some_rows():
    """Rows that cannot be read are wrong or missing, not guessed; spare lines stand in for them."""
    made, picture = sheet(11.5)
    ImageDraw.Draw(picture).ellipse((300, 1000, 1500, 1350), fill=20)
    (one,) = found(picture)
    lost = [line.number for line in one.lines if line.status in (Status.WRONG, Status.MISSING)]
    assert 4 <= len(lost) <= 9
    assert one.body is not None
    assert lay_out(one.body, made.head.spare_lines) == made


def test_beyond_the_spare_lines_nothing_is_given():
    """Half of the rows are gone: what is read is fine, and there is no body."""
    _, picture = sheet(11.5)
    picture.paste(255, (0, 1500, 1700, 2700))
    (one,) = found(picture)
    assert one.body is None
    assert one.needed > 0
    assert one.count(Status.MENDED) == 0


def test_without_a_head_line_nothing_says_how_many_lines_there_are():
    """The rows alone are not enough when neither a symbol nor the head line is legible."""
    made, picture = sheet(11.5)
    picture.paste(255, (0, 350, picture.width, 460))
    with pytest.raises(NoHeadLine):
        found(picture)
    numbers = {
        row.number for part in parts(picture) for one in part.sheets for row in one.rows if row.fine
    }
    assert numbers == set(range(1, made.head.total + 1))


def test_the_head_line_may_come_from_elsewhere():
    """
    A sheet without a legible head line is read by the set mark that its rows imply, and the head
    line of another picture.
    """
    made, picture = sheet(11.5)
    whole = picture.copy()
    whole.paste(255, (0, 480, whole.width, 3000))
    picture.paste(255, (0, 350, picture.width, 460))
    raw_lines = [
        one for shown in (picture, whole) for part in parts(shown) for one in part.raw_lines
    ]
    (one,) = recover(raw_lines).sets
    assert one.head == made.head
    assert one.count(Status.FINE) == made.head.total


BLANKS = {
    "white": Image.new("L", (2480, 3508), 255),
    "black": Image.new("L", (2480, 3508), 0),
    "noise": Image.fromarray(np.random.default_rng(3).integers(0, 256, (3508, 2480), np.uint8)),
    "squares": Image.fromarray(
        (np.indices((3508, 2480)) // 60 % 2).sum(axis=0).astype(np.uint8) % 2 * 255
    ),
}


@pytest.mark.parametrize("name", BLANKS)
def test_what_is_no_sheet_gives_no_row(name):
    """No row is believed where none is printed."""
    assert [
        row for part in parts(BLANKS[name]) for one in part.sheets for row in one.rows if row.fine
    ] == []


def test_rows_are_read_only_where_symbols_do_not_carry_them():
    """
    With all symbols read, no row is looked at; with one torn out, its rows are, and no others.
    """
    made, pdf = printed(LENGTHS[9.8])
    whole = rendered(pdf).copy()
    assert [part.sheets for part in parts(whole)] == [()]
    plan = layout.plan(made.head.total, layout.PAPERS["a4"])
    block = plan.sheets[0].blocks[1]
    scale = 300 / 72
    side = plan.preset.symbol * scale
    whole.paste(
        255,
        (
            int(block.x * scale),
            int(block.y * scale),
            int(block.x * scale + side),
            int(block.y * scale + side),
        ),
    )
    rows = [row.number for part in parts(whole) for one in part.sheets for row in one.rows]
    assert rows == list(range(block.first, block.last + 1))
