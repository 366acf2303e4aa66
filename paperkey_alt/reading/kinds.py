"""
What kind of file some bytes are, by how they begin: `is_picture`, and what to say of a picture that
cannot be read here (`not_readable`).
"""

from __future__ import annotations

import re

from paperkey_alt.reading.image.bounds import Refused
from paperkey_alt.reading.image.scans import is_pdf
from paperkey_alt.sheet.caption import PROGRAM_TITLE

_PROGRAM = f"/Title ({PROGRAM_TITLE})".encode()
_FIRST_BYTES = (
    b"\x89PNG",
    b"\xff\xd8\xff",  # JPEG
    b"II*\0",  # TIFF, and that with 64 bits, of either byte order
    b"MM\0*",
    b"II+\0",
    b"MM\0+",
    b"RIFF",  # WebP
    b"BM",
    b"GIF8",
    b"\xff\x4f\xff\x51",  # JPEG 2000, bare and in a file
    b"\0\0\0\x0cjP  ",
)
# PBM, PGM, PPM and PFM: two numbers follow, remarks between them.
_NETPBM = re.compile(rb"P[1-6f](\s+#[^\n]*)*\s+[0-9]+\s+[0-9]+\s")
_BRAND = slice(4, 12)  # of a file of boxes (ISO/IEC 14496-12)
_AVIF = (b"ftypavif", b"ftypavis")
_JPEG = "Save it as JPEG, and give that."
_HEIC_TO_JPEG = (
    "Save it as JPEG: a telephone does so when you export the picture, or for new ones once its "
    "camera is set to the most compatible format; a computer's picture viewer can too."
)
# What is made by telephones and scanners and not read here, by its first bytes: its name, and how
# to make it what is read.
_OTHERS = (
    (
        re.compile(rb".{4}ftyp(heic|heix|heim|heis|hevc|hevx|mif1|msf1)", re.DOTALL),
        "a HEIC picture",
        _HEIC_TO_JPEG,
    ),
    (re.compile(rb".{4}ftypavi[fs]", re.DOTALL), "an AVIF picture", _JPEG),
    (re.compile(rb".{4}ftyp", re.DOTALL), "a video", "Take still pictures of the sheets."),
    (re.compile(rb"\xff\x0a|\0\0\0\x0cJXL "), "a JPEG XL picture", _JPEG),
    (re.compile(rb"AT&TFORM"), "a DjVu file", "Save it as PDF, and give that."),
    (re.compile(rb"%!PS"), "a PostScript file", "Save it as PDF, and give that."),
    (
        re.compile(rb"PK\x03\x04"),
        "a ZIP archive, or a document of a word processor",
        "Unpack it, or save it as PDF, and give what comes of it.",
    ),
)


def is_picture(data: bytes) -> bool:
    """Tell whether a file of these bytes is taken for pictures, whatever its name."""
    return (
        data.startswith(_FIRST_BYTES)
        or is_pdf(data)
        or is_avif(data)
        or _NETPBM.match(data) is not None
    )


def is_printed_program(data: bytes) -> bool:
    """Tell whether these bytes are the PDF of a printed restorer, as Ragleaf writes it."""
    return is_pdf(data) and _PROGRAM in data


def is_avif(data: bytes) -> bool:
    """Tell whether these bytes are taken for an AVIF picture."""
    return data[_BRAND] in _AVIF


def not_readable(data: bytes) -> Refused:
    """Return what to say of a file that cannot be read: what it is, and the way out."""
    for first_bytes, title, advice in _OTHERS:
        if first_bytes.match(data):
            return Refused(f"is {title}, which Ragleaf cannot read", advice)
    if is_picture(data):
        return Refused("is not a picture of a kind that Ragleaf can read")
    return Refused("is neither text nor a picture", "Give text, PDF, PNG, JPEG or TIFF files.")
