"""
Sources of any kind: `read` takes a file's bytes apart into pages; a text is one.
"""

from __future__ import annotations

import codecs
from typing import TYPE_CHECKING

from paperkey_alt.errors import MissingExtra, SourceError
from paperkey_alt.reading import kinds
from paperkey_alt.reading.page import Page

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from paperkey_alt.format.head_line import Head

_BYTE_ORDER_MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
# By reasoning: the longest set of lines is 41,000 characters, and what programs leave around lines
# is not ten times as much. So many take 10 s where each row is almost a line.
MOST_CHARACTERS = 1_000_000
_MOST_BYTES_A_CHARACTER = 4
_PRINTED_PROGRAM = (
    "{} is the printed restorer, a program: no lines of a backup are on it, and it was not read."
)


def read(data: bytes, name: str, *, thorough: bool = False) -> Iterator[Page]:
    """
    Yield what the bytes of the source *name* give, page by page; of pages, the rows that no QR
    block carries, or if *thorough* all.

    Raises SourceError where they are neither text nor a picture, or text of more than a million
    characters; MissingExtra where they are a picture and the extra ``scan`` is missing.
    """
    if kinds.is_printed_program(data):
        yield Page(name, 0, 0, (), advice=(_PRINTED_PROGRAM.format(name),))
        return
    if not kinds.is_picture(data):
        from paperkey_alt.reading.text import handheld, typed  # noqa: PLC0415 - for pictures, vain

        text = _text(data, name)
        scans = handheld.symbols(text)
        advice = dict.fromkeys(sentence for scan in scans for sentence in scan.advice)
        yield Page(
            name, 0, 0, typed.read(text, name), typed_symbols=len(scans), advice=tuple(advice)
        )
        return
    try:
        from paperkey_alt.reading.image import pages  # noqa: PLC0415 - an extra, and slow to load

        yield from pages.read(data, name, thorough=thorough)
    except ImportError as error:
        raise MissingExtra(
            f"reading pictures needs the library {error.name}, which is not installed"
        ) from None


def read_again(
    data: bytes, name: str, before: Sequence[Page], heads: Sequence[Head]
) -> Iterator[Page]:
    """
    Yield the pages *before* of the source *name*, those of them that lack a head line read with
    *heads*, which are known from other pages; raises SourceError as `read` does.
    """
    if not any(page.lacks_head for page in before):
        yield from before
        return
    from paperkey_alt.reading.image import second_pass  # noqa: PLC0415 - an extra, slow to load

    yield from second_pass.read(data, name, before, heads)


def _text(data: bytes, name: str) -> str:
    if len(data) > MOST_CHARACTERS * _MOST_BYTES_A_CHARACTER:
        raise _too_long(name)
    encoding = next(
        (encoding for mark, encoding in _BYTE_ORDER_MARKS.items() if data.startswith(mark)), "utf-8"
    )
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        refused = kinds.not_readable(data)
        raise SourceError(f"{name} {refused.what}", advice=refused.advice or None)
    if len(text) > MOST_CHARACTERS:
        raise _too_long(name)
    return text


def _too_long(name: str) -> SourceError:
    return SourceError(
        f"{name} is longer than a million characters, the limit for text: the longest set of lines "
        "has 41,000",
        advice="Give the part of it that has the lines.",
    )
