"""
Games with a liar at the table: a holder who knows all that stands on one share, or two who agree,
bring sheets of their own beside the honest ones.

A game is a secret, the honest sets that are brought, and what the liar brings. It is played through
the functions of the core that check, restore and drill call, without a name and with one honest set
named.
"""

import random
import time
from collections import Counter
from dataclasses import dataclass, replace

from paperkey_alt.errors import PaperError, Place, SeveralSets, SharesConflict
from paperkey_alt.format import backup, head_line
from paperkey_alt.format.backup import COMMITMENT_BYTES, Terms
from paperkey_alt.format.body import flagged
from paperkey_alt.format.head_line import Share
from paperkey_alt.format.line_set import LineSet, lay_out
from paperkey_alt.format.lines import NO_MARK, Line, decode, encode
from paperkey_alt.format.payload import File, pack
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import recover
from paperkey_alt.format.shares import FIELD, interpolate

SPARE = 4
TERMS = tuple(Terms(*pair) for pair in ((2, 2), (2, 3), (3, 4), (3, 5), (4, 6), (5, 8)))


@dataclass(frozen=True)
class Game:
    """The *secret* is the body proper; *theirs* are sets, or rows of number and characters."""

    kind: str
    secret: bytes
    sealed: bool
    ours: tuple[LineSet, ...]
    theirs: tuple[LineSet | tuple[tuple[int, str], ...], ...]
    threshold: int


def body_of(line_set):
    """The body of a set, from its data lines."""
    head = line_set.head
    data = [
        decode(text, number, head.mark).line.data
        for number, text in enumerate(line_set.lines[: head.data_lines], 1)
    ]
    return b"".join(data)[: head.body_length]


def relaid(line_set, body=None, **others):
    """The body of a set, or another, laid out with another flag, share or number of spare lines."""
    said = {"sealed": line_set.head.sealed, "share": line_set.head.share, "spare": SPARE} | others
    return lay_out(body_of(line_set) if body is None else body, **said)


def under(line_set, number):
    """The share fields of a set with another share number."""
    return replace(line_set.head.share, number=number)


def secret_of(choose, sealed):
    """A body proper: a file, or as many bytes as if it were sealed."""
    data = choose.randbytes(choose.randrange(6, 60))
    return choose.randbytes(80) if sealed else pack(File("n", data, choose.randbytes(16)))


def split(secret, sealed, terms, choose):
    """A backup of shares."""
    body = flagged(secret, sealed=sealed)
    return backup.split(body, terms, spare=SPARE, random_bytes=choose.randbytes)


def drawn(line_set, choose, keep=COMMITMENT_BYTES, number=None):
    """A share with the first bytes of this one, and others drawn."""
    body = body_of(line_set)
    share = under(line_set, number or line_set.head.share.number)
    return relaid(line_set, body[:keep] + choose.randbytes(len(body) - keep), share=share)


# What the liar brings: a function of the share that is known, the terms and the chance.


def one_of_his_own(known, terms, choose):
    """His own share, altered behind the commitment."""
    return [drawn(known, choose)]


def one_of_another(known, terms, choose):
    """A share under another number, with the commitment."""
    others = [at for at in range(1, terms.count + 1) if at != known.head.share.number]
    return [drawn(known, choose, number=choose.choice(others))]


def some(known, terms, choose):
    """Shares under several numbers, now and then twice the same number."""
    numbers = choose.choices(range(1, terms.count + 1), k=choose.randrange(2, terms.count + 2))
    return [drawn(known, choose, number=number) for number in numbers]


def every_number(known, terms, choose):
    """Shares under all numbers, with the commitment."""
    return [drawn(known, choose, number=number) for number in range(1, terms.count + 1)]


def every_number_against(known, terms, choose):
    """Shares under all numbers, of one other commitment with the same beginning."""
    first = drawn(known, choose, keep=4, number=1)
    return [
        first,
        *(drawn(first, choose, number=number) for number in range(2, terms.count + 1)),
    ]


def altered_shape(known, terms, choose):
    """His share with another flag, length, threshold, count or number of spare lines."""
    share, body = known.head.share, body_of(known)
    count = choose.randrange(2, 17)
    threshold = choose.randrange(2, count + 1)
    other = Share(choose.randrange(1, count + 1), threshold, count, share.backup)
    return choose.sample(
        [
            relaid(known, sealed=not known.head.sealed),
            relaid(known, body + choose.randbytes(choose.randrange(1, 40))),
            relaid(known, body[: choose.randrange(32, len(body))]),
            relaid(known, share=other),
            relaid(known, spare=choose.randrange(9)),
        ],
        choose.randrange(1, 6),
    )


