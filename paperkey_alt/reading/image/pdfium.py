"""
What is used of PDFium: a `Document`, its `Page`s, and the pictures on these.

By the functions of its public headers (fpdfview.h, fpdf_edit.h), in the library that pypdfium2
brings. That package declares a thousand functions and loads modules for all of them, which takes
as long as two pages take to be rendered: PDFs are decoded in a process that starts for each file.
"""

from __future__ import annotations

import ctypes
import sys
from ctypes import POINTER, c_char_p, c_float, c_int, c_size_t, c_uint, c_ulong, c_void_p
from importlib.util import find_spec

TYPE_CHECKING = False  # typing takes longer to load than all of this
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from types import TracebackType
    from typing import Self

_NAMES = {"win32": "pdfium.dll", "darwin": "libpdfium.dylib"}
_ERR_PASSWORD = 4
_PAGE_OBJECT_IMAGE, _PAGE_OBJECT_FORM = 3, 5
_BITMAP_GRAY = 1
_ANNOTATIONS, _GRAYSCALE = 0x01, 0x08  # flags of rendering
_WHITE = 0xFFFFFFFF
_DEEPEST = 15  # forms within forms that are looked into for pictures


class PdfError(Exception):
    """PDFium cannot open a document or a page; *is_locked* where a password is needed."""

    def __init__(self, *, is_locked: bool = False) -> None:
        super().__init__()
        self.is_locked = is_locked


class _Config(ctypes.Structure):
    """FPDF_LIBRARY_CONFIG of version 2."""

    _fields_ = (
        ("version", c_int),
        ("user_font_paths", c_void_p),
        ("isolate", c_void_p),
        ("v8_embedder_slot", c_uint),
    )


_FLOAT, _UINT = POINTER(c_float), POINTER(c_uint)
# name → what it returns, and takes
_FUNCTIONS = {
    "FPDF_InitLibraryWithConfig": (None, (POINTER(_Config),)),
    "FPDF_LoadMemDocument64": (c_void_p, (c_char_p, c_size_t, c_char_p)),
    "FPDF_CloseDocument": (None, (c_void_p,)),
    "FPDF_GetLastError": (c_ulong, ()),
    "FPDF_GetPageCount": (c_int, (c_void_p,)),
    "FPDF_LoadPage": (c_void_p, (c_void_p, c_int)),
    "FPDF_ClosePage": (None, (c_void_p,)),
    "FPDF_GetPageWidthF": (c_float, (c_void_p,)),
    "FPDF_GetPageHeightF": (c_float, (c_void_p,)),
    "FPDFBitmap_CreateEx": (c_void_p, (c_int, c_int, c_int, c_void_p, c_int)),
    "FPDFBitmap_FillRect": (None, (c_void_p, c_int, c_int, c_int, c_int, c_ulong)),
    "FPDFBitmap_Destroy": (None, (c_void_p,)),
    "FPDF_RenderPageBitmap": (None, (c_void_p, c_void_p, c_int, c_int, c_int, c_int, c_int, c_int)),
    "FPDFPage_CountObjects": (c_int, (c_void_p,)),
    "FPDFPage_GetObject": (c_void_p, (c_void_p, c_int)),
    "FPDFFormObj_CountObjects": (c_int, (c_void_p,)),
    "FPDFFormObj_GetObject": (c_void_p, (c_void_p, c_ulong)),
    "FPDFPageObj_GetType": (c_int, (c_void_p,)),
    "FPDFPageObj_GetBounds": (c_int, (c_void_p, _FLOAT, _FLOAT, _FLOAT, _FLOAT)),
    "FPDFImageObj_GetImagePixelSize": (c_int, (c_void_p, _UINT, _UINT)),
}


