"""
Writes test vectors of the format, by the grammar of README.md beside it, into a folder that is not
there yet: ``python tests/vectors/make_vectors.py FOLDER``.

The vectors of version 1 are frozen in version-1: no later change may touch them. Whoever has more
to ask writes them into another folder.
"""

import hashlib
import random
import sys
from dataclasses import dataclass, replace
from pathlib import Path

from paperkey_alt.format import backup, head_line, lines, payload
from paperkey_alt.format.backup import COMMITMENT_BYTES, Terms
from paperkey_alt.format.body import PlainBody, SealedBody
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.format.payload import (
    Certificate,
    Compact,
    File,
    Lean,
    ReducedPart,
    Revocation,
    RsaFile,
    SecretPart,
    Whole,
)
from paperkey_alt.format.seal import Cost, seal
from paperkey_alt.sheet import qr
from paperkey_alt.sheet.text_file import row

FOLDER = Path(__file__).parent / "version-1"
SUMS = "SHA256SUMS"
CONTENT = (
    b"Fairway buoy 7 is off station by two cables to the north-east since the night of the 3rd.\n"
)
LONG = random.Random(5).randbytes(4200)
PASSPHRASE = "low water at dawn"
COST = Cost(1, 1, 10)
SWAP = 9
BLIND = bytes(range(16))

# A key of which only its packets matter here, not whether its numbers are on a curve: a primary key
# packet and a subkey packet of version 4, algorithm 27 (RFC 9580 §5.5.5.9), and their secrets.
PUBLIC = tuple(
    bytes([4])
    + (1767225600 + at).to_bytes(4, "big")
    + bytes([27])
    + random.Random(at).randbytes(32)
    for at in (1, 2)
)
NUMBERS = tuple(random.Random(at).randbytes(32) for at in (3, 4))
SECRET = tuple(bytes([0]) + number + sum(number).to_bytes(2, "big") for number in NUMBERS)
USER_ID = b"Saltmarrow Buoy Keepers <keepers@saltmarrow.example>"


@dataclass(frozen=True)
class Vector:
    """
    A text, what is to be found in it, and *content*, what comes back; *others* are given with it,
    *marks* named, *apart* the set marks of shares that do not fit.
    """

    expect: str
    rows: tuple[str, ...]
    content: bytes | None = CONTENT
    passphrase: str | None = None
    others: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    apart: tuple[str, ...] = ()


def path(name, folder=FOLDER):
    """The file of the vector *name*: without a comma, hyphens for blanks."""
    return folder / f"{name.replace(',', '').replace(' ', '-')}.txt"


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


def file(content=CONTENT, name="notice.txt"):
    """A file as a payload, its blind no secret."""
    return File(name, content, BLIND)


def vectors():
    """All vectors by name."""
    return _one_set() | _kinds() | _shares() | _without_a_head_line() | _several_sets()


def _one_set():
    body = payload.pack(file())
    made = lay_out(body, 4)
    other = lay_out(payload.pack(file(CONTENT.replace(b"7", b"8"))), 4)
    data = made.head.data_lines
    line = dict(enumerate(made.lines, 1))
    head = made.head_line
    spares = range(data + 1, made.head.total + 1)
    wide = lay_out(payload.pack(file(LONG, "long.bin")), 12)
    bad_head = changed(head, 4)
    return {
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
            "beyond repair", rows_of(made, (1, 2, 4, 5, 6)), content=None
        ),
        "a data line missing and no spare lines": Vector(
            "beyond repair", rows_of(made, (2, *spares)), content=None
        ),
        "two groups of spare lines": Vector(
            "missing 10,11,12,13", rows_of(wide, (10, 11, 12, 13)), content=LONG
        ),
        "another version": Vector(
            "other version", rows_of(made, L0=row(0, of_version_2(made))), content=None
        ),
        "a line that is right and of other data": Vector(
            "digest", rows_of(made, spares, L3=forged(made, 3)), content=None
        ),
    }


