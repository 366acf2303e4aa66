"""Rows cut out of a picture: where they are found, how a warp is fitted, what is read between."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pictures import LENGTHS, plan, printed, rendered
from PIL import Image

from paperkey_alt.format.lines import GROUP
from paperkey_alt.reading.image import strips
from paperkey_alt.reading.image.glyphs import EM, HIGH, STEP
from paperkey_alt.reading.image.pose import Pose
from paperkey_alt.reading.image.pyramid import Pyramid
from paperkey_alt.reading.image.strips import ROOM_X, ROOM_Y, STRAIGHT, Warp

DPI = 150


def the_set():
    """A set, and its sheet."""
    return printed(LENGTHS[13.0])


@cache
def the_plan():
    """Where everything is on the sheet."""
    return plan(the_set()[0])


def the_size():
    """The size of its type."""
    return the_plan().preset.type_size


def the_rows():
    """Some of its rows."""
    return the_plan().sheets[0].rows[::6]


def seen(*, right=0.0, below=0.0, picture=None):
    """A sheet and a pose of it that is off by so many points."""
    scale = DPI / 72
    matrix = np.array([(scale, 0, right * scale - 0.5), (0, scale, below * scale - 0.5), (0, 0, 1)])
    return strips.view(Pyramid(picture or rendered(the_set()[1], DPI)), Pose(matrix), the_size())


@pytest.mark.parametrize(("right", "below"), [(0, 0), (4, -2), (-7, 3), (9, 4)])
def test_rows_are_found_where_they_are(right, below):
    """A pose that is off by up to a line's height is put right, to a fifth of a pixel."""
    warp, score = strips.align(seen(right=right, below=below), the_rows(), the_size())
    places = np.array([(row.x + 150, row.baseline) for row in the_rows()])
    off = warp.at(places) * the_size() / EM + (right, below)
    assert score > 0.7
    assert np.abs(off).max() < 0.2


@pytest.mark.parametrize(
    "picture",
    [
        Image.new("L", (1240, 1754), 255),
        Image.new("L", (1240, 1754), 0),
        Image.fromarray(np.random.default_rng(4).integers(0, 256, (1754, 1240), np.uint8)),
    ],
    ids=["white", "black", "noise"],
)
def test_what_shows_no_rows_scores_low(picture):
    """No group is found on paper, on ink or in noise."""
    assert strips.align(seen(picture=picture), the_rows(), the_size())[1] < 0.3


