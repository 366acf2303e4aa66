"""
The head line of a set of which none was read, computed from the other lines: `compute`
(docs/format.md, "Without line 0").

The set mark is XORed to the check of each line, so a line that is fine tells it. It is itself 25
bits of a digest over the head and the body, so a guess of the head is checked by it.
"""

from __future__ import annotations

import base64
import hashlib
from bisect import bisect_right
from collections import Counter
from typing import TYPE_CHECKING

from paperkey_alt.errors import LineError, NotEnoughLines
from paperkey_alt.format import head_line, lines, spare_lines
from paperkey_alt.format.head_line import BACKUP_CHARACTERS, MOST_SHARES, Head
from paperkey_alt.format.lines import ALPHABET, DATA_BYTES, LAST_NUMBER
from paperkey_alt.format.payload import DIGEST_BYTES

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

    from paperkey_alt.format.raw_line import RawLine

# Lines that must tell a set mark for it to be believed. By reasoning: two lines with the same slip
# tell the same wrong mark, three hardly ever.
LEAST_ALIKE = 3

# Sets of which the head is computed at a time, the ones with most lines first: so many shares there
# are at most.
MOST_SETS = MOST_SHARES

# Shapes for which spare lines are decoded. By reasoning: the usual share of spare lines behind the
# last line is among the first few, and each takes some milliseconds.
MOST_MENDED = 32

# What may be spent on guessing heads, in bytes that are hashed; making a guess takes as long as
# hashing PER_GUESS. By reasoning: half of it for all sets together is about a second, enough for
# 100 shapes of a share of 600 bytes; the likeliest shapes are tried first.
MOST_HASHED = 1 << 30
PER_GUESS = 2000

NO_SHARE = "A" * 3
NO_BACKUP = "A" * BACKUP_CHARACTERS