def _library() -> ctypes.CDLL:
    """Return PDFium, made ready; raises ImportError where it is not installed."""
    spec = find_spec("pypdfium2_raw")
    if spec is None or spec.origin is None:
        raise ImportError(name="pypdfium2")
    folder = spec.origin.removesuffix("__init__.py")
    try:
        library = ctypes.CDLL(folder + _NAMES.get(sys.platform, "libpdfium.so"))
    except OSError:
        # Systems that have a package of PDFium itself have it elsewhere, and it is told here.
        from pypdfium2_raw import bindings  # noqa: PLC0415 - slow to load

        library = ctypes.CDLL(bindings._libs["pdfium"]._name)  # noqa: SLF001 - told nowhere else
    for name, (returns, takes) in _FUNCTIONS.items():
        function = getattr(library, name)
        function.restype, function.argtypes = returns, takes
    library.FPDF_InitLibraryWithConfig(_Config(version=2))
    return library


_PDFIUM = _library()


class Document:
    """The PDF in *data*, open within a ``with``; raises PdfError."""

    def __init__(self, data: bytes) -> None:
        self._data = data  # PDFium reads on in it
        self._document = _PDFIUM.FPDF_LoadMemDocument64(data, len(data), None)
        if len(self) < 1:
            raise PdfError(is_locked=_PDFIUM.FPDF_GetLastError() == _ERR_PASSWORD)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        _PDFIUM.FPDF_CloseDocument(self._document)

    def __len__(self) -> int:
        return int(_PDFIUM.FPDF_GetPageCount(self._document))

    def pages(self, numbers: Iterable[int]) -> Iterator[Page]:
        """Yield its pages of these *numbers*, from 1, each open until the next; raises PdfError."""
        for number in numbers:
            handle = _PDFIUM.FPDF_LoadPage(self._document, number - 1)
            if not handle:
                raise PdfError
            try:
                yield Page(handle)
            finally:
                _PDFIUM.FPDF_ClosePage(handle)


class Page:
    """A page that PDFium knows by *handle*: its *width* and *height* in points."""

    def __init__(self, handle: int) -> None:
        self._page = handle
        self.width = float(_PDFIUM.FPDF_GetPageWidthF(handle))
        self.height = float(_PDFIUM.FPDF_GetPageHeightF(handle))

    def rendered(self, width: int, height: int) -> memoryview:
        """Return it on white in grey, so many pixels wide and high, row by row a byte each."""
        pixels = (ctypes.c_ubyte * (width * height))()
        bitmap = _PDFIUM.FPDFBitmap_CreateEx(width, height, _BITMAP_GRAY, pixels, width)
        if not bitmap:
            raise PdfError
        _PDFIUM.FPDFBitmap_FillRect(bitmap, 0, 0, width, height, _WHITE)
        flags = _ANNOTATIONS | _GRAYSCALE
        _PDFIUM.FPDF_RenderPageBitmap(bitmap, self._page, 0, 0, width, height, 0, flags)
        _PDFIUM.FPDFBitmap_Destroy(bitmap)
        return memoryview(pixels).cast("B")

    def pictures(self) -> Iterator[tuple[float, float]]:
        """
        Yield the area of each picture on it, in square points, and of how many pixels the picture
        is; raises PdfError.
        """
        for item in self._objects(self._page, "Page"):
            sides = [c_float() for _ in range(4)]
            pixels = [c_uint() for _ in range(2)]
            if not (
                _PDFIUM.FPDFPageObj_GetBounds(item, *sides)
                and _PDFIUM.FPDFImageObj_GetImagePixelSize(item, *pixels)
            ):
                raise PdfError
            left, bottom, right, top = (side.value for side in sides)
            yield (right - left) * (top - bottom), pixels[0].value * pixels[1].value

    def _objects(self, parent: int, kind: str, depth: int = 1) -> Iterator[int]:
        """Yield the pictures in *parent*, a Page or a FormObj, and in the forms in it."""
        item_at = getattr(_PDFIUM, f"FPDF{kind}_GetObject")
        for at in range(getattr(_PDFIUM, f"FPDF{kind}_CountObjects")(parent)):
            item = item_at(parent, at)
            if not item:
                raise PdfError
            item_kind = _PDFIUM.FPDFPageObj_GetType(item)
            if item_kind == _PAGE_OBJECT_IMAGE:
                yield item
            elif item_kind == _PAGE_OBJECT_FORM and depth < _DEEPEST:
                yield from self._objects(item, "FormObj", depth + 1)
