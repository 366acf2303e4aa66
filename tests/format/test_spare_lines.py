"""Spare lines, both ways, up to their limit and one past it."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_galois_answers import code_of, recorded

from paperkey_alt.errors import NotEnoughLines
from paperkey_alt.format.spare_lines import add, groups, mend, spare_count

SHAPES = [
    (1, 1),
    (1, 4),
    (2, 1),
    (35, 9),
    (184, 46),
    (204, 51),
    (205, 52),
    (400, 100),
    (800, 200),
    (3, 700),
    (819, 204),
]
# A group more than the sum of the lines asks for, because the last groups would be one line too
# long.
SHAPES += [(255, 255), (509, 256), (256, 509)]


def lines_of(data, seed=0):
    """Some data lines."""
    choose = random.Random(seed)
    return tuple(choose.randbytes(15) for _ in range(data))


@pytest.mark.parametrize(("data", "spare"), SHAPES)
def test_groups_are_what_docs_format_says(data, spare):
    """The smallest number of groups whose codewords fit, every line in one, dealt in turn."""
    dealt = groups(data, spare)
    assert all(len(numbers) + len(spares) <= 255 for numbers, spares in dealt)
    assert len(dealt) == 1 or -(-data // (len(dealt) - 1)) + -(-spare // (len(dealt) - 1)) > 255
    assert sorted(number for group in dealt for part in group for number in part) == list(
        range(1, data + spare + 1)
    )
    for at, (numbers, spares) in enumerate(dealt):
        assert {(number - 1) % len(dealt) for number in numbers} == {at}
        assert {(number - data - 1) % len(dealt) for number in spares} <= {at}


@pytest.mark.parametrize(("data", "spare"), SHAPES)
def test_as_many_lines_may_be_lost_as_there_are_spare(data, spare):
    """
    In every group exactly the spare lines' number may be lost, any of them; one more is refused.
    """
    every = dict(enumerate(lines_of(data) + add(lines_of(data), spare), 1))
    choose = random.Random(data)
    lost = [
        number
        for numbers, spares in groups(data, spare)
        for number in choose.sample([*numbers, *spares], len(spares))
    ]
    left = {number: line for number, line in every.items() if number not in lost}
    assert mend(left, data, spare) == tuple(every.values())
    del left[next(iter(left))]
    with pytest.raises(
        NotEnoughLines,
        match=r"^\d+ of \d+ lines are missing, and (\d+) spare lines? can replace \1$",
    ):
        mend(left, data, spare)


def test_a_wrong_line_too_many_is_refused():
    """
    Past the limit nothing is mended: the lines are no codeword's neighbours, and that is said.
    """
    every = dict(enumerate(lines_of(8) + add(lines_of(8), 4), 1))
    wrong = every | {number: bytes(15) for number in (1, 2, 3)}
    with pytest.raises(
        NotEnoughLines,
        match=r"^more lines are wrong or missing than the spare lines can replace$",
    ):
        mend(wrong, 8, 4)


@given(st.integers(1, 60), st.integers(2, 40), st.data())
@settings(max_examples=60)
def test_a_wrong_line_costs_two(data, spare, draw):
    """Lost lines and wrong lines together: lost + 2 · wrong up to the number of spare lines."""
    every = dict(enumerate(lines_of(data) + add(lines_of(data), spare), 1))
    wrong = draw.draw(st.integers(0, spare // 2))
    lost = draw.draw(st.integers(0, spare - 2 * wrong))
    numbers = draw.draw(st.permutations(list(every)))[: wrong + lost]
    left = {number: line for number, line in every.items() if number not in numbers[wrong:]}
    left.update(
        {number: draw.draw(st.binary(min_size=15, max_size=15)) for number in numbers[:wrong]}
    )
    assert mend(left, data, spare) == tuple(every.values())


@pytest.mark.parametrize("lost", [(), (2,), (2, 9)])
@pytest.mark.parametrize("columns", [range(1, 15), [14], [1, 7], range(13)])
def test_a_line_that_is_wrong_in_some_columns_costs_two(columns, lost):
    """Be it right in the first column, which tells nothing of it then, or in the last one."""
    every = dict(enumerate(lines_of(8) + add(lines_of(8), 6), 1))
    left = {number: line for number, line in every.items() if number not in lost}
    for number, others in ((5, columns), (12, [14 - column for column in columns])):
        wrong = bytearray(every[number])
        for column in others:
            wrong[column] ^= 9
        left[number] = bytes(wrong)
    assert mend(left, 8, 6) == tuple(every.values())


def test_lines_that_are_wrong_in_the_last_column_alone_may_be_too_many():
    """Three with six spare lines are mended, four are refused."""
    every = dict(enumerate(lines_of(8) + add(lines_of(8), 6), 1))
    left = dict(every)
    for number in (3, 4, 5):
        left[number] = every[number][:14] + bytes([every[number][14] ^ 9])
    assert mend(left, 8, 6) == tuple(every.values())
    left[12] = every[12][:14] + bytes([every[12][14] ^ 9])
    with pytest.raises(NotEnoughLines, match=r"^more lines are wrong or missing than the spare"):
        mend(left, 8, 6)


def test_galois_gave_the_same_spare_lines():
    """An independent library made the same spare lines from docs/format.md alone."""
    answer = recorded()["spare lines"]
    data, spare = (tuple(map(bytes.fromhex, answer[kind])) for kind in ("data", "spare"))
    assert (len(data), len(spare)) == (184, 46)
    assert add(data, 46) == spare


@pytest.mark.long
def test_galois_gives_the_same_spare_lines():
    """An independent library makes the same spare lines from docs/format.md alone."""
    field, oracle = code_of(8, 0x11D, 46)
    data = lines_of(184)
    columns = [
        oracle.encode(field([line[column] for line in data]), output="parity")
        for column in range(15)
    ]
    assert add(data, 46) == tuple(bytes(int(column[at]) for column in columns) for at in range(46))


def test_no_spare_lines_at_all():
    """Without spare lines nothing may be lost, and nothing is added."""
    data = lines_of(3)
    assert add(data, 0) == ()
    assert mend(dict(enumerate(data, 1)), 3, 0) == data
    with pytest.raises(NotEnoughLines):
        mend({1: data[0], 2: data[1]}, 3, 0)


@pytest.mark.parametrize(
    ("data", "percent", "spare"),
    [(1, 25, 4), (16, 25, 4), (17, 25, 5), (184, 25, 46), (184, 0, 4), (250, 25, 63)],
)
def test_the_number_of_spare_lines(data, percent, spare):
    """A share of the data lines, rounded up, and at least four for each codeword."""
    assert spare_count(data, percent) == spare
