"""
The head line, line 0 of every set: what a reader must know before any other line: `pack` and
`unpack` (docs/format.md, "The head line").

Its 24 data characters are read one by one as numbers 0 to 31 (RFC 4648 §6); `_FIELDS` is the table.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass, replace

from paperkey_alt.errors import RagleafError, UnknownFormat
from paperkey_alt.format.lines import ALPHABET, DATA_BYTES, LAST_NUMBER, NO_MARK, Line, decode

NUMBER = 0
VERSION = 1
FLAG_SEALED = 1
MARK_CHARACTERS = 5
BODY_CHECK_CHARACTERS = 4
BACKUP_CHARACTERS = 5
BACKUP_BITS = 5 * BACKUP_CHARACTERS
MOST_SHARES = 16
MOST_SPARE = 254  # for each data line: what one codeword of spare lines has room for

# Characters of the head line a field takes, in their order.
_FIELDS = (
    ("version", 1),
    ("flags", 1),
    ("data_lines", 2),
    ("spare_lines", 2),
    ("padding", 1),
    ("share_number", 1),
    ("share_threshold", 1),
    ("share_count", 1),
    ("backup_number", BACKUP_CHARACTERS),
    ("set_mark", MARK_CHARACTERS),
    ("body_check", BODY_CHECK_CHARACTERS),
)
SHAPE_CHARACTERS = 7
_COVERED = sum(width for name, width in _FIELDS if name not in ("set_mark", "body_check"))


@dataclass(frozen=True)
class Share:
    """
    Share *number* of *count*, *threshold* of which are needed; *backup* (25 bits) is common to all
    of them.
    """

    number: int
    threshold: int
    count: int
    backup: int

    def __post_init__(self) -> None:
        if not (
            2 <= self.threshold <= self.count <= MOST_SHARES and 1 <= self.number <= self.count
        ):
            raise ValueError(f"a share is one of 2 to {MOST_SHARES}, of which 2 or more are needed")
        if not 0 <= self.backup < 1 << BACKUP_BITS:
            raise ValueError(f"a backup number has {BACKUP_BITS} bits")


@dataclass(frozen=True)
class Head:
    """
    The shape of a set: *data_lines* and *spare_lines*, the zero bytes that fill up the last data
    line, whether the body is sealed, which share it is if it is one, and the first 45 bits of its
    digest as *mark* and *body_check*.
    """

    data_lines: int
    spare_lines: int
    padding: int
    sealed: bool = False
    share: Share | None = None
    mark: str = "A" * MARK_CHARACTERS
    body_check: str = "A" * BODY_CHECK_CHARACTERS

    def __post_init__(self) -> None:
        if self.data_lines < 1 or self.spare_lines < 0 or self.total > LAST_NUMBER:
            raise ValueError(f"a set has 1 to {LAST_NUMBER} lines")
        if self.spare_lines > MOST_SPARE * self.data_lines:
            raise ValueError(f"a data line has at most {MOST_SPARE} spare lines")
        if not 0 <= self.padding < DATA_BYTES:
            raise ValueError("the last data line has at least one byte of the body")
        for text, width in ((self.mark, MARK_CHARACTERS), (self.body_check, BODY_CHECK_CHARACTERS)):
            if len(text) != width or not set(text) <= set(ALPHABET):
                raise ValueError(f"the digest is in the head line as {width} base32 characters")

    @property
    def total(self) -> int:
        """The number of lines, data and spare, the head line not counted."""
        return self.data_lines + self.spare_lines

    @property
    def body_length(self) -> int:
        """The length of the body in bytes."""
        return self.data_lines * DATA_BYTES - self.padding

    def of(self, body: bytes) -> Head:
        """Return this head with the digest of *body* in it."""
        digest = _digest(self, body)
        return replace(self, mark=digest[:MARK_CHARACTERS], body_check=digest[MARK_CHARACTERS:])

    def agrees_with(self, body: bytes) -> bool:
        """Tell whether *body* has the length and the digest that stand here."""
        return len(body) == self.body_length and _digest(self, body) == self.mark + self.body_check


def backup_characters(backup: int) -> str:
    """Return a backup number as it is printed and asked for: five base32 characters."""
    return _text(backup, BACKUP_CHARACTERS)


def shape_characters(head: Head) -> str:
    """Return the characters of *head* before those of a share: 1 to 7."""
    return _characters(head)[:SHAPE_CHARACTERS]


def completed(covered: str, body: bytes, mark: str) -> Head | None:
    """
    Return the head that begins with the characters *covered*, 1 to 15, and has the digest of *body*
    behind them; None where that does not begin with *mark*.
    """
    digest = hashlib.sha256(covered.encode() + body).digest()
    if base64.b32encode(digest[:5]).decode()[:MARK_CHARACTERS] != mark:
        return None
    characters = (
        covered + base64.b32encode(digest).decode()[: MARK_CHARACTERS + BODY_CHECK_CHARACTERS]
    )
    return unpack(Line(NUMBER, base64.b32decode(characters)))


def pack(head: Head) -> Line:
    """Return *head* as line 0."""
    return Line(NUMBER, base64.b32decode(_characters(head)))


def unpack(line: Line) -> Head:
    """
    Return the head that stands in line 0; raises UnknownFormat where it is of another version or
    cannot be a head.
    """
    characters, fields = base64.b32encode(line.data).decode(), {}
    for name, width in _FIELDS:
        fields[name], characters = characters[:width], characters[width:]
    number = {name: _number(text) for name, text in fields.items()}
    if number["version"] != VERSION:
        raise UnknownFormat(
            f"the head line is of format version {number['version']}; this program knows version "
            f"{VERSION}"
        )
    if number["flags"] & ~FLAG_SEALED:
        raise UnknownFormat("the head line has a flag that this program does not know")
    try:
        return Head(
            data_lines=number["data_lines"],
            spare_lines=number["spare_lines"],
            padding=number["padding"],
            sealed=bool(number["flags"] & FLAG_SEALED),
            share=_share(number),
            mark=fields["set_mark"],
            body_check=fields["body_check"],
        )
    except ValueError as reason:
        raise UnknownFormat(f"the head line makes no sense: {reason}") from None


def read(text: str) -> Head | None:
    """
    Return the head that *text* says, the 29 characters of a head line mended where need be; None
    where it says none.
    """
    try:
        return unpack(decode(text, NUMBER, NO_MARK).line)
    except RagleafError:
        return None


def _characters(head: Head) -> str:
    share = head.share
    number = {
        "version": VERSION,
        "flags": FLAG_SEALED if head.sealed else 0,
        "data_lines": head.data_lines,
        "spare_lines": head.spare_lines,
        "padding": head.padding,
        "share_number": share.number if share else 0,
        "share_threshold": share.threshold if share else 0,
        "share_count": share.count if share else 0,
        "backup_number": share.backup if share else 0,
        "set_mark": _number(head.mark),
        "body_check": _number(head.body_check),
    }
    return "".join(_text(number[name], width) for name, width in _FIELDS)


def _share(number: dict[str, int]) -> Share | None:
    names = ("share_number", "share_threshold", "share_count", "backup_number")
    values = [number[name] for name in names]
    return Share(*values) if any(values) else None


def _digest(head: Head, body: bytes) -> str:
    covered = _characters(head)[:_COVERED].encode()
    digest = base64.b32encode(hashlib.sha256(covered + body).digest()).decode()
    return digest[: MARK_CHARACTERS + BODY_CHECK_CHARACTERS]


def _number(characters: str) -> int:
    value = 0
    for character in characters:
        value = value << 5 | ALPHABET.index(character)
    return value


def _text(number: int, width: int) -> str:
    return "".join(ALPHABET[number >> 5 * at & 31] for at in reversed(range(width)))
