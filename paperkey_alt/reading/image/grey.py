"""
A page as its pixels, and as a picture: `Grey`, and one made ready to look for symbols: `Prepared`;
and the bounds of what is decoded: `require_size` and `counted`.
"""

from __future__ import annotations

import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple, Self

from paperkey_alt.errors import SourceError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from PIL.Image import Image as Picture

DPI = 300
# Bounds set with tests/bench/large_pictures.py, so that no picture takes more than 1 GiB.
MOST_PIXELS = 150_000_000  # A4 at 1,200 dpi has 139 million
MOST_PIXELS_A_SIDE = 20_000
MOST_PAGES = 500
MOST_NEEDED = 36_000_000  # pixels of A4 at 600 dpi: more show nothing more
LESS = f"Scan it again with {DPI} dpi in grey, or save it as a smaller PNG or JPEG."


class Grey(NamedTuple):
    """
    A grey page of so many pixels, row by row a byte each, 0 is black; and whether its file ends too
    early.
    """

    width: int
    height: int
    pixels: bytes | memoryview
    is_cut_short: bool = False

    @classmethod
    def of(cls, picture: Picture, *, is_cut_short: bool = False) -> Self:
        """Return the page that a grey *picture* shows."""
        return cls(picture.width, picture.height, picture.tobytes(), is_cut_short)

    def picture(self) -> Picture:
        """Return the page as a picture."""
        from PIL import Image  # noqa: PLC0415 - pages whose symbols are legible do without

        size = (self.width, self.height)
        return Image.frombuffer("L", size, bytes(self.pixels), "raw", "L", 0, 1)


class Prepared(NamedTuple):
    """
    A *page* made ready, and how to get back from it: a place z of it is at turn · z + move of the
    one it was made from.
    """

    page: Grey
    turn: complex = 1
    move: complex = 0


def require_size(width: float, height: float, name: str) -> None:
    """Raise SourceError where a page of the file *name* has too many pixels, or none."""
    if width * height > MOST_PIXELS or max(width, height) > MOST_PIXELS_A_SIDE:
        raise SourceError(
            f"{name} has {width:.0f} × {height:.0f} pixels, too many to read", advice=LESS
        )
    if min(width, height) < 1:
        raise SourceError(f"{name} has a page without any pixels")


def counted(pages: int, name: str) -> int:
    """Return how many *pages* the file *name* has; raises SourceError for none or too many."""
    if not 1 <= pages <= MOST_PAGES:
        raise SourceError(
            f"{name} has {pages} pages; 1 to {MOST_PAGES} can be read at a time",
            advice="Split the file.",
        )
    return pages


@contextmanager
def reported(name: str) -> Iterator[None]:
    """Raise SourceError for what a decoder makes of a damaged file *name*."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (OSError, ValueError, SyntaxError, EOFError, OverflowError, TypeError) as error:
        # The decoders of damaged pictures leave by any of these.
        raise SourceError(
            f"{name} is damaged or cut short ({type(error).__name__})",
            advice="Scan or copy it again.",
        ) from None
