"""
Names in any script, as far as they can be printed right: `setting` chooses a font and an order of
letters, `in_words` what to call somebody in a sentence.

The e-mail address in a user ID always comes out whole. A name is printed as it is where a font at
hand has all its letters and they stand one beside another: no script that joins letters or puts
marks on them needs more than that a font has the letter. Elsewhere the sheet says so.
"""

from __future__ import annotations

import io
import re
import unicodedata
from functools import cache
from itertools import count
from typing import NamedTuple

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

from paperkey_alt.foreign_text import clean
from paperkey_alt.sheet import fonts

PROSE, BOLD = "RagleafProse", "RagleafBold"
LACKING = "(name in letters that Ragleaf cannot print here)"

_ADDRESS = re.compile(r"<?[^\s<>]+@[^\s<>]+>?")
_MARKS = ("Mn", "Mc", "Me")  # categories of what stands on, under or around other letters
# Letters of Hebrew, and what may stand between two of them, from the first to the last.
_HEBREW = re.compile("[\u05d0-\u05ea](?:[\u05d0-\u05ea \u05be\u05f3\u05f4'\"-]*[\u05d0-\u05ea])?")
_RUN = "\0"


class Setting(NamedTuple):
    """
    *text* as it is set from left to right in the font named *font*; *kept* is the end of it that is
    never shortened: an e-mail address.
    """

    font: str
    text: str
    kept: str = ""


def setting(name: str) -> Setting:
    """Return how *name*, a user ID or the name of a file, is printed."""
    text = unicodedata.normalize("NFC", clean(name))
    address = _last_address(text)
    ordered = _left_to_right(text)
    if ordered is not None and all(_has(PROSE, letter) for letter in text if letter.isalpha()):
        ordered = by_code_points(ordered)  # a picture in a name need not hide its letters
    font = _font_with(ordered) if ordered is not None else None
    if font is not None and ordered is not None:
        return Setting(font, ordered, address if ordered.endswith(address) else "")
    shown = f"{LACKING} {address}" if address else LACKING
    return Setting(PROSE, by_code_points(shown), address)


def in_words(name: str, longest: int) -> str:
    """Return *name* for a sentence, no longer than *longest* characters but for an address."""
    text = unicodedata.normalize("NFC", clean(name))
    address = _last_address(text)
    if _left_to_right(text) != text or not _has(PROSE, text):
        return by_code_points(address or LACKING)
    if len(text) <= longest:
        return text
    rest = text.removesuffix(address).rstrip()
    room = max(0, longest - len(address) - 1)
    return f"{rest[:room]}… {address}" if address else f"{text[:longest]}…"


def _last_address(text: str) -> str:
    found = _ADDRESS.findall(text)
    return found[-1] if found else ""


def _left_to_right(text: str) -> str | None:
    """
    Return *text* in the order in which it is set from left to right; None where telling that takes
    more than one letter after another.

    Words in Hebrew run against those around them; that is all of the Unicode Bidirectional
    Algorithm (UAX #9) that names without digits or brackets among them need.
    """
    classes = [unicodedata.bidirectional(letter) for letter in text]
    if "AL" in classes or any(unicodedata.category(letter) in _MARKS for letter in text):
        return None
    if "R" not in classes:
        return text
    rest = _HEBREW.sub(_RUN, text)
    others = [unicodedata.bidirectional(letter) for letter in rest]
    between = rest.split(_RUN)[1:-1]
    if {"R", "EN", "AN"} & set(others) or not all(
        any(unicodedata.bidirectional(letter) == "L" for letter in gap) for gap in between
    ):
        return None
    return _HEBREW.sub(lambda run: run[0][::-1], text)


def _font_with(text: str) -> str | None:
    """Return the name of the first font that has every letter of *text*."""
    if _has(PROSE, text):
        return PROSE
    return next((font for font in _system_fonts() if _has(font, text)), None)


def _has(font: str, text: str) -> bool:
    register()
    glyphs = pdfmetrics.getFont(font).face.charToGlyph
    return all(ord(letter) in glyphs for letter in text)


def by_code_points(text: str) -> str:
    """Return *text* with each character that PROSE lacks as its code point, ``[U+6F6E]``."""
    return "".join(letter if _has(PROSE, letter) else f"[U+{ord(letter):04X}]" for letter in text)


@cache
def register() -> None:
    """Make PROSE and BOLD known to reportlab."""
    pdfmetrics.registerFont(TTFont(PROSE, io.BytesIO(fonts.regular())))
    pdfmetrics.registerFont(TTFont(BOLD, io.BytesIO(fonts.bold())))


@cache
def _system_fonts() -> tuple[str, ...]:
    names, numbers = [], count(1)
    for file in fonts.of_the_system():
        name = f"RagleafNames{next(numbers)}"
        try:
            pdfmetrics.registerFont(TTFont(name, file))
        except TTFError:
            continue
        names.append(name)
    return tuple(names)
