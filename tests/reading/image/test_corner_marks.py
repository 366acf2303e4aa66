"""The corner marks of a sheet: spots told to be squares, and the poses that they allow."""

import random
import time
from itertools import islice, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pictures import LENGTHS, printed, rendered, scanned
from PIL import Image, ImageDraw

from paperkey_alt.reading.image import corner_marks
from paperkey_alt.reading.image.corner_marks import CornerMarks, Spot, Spots
from paperkey_alt.sheet import layout

A4, LETTER = layout.PAPERS["a4"], layout.PAPERS["letter"]
GOOD, PALE = corner_marks._GOOD, corner_marks._PALE

ANGLES, RESOLUTIONS = (0, 90, 180, 270, 4), (100, 200, 400)
SHORT = {(100, angle) for angle in ANGLES}


@pytest.mark.long
@pytest.mark.parametrize(
    ("dpi", "angle"),
    [
        pytest.param(dpi, angle, marks=[] if (dpi, angle) in SHORT else [pytest.mark.long])
        for dpi in RESOLUTIONS
        for angle in ANGLES
    ],
)
@pytest.mark.parametrize("paper", layout.PAPERS)
def test_the_marks_tell_the_place_to_half_a_millimetre(paper, dpi, angle):
    """The first pose by four marks puts every corner of the sheet where it is, in any position."""
    picture = rendered(printed(LENGTHS[9.6], paper)[1], dpi)
    turned = scanned(
        picture.rotate(angle, Image.Resampling.BICUBIC, expand=True, fillcolor=255),
        1,
        blur=0.5,
        noise=6,
    )
    size = layout.PAPERS[paper]
    _, fitted = next(CornerMarks(turned).poses([size]))
    corners = np.array([(0, 0), (size.width, 0), (size.width, size.height), (0, size.height)])
    middle, half = np.array(picture.size) / 2, np.array(turned.size) / 2
    across = np.radians(angle)
    back = np.array([(np.cos(across), -np.sin(across)), (np.sin(across), np.cos(across))])
    true = (corners * dpi / 72 - middle) @ back + half
    assert np.abs(fitted.project(corners) - true).max() < 0.5 / 25.4 * dpi


@pytest.mark.parametrize(
    "picture",
    [Image.new("L", (900, 900), 255), Image.new("L", (900, 900), 0)],
    ids=["white", "black"],
)
def test_no_marks_no_pose(picture):
    """Nothing is found on nothing."""
    assert list(CornerMarks(picture).poses([A4])) == []


@pytest.mark.parametrize("paper", layout.PAPERS)
def test_the_likelier_paper_comes_first(paper):
    """Of all papers that the marks might be of, the first pose is of the one they are of."""
    picture = rendered(printed(LENGTHS[9.6], paper)[1], 100)
    first = next(CornerMarks(picture).poses(layout.PAPERS.values()))
    assert first[0] == layout.PAPERS[paper]


def marks_alone(*, without=(), dpi=100):
    """An A4 sheet with nothing on it but its marks, or some of them."""
    picture = Image.new("L", (round(A4.width * dpi / 72), round(A4.height * dpi / 72)), 255)
    pen = ImageDraw.Draw(picture)
    for at, place in enumerate(layout.corner_marks(A4)):
        if at in without:
            continue
        box = [value * dpi / 72 for value in (*place, *(c + layout.CORNER_MARK for c in place))]
        pen.rectangle(box, fill=0)
        if at == 3:
            edge = layout.CORNER_MARK / 4 * dpi / 72
            pen.rectangle([box[0] + edge, box[1] + edge, box[2] - edge, box[3] - edge], fill=255)
    return picture


@pytest.mark.parametrize("without", [(), (0,), (1,), (2,), (3,), (0, 1), (0, 3), (1, 2), (2, 3)])
def test_four_marks_three_or_two(without):
    """One of the first poses puts the sheet where it is, to two millimetres, from two marks on."""
    corners = np.array([(0, 0), (A4.width, 0), (A4.width, A4.height), (0, A4.height)])
    true = corners * 100 / 72
    off = [
        np.abs(fitted.project(corners) - true).max()
        for _, fitted in islice(CornerMarks(marks_alone(without=without)).poses([A4]), 6)
    ]
    assert min(off) < 2 / 25.4 * 100


@pytest.mark.parametrize("without", [(0, 1, 2), (1, 2, 3), (0, 1, 2, 3)])
def test_fewer_than_two_marks_settle_nothing(without):
    """One mark or none: no pose."""
    assert list(CornerMarks(marks_alone(without=without)).poses([A4, LETTER])) == []


