"""Exact amounts: what stays a whole number of grains, and how amounts are written. Values worked by hand."""

from decimal import Decimal
from fractions import Fraction

import pytest

from rules.settlement.exact import GRAINS, Exact, exact_text, factor, grains, money_text, times

pytestmark = pytest.mark.fast


@pytest.mark.parametrize(
    ("amount", "text"),
    [
        (0, "0"),
        (2 * GRAINS, "2"),
        (GRAINS // 2, "0.5"),
        (33_345_000_000_000, "33.345"),
        (1, "0.000000000001"),
        (Fraction(1, 2), "0.0000000000005"),  # half a grain
        (GRAINS + Fraction(3, 4), "1.00000000000075"),
        (Fraction(4096, 5), "0.0000000008192"),  # 819.2 grains
        (Fraction(GRAINS, 3), "1/3"),
        (Fraction(5 * GRAINS, 6), "5/6"),
        (Fraction(2 * GRAINS), "2"),
    ],
)
def test_an_amount_is_written_without_rounding(amount: Exact, text: str) -> None:
    assert exact_text(amount) == text
    assert Fraction(text) * GRAINS == amount


@pytest.mark.parametrize(
    ("amount", "text"),
    [
        ("1150", "1,150.00"),
        ("33.345", "33.345"),
        ("33.3456", "33.3456"),
        ("33.34567", "33.3456…"),  # cut off, and said to go on
        ("33.30001", "33.3000…"),
        ("33.0000001", "33.0000…"),
        ("0.5", "0.50"),
        ("1234567.8", "1,234,567.80"),
    ],
)
def test_an_amount_reads_as_money(amount: str, text: str) -> None:
    assert money_text(grains(Decimal(amount))) == text


@pytest.mark.parametrize(
    ("amount", "by", "product"),
    [
        (10, 3, 30),
        (10, Fraction(1, 2), 5),
        (10, Fraction(1, 3), Fraction(10, 3)),
        (Fraction(10, 3), 2, Fraction(20, 3)),
        (Fraction(10, 3), Fraction(3, 2), 5),
        (Fraction(10, 3), 3, 10),
    ],
)
def test_a_product_is_exact_and_of_whole_grains_whole(amount: Exact, by: int | Fraction, product: Exact) -> None:
    found = times(amount, by)
    assert found == product
    assert type(amount) is not int or isinstance(product, Fraction) == isinstance(found, Fraction)


def test_a_whole_number_is_a_plain_integer_and_another_a_fraction() -> None:
    assert [(factor(Decimal(text)), type(factor(Decimal(text)))) for text in ("2.00", "2.6", "-0.5")] == [
        (2, int),
        (Fraction(13, 5), Fraction),
        (Fraction(-1, 2), Fraction),
    ]
    assert grains(Decimal("0.0001")) == 100_000_000
