"""
A QR symbol as a handheld scanner types it: `read`.

Such a scanner is a keyboard to the computer: it presses the keys that give the text on the keyboard
of one country. Where the computer is set to another one, the same keys give other characters. Of
the alphabet of a symbol's text (docs/format.md, "A sheet") that moves letters, digits and the sign
/; blanks may be lost. Which keyboards they are, the checks of the lines tell.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import LineError, Place, UnknownFormat
from paperkey_alt.format import head_line, lines
from paperkey_alt.format.lines import ALPHABET, CHARACTERS, LAST_NUMBER, NO_MARK
from paperkey_alt.format.raw_line import RawLine

if TYPE_CHECKING:
    from collections.abc import Mapping

_LINE = rf"[{ALPHABET}]{{{CHARACTERS}}}"
_SYMBOL = re.compile(rf"0({_LINE})([^A-Z0-9]?)([1-9][0-9]{{0,3}})((?:{_LINE})+)")
_BEGINNING = re.compile(rf"0({_LINE})")
_SEPARATOR = "/"
_SHORTEST = 2 * CHARACTERS + 2
_PLACE = Place(source="scanner")


@dataclass(frozen=True)
class Keyboards:
    """
    The countries whose keyboards the *computer* and the *scanner* are set to, and what arrives →
    what was meant.
    """

    computer: str
    scanner: str
    meant: Mapping[str, str]


def _swapped(*pairs: str) -> dict[str, str]:
    return {pair[at]: pair[1 - at] for pair in pairs for at in (0, 1)}


def _digits(arriving: str) -> dict[str, str]:
    return dict(zip(arriving, "1234567890", strict=True))


_SAME = Keyboards("", "", {})
# By the layouts as they are printed on keyboards: ISO/IEC 9995 leaves the signs to each country.
KEYBOARDS = (
    _SAME,
    Keyboards("German", "US", _swapped("YZ") | {"-": "/"}),
    Keyboards(
        "French",
        "US",
        _swapped("AQ", "WZ") | _digits("&É\"'(-È_ÇÀ") | {"?": "M", ",": "M", "!": "/"},
    ),
    Keyboards(
        "Belgian",
        "US",
        _swapped("AQ", "WZ") | _digits("&É\"'(§È!ÇÀ") | {"?": "M", ",": "M", "=": "/"},
    ),
    Keyboards("Czech", "US", _swapped("YZ") | _digits("+ĚŠČŘŽÝÁÍÉ") | {"-": "/"}),
    Keyboards("US", "German", _swapped("YZ") | {"&": "/"}),
    Keyboards(
        "US",
        "French",
        _swapped("AQ", "WZ") | _digits("!@#$%^&*()") | {":": "M", ";": "M", ">": "/"},
    ),
)
_ZEROS = frozenset("0") | {
    character
    for keyboards in KEYBOARDS
    for character, meant in keyboards.meant.items()
    if meant == "0"
}


@dataclass(frozen=True)
class Scan:
    """
    The lines of a symbol that a scanner typed, the head line first, with what to change in its
    settings; *complete* if no key was lost.
    """

    block: tuple[tuple[int, str], ...]
    advice: tuple[str, ...]
    complete: bool = True

    @property
    def raw_lines(self) -> tuple[RawLine, ...]:
        """The lines as they are read from any source."""
        return tuple(RawLine(_PLACE, (line,)) for line in self.block)


def read(text: str) -> Scan | None:
    """Return the symbol that *text*, one row, is; None where it is none."""
    compact = "".join(text.split()).upper()
    if len(compact) < _SHORTEST or compact[0] not in _ZEROS:
        return None
    scans = [scan for keyboards in KEYBOARDS if (scan := _typed_on(compact, keyboards))]
    return max(scans, key=_fine_lines) if scans else None


def _typed_on(compact: str, keyboards: Keyboards) -> Scan | None:
    """Return the symbol that *compact* is on these keyboards, if its head line is fine."""
    meant = "".join(keyboards.meant.get(character, character) for character in compact)
    beginning = _BEGINNING.match(meant)
    if beginning is None or _head(beginning[1]) is None:
        return None
    match = _SYMBOL.fullmatch(meant)
    if match is None or int(match[3]) + len(match[4]) // CHARACTERS - 1 > LAST_NUMBER:
        return Scan(((0, beginning[1]),), (_INCOMPLETE,), complete=False)
    run = match[4]
    cut = [run[at : at + CHARACTERS] for at in range(0, len(run), CHARACTERS)]
    return Scan(((0, match[1]), *enumerate(cut, int(match[3]))), _advice(keyboards, match[2]))


def _advice(keyboards: Keyboards, separator: str) -> tuple[str, ...]:
    if keyboards.computer:
        return (
            (
                f"The scanner types for a {keyboards.scanner} keyboard, and this computer has a "
                f"{keyboards.computer} one. The text was repaired. Set the scanner's keyboard "
                f"country to {keyboards.computer}, or this computer's keyboard to "
                f"{keyboards.scanner}."
            ),
        )
    if separator != _SEPARATOR:
        arrived = f"arrived as {separator}" if separator else "was lost"
        return (
            (
                f"The sign / {arrived}. The text was repaired. Set the scanner's keyboard country "
                "to that of this computer."
            ),
        )
    return ()


_INCOMPLETE = (
    "The text of this symbol is not complete: scan it again. If that does not help, set a delay "
    "between characters in the scanner."
)


def _fine_lines(scan: Scan) -> tuple[bool, int]:
    head = _head(scan.block[0][1])
    mark = head.mark if head else NO_MARK
    return scan.complete, sum(_is_fine(text, number, mark) for number, text in scan.block[1:])


def _is_fine(text: str, number: int, mark: str) -> bool:
    return lines.implied_mark(text, number) == mark


def _head(text: str) -> head_line.Head | None:
    if not _is_fine(text, head_line.NUMBER, NO_MARK):
        return None
    try:
        return head_line.unpack(lines.decode(text, head_line.NUMBER, NO_MARK).line)
    except (LineError, UnknownFormat):
        return None