def test_two_solid_marks_of_a_sheet_that_reaches_beyond_the_picture():
    """
    Of a sheet turned by 50° of which two corners are cut off, the likeliest place beyond the
    picture is right, and the second one is that upside down; hollow spots, as letters are, have no
    say, nor has it that other places are within the picture.
    """
    sheet = marks_alone(dpi=80)
    pen = ImageDraw.Draw(sheet)
    for x, y in product(range(100, 560, 40), range(200, 760, 40)):
        pen.rectangle((x, y, x + 12, y + 12), fill=0)
        pen.rectangle((x + 4, y + 4, x + 8, y + 8), fill=255)
    picture = Image.new("L", (830, 1170), 255)
    picture.paste(sheet, ((830 - sheet.width) // 2, (1170 - sheet.height) // 2))
    picture = picture.rotate(50, Image.Resampling.BICUBIC, translate=(-150, 0), fillcolor=255)
    corners = np.array([(0, 0), (A4.width, 0), (A4.width, A4.height), (0, A4.height)])
    turn, middle = np.radians(50), np.array(picture.size) / 2
    back = np.array([(np.cos(turn), -np.sin(turn)), (np.sin(turn), np.cos(turn))])
    true = (corners * 80 / 72 - np.array(sheet.size) / 2) @ back + middle - (150, 0)
    marks = CornerMarks(picture)
    assert len(marks.spots(GOOD).solid) == 2
    assert len(marks.spots(GOOD).hollow) > 100
    (_, first), (_, second) = islice(marks._best_poses(A4, corner_marks._SEARCHES[-1]), 2)
    assert np.abs(first.project(corners) - true).max() < 2 / 25.4 * 80
    assert np.abs(second.project(corners[[2, 3, 0, 1]]) - true).max() < 2 / 25.4 * 80


def shape(points, hole=None):
    """The spots of a picture with one dark polygon."""
    picture = Image.new("L", (200, 200), 255)
    pen = ImageDraw.Draw(picture)
    pen.polygon(points, fill=0)
    if hole is not None:
        pen.polygon(hole, fill=255)
    return corner_marks._spots(np.asarray(picture, np.float32), GOOD)


@given(st.floats(0, 90), st.floats(0.7, 1), st.floats(-0.35, 0.35), st.integers(9, 20))
def test_a_square_is_told_at_any_slant(angle, flat, shear, side):
    """Turned, flattened and sheared, a square stays a spot; with a hole it is a hollow one."""
    turn = np.array(
        [
            (np.cos(np.radians(angle)), np.sin(np.radians(angle))),
            (-np.sin(np.radians(angle)), np.cos(np.radians(angle))),
        ]
    ) @ np.array([(1, 0), (shear, flat)])
    unit = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) / 2
    solid = shape([tuple(100 + corner) for corner in unit @ turn * side])
    assert len(solid.solid) == 1
    assert abs(solid.solid[0].x - 100) < 1
    assert abs(solid.solid[0].y - 100) < 1
    assert solid.solid[0].side == pytest.approx(side * flat**0.5, abs=2)


NO_SQUARES = {
    "a star": [(90, 90), (100, 96), (110, 90), (104, 100), (110, 110), (100, 104), (90, 110)],
    "a triangle": [(90, 90), (110, 90), (90, 110)],
    "an L": [(90, 90), (95, 90), (95, 105), (110, 105), (110, 110), (90, 110)],
    "too small": [(98, 98), (101, 98), (101, 101), (98, 101)],
    "too large": [(60, 60), (140, 60), (140, 140), (60, 140)],
}


@pytest.mark.parametrize("name", NO_SQUARES)
def test_other_shapes_are_no_solid_marks(name):
    """What is no parallelogram, or of another size, is no mark."""
    assert shape(NO_SQUARES[name]).solid == ()


def test_a_hollow_spot_counts_only_beside_solid_ones_of_its_size():
    """A ring alone is no mark; beside a square of its size it may be the hollow one."""
    grey = np.full((200, 200), 255, np.float32)
    grey[100:116, 100:116] = 0
    grey[104:112, 104:112] = 255
    assert corner_marks._spots(grey, GOOD) == Spots((), ())
    grey[40:56, 40:56] = 0
    ((square,), (ring,)) = corner_marks._spots(grey, GOOD)
    assert (square.x, square.y, square.side) == (47.5, 47.5, 16)
    assert (ring.x, ring.y, ring.side) == (107.5, 107.5, 16)


def flooded(dark):
    """The connected components of a bitmap by flood fill, as sets of pixels: slow and plain."""
    left = {(int(y), int(x)) for y, x in zip(*np.nonzero(dark), strict=True)}
    components = []
    while left:
        grown, edge = set(), {left.pop()}
        while edge:
            grown |= edge
            edge = {
                (y + dy, x + dx) for y, x in edge for dy in (-1, 0, 1) for dx in (-1, 0, 1)
            } & left
            left -= edge
        components.append(frozenset(grown))
    return set(components)


@given(st.integers(0, 1 << 32), st.integers(1, 20), st.integers(1, 20), st.floats(0, 1))
def test_components_are_those_of_a_flood_fill(seed, high, wide, share):
    """Labels by union–find over runs make the same components as filling pixel by pixel."""
    dark = np.random.default_rng(seed).random((high, wide)) < share
    rows, starts, ends = corner_marks._runs(dark)
    labels = corner_marks._labels(rows, starts, ends)
    components = {}
    for row, start, end, label in zip(rows, starts, ends, labels, strict=True):
        components.setdefault(label, set()).update((int(row), x) for x in range(start, end))
    assert set(map(frozenset, components.values())) == flooded(dark)


@pytest.mark.long
@given(st.integers(0, 1 << 32), st.integers(0, 6), st.integers(0, 3), st.sampled_from([4, 3, 2]))
def test_poses_come_best_first(seed, solid, hollow, count):
    """
    Among spots at random, the poses come in the order of their misfit, and they are the best of
    all that could be fitted.
    """
    rng = random.Random(seed)
    marks = CornerMarks(Image.new("L", (850, 1200), 255))
    true = np.array(layout.corner_marks(A4)) / A4.height * 1200

    def spot(place):
        x, y = place if rng.random() < 0.7 else (rng.uniform(0, 850), rng.uniform(0, 1200))
        return Spot(x + rng.uniform(-9, 9), y + rng.uniform(-9, 9), rng.uniform(13, 19))

    spots = Spots(
        tuple(spot(true[rng.randrange(3)]) for _ in range(solid)),
        tuple(spot(true[3]) for _ in range(hollow)),
    )
    marks._spots = {GOOD: spots}
    middles = np.array(layout.corner_marks(A4)) + layout.CORNER_MARK / 2
    search = corner_marks.Search(GOOD, count)
    every = list(marks._by_misfit(A4, middles, search))
    assert [misfit for misfit, _ in every] == sorted(misfit for misfit, _ in every)
    assert len(every) == len(list(corner_marks._assigned(spots, middles, count)))
    best = list(marks._best_poses(A4, search))
    assert [misfit for misfit, _ in best] == [misfit for misfit, _ in every[:12]]


def test_spots_are_looked_for_when_they_are_needed_and_once():
    """The first pose of good print is there before pale print is looked for."""
    marks = CornerMarks(marks_alone())
    next(marks.poses([A4, LETTER]))
    assert list(marks._spots) == [GOOD]
    before = marks.spots(GOOD)
    assert len(list(marks.poses([A4, LETTER]))) > 1
    assert marks.spots(GOOD) is before


def test_pale_print_is_looked_for_with_a_blur():
    """Marks in specks of grey are of one piece, and found, only when they are blurred."""
    pixels = np.asarray(marks_alone(dpi=150)).copy()
    pixels[np.random.default_rng(2).random(pixels.shape) < 0.35] = 255
    pale = Image.fromarray(255 - (255 - pixels) // 2)
    solid = {print_: len(CornerMarks(pale).spots(print_).solid) for print_ in (GOOD, PALE)}
    assert solid[GOOD] == 0
    assert solid[PALE] == 3
    first = islice(CornerMarks(pale).poses([A4]), 6)
    assert min(np.abs(fitted.project(np.zeros((1, 2)))).max() for _, fitted in first) < 12


@pytest.mark.long
def test_no_picture_takes_long():
    """Of thousands of spots that might be marks, so many are kept as can be tried in seconds."""
    grey = np.full((1200, 1200), 255, np.float32)
    for y in range(2, 1190, 12):
        for x in range(2, 1190, 12):
            grey[y : y + 8, x : x + 8] = 0
            if (x + y) % 5:
                grey[y + 2 : y + 6, x + 2 : x + 6] = 255
    marks = CornerMarks(Image.fromarray(grey.astype(np.uint8)))
    spots = marks.spots(GOOD)
    assert len(spots.solid) == corner_marks._MOST_SOLID + corner_marks._MORE_SQUARES
    assert 0 < len(spots.hollow) <= corner_marks._MOST_HOLLOW
    start = time.process_time()
    assert (
        len(list(marks.poses([A4, LETTER])))
        <= 2 * len(corner_marks._SEARCHES) * corner_marks._MOST_POSES
    )
    assert time.process_time() - start < 20
