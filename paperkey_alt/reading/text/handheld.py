"""
A QR symbol as a handheld scanner types it: `read`.

Such a scanner is a keyboard to the computer: it presses the keys that give the text on the keyboard
of one country. Where the computer is set to another one, the same keys give other characters. Of
the alphabet of a symbol's text (docs/format.md, "A sheet") that moves letters, digits and the sign
/; blanks may be lost. Which keyboards they are, the checks of the lines tell.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from itertools import permutations
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
_LONGEST = 3_391  # ISO/IEC 18004: alphanumeric characters in version 40 at level M
# By reasoning: what is a 0 on one keyboard is another digit on the next, 30 of a thousand keys.
_MOST_ZEROS = 200
_PLACE = Place(source="scanner")


@dataclass(frozen=True, eq=False)
class Keyboards:
    """
    The countries whose keyboards the *computer* and the *scanner* are set to, and what arrives →
    what was meant.
    """

    computer: str
    scanner: str
    meant: Mapping[str, str]


# The four rows of keys as they are printed on keyboards, without and with Shift, from the key
# of 1, of Q or A, of A or Q, and of Z, Y or W on. Other countries have letters, digits and / where
# one of these has them, or only / elsewhere.
_LAYOUTS = {
    "US": (
        ("1234567890-=", "qwertyuiop[]", "asdfghjkl;'", "zxcvbnm,./"),
        ("!@#$%^&*()_+", "QWERTYUIOP{}", 'ASDFGHJKL:"', "ZXCVBNM<>?"),
    ),
    "UK": (
        ("1234567890-=", "qwertyuiop[]", "asdfghjkl;'", "zxcvbnm,./"),
        ('!"£$%^&*()_+', "QWERTYUIOP{}", "ASDFGHJKL:@", "ZXCVBNM<>?"),
    ),
    "German": (
        ("1234567890ß´", "qwertzuiopü+", "asdfghjklöä", "yxcvbnm,.-"),
        ('!"§$%&/()=?`', "QWERTZUIOPÜ*", "ASDFGHJKLÖÄ", "YXCVBNM;:_"),
    ),
    "French": (
        ("&é\"'(-è_çà)=", "azertyuiop^$", "qsdfghjklmù", "wxcvbn,;:!"),
        ("1234567890°+", "AZERTYUIOP¨£", "QSDFGHJKLM%", "WXCVBN?./§"),
    ),
    "Belgian": (
        ("&é\"'(§è!çà)-", "azertyuiop^$", "qsdfghjklmù", "wxcvbn,;:="),
        ("1234567890°_", "AZERTYUIOP¨*", "QSDFGHJKLM%", "WXCVBN?./+"),
    ),
    "Spanish": (
        ("1234567890'¡", "qwertyuiop`+", "asdfghjklñ´", "zxcvbnm,.-"),
        ('!"·$%&/()=?¿', "QWERTYUIOP^*", "ASDFGHJKLÑ¨", "ZXCVBNM;:_"),
    ),
    "Czech": (
        ("+ěščřžýáíé=´", "qwertzuiopú)", "asdfghjklů§", "yxcvbnm,.-"),
        ("1234567890%ˇ", "QWERTZUIOP/(", 'ASDFGHJKL"!', "YXCVBNM?:_"),
    ),
}
_TEXT = f"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789{_SEPARATOR}"


@cache
def _keyboards() -> tuple[Keyboards, ...]:
    """Every pair of keyboards, those first that are alike."""
    same = Keyboards("", "", {character: character for character in _TEXT})
    return (same, *(_pair(*pair) for pair in permutations(_LAYOUTS, 2)))


def _pair(computer: str, scanner: str) -> Keyboards:
    keys = {
        character: (row, at, shift)
        for shift, rows in enumerate(_LAYOUTS[scanner])
        for row, characters in enumerate(rows)
        for at, character in enumerate(characters)
    }
    meant: dict[str, str] = {}
    # With the other state of Shift: where Caps Lock is on.
    for other in (0, 1):
        for character in _TEXT:
            row, at, shift = keys[character]
            arriving = _capital(_LAYOUTS[computer][shift ^ other][row][at])
            meant.setdefault(arriving, character)
    return Keyboards(computer, scanner, meant)


def _capital(character: str) -> str:
    capital = character.upper()
    return capital if len(capital) == 1 else character


@cache
def _zeros() -> frozenset[str]:
    """What a symbol's text may begin with."""
    return frozenset(
        arriving
        for keyboards in _keyboards()
        for arriving, meant in keyboards.meant.items()
        if meant == "0"
    )


@dataclass(frozen=True)
class Scan:
    """
    The lines of a symbol that a scanner typed, the head line first, with what to change in its
    settings; *complete* if no key was lost, and whether it *has* the *sign* / in its place.
    """

    block: tuple[tuple[int, str], ...]
    advice: tuple[str, ...]
    complete: bool = True
    has_sign: bool = False

    @property
    def raw_lines(self) -> tuple[RawLine, ...]:
        """The lines as they are read from any source."""
        return tuple(RawLine(_PLACE, (line,)) for line in self.block)