def no_shares(known, terms, choose):
    """What cannot be a share: another backup number than in line 1, a body too short."""
    share, body = known.head.share, body_of(known)
    return [
        drawn(known, choose, keep=choose.randrange(4)),
        relaid(known, share=replace(share, backup=share.backup ^ choose.randrange(1, 1 << 25))),
        relaid(known, body[: choose.randrange(1, 32)]),
    ]


def another_backup(known, terms, choose):
    """A whole backup of another secret, by its own number."""
    return list(split(secret_of(choose, False), known.head.sealed, terms, choose))


def another_set(known, terms, choose):
    """A set of another secret that is no share."""
    return [lay_out(secret_of(choose, False), SPARE)]


WAYS = {
    "his own share altered": one_of_his_own,
    "one share of another number": one_of_another,
    "shares of some numbers": some,
    "shares of all numbers": every_number,
    "all numbers, another commitment": every_number_against,
    "flag, length, terms altered": altered_shape,
    "what is no share": no_shares,
    "another backup": another_backup,
    "a set that is no share": another_set,
}


def brought(line_sets, choose):
    """Some of the honest sets, mostly as many as are needed or more."""
    threshold = line_sets[0].head.share.threshold
    few = (
        threshold - 1 if choose.random() < 0.15 else choose.randrange(threshold, len(line_sets) + 1)
    )
    return tuple(choose.sample(line_sets, max(1, few)))


def played_by_one(kind, choose):
    """A game with one liar."""
    terms, sealed = choose.choice(TERMS), choose.random() < 0.3
    secret = secret_of(choose, sealed)
    line_sets = split(secret, sealed, terms, choose)
    theirs = WAYS[kind](choose.choice(line_sets), terms, choose)
    ours = brought(line_sets, choose)
    return Game(kind, secret, sealed, ours, tuple(theirs), terms.threshold)


def same_number(choose):
    """
    A whole backup of another secret under the honest backup number, camps of every size: liars who
    could choose the secret on both sides, for the number has 25 bits.
    """
    terms = choose.choice(TERMS[1:5])
    pools = [{}, {}]
    while True:
        for pool, other in (pools, pools[::-1]):
            for _ in range(4096):
                seed = choose.getrandbits(64)
                drawn_by = random.Random(seed)
                body = pack(File("n", drawn_by.randbytes(20), drawn_by.randbytes(16)))
                committed = backup.commitment(body + drawn_by.randbytes(16), terms)
                number = int.from_bytes(committed[:4], "big") >> 7
                pool[number] = seed
                if number in other:
                    pair = [pool[number], other[number]]
                    made = [_seeded(one, terms) for one in pair]
                    ours = brought(made[0][1], choose)
                    theirs = choose.sample(made[1][1], choose.randrange(1, terms.count + 1))
                    kind = "another secret, same number"
                    return Game(kind, made[0][0], False, ours, tuple(theirs), terms.threshold)


def _seeded(seed, terms):
    choose = random.Random(seed)
    body = pack(File("n", choose.randbytes(20), choose.randbytes(16)))
    return body, split(body, False, terms, choose)


def two_who_agree(choose):
    """
    Two holders, fewer than are needed, alter theirs so that they still join with one true share.
    """
    terms, sealed = choose.choice([one for one in TERMS if one.threshold == 3]), False
    secret = secret_of(choose, sealed)
    line_sets = split(secret, sealed, terms, choose)
    numbers = choose.sample(range(1, terms.count + 1), 3)
    unit = {numbers[0]: b"\1\0", numbers[1]: b"\0\1", numbers[2]: bytes(2)}
    weight = interpolate(unit, numbers, 0)
    ratio = FIELD.multiply(weight[0], FIELD.inverse(weight[1]))
    bodies = [bytearray(body_of(line_sets[number - 1])) for number in numbers[:2]]
    for at in range(COMMITMENT_BYTES, len(bodies[0])):
        error = choose.randrange(256)
        bodies[0][at] ^= error
        bodies[1][at] ^= FIELD.multiply(error, ratio)
    theirs = [
        relaid(line_sets[number - 1], bytes(body))
        for number, body in zip(numbers[:2], bodies, strict=True)
    ]
    ours = [one for one in line_sets if one.head.share.number not in numbers[:2]]
    if choose.random() < 0.5:
        ours = list(line_sets)
    return Game("two who agree", secret, sealed, tuple(ours), tuple(theirs), 3)