def _kinds():
    """Each kind of payload, plain and sealed; and what a reader refuses."""
    parts = tuple(
        SecretPart(fingerprint(public), secret)
        for public, secret in zip(PUBLIC, SECRET, strict=True)
    )
    certificate = packets((6, PUBLIC[0]), (13, USER_ID), (14, PUBLIC[1]))
    key = packets((5, PUBLIC[0] + SECRET[0]), (13, USER_ID), (7, PUBLIC[1] + SECRET[1]))
    compact = Compact(
        (
            ReducedPart(1, NUMBERS[0], bytes([0]), hashlib.sha256(SECRET[0]).digest()[:8]),
            ReducedPart(
                2, random.Random(8).randbytes(64), bytes([254, 9]), bytes(8), other_passphrase=True
            ),
            parts[1],
        )
    )
    draw = random.Random(9)
    numbers = RsaFile("buoy.pem", 1, 2, 65537, draw.getrandbits(512) | 1, draw.getrandbits(512) | 1)
    revoked = packets((2, bytes([4, 0x20, 27, 8]) + random.Random(10).randbytes(80)))
    revocation = Revocation(fingerprint(PUBLIC[0]), revoked)
    return {
        "kind 1, lean": Vector("ok", plain(Lean(parts)), key, others=("kind 7, certificate",)),
        "kind 2, whole": Vector("ok", plain(Whole(key)), key),
        "kind 3, compact": Vector(
            "ok", sealed(compact), payload.encode(compact), passphrase=PASSPHRASE
        ),
        "kind 4, file": Vector("ok", plain(file())),
        "kind 4, file without a name": Vector("ok", plain(file(name=""))),
        "kind 4, file of one byte": Vector("ok", plain(file(b"\0", "0")), b"\0"),
        "kind 5, RSA file": Vector("ok", plain(numbers), payload.encode(numbers)),
        "kind 6, revocation": Vector("ok", plain(revocation), revoked),
        "kind 7, certificate": Vector("ok", plain(Certificate(certificate)), certificate),
        "sealed": Vector("ok", sealed(file()), passphrase=PASSPHRASE),
        "sealed, lean": Vector(
            "ok", sealed(Lean(parts)), key, PASSPHRASE, others=("kind 7, certificate",)
        ),
        "sealed, of another passphrase": Vector(
            "passphrase", sealed(file()), None, PASSPHRASE.upper()
        ),
        "sealed certificate": Vector(
            "unknown", sealed(Certificate(certificate)), None, passphrase=PASSPHRASE
        ),
        "unknown kind": Vector(
            "unknown", rows_of(lay_out(digested(b"\x09of the future"), 4)), None
        ),
        "bytes behind the end": Vector(
            "unknown", rows_of(lay_out(digested(payload.encode(Lean(parts)) + b"\0"), 4)), None
        ),
        "payload of another digest": Vector(
            "digest", rows_of(lay_out(payload.encode(file()) + bytes(32), 4)), None
        ),
    }


def _shares():
    """Shares, forged ones among them."""
    body = payload.pack(file())
    shares = split(PlainBody(body), Terms(2, 3), 7)
    marks = [share.head.mark for share in shares]
    apart = other_share(shares[1], committed=True)
    against = other_share(shares[1], committed=False)
    stranger = other_share(shares[1], committed=False, numbered=False)
    locked = split(SealedBody(sealed_body(file())), Terms(3, 4), 8)
    pair = (*rows_of(shares[0]), *rows_of(shares[2]))
    return {
        "share 1 of 3": Vector("ok", rows_of(shares[0]), others=("share 3 of 3",)),
        "share 3 of 3": Vector("ok", rows_of(shares[2]), others=("share 1 of 3",)),
        "share 2 of 3, alone": Vector("beyond repair", rows_of(shares[1]), None),
        "shares with as many lines missing as there are spare lines": Vector(
            "missing 1,2,3,4", (*rows_of(shares[0], (1, 2, 3, 4)), *rows_of(shares[1]))
        ),
        "shares, one of them not complete": Vector(
            "beyond repair", (*rows_of(shares[0], (1, 2, 3, 4, 5)), *rows_of(shares[1])), None
        ),
        "sealed shares": Vector(
            "ok",
            tuple(text for share in locked[1:] for text in rows_of(share)),
            passphrase=PASSPHRASE,
        ),
        "a wrong share": Vector("ok", (*rows_of(apart), *pair), apart=(apart.head.mark,)),
        "a wrong share among just enough": Vector(
            "beyond repair", (*rows_of(apart), *rows_of(shares[0])), None
        ),
        "a share that contradicts": Vector("conflict", (*rows_of(against), *pair), None),
        "a share that contradicts, a true one named": Vector(
            "ok", (*rows_of(against), *pair), marks=marks[:1]
        ),
        "a share that contradicts, and is named": Vector(
            "beyond repair", (*rows_of(against), *pair), None, marks=(against.head.mark,)
        ),
        "a share that contradicts, both named": Vector(
            "conflict", (*rows_of(against), *pair), None, marks=(against.head.mark, marks[0])
        ),
        "two shares of one number": Vector(
            "conflict", (*rows_of(apart), *rows_of(shares[1]), *pair), None
        ),
        "two shares of one number, a third named": Vector(
            "ok",
            (*rows_of(apart), *rows_of(shares[1]), *rows_of(shares[2])),
            marks=marks[2:],
            apart=(apart.head.mark,),
        ),
        "two shares of one number, one of them named": Vector(
            "ok", (*rows_of(apart), *rows_of(shares[1]), *rows_of(shares[2])), marks=marks[1:2]
        ),
        "two shares of one number, the wrong one named": Vector(
            "beyond repair",
            (*rows_of(apart), *rows_of(shares[1]), *rows_of(shares[2])),
            None,
            marks=(apart.head.mark,),
        ),
        "a share with another backup number than its line 1": Vector(
            "ok", (*rows_of(stranger), *pair)
        ),
        "a share with another backup number, alone": Vector("unknown", rows_of(stranger), None),
        "a share that says it is sealed": Vector(
            "ok",
            (*rows_of(relaid(shares[1], sealed=True)), *pair),
            marks=marks[:1],
        ),
        "a share that says it is sealed, none named": Vector(
            "conflict", (*rows_of(relaid(shares[1], sealed=True)), *pair), None
        ),
        "a share printed with other spare lines": Vector(
            "ok", (*rows_of(shares[0]), *rows_of(relaid(shares[0], spare=2)), *rows_of(shares[2]))
        ),
        "all shares twice": Vector("ok", pair * 2),
    }