def compute(raw_lines: Sequence[RawLine], heads: Collection[str]) -> tuple[Head, ...]:
    """
    Return the heads of the sets that *raw_lines* are of, but those whose mark is among *heads*.

    Of each set one head counts: the one with which the set mark agrees, and where there is neither
    seal nor share the SHA-256 of the payload too. Where two do, none is returned. The usual shapes
    go before others, and one set before shares.
    """
    votes = Counter(
        mark
        for raw_line in raw_lines
        for number, text in raw_line.candidates[:1]
        if number and (mark := lines.implied_mark(text, number)) is not None and mark not in heads
    )
    likely = [mark for mark, alike in votes.most_common(MOST_SETS) if alike >= LEAST_ALIKE]
    found = (_computed(raw_lines, mark, MOST_HASHED // len(likely)) for mark in likely)
    return tuple(head for head in found if head is not None)


def compute_one(raw_lines: Sequence[RawLine], mark: str) -> Head | None:
    """Return the head of the set marked *mark*, as `compute` does."""
    return _computed(raw_lines, mark, MOST_HASHED)


def _computed(raw_lines: Sequence[RawLine], mark: str, most: int) -> Head | None:
    """
    Return the head of the set marked *mark*: first as one set, then as one of several shares; by
    the usual shapes, then by others. *most* is what may be spent on each.
    """
    known = _fine_lines(raw_lines, mark)
    if len(known) < LEAST_ALIKE:
        return None
    for shapes in (_usual_shapes, _other_shapes):
        for shares in (_SINGLE, _SHARES):
            found = _found(known, shapes(known), mark, shares, most // 2)
            if found:
                return found.pop() if len(found) == 1 else None
    return None


def _found(
    known: Mapping[int, bytes],
    shapes: Iterable[tuple[int, int]],
    mark: str,
    shares: Sequence[str],
    most: int,
) -> set[Head]:
    """Return the heads of these *shapes* that agree with *mark*, as far as *most* goes."""
    found: set[Head] = set()
    spent = mended = 0
    for data_lines, spare in shapes:
        if any(number not in known for number in range(1, data_lines + 1)):
            mended += 1
            if mended > MOST_MENDED:
                continue
        data = _data(known, data_lines, spare)
        if data is None:
            continue
        found.update(_guesses(data, data_lines, spare, mark, shares))
        guesses = 2 * len(shares) * (1 + _zeros(data))
        spent += guesses * (PER_GUESS + len(data))
        if spent > most:
            break
    return found


def _data(known: Mapping[int, bytes], data_lines: int, spare: int) -> bytes | None:
    """Return the bytes of all data lines; None where the lines that are known do not give them."""
    numbers = range(1, data_lines + 1)
    if all(number in known for number in numbers):
        return b"".join(known[number] for number in numbers)
    try:
        return b"".join(spare_lines.mend(known, data_lines, spare)[:data_lines])
    except NotEnoughLines:
        return None


def _fine_lines(raw_lines: Sequence[RawLine], mark: str) -> dict[int, bytes]:
    """Return the lines that are fine under *mark*, by their numbers."""
    known: dict[int, bytes] = {}
    for raw_line in raw_lines:
        for number, text in raw_line.candidates[:1]:
            try:
                decoded = lines.decode(text, number, mark) if number else None
            except LineError:
                continue
            if decoded is not None and decoded.spent == 0:
                known.setdefault(decoded.line.number, decoded.line.data)
    return known


def _usual_shapes(known: Mapping[int, bytes]) -> Iterator[tuple[int, int]]:
    """
    Yield numbers of data lines and spare lines with the usual share of spare lines: those that end
    with the last line that was read, then those that go beyond it.
    """
    highest = max(known)
    usual = [(data, spare_lines.spare_count(data)) for data in range(1, LAST_NUMBER + 1)]
    reaching = [(data, spare) for data, spare in usual if highest <= data + spare <= LAST_NUMBER]
    reaching.sort(key=lambda shape: sum(shape) != highest)
    numbers = sorted(known)
    return (shape for shape in reaching if _is_enough(numbers, *shape))


def _other_shapes(known: Mapping[int, bytes]) -> Iterator[tuple[int, int]]:
    """Yield numbers of data lines and spare lines that end with the last line that was read."""
    numbers = sorted(known)
    highest = numbers[-1]
    for data in range(highest, 0, -1):
        spare = highest - data
        if spare <= head_line.MOST_SPARE * data and _is_enough(numbers, data, spare):
            yield data, spare


def _is_enough(numbers: Sequence[int], data: int, spare: int) -> bool:
    """Tell whether the lines *numbers*, sorted, may give *data* lines with *spare* spare lines."""
    data_known = bisect_right(numbers, data)
    spare_known = bisect_right(numbers, data + spare) - data_known
    return data - data_known <= spare_known


def _guesses(
    data: bytes, data_lines: int, spare: int, mark: str, shares: Sequence[str]
) -> Iterator[Head]:
    """Yield the heads of this shape whose digest begins with *mark*."""
    first = base64.b32decode(mark + "AAA")[:3]
    for padding in range(_zeros(data) + 1):
        body = data[: len(data) - padding]
        for sealed in (False, True):
            shape = head_line.shape_characters(Head(data_lines, spare, padding, sealed))
            # The first characters of line 1 stand for the backup number (docs/format.md, "Shares").
            backup = base64.b32encode(data[:DATA_BYTES]).decode()[:BACKUP_CHARACTERS]
            for share in shares:
                covered = shape + share + (backup if share != NO_SHARE else NO_BACKUP)
                # Nearly all guesses end here: it saves making characters of their digests.
                if hashlib.sha256(covered.encode() + body).digest()[:3] != first:
                    continue
                head = head_line.completed(covered, body, mark)
                if head is not None and (sealed or head.share or _is_payload(body)):
                    yield head


def _zeros(data: bytes) -> int:
    """Return how many bytes at the end may be padding."""
    return min(len(data) - len(data.rstrip(b"\0")), DATA_BYTES - 1)


_SINGLE = (NO_SHARE,)
_SHARES = tuple(
    ALPHABET[number] + ALPHABET[threshold] + ALPHABET[count]
    for count in range(2, MOST_SHARES + 1)
    for threshold in range(2, count + 1)
    for number in range(1, count + 1)
)


def _is_payload(body: bytes) -> bool:
    return hashlib.sha256(body[:-DIGEST_BYTES]).digest() == body[-DIGEST_BYTES:]