def forged_heads(choose):
    """Head lines with the set marks of honest sets that tell other shapes."""
    game = played_by_one("his own share altered", choose)
    theirs = []
    for line_set in game.ours:
        for _ in range(choose.randrange(1, 7)):
            head = replace(
                line_set.head,
                data_lines=choose.randrange(1, 40),
                spare_lines=choose.randrange(20),
                padding=choose.randrange(15),
            )
            theirs.append(((0, encode(head_line.pack(head), NO_MARK)),) * choose.randrange(1, 4))
    return replace(game, kind="head lines of honest sets", theirs=tuple(theirs))


def forged_lines(choose):
    """Lines that pass under the set marks of honest sets, in a file of the liar's."""
    game = played_by_one("his own share altered", choose)
    rows = tuple(
        (number, encode(Line(number, choose.randbytes(15)), line_set.head.mark))
        for line_set in game.ours
        for number in range(1, line_set.head.total + 1)
        if choose.random() < 0.8
    )
    return replace(game, kind="lines under honest marks", theirs=(rows,))


def plain_sets(choose):
    """An honest set that is no share, and others beside it."""
    secret, sealed = secret_of(choose, False), choose.random() < 0.3
    ours = lay_out(secret, SPARE, sealed=sealed)
    theirs = [lay_out(secret_of(choose, False), SPARE) for _ in range(choose.randrange(1, 4))]
    return Game("sets beside a set", secret, sealed, (ours,), tuple(theirs), 1)


KINDS = {
    **{kind: lambda choose, kind=kind: played_by_one(kind, choose) for kind in WAYS},
    "another secret, same number": same_number,
    "two who agree": two_who_agree,
    "head lines of honest sets": forged_heads,
    "lines under honest marks": forged_lines,
    "sets beside a set": plain_sets,
}


def rows_of(brought_set):
    """The rows of what was brought."""
    if isinstance(brought_set, LineSet):
        return tuple(enumerate((brought_set.head_line, *brought_set.lines)))
    return brought_set


def files_of(game, choose):
    """The files in which all is given, by name, the liar's before, behind or among the honest."""
    ours = [(f"honest-{at}", rows_of(one)) for at, one in enumerate(game.ours)]
    theirs = [(f"liar-{at}", rows_of(one)) for at, one in enumerate(game.theirs)]
    if choose.random() < 0.2:
        theirs = [("liar", tuple(row for _, rows in theirs for row in rows))]
    every = choose.choice(([*theirs, *ours], [*ours, *theirs], [*ours, *theirs]))
    if choose.random() < 0.3:
        choose.shuffle(every)
    return every


NOBODY = "no set named"
TRUSTED = "an honest set named"
ASKED, REFUSED, HONEST = "asked", "refused", "honest secret"
OTHER, CALLED, STOPPED = "ANOTHER SECRET", "HONEST SET CALLED WRONG", "STOPPED BY THE LIAR"


def outcome(game, findings, marks):
    """What comes of joining *findings* with *marks* named."""
    honest = {one.head.mark for one in game.ours}
    enough = len(game.ours) >= game.threshold
    try:
        joined = backup.join(findings, marks)
    except (SeveralSets, SharesConflict):
        return STOPPED if marks and enough else ASKED
    except PaperError:
        return STOPPED if marks and enough else REFUSED
    if joined.body != flagged(game.secret, sealed=game.sealed):
        return OTHER
    if honest & {*joined.strange, *(joined.left_out if marks else ())}:
        return CALLED
    return HONEST


def play(kind, seed):
    """Play one game; the outcomes by what was named, and the seconds of the longer one."""
    choose = random.Random(f"{kind} {seed}")
    game = KINDS[kind](choose)
    given = [
        RawLine(Place(name, row=row), ((number, text),))
        for name, rows in files_of(game, choose)
        for row, (number, text) in enumerate(rows, 1)
    ]
    start = time.perf_counter()
    findings = recover(given)
    read = time.perf_counter()
    outcomes = {NOBODY: outcome(game, findings, ())}
    middle = time.perf_counter()
    outcomes[TRUSTED] = outcome(game, findings, [choose.choice(game.ours).head.mark])
    end = time.perf_counter()
    return outcomes, read - start + max(middle - read, end - middle)


def counted(kind, seeds):
    """The outcomes of several games, and the seconds of the longest."""
    total = {NOBODY: Counter(), TRUSTED: Counter()}
    longest = 0.0
    for seed in seeds:
        outcomes, seconds = play(kind, seed)
        for named, what in outcomes.items():
            total[named][what] += 1
        longest = max(longest, seconds)
    return total, longest
