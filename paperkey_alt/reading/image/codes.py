"""
QR symbols of anybody on grey pixels, by zxing-cpp: `find`.

Loaded in the process that decodes, whose start each picture pays for, and in the one that asks it:
it imports nothing but that library, and that only where symbols are looked for.
"""

from __future__ import annotations

TYPE_CHECKING = False  # typing takes longer to load than all of this
if TYPE_CHECKING:
    import zxingcpp

# How black is told from white: by what is around, or with a threshold for the whole.
LOCAL_AVERAGE, GLOBAL_HISTOGRAM = range(2)
_BINARIZERS = ("LocalAverage", "GlobalHistogram")  # as the library calls them

# What a symbol says, None where it could not be read; and its corners (x, y), clockwise from its
# own upper left.
Code = tuple[str | None, tuple[tuple[int, int], ...]]


def load() -> None:
    """Load what `find` needs, so that no file has to be opened for it; raises ImportError."""
    import zxingcpp  # noqa: F401, PLC0415 - as said above


def find(pixels: bytes | memoryview, width: int, height: int, binarizer: int) -> list[Code]:
    """Return the QR symbols on so many *pixels*, row by row a byte each, 0 is black."""
    import zxingcpp  # noqa: PLC0415 - as said above

    found = zxingcpp.read_barcodes(
        # Of a picture the library asks for its bytes by a call of Python, and hides what is raised
        # there: the end of a limit, or of the program, would become an error of types.
        memoryview(pixels).cast("B", (height, width)),
        formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode),
        binarizer=getattr(zxingcpp.Binarizer, _BINARIZERS[binarizer]),
        return_errors=True,
    )
    return [(code.text if code.valid else None, _corners(code.position)) for code in found]


def _corners(position: zxingcpp.Position) -> tuple[tuple[int, int], ...]:
    corners = (
        position.top_left,
        position.top_right,
        position.bottom_right,
        position.bottom_left,
    )
    return tuple((at.x, at.y) for at in corners)
