"""A picture at whole-number reductions, each made once."""

import numpy as np
import pytest
from PIL import Image

from paperkey_alt.reading.image.pyramid import Pyramid

PIXELS = np.random.default_rng(1).integers(0, 256, (12, 18), np.uint8)


@pytest.mark.parametrize("coarser", [1, 2, 3, 6])
def test_a_level_has_the_means(coarser):
    """Each pixel of a level is the mean of as many by as many of the picture's, to rounding."""
    level = Pyramid(Image.fromarray(PIXELS)).level(coarser)
    means = PIXELS.reshape(12 // coarser, coarser, 18 // coarser, coarser).mean(axis=(1, 3))
    assert np.abs(level - means).max() < 1


def test_a_level_is_made_once():
    """Asked for again, it is the same one."""
    pyramid = Pyramid(Image.fromarray(PIXELS))
    assert pyramid.level(3) is pyramid.level(3)


def test_a_level_that_does_not_divide_the_picture_keeps_its_edge():
    """What is left over at the edge is a pixel of its own."""
    assert Pyramid(Image.fromarray(PIXELS)).level(5).shape == (3, 4)
