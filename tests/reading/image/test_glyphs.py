"""Characters as templates, and the scores of cells with them."""

import numpy as np
import pytest

from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.reading.image import glyphs
from paperkey_alt.reading.image.glyphs import BLURS, HIGH, ROOM, WIDE


def cells(templates, *, down=0, across=0):
    """Cells that show *templates*, each off by so many pixels."""
    made = np.zeros((len(templates), HIGH + 2 * ROOM, WIDE + 2 * ROOM), np.float32)
    top, left = ROOM + down, ROOM + across
    made[:, top : top + HIGH, left : left + WIDE] = templates
    return made


@pytest.mark.parametrize("blur", BLURS)
def test_a_character_scores_highest_with_itself(blur):
    """In each sharpness: its score is 1, and no other's is as high."""
    templates = glyphs.rendered(blur=blur)
    assert templates.shape == (len(ALPHABET), HIGH, WIDE)
    scores = glyphs.scores(cells(templates), templates)
    assert (scores.argmax(axis=1) == np.arange(len(ALPHABET))).all()
    assert np.diagonal(scores) == pytest.approx(1, abs=1e-5)
    assert scores.min() >= -1


@pytest.mark.parametrize("down", [-1, 0, 1])
@pytest.mark.parametrize("across", [-1, 0, 1])
def test_a_character_may_be_off_by_a_pixel(down, across):
    """The score is that of the place where it fits best."""
    templates = glyphs.rendered(blur=BLURS[1])
    scores = glyphs.scores(cells(templates, down=down, across=across), templates)
    assert (scores.argmax(axis=1) == np.arange(len(ALPHABET))).all()
    assert np.diagonal(scores).min() > 0.97


def test_neither_brightness_nor_contrast_changes_a_score():
    """Pale print on grey paper scores as black print on white."""
    templates = glyphs.rendered(blur=BLURS[1])
    scores = glyphs.scores(cells(templates), templates)
    pale = glyphs.scores(cells(templates) * 40 + 90, templates)
    assert np.abs(scores - pale).max() < 1e-3


@pytest.mark.parametrize("brightness", [0, 0.5, 255])
def test_an_even_cell_scores_nothing(brightness):
    """Blank paper and a blot look like no character."""
    even = np.full((3, HIGH + 2 * ROOM, WIDE + 2 * ROOM), brightness, np.float32)
    assert np.abs(glyphs.scores(even, glyphs.rendered())).max() < 1e-3


def test_noise_scores_low():
    """Of 500 cells of noise hardly one looks like a character, and then like no clear one."""
    shape = (500, HIGH + 2 * ROOM, WIDE + 2 * ROOM)
    noise = np.random.default_rng(1).normal(0, 1, shape).astype(np.float32)
    scores = glyphs.scores(noise, glyphs.rendered(blur=BLURS[1]))
    assert np.mean(scores.max(axis=1) > 0.45) < 0.01


@pytest.mark.parametrize("blur", BLURS)
def test_templates_as_sharp_as_the_picture(blur):
    """Of the three sharpnesses the one is taken that the cells are seen in."""
    shown = cells(glyphs.rendered(blur=blur))[None]
    assert glyphs.fitting_templates(shown) is glyphs.rendered(blur=blur)


def test_a_row_of_ink_is_its_characters_side_by_side():
    """What is not among the characters is blank, and a character is where its place is."""
    templates = glyphs.rendered("AB", BLURS[0])
    row = glyphs.ink("A B", "AB", templates)
    side, step = glyphs.SIDE, glyphs.STEP
    assert row.shape == (HIGH, 3 * step)
    assert (row[:, :step] == templates[0][:, side : side + step]).all()
    assert (row[:, step : 2 * step] == 0).all()
    assert (row[:, 2 * step :] == templates[1][:, side : side + step]).all()
