"""Where a sheet lies on a picture, from points known on both."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from paperkey_alt.reading.image import pose
from paperkey_alt.reading.image.pose import Pose

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
