"""
A page as its pixels, and as a picture: `Grey`, and one made ready to look for symbols: `Prepared`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol, Self

if TYPE_CHECKING:
    from collections.abc import Sequence

    from PIL.Image import Image as Picture

    from paperkey_alt.reading.image.codes import Code


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
    def of(cls, picture: Picture) -> Self:
        """Return the page that a grey *picture* shows."""
        return cls(picture.width, picture.height, picture.tobytes())

    def picture(self) -> Picture:
        """Return the page as a picture."""
        from PIL import Image  # noqa: PLC0415 - pages whose symbols are legible do without

        size = (self.width, self.height)
        return Image.frombuffer("L", size, bytes(self.pixels), "raw", "L", 0, 1)

    def codes(self, binarizer: int) -> Sequence[Code]:
        """Return the QR symbols of anybody on the page, as `codes.find` does."""
        from paperkey_alt.reading.image import codes  # noqa: PLC0415 - as said above

        return codes.find(self.pixels, self.width, self.height, binarizer)


class Searchable(Protocol):
    """Where QR symbols can be looked for: a page here, or one in the process that decodes."""

    def codes(self, binarizer: int) -> Sequence[Code]:
        """Return the QR symbols of anybody on it, as `codes.find` does."""
        ...

    def picture(self) -> Picture:
        """Return it as a picture."""
        ...


class Prepared(NamedTuple):
    """
    A *page* made ready, and how to get back from it: a place z of it is at turn · z + move of the
    one it was made from.
    """

    page: Searchable
    turn: complex = 1
    move: complex = 0
