"""The fields of lines, spare lines and shares: their laws, and products that are published."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.format.field import Field, add

FIELDS = {
    "lines": Field(5, 0x25),
    "spare lines": Field(8, 0x11D),
    "shares": Field(8, 0x11B),
}
SHARES = FIELDS["shares"]


def test_products_of_fips_197():
    """
    FIPS 197 §4.2: {57} • {83} = {c1}; §4.2.1: {57} • {13} = {fe} and the doublings on the way.
    """
    assert SHARES.multiply(0x57, 0x83) == 0xC1
    assert [SHARES.multiply(0x57, 1 << power) for power in range(5)] == [
        0x57,
        0xAE,
        0x47,
        0x8E,
        0x07,
    ]
    assert SHARES.multiply(0x57, 0x13) == 0xFE


@pytest.mark.parametrize("name", FIELDS)
@given(st.data())
def test_the_laws_of_a_field(name, draw):
    """Commutative, associative, distributive, with one and inverses."""
    field = FIELDS[name]
    a, b, c = (draw.draw(st.integers(0, field.largest)) for _ in range(3))
    assert field.multiply(a, b) == field.multiply(b, a)
    assert field.multiply(field.multiply(a, b), c) == field.multiply(a, field.multiply(b, c))
    assert field.multiply(a, b ^ c) == field.multiply(a, b) ^ field.multiply(a, c)
    assert field.multiply(a, 1) == a
    if a:
        assert field.multiply(a, field.inverse(a)) == 1


@pytest.mark.parametrize(("name", "order"), [("lines", 31), ("spare lines", 255), ("shares", 51)])
def test_how_many_elements_2_generates(name, order):
    """All but 0 of two fields; of the third, as docs/format.md warns, only 51."""
    field, powers = FIELDS[name], [1]
    while (power := field.multiply(powers[-1], 2)) != 1:
        powers.append(power)
    assert len(set(powers)) == len(powers) == order


@pytest.mark.parametrize("name", FIELDS)
def test_the_tables_hold_the_products(name):
    """Every product of two elements, and for bytes.translate 256 of them."""
    field = FIELDS[name]
    assert len(field.products) == field.largest + 1
    for factor, table in enumerate(field.products):
        assert len(table) == 256
        for value in range(field.largest + 1):
            assert table[value] == field.multiply(factor, value)


@given(st.binary(max_size=40))
def test_a_sum_is_taken_back_by_adding_again(data):
    """Element by element; leading zeros stay."""
    assert add(add(data, data[::-1]), data[::-1]) == data
    assert add(data, data) == bytes(len(data))


WRONG_USE = {
    "the inverse of 0": (lambda: SHARES.inverse(0), "^0 has no inverse$"),
    "a field of one bit": (lambda: Field(1, 3), "^an element has 2 to 8 bits"),
    "a field of nine bits": (lambda: Field(9, 0x211), "^an element has 2 to 8 bits"),
    "a polynomial of another degree": (lambda: Field(8, 0x25), "the polynomial one more$"),
    "elements of which some have no other": (lambda: add(b"bell", b"buoy!"), "have no sum$"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use_is_refused(name):
    """A ValueError, and not a wrong answer."""
    use, message = WRONG_USE[name]
    with pytest.raises(ValueError, match=message):
        use()


def test_the_smallest_field():
    """Two bits: 1, α and α + 1 are the powers of α."""
    field = Field(2, 0b111)
    assert [field.multiply(2, power) for power in (1, 2, 3)] == [2, 3, 1]
