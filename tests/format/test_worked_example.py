"""
The worked example of docs/format.md: every number in it is computed here with hashlib, base64 and a
field made by hand, and then held against both the document and the program.
"""

import base64
import hashlib
from pathlib import Path

from paperkey_alt.format import payload
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, group
from paperkey_alt.format.payload import File

DOCUMENT = (Path(__file__).parents[2] / "docs/format.md").read_text("utf-8")

# GF(32) by x⁵ + x² + 1: POWER[i] is α to the power of i.
POWER = [1]
while len(POWER) < 31:
    doubled = POWER[-1] << 1
    POWER.append(doubled ^ 0x25 if doubled & 32 else doubled)
LOG = {value: exponent for exponent, value in enumerate(POWER)}


def times(a, b):
    """The product of two elements."""
    return POWER[(LOG[a] + LOG[b]) % 31] if a and b else 0


def generator():
    """The coefficients of (x − 1)(x − α)(x − α²)(x − α³)(x − α⁴), highest power first."""
    found = [1]
    for root in POWER[:5]:
        found = [
            a ^ b
            for a, b in zip([*found, 0], [0, *(times(one, root) for one in found)], strict=True)
        ]
    return found


def division(symbols):
    """
    The rows of the division of message · x⁵ by the generator: the symbol, the factor, and the
    remainder behind it.
    """
    register = [0] * 5
    for symbol in symbols:
        factor = symbol ^ register[0]
        register = [
            a ^ times(factor, b) for a, b in zip([*register[1:], 0], generator()[1:], strict=True)
        ]
        yield symbol, factor, tuple(register)


BLIND = bytes(range(16))
PAYLOAD = bytes([4]) + BLIND + bytes([1]) + b"t" + b"At 3 m."
BODY = PAYLOAD + hashlib.sha256(PAYLOAD).digest()
DATA = BODY + bytes(2)
FIELDS = "BAAEAECAAAAAAAA"
DIGEST = base64.b32encode(hashlib.sha256(FIELDS.encode() + BODY).digest()).decode()[:9]
LINES = [base64.b32encode(DATA[at : at + 15]).decode() for at in (0, 15, 30, 45)]


def check(number, characters, mark):
    """The five check characters of a line."""
    symbols = [number >> 5, number & 31, *(ALPHABET.index(one) for one in characters)]
    *_, (_, _, remainder) = division(symbols)
    return "".join(
        ALPHABET[value ^ ALPHABET.index(mask)] for value, mask in zip(remainder, mark, strict=True)
    )


def table():
    """The division for line 1 as the document shows it."""
    symbols = [0, 1, *(ALPHABET.index(one) for one in LINES[0])]
    names = ["n₁", "n₀", *LINES[0]]
    rows = ["    symbol  value  factor   remainder"]
    for name, (symbol, factor, register) in zip(names, division(symbols), strict=True):
        rows.append(
            f"    {name:>4}  {symbol:>7}  {factor:>6}   {' '.join(f'{one:2d}' for one in register)}"
        )
    return "\n".join(rows)


def parts():
    """What must stand in the document, word for word."""
    head = FIELDS + DIGEST
    whole = [
        head + check(0, head, "AAAAA"),
        *(line + check(at, line, DIGEST[:5]) for at, line in enumerate(LINES, 1)),
    ]
    digest = hashlib.sha256(PAYLOAD).hexdigest()
    yield f"    {PAYLOAD[:16].hex(' ')}\n    {PAYLOAD[16:].hex(' ')}"
    yield f"    {digest[:32]}\n    {digest[32:]}"
    yield "\n".join(
        f"    {at}  {group(line + '     ').rstrip()}" for at, line in enumerate(LINES, 1)
    )
    yield f"the digest characters are `{DIGEST}`"
    yield "\n".join(
        f"    {' '.join(f'{value:2d}' for value in powers)}" for powers in (POWER[:16], POWER[16:])
    )
    yield "x⁵ + {} x⁴ + {} x³ + {} x² + {} x + {}".format(*generator()[1:])
    yield table()
    yield "\n".join(f"    {at}  {group(line)}" for at, line in enumerate(whole))


def test_the_document_shows_what_is_computed():
    """Each part of the example stands in the document as it is computed here."""
    for part in parts():
        assert part in DOCUMENT, part


def test_the_program_makes_the_same_lines():
    """The example's content, laid out with four spare lines."""
    made = lay_out(payload.pack(File("t", b"At 3 m.", BLIND)), 4)
    *_, shown = parts()
    assert [made.head_line, *made.lines[:4]] == [
        "".join(row.split()[1:]) for row in shown.splitlines()
    ]
    assert made.head.mark == DIGEST[:5]
