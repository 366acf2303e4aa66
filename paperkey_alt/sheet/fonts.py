"""
The fonts that sheets are set in, and are read by: the Courier Bold that reportlab brings for the
lines; for words FiraGO, which has the letters of Latin, Greek, Cyrillic and Vietnamese names, and
Hebrew, out of the package pymupdf-fonts; and for names that need other letters what the system has.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import reportlab

_FOLDER = Path(reportlab.__file__).parent / "fonts"

COURIER_BOLD = str(_FOLDER / "cob_____.pfb")
COURIER_BOLD_METRICS = str(_FOLDER / "cob_____.afm")
VERA_BOLD = str(_FOLDER / "VeraBd.ttf")

# Where systems keep fonts of many letters. Collections (.ttc) and fonts without TrueType outlines
# (.otf) are none that reportlab embeds.
_SYSTEM = (
    "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf",
    "/usr/share/fonts/TTF/DejaVuSans.ttf",
    "/usr/share/fonts/dejavu-sans-fonts/DejaVuSans.ttf",
    "/usr/share/fonts/truetype/noto/NotoSans-Regular.ttf",
    "/usr/share/fonts/noto/NotoSans-Regular.ttf",
    "/usr/share/fonts/google-noto/NotoSans-Regular.ttf",
    "/usr/share/fonts/truetype/droid/DroidSansFallbackFull.ttf",
    "/usr/share/fonts/truetype/fonts-japanese-gothic.ttf",
    "/usr/share/fonts/truetype/arphic/uming.ttf",
    "/usr/share/fonts/truetype/liberation/LiberationSans-Regular.ttf",
    "/System/Library/Fonts/Supplemental/Arial Unicode.ttf",
    "/Library/Fonts/Arial Unicode.ttf",
    "C:/Windows/Fonts/arialuni.ttf",
    "C:/Windows/Fonts/segoeui.ttf",
)


@cache
def regular() -> bytes:
    """Return FiraGO, a TrueType font."""
    from pymupdf_fonts import FiraGO_Regular  # noqa: PLC0415 - unpacked as it is loaded

    data: bytes = FiraGO_Regular.fontbuffer
    return data


@cache
def bold() -> bytes:
    """Return FiraGO Bold, a TrueType font."""
    from pymupdf_fonts import FiraGO_Bold  # noqa: PLC0415 - unpacked as it is loaded

    data: bytes = FiraGO_Bold.fontbuffer
    return data


def of_the_system() -> tuple[str, ...]:
    """Return the files of this computer's fonts that may have letters which FiraGO lacks."""
    return tuple(name for name in _SYSTEM if Path(name).is_file())
