"""
A line as it is read aloud: each letter by its word in the spelling alphabet of the Radio
Regulations of the ITU (Appendix 14) and ICAO Annex 10, digits by their names.
"""

from __future__ import annotations

from paperkey_alt.format.lines import group

_LETTERS = (
    "Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar "
    "Papa Quebec Romeo Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu"
)
_DIGITS = "zero one two three four five six seven eight nine"
# What no line has is there all the same: it may have been typed.
WORDS = {word[0]: word for word in _LETTERS.split()} | {
    str(digit): word for digit, word in enumerate(_DIGITS.split())
}
_UNREADABLE = "unreadable"


def spell(characters: str) -> list[str]:
    """Return the groups of a line, all or the first characters of it, in words."""
    return [
        " ".join(WORDS.get(character, _UNREADABLE) for character in characters_of_group)
        for characters_of_group in group(characters).split()
    ]
