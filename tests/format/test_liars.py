"""
A liar at the table: some hundred games. All of them, 10,000, are played by hand:
tests/bench/liars.py.
"""

import random
import time

import liars
import pytest

from paperkey_alt.errors import Place
from paperkey_alt.format import backup
from paperkey_alt.format.backup import Joined, Terms
from paperkey_alt.format.body import PlainBody
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.format.recover import recover


@pytest.mark.parametrize("games", [8, pytest.param(25, marks=pytest.mark.long)])
@pytest.mark.parametrize("kind", liars.KINDS)
def test_a_liar_gets_nothing(kind, games):
    """
    Never another secret, never an honest set called wrong; and where enough honest sheets are
    there, the honest secret as soon as one honest set is named.
    """
    # Two secrets with one backup number take long to find.
    games = min(games, 6) if kind == "another secret, same number" else games
    total, _ = liars.counted(kind, range(games))
    for outcomes in total.values():
        assert set(outcomes) <= {liars.ASKED, liars.REFUSED, liars.HONEST}
    assert total[liars.TRUSTED][liars.HONEST] >= games / 2


def test_sixteen_of_sixteen_with_eight_forged():
    """The dearest honest case: all must come, and eight are there twice. At most 5 s."""
    choose = random.Random(3)
    body = PlainBody(choose.randbytes(600))
    line_sets = backup.split(body, Terms(16, 16), spare=4, random_bytes=choose.randbytes)
    forged = [liars.drawn(line_sets[0], choose, number=number) for number in range(9, 17)]
    given = [
        RawLine(Place(row=row), ((row, text),))
        for line_set in (*forged, *line_sets)
        for row, text in liars.rows_of(line_set)
    ]
    start = time.process_time()
    joined = backup.join(recover(given), [line_sets[0].head.mark])
    assert time.process_time() - start < 5
    assert joined == Joined(body, tuple(one.head.mark for one in forged))
