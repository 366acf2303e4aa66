"""
Arithmetic in the fields of this format, GF(2ᵇ) by a polynomial: of lines, of spare lines and of
shares (docs/format.md, "A line", "Spare lines", "Shares").

An element is a number 0 to 2ᵇ − 1, whose bits are the coefficients of a polynomial over GF(2); a
sum is an XOR. Bytes stand for as many elements side by side.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache


@dataclass(frozen=True)
class Field:
    """The field of *bits* bits, 2 to 8, by an irreducible *polynomial* of that degree."""

    bits: int
    polynomial: int

    def __post_init__(self) -> None:
        if not 2 <= self.bits <= 8 or self.polynomial >> self.bits != 1:
            raise ValueError("an element has 2 to 8 bits, and the polynomial one more")

    @property
    def largest(self) -> int:
        """The largest element, which is also the number of elements besides 0."""
        return (1 << self.bits) - 1

    def multiply(self, a: int, b: int) -> int:
        """Return the product of two elements, by shifting and adding (FIPS 197 §4.2)."""
        product = 0
        while b:
            if b & 1:
                product ^= a
            a <<= 1
            if a > self.largest:
                a ^= self.polynomial
            b >>= 1
        return product

    def inverse(self, a: int) -> int:
        """Return the element whose product with *a* is 1; ValueError for 0, which has none."""
        if a == 0:
            raise ValueError("0 has no inverse")
        return self.products[a].index(1)

    @property
    def products(self) -> tuple[bytes, ...]:
        """For each factor its products with 0, 1, 2 …, as a table for `bytes.translate`."""
        return _products(self)

    def products_of(self, factor: int) -> bytes:
        """Return the products of *factor* with 0, 1, 2 …, as a table for `bytes.translate`."""
        return _products_of(self, factor)


@cache
def _products(field: Field) -> tuple[bytes, ...]:
    return tuple(_products_of(field, factor) for factor in range(field.largest + 1))


@cache
def _products_of(field: Field, factor: int) -> bytes:
    products = [0]
    for bit in range(field.bits):
        # Those with numbers of one bit more are those so far plus that with the bit alone.
        product = field.multiply(1 << bit, factor)
        products += [other ^ product for other in products]
    # bytes.translate asks for 256 entries, whatever the field.
    return bytes(products * (256 // len(products)))


def add(a: bytes, b: bytes) -> bytes:
    """Return the sums of elements in the same places of *a* and *b*, which are equally long."""
    if len(a) != len(b):
        raise ValueError(f"{len(a)} elements and {len(b)} have no sum")
    return (int.from_bytes(a, "big") ^ int.from_bytes(b, "big")).to_bytes(len(a), "big")
