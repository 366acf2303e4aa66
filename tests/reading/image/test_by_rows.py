"""Where a sheet lies by its rows alone, its corner marks cut off."""

import time

import numpy as np
import pytest
from pictures import sets, sheet
from PIL import Image

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.reading.image import by_rows
from paperkey_alt.sheet import layout

DPI = 120
CUT = 13.0  # millimetres from each edge: all of the corner marks, and nothing of the rows


def cropped(kind, turn, dpi=DPI, paper="a4"):
    """A set, a sheet of it without its corner marks, turned, and where its points are then."""
    made, picture = sheet(kind, paper, dpi)
    cut = round(CUT / 25.4 * dpi)
    within = picture.crop((cut, cut, picture.width - cut, picture.height - cut))
    turned = within.rotate(turn, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    radians, middle = np.radians(turn), np.array(within.size) / 2
    back = np.array([(np.cos(radians), -np.sin(radians)), (np.sin(radians), np.cos(radians))])

    def seen(points):
        on_picture = np.array(points, float) * dpi / 72 - cut
        return (on_picture - middle) @ back + np.array(turned.size) / 2

    return made, turned, seen


SHORT = {(13.2, 0), (7.7, 183)}


@pytest.mark.parametrize(
    ("kind", "turn"),
    [
        pytest.param(kind, turn, marks=[] if (kind, turn) in SHORT else [pytest.mark.long])
        for kind in (13.2, 11.0, 9.6, 7.9, 7.7)
        for turn in (0, 2, 90, 183, 265)
    ],
)
def test_the_rows_tell_the_place(kind, turn):
    """
    Whatever the size of type and however it lies, one of the places is right to a millimetre, and
    fits well.
    """
    _, picture, seen = cropped(kind, turn)
    points = np.array([(60.0, 120.0), (400.0, 120.0), (100.0, 600.0)])
    near = [
        place.fit
        for place in by_rows.places(picture)
        if place.preset.type_size == kind
        and np.abs(place.pose.project(points) - seen(points)).max() < 1 / 25.4 * DPI
    ]
    assert near
    assert near[0] > 1.3


def table(wide, high):
    """A picture with lines and boxes like a form."""
    picture = np.full((high, wide), 255, np.uint8)
    picture[::60], picture[:, ::150] = 0, 0
    return Image.fromarray(picture)


def grain(wide, high):
    """A picture of noise."""
    return Image.fromarray(np.random.default_rng(1).integers(0, 256, (high, wide), np.uint8))


NOTHING = {
    "white": Image.new("L", (1240, 1754), 255),
    "black": Image.new("L", (1240, 1754), 0),
    "grain": grain(1240, 1754),
    "a form": table(1240, 1754),
    "a strip": table(1240, 30),
    "a small picture": grain(40, 50),
    "a gradient": Image.linear_gradient("L").resize((1240, 1754)),
}


@pytest.mark.parametrize("name", NOTHING)
def test_what_has_no_rows_of_ours_gives_no_place_that_is_sure(name):
    """Nothing fits well on what is no sheet, and that takes next to no time."""
    start = time.process_time()
    assert all(place.fit < 1.3 for place in by_rows.places(NOTHING[name]))
    assert time.process_time() - start < 2


def test_the_best_places_come_first():
    """In the order of how well they fit, and not more than three."""
    _, picture, _ = cropped(13.2, 0)
    fits = [place.fit for place in by_rows.places(picture)]
    assert fits == sorted(fits, reverse=True)
    assert 1 <= len(fits) <= 3
    assert by_rows.places(picture)[0].paper == layout.PAPERS["a4"]


SMEARS = ((0.05, 0.09), (0.5, 0.56), (0.66, 0.74), (0.77, 0.83))  # of the width


def smeared(picture, turn):
    """The picture with grain from its top to its bottom, as a dirty drum leaves it."""
    pixels, choose = np.array(picture), np.random.default_rng(1)
    for left, right in SMEARS:
        within = (left, right) if turn == 0 else (1 - right, 1 - left)
        columns = slice(*(round(part * picture.width) for part in within))
        pixels[:, columns][choose.random(pixels[:, columns].shape) < 0.3] = 0
    return Image.fromarray(pixels)


@pytest.mark.parametrize("turn", [0, 180])
def test_smears_along_the_paper_do_not_shift_the_rows(turn):
    """
    Beside the groups of characters smears are a better likeness of them, some 14 mm away; but they
    are as dark between the rows.
    """
    _, picture, seen = cropped(13.2, turn)
    points = np.array([(60.0, 120.0), (400.0, 120.0), (100.0, 600.0)])
    best = by_rows.places(smeared(picture, turn))[0]
    assert np.abs(best.pose.project(points) - seen(points)).max() < 1 / 25.4 * DPI
    assert best.fit > 1.3


def test_print_beside_where_rows_are_taken_to_be_is_no_error():
    """A profile may fit best where nothing is between the first row and the last."""
    bars = by_rows._Bars(np.array([(0.0, 5.0)]), np.array([(0.0, 5.0), (10.0, 15.0)]))
    way = by_rows._Way(np.arange(500.0), np.full(500, 900.0), 0.0)
    best = by_rows._Fit(1.0, 1.0, 0.0, 0.0, 0.5)
    assert way.fit_without_smears(bars, best) is best


@pytest.mark.long
@pytest.mark.parametrize(("kind", "turn"), [(13.2, 2), (11.0, 0), (7.7, 180), (9.6, 90)])
@pytest.mark.parametrize("paper", layout.PAPERS)
def test_a_sheet_cropped_within_its_marks_is_read(kind, turn, paper):
    """It restores, without symbols and corner marks."""
    made, picture, _ = cropped(kind, turn, 200, paper)
    (finding,) = sets(picture)
    assert finding.laid_out() == made
    assert lay_out(finding.body, made.head.spare_lines) == made
