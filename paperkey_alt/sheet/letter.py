"""
The letter to a holder that lies before the sheets of a share: plain words, and room for names to be
written in by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.format.head_line import backup_characters

if TYPE_CHECKING:
    from paperkey_alt.format.head_line import Head
    from paperkey_alt.sheet.caption import Caption

_NUMERALS = {
    2: "two",
    3: "three",
    4: "four",
    5: "five",
    6: "six",
    7: "seven",
    8: "eight",
    9: "nine",
    10: "ten",
}


_WHAT = (
    "You hold one of {count} shares of {subject}; the sheets behind this letter carry it. Any "
    "{needed} of the shares, brought together, give the {noun} back after a loss or a death. They "
    "are numbered and belong to backup {backup}; yours has the set mark {mark}."
)
_NOT_GOOD_FOR = (
    "Alone it opens nothing and signs nothing, and nobody learns anything about the {noun} from "
    "its lines but its size{fewer}. It is of use only together with others: never keep it beside "
    "another share."
)
_KEEP = (
    "Keep it flat, dry and dark, in a closed envelope with your name across the flap, where you "
    "would keep a deed. Do not photograph it, copy it, or scan it on a machine that is connected "
    "to anything. If it is lost, or if somebody may have seen it, tell the owner at once. {lost}"
)
_OTHERS_ENOUGH = (
    "The other shares can still give the {noun} back, if as many are left as are needed. The owner "
    "should make new ones."
)
_OTHERS_NOT_ENOUGH = (
    "The other shares do not give the {noun} back without it. The owner must make new ones while "
    "the {noun} is still there."
)
_YEARLY = (
    "Check that you can still read every line. Tell the owner so, or tell the numbers of the lines "
    "that you cannot read; never the lines themselves."
)
_ASKED = (
    "Give it only to somebody you know, face to face, or after you called back on a number that "
    "you had before. There is always time for that call; do not believe anybody who presses you "
    "not to make it. Write down when you gave it and to whom. If a court, an officer or a border "
    "guard asks for it, ask a lawyer first: what you must hand over depends on the law of the "
    "place."
)
_REPLACED = (
    "If the owner gives you a new share, keep both until the owner says that the new shares were "
    "rehearsed; then burn or shred this one while the owner looks on. Old shares give back what "
    "they carry as long as {needed} of them exist."
)
_BLANKS = (
    "The owner, and how to reach the owner:",
    "Who may ask in the owner's place, two together:",
    "Given to me on, and checked on:",
)


@dataclass(frozen=True)
class Letter:
    """
    A heading, paragraphs under headings of their own or none, and the words before each blank to be
    filled in.
    """

    heading: str
    sections: tuple[tuple[str, str], ...]
    blanks: tuple[str, ...]


def letter(head: Head, caption: Caption) -> Letter | None:
    """Return the letter to the holder of the share *head*; None where it is no share."""
    share = head.share
    if share is None:
        return None
    needed, backup = _numeral(share.threshold), backup_characters(share.backup)
    fewer = (
        f", not even from {_numeral(share.threshold - 1)} such shares"
        if share.threshold > 2
        else ""
    )
    lost = _OTHERS_ENOUGH if share.threshold < share.count else _OTHERS_NOT_ENOUGH
    return Letter(
        heading=f"To the holder of share {share.number} of {share.count}",
        sections=(
            (
                "",
                _WHAT.format(
                    count=_numeral(share.count),
                    subject=caption.subject,
                    noun=caption.noun,
                    needed=needed,
                    backup=backup,
                    mark=head.mark,
                ),
            ),
            *zip((caption.purpose, ""), caption.bring_back[1:], strict=False),
            ("Until then", _NOT_GOOD_FOR.format(fewer=fewer, noun=caption.noun)),
            ("", _KEEP.format(lost=lost.format(noun=caption.noun))),
            ("Once a year", _YEARLY),
            ("When you are asked for it", _ASKED),
            ("When it is replaced", _REPLACED.format(needed=needed)),
        ),
        blanks=(*_BLANKS, *caption.blanks),
    )


def _numeral(number: int) -> str:
    return _NUMERALS.get(number, str(number))