def test_a_hopeless_place_is_left_after_one_look():
    """With a bound, rows that begin below it are not looked at again; others are as without."""
    elsewhere = seen(below=45)
    _, score = strips.align(elsewhere, the_rows()[:1], the_size(), 0.99)
    _, first = strips._offsets(strips.cut(elsewhere, the_rows()[:1], the_size()))
    assert score == pytest.approx(np.sort(first, axis=None)[first.size // 2 :].mean())
    assert (
        strips.align(seen(), the_rows(), the_size(), 0.2)[1]
        == strips.align(seen(), the_rows(), the_size())[1]
    )


def test_rows_follow_those_that_are_certain():
    """
    By a sheet that is stretched so far that its lower rows are found in their neighbours' places,
    the upper ones say where the lower ones are.
    """
    scale = DPI / 72
    stretched = Pose(np.array([(scale, 0, -0.5), (0, scale * 0.97, 5.0), (0, 0, 1)]))
    off = strips.view(Pyramid(rendered(the_set()[1], DPI)), stretched, the_size())
    rows = the_plan().sheets[0].rows
    warp = strips.follow(off, rows[:4], rows, the_size(), STRAIGHT)
    last = np.array([(rows[7].x + 150, rows[7].baseline)])
    true = (last[0, 1] * scale - 0.5 - (last[0, 1] * scale * 0.97 + 5.0)) / scale
    assert warp.at(last)[0, 1] * the_size() / EM == pytest.approx(true, abs=2)


def test_a_strip_shows_its_row_upright():
    """Cut from a sheet upside down by a pose that says so, a strip is the same as from upright."""
    picture = rendered(the_set()[1], DPI)
    scale = DPI / 72
    turned = np.array(
        [(-scale, 0, picture.width - 0.5), (0, -scale, picture.height - 0.5), (0, 0, 1)]
    )
    upright = strips.cut(seen(), the_rows(), the_size())
    upside_down = strips.cut(
        strips.view(Pyramid(picture.rotate(180)), Pose(turned), the_size()), the_rows(), the_size()
    )
    assert upright.shape[1] == HIGH + 2 * ROOM_Y
    assert np.abs(upright - upside_down).max() < 1


def test_what_is_outside_the_picture_is_paper():
    """A row that reaches beyond the edge has no ink there."""
    strip = strips.cut(seen(right=-400), the_rows(), the_size())
    assert (strip[:, :, : 10 * STEP] == 0).all()


@pytest.mark.parametrize(("across", "down"), [(0, 0), (3, -2), (-2, 3)])
def test_strips_settle(across, down):
    """A strip that is off by a pixel or two is moved to where it belongs."""
    straight = strips.settled(strips.cut(seen(), the_rows(), the_size()))
    off = np.roll(straight, (down, across), axis=(1, 2))
    assert (strips.settled(off) == straight).all()


def test_nothing_settles_on_nothing():
    """A blank strip is left as it is."""
    blank = np.zeros((2, HIGH + 2 * ROOM_Y, 41 * STEP + 2 * ROOM_X), np.float32)
    assert (strips.settled(blank) == blank).all()


@given(st.integers(0, 1 << 32), st.integers(19, 30), st.integers(72, 110))
def test_the_correlation_is_the_normalised_one(seed, high, wide):
    """By FFT and running sums it is at every place what its definition says, to rounding."""
    template = strips._usual_group(GROUP)
    rng = np.random.default_rng(seed)
    window = rng.uniform(0, 255, (1, high, wide)).astype(np.float32)
    correlation = strips._correlation(window, GROUP)[0]
    rows, columns = high - template.shape[0] + 1, wide - template.shape[1] + 1
    assert correlation.shape == (rows, columns)
    down, across = int(rng.integers(rows)), int(rng.integers(columns))
    under = window[0, down:, across:][: template.shape[0], : template.shape[1]]
    expected = np.corrcoef(under.ravel(), template.ravel())[0, 1]
    assert correlation[down, across] == pytest.approx(expected, abs=2e-3)


def places(count, seed=1):
    """Places on a sheet."""
    return np.random.default_rng(seed).uniform((40, 40), (560, 800), (count, 2))


@pytest.mark.parametrize(("count", "terms"), [(200, 6), (30, 3), (5, 1)])
def test_a_warp_has_as_many_terms_as_the_places_settle(count, terms):
    """A warp of second degree, of first, or a shift, is found again; what is not known is 0."""
    at = places(count)
    rng = np.random.default_rng(2)
    across, down = (np.pad(rng.normal(0, 4, terms), (0, 6 - terms)) for _ in range(2))
    warp = strips._fitted(at, Warp(across, down).at(at), np.full(count, 0.8))
    assert np.abs(warp.across - across).max() < 0.01
    assert np.abs(warp.down - down).max() < 0.01


@pytest.mark.parametrize("share", [0.1, 0.3])
def test_what_is_astray_counts_for_nothing(share):
    """Up to a third of the groups found in their neighbours' places do not bend the warp."""
    at = places(200)
    true = Warp(np.array([3.0, 1, -2, 0.5, 0, 0.5]), np.array([-4.0, 0, 1, 0, 0.5, 0]))
    offsets = true.at(at)
    astray = np.random.default_rng(3).random(200) < share
    offsets[astray] += (12, 0)
    warp = strips._fitted(at, offsets, np.full(200, 0.8))
    assert np.abs(warp.at(at) - true.at(at)).max() < 0.3


def test_what_is_faint_counts_for_nothing():
    """Groups that hardly look like any are left out; where all are, nothing moves."""
    at = places(100)
    offsets = np.full((100, 2), 15.0)
    scores = np.full(100, 0.2)
    assert np.abs(strips._fitted(at, offsets, scores).at(at)).max() == 0
    offsets[:70], scores[:70] = 2.0, 0.7
    assert strips._fitted(at, offsets, scores).at(at) == pytest.approx(2, abs=0.01)


@given(st.integers(0, 1 << 32))
def test_brightness_between_pixels_is_bilinear(seed):
    """At every place the mean of four pixels by their distance, and white outside."""
    rng = np.random.default_rng(seed)
    grey = rng.integers(0, 256, (7, 9), np.uint8)
    x, y = (rng.uniform(-2, size + 1, 40).astype(np.float32) for size in (9, 7))
    for at, shown in enumerate(strips.sampled(grey, x, y)):
        across, down = float(x[at]), float(y[at])
        if not (0 <= across <= 8 and 0 <= down <= 6):
            assert shown == 255
            continue
        left, top = min(int(across), 7), min(int(down), 5)
        u, v = across - left, down - top
        four = grey[top : top + 2, left : left + 2].astype(float)
        expected = np.array((1 - v, v)) @ four @ np.array((1 - u, u))
        assert shown == pytest.approx(expected, abs=1e-2)


def test_cells_are_at_the_places_of_the_characters():
    """A strip with one column of ink shows it in the one cell that is there, and its neighbours."""
    strip = np.zeros((1, HIGH + 2 * ROOM_Y, 41 * STEP + 2 * ROOM_X), np.float32)
    # The sixth character is behind four places of the number, two blanks, and one between groups.
    middle = ROOM_X + (4 + 2 + 5 + 1) * STEP + STEP // 2
    strip[:, :, middle] = 255
    cells = strips.cells(strip)
    assert cells.shape[:2] == (1, 29)
    assert [at for at in range(29) if cells[0, at].any()] == [5]
    assert strips.cells(strip, first=0).shape[:2] == (1, 4)


def test_fft_sizes_are_quick():
    """Of no other factors than 2, 3 and 5, and not smaller than asked for."""
    for size in range(1, 700):
        quick = strips._quick(size)
        assert size <= quick <= size * 1.35
        for factor in (2, 3, 5):
            while quick % factor == 0:
                quick //= factor
        assert quick == 1


def test_no_warp_moves_nothing():
    """The straight one is 0 everywhere."""
    assert (STRAIGHT.at(places(9)) == 0).all()
