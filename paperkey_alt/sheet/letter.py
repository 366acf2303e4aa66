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
    "The sheets behind this letter are one of {count} shares of {subject}. Any {needed} of the "
    "shares, brought together, give it back after a loss. They are numbered and belong to backup "
    "{backup}; this one has the set mark {mark}."
)
_NOT_GOOD_FOR = (
    "Alone it opens nothing and signs nothing, and nobody learns anything of the {noun} from it "
    "but its size{fewer}. It is of use to others only in company, so it must never lie beside "
    "another share."
)
_KEEP = (
    "Flat, dry and dark, in a closed envelope with your name across the flap, where you would keep "
    "a deed. Do not photograph it, do not copy it, do not scan it on a machine that is connected "
    "to anything. If it is lost or may have been seen, tell the owner at once: the {noun} is then "
    "not lost, but new shares should be made."
)
_YEARLY = (
    "Look whether every line can still be read. With a computer that is never online you can be "
    "sure: scan the sheets and say ragleaf check. It needs no other share, shows no secret and "
    "learns nothing. Tell the owner that all lines are fine, or the numbers of those that are not; "
    "never the lines themselves."
)
_ASKED = (
    "Give it only to somebody you know, face to face, or after you called back on a number you had "
    "before. There is always time for that call; who presses you not to make it is not to be "
    "believed. Write down when you gave it and to whom. If a court, an officer or a border guard "
    "asks for it, ask for counsel first: what you must disclose is a matter of the law of the "
    "place."
)
_REPLACED = (
    "If the owner gives you a new share, keep both until the owner says that the new shares were "
    "rehearsed; then destroy this one before the owner's eyes, by fire or in a cross-cut shredder. "
    "Old shares still give back what they carry as long as {needed} of them exist."
)
_BLANKS = (
    "The owner, and how to reach the owner:",
    "Who may ask in the owner's place, two of them together:",
    "Given to me on, and looked through on:",
)


@dataclass(frozen=True)
class Letter:
    """
    A heading, paragraphs under headings of their own, and the words before each blank to be filled
    in.
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
    return Letter(
        heading=f"To the holder of share {share.number} of {share.count}",
        sections=(
            (
                "What this is",
                _WHAT.format(
                    count=_numeral(share.count),
                    subject=caption.subject,
                    needed=needed,
                    backup=backup,
                    mark=head.mark,
                ),
            ),
            ("What it is not good for", _NOT_GOOD_FOR.format(fewer=fewer, noun=caption.noun)),
            ("How to keep it", _KEEP.format(noun=caption.noun)),
            ("Once a year", _YEARLY),
            ("When you are asked for it", _ASKED),
            ("When it is replaced", _REPLACED.format(needed=needed)),
        ),
        blanks=_BLANKS,
    )


def _numeral(number: int) -> str:
    return _NUMERALS.get(number, str(number))