def _without_a_head_line():
    """Line 0 computed from the other lines."""
    made = lay_out(payload.pack(file()), 4)
    other = lay_out(payload.pack(file(CONTENT.replace(b"7", b"8"))), 4)
    data, total = made.head.data_lines, made.head.total
    few = lay_out(payload.pack(file()), 2)
    padded = lay_out(payload.pack(file(CONTENT[:-7])), 4)
    shares = split(PlainBody(payload.pack(file())), Terms(2, 3), 7)
    bad_head = row(0, changed(made.head_line, 1, 8, 15))
    head = row(0, made.head_line)
    return {
        "no head line": Vector("ok", rows_of(made, (0,))),
        "no head line, data lines alone": Vector(
            "ok", rows_of(made, (0, *range(data + 1, total + 1)))
        ),
        "no head line, and lines missing": Vector("missing 2,5", rows_of(made, (0, 2, 5))),
        "no head line, and lines with wrong characters": Vector(
            "mended 3",
            rows_of(made, (0,), L3=row(3, changed(made.lines[2], 4))),
        ),
        "no head line, other share of spare lines": Vector("ok", rows_of(few, (0,))),
        "no head line, other padding": Vector("ok", rows_of(padded, (0,)), CONTENT[:-7]),
        "no head line, sealed": Vector("ok", sealed(file())[1:], passphrase=PASSPHRASE),
        "no head line, shares": Vector(
            "ok", (*rows_of(shares[0], (0,)), *rows_of(shares[2], (0,)))
        ),
        "no head line, one line missing of a share": Vector(
            "missing 3", (*rows_of(shares[0], (0, 3)), *rows_of(shares[2]))
        ),
        "no head line, two lines": Vector(
            "no head line", rows_of(made, (0, *range(3, total + 1))), None
        ),
        "a head line beyond mending": Vector("ok", (bad_head, *rows_of(made, (0,)))),
        "lines of another set under this head": Vector(
            "ok", (head, *rows_of(other, (0,))), CONTENT.replace(b"7", b"8")
        ),
        "two lines of another set under this head": Vector(
            "wrong set", (head, *rows_of(other, (0, *range(3, total + 1)))), None
        ),
        "the head line at the foot too": Vector("ok", (*rows_of(made), head)),
        "a forged head line beside the true one": Vector(
            "ok", (*rows_of(made), row(0, forged_head_line(made)))
        ),
        "forged head lines before the true one": Vector(
            "ok", (*[row(0, forged_head_line(made))] * 3, *rows_of(made))
        ),
    }


def _several_sets():
    """A set is chosen, never assumed."""
    made = lay_out(payload.pack(file()), 4)
    other = lay_out(payload.pack(file(CONTENT.replace(b"7", b"8"))), 4)
    both = (*rows_of(made), *rows_of(other))
    part = (*rows_of(made), *rows_of(other, (1, 2, 3, 4, 5)))
    ours = split(PlainBody(payload.pack(file())), Terms(2, 3), 7)
    theirs = split(PlainBody(payload.pack(file(CONTENT.replace(b"7", b"8")))), Terms(2, 3), 8)
    mixed = tuple(text for share in (*ours[:2], *theirs[1:]) for text in rows_of(share))
    backup_number = head_line.backup_characters(ours[0].head.share.backup)
    return {
        "two sets": Vector("ask", both, None),
        "two sets, one named": Vector("ok", both, marks=(made.head.mark,)),
        "two sets, one named in small letters": Vector("ok", both, marks=(made.head.mark.lower(),)),
        "two sets, both named": Vector("ask", both, None, marks=(made.head.mark, other.head.mark)),
        "two sets, one of them not complete": Vector("ask", part, None),
        "two sets, the complete one named": Vector("ok", part, marks=(made.head.mark,)),
        "two sets, the other one named": Vector(
            "beyond repair", part, None, marks=(other.head.mark,)
        ),
        "a name that no set has": Vector("no such set", both, None, marks=("QQQQQ",)),
        "a head line of another set and no line of it": Vector(
            "ok", (row(0, other.head_line), *rows_of(made))
        ),
        "a line of another set and not its head line": Vector(
            "ok", (*rows_of(made), row(2, other.lines[1]))
        ),
        "shares of two backups": Vector("ask", mixed, None),
        "shares of two backups, one named by its number": Vector(
            "ok", mixed, marks=(backup_number,)
        ),
        "shares of two backups, one named by a set mark": Vector(
            "ok", mixed, marks=(ours[1].head.mark,)
        ),
        "a set and a share": Vector("ask", (*rows_of(made), *rows_of(ours[0])), None),
    }


