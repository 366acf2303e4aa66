"""
Writes the test vectors of the format into tests/vectors/format, by the grammar of README.md beside
it: ``python tests/vectors/make_vectors.py``.
"""

import hashlib
import random
import sys
from dataclasses import dataclass
from pathlib import Path

from paperkey_alt.format import backup, head_line, lines, payload
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import PlainBody
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.format.payload import File
from paperkey_alt.format.seal import Cost, seal
from paperkey_alt.sheet import qr
from paperkey_alt.sheet.text_file import row

FOLDER = Path(__file__).parent / "format"
CONTENT = (
    b"Fairway buoy 7 is off station by two cables to the north-east since the night of the 3rd.\n"
)
PASSPHRASE = "low water at dawn"
COST = Cost(1, 1, 10)
SWAP = 9


@dataclass(frozen=True)
class Vector:
    """A text, what is to be found in it, and whether it restores."""

    expect: str
    rows: tuple[str, ...]
    restores: bool = True
    passphrase: str | None = None
    others: tuple[str, ...] = ()


def path(name):
    """The file of the vector *name*: without a comma, hyphens for blanks."""
    return FOLDER / f"{name.replace(',', '').replace(' ', '-')}.txt"


def changed(line, *places):
    """The line with other characters at these places, from 0."""
    return "".join(
        ALPHABET[ALPHABET.index(one) ^ 11] if at in places else one for at, one in enumerate(line)
    )


def swapped(line, at):
    """The line with two neighbours exchanged."""
    return line[:at] + line[at + 1] + line[at] + line[at + 2 :]


def rows_of(made, leave=(), **instead):
    """The rows of a set, some left out, some replaced (L7=...)."""
    every = {number: row(number, line) for number, line in enumerate((made.head_line, *made.lines))}
    every |= {int(name[1:]): text for name, text in instead.items()}
    return tuple(text for number, text in every.items() if number not in leave and text)


