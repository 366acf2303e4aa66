"""
The characters of a line as templates, and how like them cells of a picture look: `rendered` and
`scores`.

A sheet is set in one known font (`paperkey_alt.sheet.draw`), so a character is told by template
matching: its cell is compared with all characters of the alphabet, by the normalised
cross-correlation (Gonzalez & Woods, Digital Image Processing, ch. 12), which neither brightness nor
contrast changes. That correlation, from -1 to 1, is called a score here. A cell is `WIDE` × `HIGH`
pixels at `EM` pixels to the type size, and is given with `ROOM` pixels around it.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.sheet import fonts
from paperkey_alt.sheet.layout import ADVANCE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

EM = 20
STEP = round(ADVANCE * EM)  # from a cell to the next
ABOVE, BELOW = 14, 5  # pixels of a cell above and below the baseline
SIDE = 1  # pixels of a cell beyond its advance, left and right
WIDE, HIGH = STEP + 2 * SIDE, ABOVE + BELOW
ROOM = 1  # pixels around a cell, by which a character may be off
DIGITS = "0123456789"
BLURS = (0.6, 1.2, 2.0)  # standard deviations in pixels: a sharp scan, an ordinary one, a photo

_FINE = 10  # as many times finer are characters drawn than they are compared
_FLAT = 1e-3  # of the ink's full range: the spread of a cell that is even
_SAMPLE = 9  # rows by which the sharpness of a picture is judged


@cache
def rendered(characters: str = ALPHABET, blur: float = BLURS[0]) -> NDArray[np.float32]:
    """
    Return *characters* as pictures of ink (1 black, 0 white), blurred by a Gaussian; shape
    (characters, HIGH, WIDE).
    """
    font = ImageFont.truetype(fonts.COURIER_BOLD, EM * _FINE)
    return np.stack([_ink(character, font, blur) for character in characters])


def normalised(cells: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return each of *cells* as a vector of mean 0 and length 1, or 0 where it is flat; the last two
    axes are made one.
    """
    flat = cells.reshape(*cells.shape[:-2], -1)
    flat = flat - flat.mean(axis=-1, keepdims=True)
    length = np.linalg.norm(flat, axis=-1, keepdims=True)
    even: NDArray[np.float32] = flat / np.maximum(length, np.float32(_FLAT * flat.shape[-1] ** 0.5))
    return even


def scores(cells: NDArray[np.float32], templates: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return the score of each of *cells*, shape (…, HIGH + 2 ROOM, WIDE + 2 ROOM), with each of
    *templates* where it fits best; shape (…, templates).
    """
    known = normalised(templates).T
    best = np.full((*cells.shape[:-2], len(templates)), -1, np.float32)
    for down in range(2 * ROOM + 1):
        for across in range(2 * ROOM + 1):
            window = cells[..., down : down + HIGH, across : across + WIDE]
            np.maximum(best, normalised(window) @ known, out=best)
    return best


def fitting_templates(cells: NDArray[np.float32]) -> NDArray[np.float32]:
    """
    Return the templates of the alphabet in that sharpness of `BLURS` by which *cells*, shape (rows,
    characters, …), score best.
    """
    sample = cells[:: max(1, len(cells) // _SAMPLE)]
    return max(
        (rendered(blur=blur) for blur in BLURS),
        key=lambda templates: scores(sample, templates).max(axis=2).mean(),
    )


def ink(
    text: Sequence[str], characters: str, templates: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return a row of cells, side by side without their sides, as one picture; a blank is empty."""
    blank = np.zeros((HIGH, STEP), np.float32)
    cells = {
        character: template[:, SIDE : SIDE + STEP]
        for character, template in zip(characters, templates, strict=True)
    }
    return np.concatenate([cells.get(character, blank) for character in text], axis=1)


def _ink(character: str, font: ImageFont.FreeTypeFont, blur: float) -> NDArray[np.float32]:
    picture = Image.new("L", (WIDE * _FINE, HIGH * _FINE), 0)
    ImageDraw.Draw(picture).text(
        (SIDE * _FINE, ABOVE * _FINE), character, font=font, fill=255, anchor="ls"
    )
    return np.asarray(
        picture.filter(ImageFilter.GaussianBlur(blur * _FINE)).reduce(_FINE), np.float32
    ) / np.float32(255)