def read(text: str) -> Scan | None:
    """Return the symbol that *text*, one row, is; None where it is none."""
    compact = "".join(text.split())
    if not _SHORTEST <= len(compact) <= _LONGEST or _capital(compact[0]) not in _zeros():
        return None
    compact = "".join(map(_capital, compact))
    scans = {
        keyboards: scan
        for keyboards in _keyboards()
        if (scan := _typed_on(compact, keyboards)) is not None
    }
    if not scans:
        return None
    fit = {keyboards: (_fine_lines(scan), scan.has_sign) for keyboards, scan in scans.items()}
    likeliest = max(fit, key=fit.__getitem__)
    best = scans[likeliest]
    if 2 * _fine_lines(best) >= len(best.block) - 1 > 0:
        equal = {(each.computer, each.scanner) for each in fit if fit[each] == fit[likeliest]}
        if likeliest.computer and (likeliest.scanner, likeliest.computer) in equal:
            return replace(best, advice=(_EITHER_KEYBOARD.format(keyboards=likeliest),))
        return best
    # Where a key was lost, what is cut behind it are no lines.
    return Scan(best.block[:1], (_INCOMPLETE,), complete=False)


def last(text: str) -> Scan | None:
    """Return the symbol that *text* ends with, whatever was typed before it; None where none is."""
    compact = "".join(text.split())
    starts = [at for at, character in enumerate(compact) if _capital(character) in _zeros()]
    scans = [
        scan for at in reversed(starts[-_MOST_ZEROS:]) if (scan := read(compact[at:])) is not None
    ]
    return next((scan for scan in scans if scan.complete), scans[0] if scans else None)


def symbols(text: str) -> tuple[Scan, ...]:
    """Return the symbols among the rows of *text*, those that are not complete left out."""
    scans = map(read, text.splitlines())
    return tuple(scan for scan in scans if scan is not None and scan.complete)


def _typed_on(compact: str, keyboards: Keyboards) -> Scan | None:
    """Return the symbol that *compact* is on these keyboards, if its head line is fine."""
    beginning = _BEGINNING.fullmatch(_meant(compact[: CHARACTERS + 1], keyboards))
    if beginning is None or _head(beginning[1]) is None:
        return None
    match = _SYMBOL.fullmatch(_meant(compact, keyboards))
    if match is None or int(match[3]) + len(match[4]) // CHARACTERS - 1 > LAST_NUMBER:
        return Scan(((0, beginning[1]),), (_INCOMPLETE,), complete=False)
    run = match[4]
    cut = [run[at : at + CHARACTERS] for at in range(0, len(run), CHARACTERS)]
    return Scan(
        ((0, match[1]), *enumerate(cut, int(match[3]))),
        _advice(keyboards, match[2]),
        has_sign=keyboards.meant.get(compact[match.start(2)]) == _SEPARATOR,
    )


def _meant(text: str, keyboards: Keyboards) -> str:
    return "".join(keyboards.meant.get(character, character) for character in text)


def _advice(keyboards: Keyboards, separator: str) -> tuple[str, ...]:
    if keyboards.computer:
        return (_OTHER_KEYBOARD.format(keyboards=keyboards),)
    if separator != _SEPARATOR:
        return (_SIGN.format(f"arrived as {separator}" if separator else "did not arrive"),)
    return ()


_OTHER_KEYBOARD = (
    "The scanner types for a {keyboards.scanner} keyboard or one like it, and this computer has a "
    "{keyboards.computer} one or one like it. Ragleaf repaired the text; next time set the "
    "scanner's keyboard country to that of this computer."
)
_EITHER_KEYBOARD = (
    "The scanner types for a {keyboards.scanner} keyboard and this computer has a "
    "{keyboards.computer} one, or the other way round, or they are like these. Ragleaf repaired "
    "the text; next time set the scanner's keyboard country to that of this computer."
)
_SIGN = (
    "The sign / {}. Ragleaf repaired the text; next time set the scanner's keyboard country to "
    "that of this computer."
)
_INCOMPLETE = (
    "The text of this symbol is not complete: scan it again. If that does not help, set a delay "
    "between characters in the scanner."
)


def _fine_lines(scan: Scan) -> int:
    head = _head(scan.block[0][1])
    mark = head.mark if head else NO_MARK
    return sum(_is_fine(text, number, mark) for number, text in scan.block[1:])


def _is_fine(text: str, number: int, mark: str) -> bool:
    return lines.implied_mark(text, number) == mark


def _head(text: str) -> head_line.Head | None:
    if not _is_fine(text, head_line.NUMBER, NO_MARK):
        return None
    try:
        return head_line.unpack(lines.decode(text, head_line.NUMBER, NO_MARK).line)
    except (LineError, UnknownFormat):
        return None
