"""
A six-digit number as the secret: what is known of a print without its lines, or with one share of
two, does not tell a guess from another.

Whoever guesses makes the print of each number and compares. Without the 16 random bytes each number
would give one set mark, and the right one would be told; with them each number gives any.
"""

import hashlib
import os
import random
from collections import Counter
from functools import cache

import pytest

from paperkey_alt.format import backup, shares
from paperkey_alt.format.backup import COMMITMENT_BYTES, Terms
from paperkey_alt.format.body import PlainBody
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import decode
from paperkey_alt.format.payload import File, pack

PIN = b"271828"
BLINDS = 40


def pin(number):
    """A number of six digits."""
    return b"%06d" % number


@cache
def sample():
    """Some of all numbers."""
    return [pin(number) for number in random.Random(1).sample(range(10**6), 2000)]


def printed(number, blind):
    """A number as it is printed, on one set."""
    return lay_out(pack(File("pin", number, blind)), 4)


def test_a_set_mark_tells_no_number():
    """
    Head line, set mark and body check of a print: by the same blind they tell the number at once,
    so the test would notice; by any other blind the right number fits no better than others, and no
    number gives the same mark twice.
    """
    known = os.urandom(16)
    real = printed(PIN, known).head
    assert printed(PIN, known).head == real
    fitting = Counter()
    marks = {PIN: set()}
    for number in (*random.Random(2).sample(sample(), 30), PIN):
        for _ in range(BLINDS):
            head = printed(number, os.urandom(16)).head
            assert (head.data_lines, head.spare_lines, head.padding) == (
                real.data_lines,
                real.spare_lines,
                real.padding,
            )
            fitting[number] += head.mark == real.mark
            marks.setdefault(number, set()).add(head.mark)
    assert max(fitting.values()) <= 1
    assert min(map(len, marks.values())) >= BLINDS - 1


def alike_by_mark(numbers):
    """
    How many characters the marks of prints of *numbers*, each by a blind that is guessed, have in
    common with that of the real one: for the right number, and at the best of the others.
    """
    real = printed(PIN, os.urandom(16)).head.mark
    guessed = os.urandom(16)
    agreeing = {
        number: sum(
            one == other
            for one, other in zip(printed(number, guessed).head.mark, real, strict=True)
        )
        for number in numbers
    }
    return agreeing[PIN], max(agreeing[number] for number in numbers if number != PIN)


def test_a_guessed_blind_ranks_the_right_number_among_the_others():
    """Of some numbers, and one blind for all, others fit the mark at least as well."""
    right, best = alike_by_mark([*sample()[:1500], PIN])
    assert right <= best


@pytest.mark.long
def test_all_numbers_by_their_marks():
    """As above, of all 1,000,000: by chance some dozen have the whole of any mark."""
    real = printed(PIN, os.urandom(16)).head
    covered = b"BAAEAEAAAAAAAAA"
    blind = os.urandom(16)
    begin = b"\4" + blind + b"\3pin"
    by_characters = Counter()
    right = None
    import base64  # noqa: PLC0415

    for number in map(pin, range(10**6)):
        content = begin + number
        body = content + hashlib.sha256(content).digest()
        digest = base64.b32encode(hashlib.sha256(covered + body).digest()[:5])[:5].decode()
        alike = sum(one == other for one, other in zip(digest, real.mark, strict=True))
        by_characters[alike] += 1
        if number == PIN:
            right = alike
    assert sum(count for alike, count in by_characters.items() if alike >= right) > 1


def test_one_share_of_two_tells_no_number():
    """
    Share 1 of two is there, with its head line, set mark and commitment. For each number there is a
    share 2 with which share 1 joins to a print of it, by any blind; which of them the commitment is
    of could be told by the true blind alone, which is on no sheet.
    """
    body = PlainBody(pack(File("pin", PIN, os.urandom(16))))
    drawn = []

    def random_bytes(count):
        drawn.append(os.urandom(count))
        return drawn[-1]

    terms = Terms(2, 2)
    share, _ = backup.split(body, terms, spare=4, random_bytes=random_bytes)
    data = b"".join(
        decode(text, number, share.head.mark).line.data
        for number, text in enumerate(share.lines[: share.head.data_lines], 1)
    )[: share.head.body_length]
    committed, ours = data[:COMMITMENT_BYTES], data[COMMITMENT_BYTES:]
    for number in (*sample(), PIN):
        secret = pack(File("pin", number, os.urandom(16))) + os.urandom(16)
        # Share 1 is the secret plus the coefficient; share 2 the secret plus twice it.
        coefficient = bytes(a ^ b for a, b in zip(secret, ours, strict=True))
        other = bytes(
            a ^ shares.FIELD.multiply(2, b) for a, b in zip(secret, coefficient, strict=True)
        )
        joined = shares.join({1: [ours], 2: [other]}, 2, lambda _: True)
        assert joined.secret == secret
        assert backup.commitment(secret, terms) != committed
    # With the blind that nobody has, the commitment would tell.
    assert backup.commitment(body.data + drawn[0], terms) == committed