def vectors():
    """All vectors by name."""
    body = payload.pack(File("notice.txt", CONTENT, bytes(16)))
    made = lay_out(body, 4)
    other = lay_out(payload.pack(File("notice.txt", CONTENT.replace(b"7", b"8"), bytes(16))), 4)
    data = made.head.data_lines
    line = dict(enumerate(made.lines, 1))
    head = made.head_line
    spares = range(data + 1, made.head.total + 1)
    sealed = lay_out(
        seal(
            payload.encode(File("notice.txt", CONTENT, bytes(16))),
            PASSPHRASE,
            bytes(range(16)),
            COST,
        ),
        4,
        sealed=True,
    )
    shares = backup.split(
        PlainBody(body), Terms(2, 3), spare=4, random_bytes=random.Random(7).randbytes
    )
    wide = lay_out(payload.pack(File("long.bin", random.Random(5).randbytes(4200), bytes(16))), 12)
    bad_head = changed(head, 4)
    found = {
        "whole": Vector("ok", rows_of(made)),
        "data lines alone": Vector("ok", rows_of(made, spares)),
        "small letters": Vector("ok", tuple(one.lower() for one in rows_of(made))),
        "no blanks": Vector(
            "ok", tuple("".join(one.split()) if at else one for at, one in enumerate(rows_of(made)))
        ),
        "other groups": Vector(
            "ok", rows_of(made, L3=f"3 {'-'.join(line[3][at : at + 7] for at in range(0, 29, 7))}")
        ),
        "look-alikes": Vector(
            "ok",
            tuple(one[:4] + one[4:].replace("O", "0").replace("B", "8") for one in rows_of(made)),
        ),
        "one for I or L": Vector(
            "ok", tuple(one[:4] + one[4:].replace("I", "1") for one in rows_of(made))
        ),
        "any order": Vector("ok", rows_of(made)[::-1]),
        "twice": Vector("ok", rows_of(made) * 2),
        "no numbers": Vector("ok", tuple(one[4:] for one in rows_of(made))),
        "remarks and blank rows": Vector(
            "ok", ("# a remark", "", *rows_of(made)[:4], "", "# another", *rows_of(made)[4:])
        ),
        "text of a QR block": Vector("ok", (qr.encode_block(head, 1, made.lines),)),
        "one character wrong": Vector("mended 3", rows_of(made, L3=row(3, changed(line[3], 9)))),
        "two characters wrong": Vector(
            "mended 3", rows_of(made, L3=row(3, changed(line[3], 2, 26)))
        ),
        "two characters exchanged": Vector(
            "mended 3", rows_of(made, L3=row(3, swapped(line[3], SWAP)))
        ),
        "one character missing": Vector(
            "mended 3", rows_of(made, L3=row(3, line[3][:11] + line[3][12:]))
        ),
        "one character too many": Vector(
            "mended 3", rows_of(made, L3=row(3, line[3][:11] + "Q" + line[3][11:]))
        ),
        "four characters illegible": Vector(
            "mended 3", rows_of(made, L3=row(3, f"??{line[3][2:20]}??{line[3][22:]}"))
        ),
        "a wrong character in each line": Vector(
            f"mended {','.join(map(str, range(1, data + 1)))}",
            rows_of(
                made,
                spares,
                **{
                    f"L{number}": row(number, changed(line[number], number))
                    for number in range(1, data + 1)
                },
            ),
        ),
        "a wrong character in the head line": Vector("ok", rows_of(made, L0=row(0, bad_head))),
        "three characters wrong": Vector(
            "wrong 3", rows_of(made, L3=row(3, changed(line[3], 1, 8, 15)))
        ),
        "five characters illegible": Vector(
            "wrong 3", rows_of(made, L3=row(3, f"?????{line[3][5:]}"))
        ),
        "cut short": Vector("wrong 3", rows_of(made, L3=row(3, line[3][:17]))),
        "a line of another set": Vector("wrong 3", rows_of(made, L3=row(3, other.lines[2]))),
        "one line missing": Vector("missing 3", rows_of(made, (3,))),
        "as many missing as there are spare lines": Vector(
            "missing 1,2,4,6", rows_of(made, (1, 2, 4, 6))
        ),
        "one more missing than there are spare lines": Vector(
            "beyond repair", rows_of(made, (1, 2, 4, 5, 6)), restores=False
        ),
        "a data line missing and no spare lines": Vector(
            "beyond repair", rows_of(made, (2, *spares)), restores=False
        ),
        "no head line": Vector("no head line", rows_of(made, (0,)), restores=False),
        "a head line beyond mending": Vector(
            "no head line", rows_of(made, L0=row(0, changed(head, 1, 8, 15))), restores=False
        ),
        "lines of another set under this head": Vector(
            "wrong set", (row(0, head), *rows_of(other, (0,))), restores=False
        ),
        "sealed": Vector("ok", rows_of(sealed), passphrase=PASSPHRASE),
        "share 1 of 3": Vector("ok", rows_of(shares[0]), others=("share 3 of 3",)),
        "share 3 of 3": Vector("ok", rows_of(shares[2]), others=("share 1 of 3",)),
        "share 2 of 3, alone": Vector("beyond repair", rows_of(shares[1]), restores=False),
        "two groups of spare lines": Vector("missing 10,11,12,13", rows_of(wide, (10, 11, 12, 13))),
        "another version": Vector(
            "other version", rows_of(made, L0=row(0, of_version_2(made))), restores=False
        ),
        "a line that is right and of other data": Vector(
            "digest", rows_of(made, spares, L3=forged(made, 3)), restores=False
        ),
    }
    return found, {name: LONG if name == "two groups of spare lines" else CONTENT for name in found}


LONG = random.Random(5).randbytes(4200)


def of_version_2(made):
    """A head line that passes its check and is of version 2 of the format."""
    first = head_line.pack(made.head).data
    return lines.encode(lines.Line(0, bytes([first[0] & 7 | 2 << 3]) + first[1:]), lines.NO_MARK)


def forged(made, number):
    """
    A row that passes its check under the set's mark and carries other bytes than were printed.
    """
    return row(number, lines.encode(lines.Line(number, bytes(15)), made.head.mark))


def text_of(vector, content):
    """A vector as a text file."""
    head = [f"# expect: {vector.expect}"]
    if vector.restores:
        head.append(f"# sha256: {hashlib.sha256(content).hexdigest()}")
    if vector.passphrase:
        head.append(f"# passphrase: {vector.passphrase}")
    head += [f"# with: {name}" for name in vector.others]
    return "\n".join([*head, *vector.rows]) + "\n"


def main():
    """Write the files."""
    FOLDER.mkdir(exist_ok=True)
    found, contents = vectors()
    for name, vector in found.items():
        path(name).write_text(text_of(vector, contents[name]), encoding="utf-8")
    print(f"{len(found)} vectors")


if __name__ == "__main__":
    sys.exit(main())
