"""
Files and keys that somebody makes who means harm: each is made here, none was found elsewhere.
"""

import base64
import io
import random

import segno
from PIL import Image
from samples import only

from paperkey_alt.format import head_line, lines
from paperkey_alt.format.head_line import Head
from paperkey_alt.keys.openpgp import packets
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.rfc9580 import PacketType

# Every row by which some kind of file is told.
LABELS = tuple(
    row.encode()
    for row in (
        *(
            f"-----BEGIN {label}-----"
            for label in (
                "PRIVATE KEY",
                "ENCRYPTED PRIVATE KEY",
                "RSA PRIVATE KEY",
                "EC PRIVATE KEY",
                "DSA PRIVATE KEY",
                "OPENSSH PRIVATE KEY",
                "CERTIFICATE",
                "NOTE",
                "PGP PUBLIC KEY BLOCK",
                "PGP PRIVATE KEY BLOCK",
                "PGP MESSAGE",
                "PGP SIGNATURE",
                "PGP SIGNED MESSAGE",
                "PGP MESSAGE, PART 1/2",
            )
        ),
        "-----END PGP PUBLIC KEY BLOCK-----",
        "ssh-rsa AAAAB3Nz",
        "ssh-ed25519 AAAAC3Nz",
        "ecdsa-sha2-nistp256 AAAAE2Vj",
        "sk-ssh-ed25519@saltmarrow.example AAAAGnNr",
        "RAGLEAF 1",
        "%PDF-1.7",
    )
)


def packet(tag, body):
    """A packet of any length under a new header."""
    return packets.Packet(tag, bytes([0xC0 | tag, 255]) + len(body).to_bytes(4, "big"), body)


def _subpacket(kind, content):
    """A subpacket of a signature or of a user attribute (RFC 9580 §5.2.3.7, §5.12)."""
    return b"\xff" + (len(content) + 1).to_bytes(4, "big") + bytes([kind]) + content


def _notation(text):
    """An unsigned certification with *text* as the value of a notation (RFC 9580 §5.2.3.24)."""
    name = b"note@saltmarrow.example"
    fields = b"\x80\0\0\0" + len(name).to_bytes(2, "big") + len(text).to_bytes(2, "big")
    hashed = _subpacket(2, bytes(4)) + _subpacket(20, fields + name + text)
    body = bytes([4, 0x10, 22, 8]) + len(hashed).to_bytes(2, "big") + hashed
    return packet(PacketType.SIGNATURE, body + b"\0\x0a\x09\x10" + bytes(8) + b"\0\0")


# What anyone can add to a certificate, by the packet that it stands in.
ADDITIONS = {
    "user ID": lambda text: packet(PacketType.USER_ID, text),
    "notation": _notation,
    "attribute": lambda text: packet(PacketType.USER_ATTRIBUTE, _subpacket(1, text)),
    "unknown packet": lambda text: packet(60, text),
}


def with_additions(data, place, texts):
    """Return a binary key file with *texts* added, each in a packet of the kind *place*."""
    key = only(data)
    added = (ADDITIONS[place](text) for text in texts)
    return packets.join(Key((*key.packets, *added)).packets)


def heads_and_junk(heads=200, junk=1000, seed=15):
    """Text of many head lines, each of a set of its own, and rows that are almost lines."""
    chance = random.Random(seed)
    marks = ["".join(chance.choices(lines.ALPHABET, k=5)) for _ in range(heads)]
    rows = [
        lines.encode(
            head_line.pack(Head(data_lines=500, spare_lines=500, padding=0, mark=mark)),
            lines.NO_MARK,
        )
        for mark in marks
    ]
    return "\n".join(
        [f"0 {row}" for row in rows]
        + [f"{1 + at % 999} {''.join(chance.choices(lines.ALPHABET, k=29))}" for at in range(junk)]
    ).encode()


