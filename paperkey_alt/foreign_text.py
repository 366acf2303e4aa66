"""
Text that others wrote, made fit to be shown: `clean` for a text, `rows` for several rows of which
each may hold some, `clean_values` for what becomes JSON.

User IDs, names of files and holders, the register's fields and payloads can hold what moves the
cursor, turns the direction of writing, hides characters or begins a new row. Every exit of the
program (terminal, sheets, text files, JSON) calls this, so nothing before it needs to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

# Letters and marks by their category that show nothing (Unicode, Default_Ignorable_Code_Point).
_UNSEEN = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0")
_VARIATION_SELECTORS = (range(0x180B, 0x1810), range(0xFE00, 0xFE10), range(0xE0100, 0xE01F0))
_ROW_ENDS = frozenset("\u2028\u2029")
_LAST_CONTROL = 0x9F


def clean(text: str) -> str:
    """
    Return *text* as one row, in which each character that does not show itself stands as its code
    point, ``[U+202E]``: controls (C0 and C1), formats (of direction, of width zero), ends of rows,
    surrogates, and code points without a character. Cleaning twice changes nothing more.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        character if _shows(character) else f"[U+{ord(character):04X}]" for character in text
    )


def rows(texts: Iterable[str]) -> str:
    """Return *texts*, each cleaned and a row of its own, as one text."""
    return "\n".join(map(clean, texts))


def clean_values(value: Any) -> Any:
    """Return *value*, of what JSON can hold, with every text in it cleaned."""
    match value:
        case str():
            return clean(value)
        case dict():
            return {name: clean_values(content) for name, content in value.items()}
        case list() | tuple():
            return [clean_values(content) for content in value]
    return value


def _shows(character: str) -> bool:
    if character in _UNSEEN or any(ord(character) in run for run in _VARIATION_SELECTORS):
        return False
    # Blanks of other widths are not printable to Python; they do no harm.
    is_blank = character.isspace() and ord(character) > _LAST_CONTROL
    return character.isprintable() or (is_blank and character not in _ROW_ENDS)
