"""
Asks galois, an independent library for finite fields, what it makes of fixed questions about the
three codes and the shares, and writes its answers into galois-answers.json beside this file:
``python tests/vectors/make_galois_answers.py``.

galois compiles itself for each field, which takes a minute; its answers are read in no time.
Nothing of the program has a part in them: the questions are drawn here, from docs/format.md alone.
"""

import json
import random
import sys
from pathlib import Path

PATH = Path(__file__).parent / "galois-answers.json"
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
CODES = [(5, 0x25, 5), (8, 0x11D, 10), (8, 0x11D, 46)]
TERMS = [(2, 2), (2, 3), (3, 5), (5, 8), (16, 16)]


def field_of(bits, polynomial, element=2):
    """The field, as galois has it."""
    import galois  # noqa: PLC0415 - whoever reads the answers need not load it

    return galois.GF(2**bits, irreducible_poly=polynomial, primitive_element=element)


def code_of(bits, polynomial, checks):
    """The longest code of this field with so many check symbols, as galois has it."""
    import galois  # noqa: PLC0415 - whoever reads the answers need not load it

    field, longest = field_of(bits, polynomial), 2**bits - 1
    return field, galois.ReedSolomon(longest, longest - checks, field=field, alpha=2, c=0)


def code_answers(bits, polynomial, checks, trials=4):
    """Messages, their words, and damaged words with what they are corrected to."""
    field, code = code_of(bits, polynomial, checks)
    choose = random.Random(checks)
    for _ in range(trials):
        message = [choose.randrange(1 << bits) for _ in range(code.n - checks)]
        word = bytes(map(int, code.encode(field(message))))
        damaged = bytearray(word)
        for at in choose.sample(range(code.n), checks // 2):
            damaged[at] ^= choose.randrange(1, 1 << bits)
        corrected = bytes(map(int, code.decode(field(list(damaged)), output="codeword")))
        yield {
            "code": [bits, polynomial, checks],
            "word": word.hex(),
            "damaged": damaged.hex(),
            "corrected": corrected.hex(),
        }


def line_answers(trials=12):
    """Numbers, contents and marks, and the lines that they make."""
    field, code = code_of(*CODES[0])
    choose = random.Random(31)
    for _ in range(trials):
        number, content = choose.randrange(1024), choose.getrandbits(120)
        mark = "".join(choose.choices(ALPHABET, k=5))
        data = [content >> 5 * at & 31 for at in reversed(range(24))]
        word = code.encode(field([number // 32, number % 32, *data]))
        check = [
            int(value) ^ ALPHABET.index(mask) for value, mask in zip(word[26:], mark, strict=True)
        ]
        text = "".join(ALPHABET[value] for value in (*data, *check))
        yield {
            "number": number,
            "content": content.to_bytes(15, "big").hex(),
            "mark": mark,
            "text": text,
        }


def spare_line_answers():
    """184 data lines and their 46 spare lines."""
    field, code = code_of(*CODES[2])
    choose = random.Random(0)
    data = [choose.randbytes(15) for _ in range(184)]
    columns = [code.encode(field(list(column)), output="parity") for column in zip(*data)]  # noqa: B905 - lines are of one length
    spare = [bytes(int(column[at]) for column in columns) for at in range(46)]
    return {"data": [line.hex() for line in data], "spare": [line.hex() for line in spare]}


def share_answers(threshold, count):
    """A secret, the random coefficients, the shares, and some of them joined again."""
    import galois  # noqa: PLC0415 - whoever reads the answers need not load it

    field = field_of(8, 0x11B, element=3)
    choose = random.Random(16 * threshold + count)
    coefficients = [choose.randbytes(20) for _ in range(threshold)]
    polynomials = [galois.Poly(list(column)[::-1], field=field) for column in zip(*coefficients)]  # noqa: B905 - as above
    shares = [bytes(int(polynomial(x)) for polynomial in polynomials) for x in range(1, count + 1)]
    chosen = choose.sample(range(1, count + 1), threshold)
    joined = bytes(
        int(galois.lagrange_poly(field(chosen), field([shares[x - 1][at] for x in chosen]))(0))
        for at in range(20)
    )
    return {
        "threshold": threshold,
        "coefficients": [row.hex() for row in coefficients],
        "shares": [share.hex() for share in shares],
        "chosen": chosen,
        "joined": joined.hex(),
    }


def answers():
    """All answers."""
    return {
        "codes": [answer for code in CODES for answer in code_answers(*code)],
        "lines": list(line_answers()),
        "spare lines": spare_line_answers(),
        "shares": [share_answers(*terms) for terms in TERMS],
    }


def recorded():
    """The answers as they were written."""
    return json.loads(PATH.read_text("utf-8"))


if __name__ == "__main__":
    PATH.write_text(json.dumps(answers(), indent=1) + "\n", encoding="utf-8")
    sys.exit()