def base64_text(size):
    """Random base64 in rows of 76 characters, of about *size* bytes."""
    chance = random.Random(15)
    block = base64.encodebytes(chance.randbytes(57 * 4096))
    return block * (size // len(block) + 1)


def words_text(size):
    """One row of numbers and groups that may each begin a line, of about *size* bytes."""
    return b"7 ABCD " * (size // 7)


def short_rows(size):
    """Rows of a number each, of about *size* bytes."""
    return b"12\n" * (size // 3)


def nested_pdf(depth=8, width=12):
    """A small PDF whose page draws a form that draws a form, each *width* times."""
    forms = [
        _stream(
            f"/Type/XObject/Subtype/Form/BBox[0 0 600 800]/Group<</S/Transparency/I true>>"
            f"/Resources<</XObject<</F {5 + level} 0 R>>/ExtGState<</G<</ca .5/BM/Multiply>>>>>>",
            b"/G gs /F Do " * width,
        )
        for level in range(depth)
    ]
    last = _stream("/Type/XObject/Subtype/Form/BBox[0 0 600 800]", b"0 0 600 800 re f")
    number = 5 + depth
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        f"<</Type/Pages/Kids[{number} 0 R]/Count 1>>".encode(),
        _stream("", b"/F Do"),
        *forms,
        last,
        _page(3, 4),
    ]
    return pdf(objects)


def _page(contents, drawn):
    """A page that can draw the object of the number *drawn* as F."""
    return (
        f"<</Type/Page/Parent 2 0 R/MediaBox[0 0 600 800]"
        f"/Resources<</XObject<</F {drawn} 0 R>>>>/Contents {contents} 0 R>>"
    ).encode()


def _stream(entries, content):
    return f"<<{entries}/Length {len(content)}>>stream\n".encode() + content + b"\nendstream"


def pdf(objects):
    """A PDF of *objects*, the first of which is its catalog."""
    data, places = b"%PDF-1.7\n", []
    for number, body in enumerate(objects, 1):
        places.append(len(data))
        data += f"{number} 0 obj".encode() + body + b"\nendobj\n"
    rows = "".join(f"{place:010} 00000 n \n" for place in places)
    size = len(objects) + 1
    tail = f"xref\n0 {size}\n0000000000 65535 f \n{rows}trailer<</Size {size}/Root 1 0 R>>\n"
    return data + f"{tail}startxref\n{len(data)}\n%%EOF\n".encode()


def jbig2_pdf(side=20_000, segments=200):
    """
    A PDF of a picture in JBIG2 (ITU-T T.88): a page of *side* squared, on which generic regions of
    that size are drawn, each of a few bytes.
    """
    info = side.to_bytes(4, "big") * 2 + bytes(8) + b"\0\0\0"
    page = _segment(0, 48, info)
    region = side.to_bytes(4, "big") * 2 + bytes(8) + b"\0"
    coded = b"\0" + bytes([3, 255, 253, 255, 2, 254, 254, 254]) + bytes(4) + b"\xff\xac"
    regions = b"".join(_segment(at, 38, region + coded) for at in range(1, segments + 1))
    picture = _stream(
        f"/Type/XObject/Subtype/Image/Width {side}/Height {side}/BitsPerComponent 1"
        "/ColorSpace/DeviceGray/Filter/JBIG2Decode",
        page + regions,
    )
    return pdf(
        [
            b"<</Type/Catalog/Pages 2 0 R>>",
            b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
            _page(4, 5),
            _stream("", b"600 0 0 800 0 0 cm /F Do"),
            picture,
        ]
    )


def _segment(number, kind, data):
    return number.to_bytes(4, "big") + bytes([kind, 0, 1]) + len(data).to_bytes(4, "big") + data


def tiff_bomb(frames=500, side=12_000):
    """A TIFF of *frames* pages, all of the same strip of *side* squared white pixels."""
    target = io.BytesIO()
    Image.new("L", (side, side), 255).save(target, "TIFF", compression="tiff_adobe_deflate")
    data = bytearray(target.getvalue())
    first = int.from_bytes(data[4:8], "little")
    count = int.from_bytes(data[first : first + 2], "little")
    entries = data[first : first + 2 + 12 * count]
    data[first + 2 + 12 * count :][:4] = bytes(4)
    directories = bytearray()
    start = len(data)
    size = len(entries) + 4
    data[first + len(entries) : first + len(entries) + 4] = start.to_bytes(4, "little")
    for frame in range(1, frames):
        following = start + size * frame if frame + 1 < frames else 0
        directories += entries + following.to_bytes(4, "little")
    return bytes(data + directories)


def png_bomb(side=12_000):
    """A PNG of one colour with as many pixels as may be, in a few bytes."""
    target = io.BytesIO()
    Image.new("RGBA", (side, side)).save(target, "PNG")
    return target.getvalue()


def crowded_page(across=45, down=60):
    """A picture with some thousands of small QR symbols."""
    code = io.BytesIO()
    segno.make("RAGLEAF").save(code, kind="png", scale=2, border=4)
    symbol = Image.open(code).convert("L")
    page = Image.new("L", (across * symbol.width, down * symbol.height), 255)
    for column in range(across):
        for row in range(down):
            page.paste(symbol, (column * symbol.width, row * symbol.height))
    target = io.BytesIO()
    page.save(target, "PNG")
    return target.getvalue()


def noise_page(width=6000, height=6000):
    """A picture of black and white by chance, as large as one is read."""
    picture = Image.frombytes(
        "1", (width, height), random.Random(15).randbytes(width * height // 8)
    )
    target = io.BytesIO()
    picture.save(target, "PNG")
    return target.getvalue()


def many_pages(pages=500):
    """A PDF of *pages* pages of noise, all the same object."""
    picture = random.Random(15).randbytes(300 * 400 // 8)
    kids = " ".join(f"{5 + at} 0 R" for at in range(pages))
    return pdf(
        [
            b"<</Type/Catalog/Pages 2 0 R>>",
            f"<</Type/Pages/Kids[{kids}]/Count {pages}>>".encode(),
            _stream("", b"600 0 0 800 0 0 cm /F Do"),
            _stream(
                "/Type/XObject/Subtype/Image/Width 400/Height 300/BitsPerComponent 1"
                "/ColorSpace/DeviceGray",
                picture,
            ),
            *[_page(3, 4)] * pages,
        ]
    )
