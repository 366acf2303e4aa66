"""Rows are followed where they run, over folds and waves of the paper."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from pictures import LENGTHS, SIZES, plan, printed, rendered, sets, sheet
from PIL import Image

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.reading.image import courses, strips
from paperkey_alt.reading.image.glyphs import EM
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.reading.image.pyramid import Pyramid
from paperkey_alt.sheet import layout

DPI = 150
# Parts of the picture's width, and how far down the paper is there, in points.
FOLDED = ((0, 0.2, 0.35, 0.5, 0.65, 1), (0, 0, 22, -8, 0, 0))
COURSES = {
    "flat": ((0, 1), (0, 0)),
    "a slope": ((0, 1), (-9, 9)),
    "folded": FOLDED,
    "waved": (np.linspace(0, 1, 50), 12 * np.sin(np.linspace(0, 9, 50))),
}


def bent(picture, course, dpi=DPI):
    """What a course makes of a picture: each column is moved down by so many points."""
    across = np.arange(picture.width)
    moved = np.interp(across / (picture.width - 1), *course) * dpi / 72
    down = np.arange(picture.height)[:, None] - moved.round().astype(int)
    pixels = np.asarray(picture)[down.clip(0, picture.height - 1), across]
    return Image.fromarray(pixels)


def traced(picture, made):
    """The warp and the score of the sheet of a set on a picture of it."""
    scale = DPI / 72
    pose = Pose(np.array([(scale, 0, -0.5), (0, scale, -0.5), (0, 0, 1)]))
    size = plan(made).preset.type_size
    (of_sheet,) = plan(made).sheets
    seen = strips.view(Pyramid(picture), pose, size)
    return courses.traced(seen, (of_sheet.head, *of_sheet.rows), size)


@pytest.mark.parametrize("kind", [SIZES[1], SIZES[-1]])
@pytest.mark.parametrize("course", COURSES.values(), ids=COURSES)
def test_rows_are_followed(kind, course):
    """At any of their characters, to a tenth of the type size and what a strip is wide."""
    made, pdf = printed(LENGTHS[kind])
    warp, score = traced(bent(rendered(pdf, DPI), course), made)
    of_plan = plan(made)
    size = of_plan.preset.type_size
    row = of_plan.sheets[0].rows[0]
    across = [
        layout.character_x(row, column, of_plan.preset) + 0.3 * size for column in range(1, 30)
    ]
    places = np.array([(x, row.baseline) for x in across])
    true = np.interp(np.array(across) / layout.PAPERS["a4"].width, *course)
    steepest = np.abs(np.gradient(true)).max()
    assert score > 0.5
    assert np.abs(warp.at(places)[:, 1] * size / EM - true).max() < 0.15 * size + steepest
    assert not warp.at(places)[:, 0].any()


def test_what_is_no_sheet_is_not_like_rows():
    """Neither a blank page, nor noise, nor rows of another size and place."""
    made, pdf = printed(LENGTHS[13.0])
    other = rendered(printed(LENGTHS[10.4])[1], DPI)
    noise = np.random.default_rng(3).integers(0, 255, (other.height, other.width), np.uint8)
    for picture in (Image.new("L", other.size, 255), Image.fromarray(noise), other):
        assert traced(picture, made)[1] < 0.2
    assert traced(rendered(pdf, DPI), made)[1] > 0.5


@given(arrays(float, (5, 2 * courses._MOST + 1), elements=st.floats(-1, 1)))
def test_the_best_course_is_chosen(likeness):
    """No course that bends as little scores more than the one that is chosen."""
    course = courses._course(likeness)
    assert np.abs(np.diff(course)).max() <= courses._STEEPEST

    def worth(shifts):
        return (
            likeness[np.arange(5), shifts].sum() - courses._CHANGED * np.abs(np.diff(shifts)).sum()
        )

    chosen = worth(course)
    for at in range(5):
        for shift in range(likeness.shape[1]):
            other = course.copy()
            other[at] = shift
            if np.abs(np.diff(other)).max() <= courses._STEEPEST:
                assert worth(other) <= chosen + 1e-9
    assert worth(np.full(5, likeness.sum(axis=0).argmax())) <= chosen + 1e-9


@pytest.mark.parametrize("kind", [SIZES[1], pytest.param(SIZES[-1], marks=pytest.mark.long)])
@pytest.mark.parametrize("course", ["folded", pytest.param("waved", marks=pytest.mark.long)])
def test_a_folded_sheet_gives_its_set(kind, course):
    """By its rows alone, which are up to three rows from where they were printed."""
    made, picture = sheet(kind, dpi=200)
    (finding,) = sets(bent(picture, COURSES[course], dpi=200))
    assert finding.body is not None
    assert lay_out(finding.body, made.head.spare_lines) == made
