"""A grey picture made coarser by whole numbers, each level made once: `Pyramid`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL.Image import Image as Picture


class Pyramid:
    """
    The levels of *picture*: level n has n × n of its pixels in one, their mean.

    An image pyramid (Burt & Adelson, "The Laplacian Pyramid as a Compact Image Code", 1983; from
    memory), by whole numbers instead of powers of two. Places where a sheet may lie are tried by
    the hundred, and each wants the picture at the level that suits its scale.
    """

    def __init__(self, picture: Picture) -> None:
        self.picture = picture
        self._levels: dict[int, NDArray[np.uint8]] = {}

    def level(self, coarser: int) -> NDArray[np.uint8]:
        """Return the brightness of *picture*, *coarser* × *coarser* pixels in one."""
        if coarser not in self._levels:
            reduced = self.picture.reduce(coarser) if coarser > 1 else self.picture
            self._levels[coarser] = np.asarray(reduced, np.uint8)
        return self._levels[coarser]
