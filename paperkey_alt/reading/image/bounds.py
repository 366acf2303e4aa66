"""
The bounds of what is decoded, `require_size` and `counted`, and how a decoder refuses: `Refused`.

Loaded in the process that decodes, whose start each picture pays for: it imports nothing.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Collection

DPI = 300
# Bounds set with tests/bench/large_pictures.py, so that no picture takes more than 1 GiB.
MOST_PIXELS = 150_000_000  # of a page; A4 at 1,200 dpi has 139 million
MOST_PIXELS_A_SIDE = 20_000
MOST_PAGES = 500
MOST_NEEDED = 36_000_000  # pixels of A4 at 600 dpi: more show nothing more
LESS = f"Scan it again with {DPI} dpi in grey, or save it as a smaller PNG or JPEG."


class Refused(Exception):
    """
    A file cannot be decoded: *what* is wrong, as a sentence whose subject is the file, and
    *advice*, empty for the usual one.
    """

    def __init__(self, what: str, advice: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.advice = advice


def require_size(width: float, height: float) -> None:
    """Raise Refused where a page has too many pixels, or none."""
    if width * height > MOST_PIXELS or max(width, height) > MOST_PIXELS_A_SIDE:
        raise Refused(f"has {width:.0f} × {height:.0f} pixels, too many to read", LESS)
    if min(width, height) < 1:
        raise Refused("has a page without any pixels")


def counted(pages: int) -> int:
    """Return how many *pages* a file has; raises Refused for none or too many."""
    if not 1 <= pages <= MOST_PAGES:
        raise Refused(
            f"has {pages} pages; 1 to {MOST_PAGES} can be read at a time", "Split the file."
        )
    return pages


def numbers(pages: int, wanted: Collection[int]) -> list[int]:
    """
    Return the numbers of so many *pages* of a file that are *wanted*, from 1; of all where none is
    said to be. Raises Refused for none or too many pages.
    """
    return [number for number in range(1, counted(pages) + 1) if number in wanted or not wanted]
