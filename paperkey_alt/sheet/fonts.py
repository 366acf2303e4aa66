"""The files of the fonts that sheets are set in, and are read by: those that reportlab brings."""

from __future__ import annotations

from pathlib import Path

import reportlab

_FOLDER = Path(reportlab.__file__).parent / "fonts"

COURIER_BOLD = str(_FOLDER / "cob_____.pfb")
COURIER_BOLD_METRICS = str(_FOLDER / "cob_____.afm")
VERA = str(_FOLDER / "Vera.ttf")
VERA_BOLD = str(_FOLDER / "VeraBd.ttf")
