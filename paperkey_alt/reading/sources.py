"""
Sources of any kind, one after another: `read` takes a file's bytes and finds out whether they are text or pictures.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt.errors import Place, SourceError
from paperkey_alt.reading import typed
from paperkey_alt.reading.sighting import Sighting
from paperkey_alt.sheet import qr

if TYPE_CHECKING:
    from collections.abc import Iterator

_BYTE_ORDER_MARKS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}
_PICTURES = (b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"II*\0", b"MM\0*", b"RIFF", b"BM", b"GIF8")


@dataclass(frozen=True)
class Source:
    """What one file gave: its sightings in order and, for pictures, the number of QR blocks read from each page."""

    name: str
    sightings: tuple[Sighting, ...]
    blocks: tuple[int, ...] = ()


def read(data: bytes, name: str) -> Source:
    """Return what the bytes of the source *name* give; raises SourceError where they are neither text nor a picture."""
    if any(data.startswith(magic) for magic in _PICTURES):
        return _pictures(data, name)
    return Source(name, typed.read(_text(data, name), name))


def _text(data: bytes, name: str) -> str:
    encoding = next((encoding for mark, encoding in _BYTE_ORDER_MARKS.items() if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise SourceError(f"{name} is neither text nor a picture", advice="Give text, PDF, PNG, JPEG or TIFF files.")
    return text


def _pictures(data: bytes, name: str) -> Source:
    # The imaging libraries are an extra, and slow to import.
    from paperkey_alt.reading import scans  # noqa: PLC0415

    sightings: list[Sighting] = []
    blocks: list[int] = []
    for page, picture in enumerate(scans.read_pages(data, name), 1):
        texts = scans.read_blocks(picture)
        blocks.append(len(texts))
        sightings.extend(sighting for text in texts for sighting in _block(text, Place(source=name, sheet=page)))
    return Source(name, tuple(sightings), tuple(blocks))


def _block(text: str, place: Place) -> Iterator[Sighting]:
    for number, characters in qr.decode_block(text) or ():
        yield Sighting(place, ((number, characters),))
