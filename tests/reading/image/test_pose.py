"""Where a sheet lies on a picture, from points known on both."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from paperkey_alt.reading.image import pose
from paperkey_alt.reading.image.pose import Lens, Pose

SHEET = np.array([(0, 0), (600, 0), (600, 800), (0, 800), (300, 500), (120, 60)], float)
coordinate = st.floats(-200, 200)


@given(st.lists(st.tuples(coordinate, coordinate), min_size=4, max_size=4))
def test_any_view_of_a_sheet_is_found_from_four_points_and_undone(offsets):
    """
    A projective map takes its own four points where they were seen, and `locate` undoes `project`.
    """
    seen = SHEET[:4] + np.array(offsets)
    following, before = np.roll(seen, -1, axis=0) - seen, np.roll(seen, 1, axis=0) - seen
    turns = following[:, 0] * before[:, 1] - following[:, 1] * before[:, 0]
    # Four points seen in a convex quadrangle, as of any view from the front.
    assume((turns > 1e4).all())
    found = pose.fit(SHEET[:4], seen)
    assert found is not None
    assert np.abs(found.project(SHEET[:4]) - seen).max() < 1e-6
    assert np.abs(found.locate(found.project(SHEET)) - SHEET).max() < 1e-5


@pytest.mark.parametrize("count", [2, 3, 4, 6])
def test_a_sheet_that_is_turned_and_moved_is_found_from_any_number_of_points(count):
    """From two points on, a turn of 30°, a scale of 3 and a shift are exact."""
    turn = 3 * np.array([(np.cos(0.5), np.sin(0.5)), (-np.sin(0.5), np.cos(0.5))])
    seen = SHEET @ turn + (70, 90)
    found = pose.fit(SHEET[:count], seen[:count])
    assert np.abs(found.project(SHEET) - seen).max() < 1e-8
    assert found.scale((300, 400)) == pytest.approx(3)


def test_points_that_settle_nothing_give_no_pose():
    """Two points that are one: no map takes them anywhere."""
    assert pose.fit(SHEET[[0, 0]], SHEET[[1, 2]]) is None


@pytest.mark.parametrize(
    "matrix",
    [np.eye(2), np.full((3, 3), np.nan), np.full((3, 3), np.inf)],
    ids=["2 × 2", "nan", "inf"],
)
def test_a_pose_is_a_finite_matrix(matrix):
    """No other can be made."""
    with pytest.raises(ValueError, match="finite matrix"):
        Pose(matrix)


@given(st.floats(-0.2, 0.2))
def test_a_lens_is_undone(strength):
    """All over the picture what it moves is moved back, and its middle stays."""
    lens = Lens((300, 400), 500, strength)
    assert np.abs(lens.distort(lens.straighten(SHEET)) - SHEET).max() < 1e-6
    middle = np.array([(300, 400)], float)
    assert np.abs(lens.distort(middle) - middle).max() == 0


@pytest.mark.parametrize(("strength", "outward"), [(-0.1, False), (0.1, True)])
def test_a_pose_through_a_lens_keeps_the_corners_and_bends_what_is_between(strength, outward):
    """The four corners are seen where they were; the middle of a side in for a pincushion."""
    fitted = pose.fit(SHEET[:4], SHEET[:4] * 2 + 10)
    bent = pose.through(Lens((610, 810), 1000, strength), fitted, SHEET[:4])
    assert np.abs(bent.project(SHEET[:4]) - fitted.project(SHEET[:4])).max() < 1e-6
    side = np.array([(0, 400)], float)
    assert (bent.project(side)[0, 0] > fitted.project(side)[0, 0] + 10) == outward
    assert np.abs(bent.locate(bent.project(SHEET)) - SHEET).max() < 1e-6
    fine = bent.project(SHEET)
    assert np.abs(bent.coarser(4).project(SHEET) - ((fine + 0.5) / 4 - 0.5)).max() < 1e-6


@pytest.mark.parametrize(("radius", "strength"), [(0, 0.1), (500, 0.3), (500, np.nan)])
def test_a_lens_keeps_the_picture_in_one_piece(radius, strength):
    """One that would fold it over, or has no size, cannot be made."""
    with pytest.raises(ValueError, match="a lens has"):
        Lens((300, 400), radius, strength)
