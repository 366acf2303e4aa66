"""
ASCII armor: `armor` and `dearmor` (RFC 9580 §6).

Read leniently, in this short list: text before, between and after blocks; line ends of any kind;
blanks at either end of a row; armor headers, which are not kept; a missing blank row behind them; a
missing checksum. Everything else that is not armor is an error with its row.
"""

from __future__ import annotations

import base64
import enum
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import DamagedKeyFile, Place

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

ROW_CHARACTERS = 64

_CRC24_INIT = 0xB704CE
_CRC24_GENERATOR = 0x1864CFB
_CRC24_BYTES = 3

_BEGIN = re.compile(r"-----BEGIN PGP ([A-Z ]{1,40})-----")
_END = re.compile(r"-----END PGP ([A-Z ]{1,40})-----")
_HEADER = re.compile(r"[A-Za-z-]+:( .*)?")
_CHECKSUM = re.compile(r"=([A-Za-z0-9+/]{4})")
_NOT_BASE64 = re.compile(r"[^A-Za-z0-9+/=]|=(?!=*$)")
_CLEARTEXT = "SIGNED MESSAGE"


class ArmorKind(enum.Enum):
    """What a block holds, by the words of its first and last row (RFC 9580 §6.2.1)."""

    MESSAGE = "MESSAGE"
    PUBLIC_KEY = "PUBLIC KEY BLOCK"
    PRIVATE_KEY = "PRIVATE KEY BLOCK"
    SIGNATURE = "SIGNATURE"


@dataclass(frozen=True)
class ArmorBlock:
    """
    The bytes of one armored block, and the row of the file, counted from 1, in which it begins.
    """

    kind: ArmorKind
    data: bytes
    row: int


def armor(data: bytes, *, kind: ArmorKind, checksum: bool) -> str:
    """
    Return *data* as an armored block that ends with a newline.

    *checksum* adds the CRC-24 footer, which older readers want and which must not stand behind
    version 6 keys (RFC 9580 §6.1).
    """
    text = base64.b64encode(data).decode("ascii")
    rows = [text[at : at + ROW_CHARACTERS] for at in range(0, len(text), ROW_CHARACTERS)]
    if checksum:
        rows.append(
            "=" + base64.b64encode(crc24(data).to_bytes(_CRC24_BYTES, "big")).decode("ascii")
        )
    return "\n".join(
        [f"-----BEGIN PGP {kind.value}-----", "", *rows, f"-----END PGP {kind.value}-----", ""]
    )


def dearmor(text: bytes) -> list[ArmorBlock]:
    """
    Return all armored blocks of *text*, in order; none where it has no armor.

    Raises DamagedKeyFile with the row where a block is cut short, no base64, or at odds with its
    checksum.
    """
    # Latin-1 maps every byte to one character: text around the blocks may be of any encoding.
    rows = [
        row.strip()
        for row in text.decode("latin-1").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    ]
    return [_block(rows, at) for at in _beginnings(rows)]


def crc24(data: bytes) -> int:
    """Return the CRC-24 of *data*, initial value 0xB704CE, generator 0x1864CFB (RFC 9580 §6.1)."""
    remainder = _CRC24_INIT
    for octet in data:
        remainder = ((remainder << 8) & 0xFFFFFF) ^ _CRC24_TABLE[(remainder >> 16) ^ octet]
    return remainder


def _crc24_of_octet(octet: int) -> int:
    remainder = octet << 16
    for _ in range(8):
        remainder <<= 1
        if remainder & 0x1000000:
            remainder ^= _CRC24_GENERATOR
    return remainder


_CRC24_TABLE = tuple(map(_crc24_of_octet, range(256)))


def _beginnings(rows: Sequence[str]) -> Iterator[int]:
    for at, row in enumerate(rows):
        begin = _BEGIN.fullmatch(row)
        if begin and begin[1] != _CLEARTEXT:
            yield at


def _block(rows: Sequence[str], begin: int) -> ArmorBlock:
    kind = _kind(rows[begin], begin)
    end = next((at for at in range(begin + 1, len(rows)) if rows[at].startswith("-----")), None)
    if end is None:
        raise _damage("the armor has no END row: the file is cut short", len(rows) - 1)
    ending = _END.fullmatch(rows[end])
    if not ending or ending[1] != kind.value:
        raise _damage(f"the armor that begins in row {begin + 1} does not end as it began", end)
    first = next((at for at in range(begin + 1, end) if not _HEADER.fullmatch(rows[at])), end)
    body = [(at, rows[at]) for at in range(first, end) if rows[at]]
    checksum = _CHECKSUM.fullmatch(body[-1][1]) if body else None
    data = _decode(body[:-1] if checksum else body, end)
    if checksum and int.from_bytes(base64.b64decode(checksum[1]), "big") != crc24(data):
        raise _damage(
            "the checksum (CRC-24) does not agree with the rows above it: one of them is altered "
            "or missing",
            body[-1][0],
        )
    return ArmorBlock(kind, data, begin + 1)


def _kind(row: str, at: int) -> ArmorKind:
    begin = _BEGIN.fullmatch(row)
    try:
        return ArmorKind(begin[1] if begin else row)
    except ValueError:
        raise _damage(f"{row!r} begins no kind of armor that RFC 9580 knows", at) from None


def _decode(body: Sequence[tuple[int, str]], end: int) -> bytes:
    """
    Return the bytes of the base64 rows, each with its place; *end* is the place of the END row.
    """
    if not body:
        raise _damage("the armor is empty", end)
    for at, row in body:
        wrong = _NOT_BASE64.search(row)
        if wrong:
            raise _damage("the armor has a character that is not base64", at, wrong.start() + 1)
        if row.endswith("=") and at != body[-1][0] and not set(body[-1][1]) <= {"="}:
            raise _damage("base64 ends before its last row", at, len(row))
    text = "".join(row for _, row in body)
    if len(text) % 4:
        raise _damage("characters are missing from the armor, or surplus", _odd_row(body))
    try:
        data = base64.b64decode(text, validate=True)
    except ValueError:
        data = b""
    if base64.b64encode(data).decode("ascii") != text:
        raise _damage(
            "the end of the armor's last row is not base64 as a program writes it", body[-1][0]
        )
    return data


def _odd_row(body: Sequence[tuple[int, str]]) -> int:
    """
    Return the place of the first row that is not as long as the rows of this block are, the last
    row where all are.
    """
    lengths = [len(row) for _, row in body[:-1]]
    usual = max(set(lengths), key=lengths.count) if lengths else 0
    return next((at for at, row in body[:-1] if len(row) != usual), body[-1][0])


def _damage(what: str, at: int, column: int | None = None) -> DamagedKeyFile:
    return DamagedKeyFile(what, place=Place(row=at + 1, column=column))