def plain(content):
    """The rows of a payload with four spare lines."""
    return rows_of(lay_out(payload.pack(content), 4))


def sealed_body(content):
    """A payload under a seal whose salt is no secret."""
    return seal(payload.encode(content), PASSPHRASE, bytes(range(16)), COST)


def sealed(content):
    """The rows of a payload under a seal."""
    return rows_of(lay_out(sealed_body(content), 4, sealed=True))


def digested(content):
    """Bytes with their SHA-256 behind them."""
    return content + hashlib.sha256(content).digest()


def packets(*bodies):
    """OpenPGP packets, each of a type and a body, under headers of the new form."""
    return b"".join(bytes([0xC0 | kind, len(body)]) + body for kind, body in bodies)


def fingerprint(public):
    """The fingerprint of a key packet of version 4 (RFC 9580 §5.5.4.2)."""
    return hashlib.sha1(b"\x99" + len(public).to_bytes(2, "big") + public).digest()


def split(body, terms, seed):
    """Shares whose random bytes are no secret."""
    return backup.split(body, terms, spare=4, random_bytes=random.Random(seed).randbytes)


def share_body(share):
    """The body of a share, from its data lines."""
    data = b"".join(
        lines.decode(text, number, share.head.mark).line.data
        for number, text in enumerate(share.lines[: share.head.data_lines], 1)
    )
    return data[: share.head.body_length]


def other_share(share, *, committed, numbered=True):
    """
    A share under the same number and of other bytes: with the commitment, or another one that
    begins as it does, or, where not *numbered*, not even that.
    """
    body = share_body(share)
    begin = bytearray(body[:COMMITMENT_BYTES])
    if not committed:
        begin[-1 if numbered else 0] ^= 1
    rest = random.Random(11).randbytes(len(body) - COMMITMENT_BYTES)
    return lay_out(bytes(begin) + rest, share.head.spare_lines, share=share.head.share)


def relaid(share, *, sealed=False, spare=4):
    """The same share with another flag or other spare lines."""
    return lay_out(share_body(share), spare, sealed=sealed, share=share.head.share)


def forged_head_line(made):
    """A head line with the same set mark that tells another shape."""
    shape = replace(made.head, data_lines=made.head.data_lines - 1, spare_lines=6)
    return lines.encode(head_line.pack(shape), lines.NO_MARK)


def of_version_2(made):
    """A head line that passes its check and is of version 2 of the format."""
    first = head_line.pack(made.head).data
    return lines.encode(lines.Line(0, bytes([first[0] & 7 | 2 << 3]) + first[1:]), lines.NO_MARK)


def forged(made, number):
    """
    A row that passes its check under the set's mark and carries other bytes than were printed.
    """
    return row(number, lines.encode(lines.Line(number, bytes(15)), made.head.mark))


def text_of(vector):
    """A vector as a text file."""
    head = [f"# expect: {vector.expect}"]
    if vector.content is not None:
        head.append(f"# sha256: {hashlib.sha256(vector.content).hexdigest()}")
    if vector.passphrase:
        head.append(f"# passphrase: {vector.passphrase}")
    head += [f"# with: {name}" for name in vector.others]
    head += [f"# mark: {mark}" for mark in vector.marks]
    head += [f"# apart: {mark}" for mark in vector.apart]
    return "\n".join([*head, *vector.rows]) + "\n"


def main(folder):
    """Write the files into *folder*, which is made: nothing that is there is written over."""
    folder = Path(folder)
    folder.mkdir()
    sums = []
    for name, vector in vectors().items():
        written = path(name, folder)
        written.write_text(text_of(vector), encoding="utf-8")
        sums.append(f"{hashlib.sha256(written.read_bytes()).hexdigest()}  {written.name}")
    (folder / SUMS).write_text("\n".join(sorted(sums, key=lambda row: row[66:])) + "\n")
    print(f"{len(sums)} vectors")


if __name__ == "__main__":
    main(*sys.argv[1:])
