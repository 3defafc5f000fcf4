"""Rounding and splitting, against the decimal module and against what a fair split must keep."""

import decimal
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.rounding import as_money, largest_remainder, minor_units, rounded_ratio, rounded_share

pytestmark = pytest.mark.fast

MODES = {
    "half_up": decimal.ROUND_HALF_UP,
    "half_even": decimal.ROUND_HALF_EVEN,
    "half_down": decimal.ROUND_HALF_DOWN,
    "up": decimal.ROUND_UP,
    "down": decimal.ROUND_DOWN,
}
amounts = st.decimals(min_value=0, max_value=10**9, places=6, allow_nan=False, allow_infinity=False)
weights = st.lists(st.integers(min_value=0, max_value=10**9), min_size=1, max_size=12)


@pytest.mark.parametrize("mode", MODES)
@given(amount=amounts, exponent=st.integers(min_value=0, max_value=4))
def test_it_rounds_as_the_decimal_module_does(mode: str, amount: Decimal, exponent: int) -> None:
    with decimal.localcontext(prec=40):
        expected = amount.quantize(Decimal(1).scaleb(-exponent), rounding=MODES[mode])
    assert as_money(minor_units(Fraction(amount), exponent, mode), exponent) == expected


@pytest.mark.parametrize(
    ("mode", "of_five_halves", "of_seven_halves", "of_third"),
    [("half_up", 3, 4, 0), ("half_even", 2, 4, 0), ("half_down", 2, 3, 0), ("up", 3, 4, 1), ("down", 2, 3, 0)],
)
def test_the_five_modes_half_way_and_off_it(
    mode: str, of_five_halves: int, of_seven_halves: int, of_third: int
) -> None:
    assert rounded_ratio(5, 2, mode) == of_five_halves
    assert rounded_ratio(7, 2, mode) == of_seven_halves
    assert rounded_ratio(1, 3, mode) == of_third


@given(amount=st.fractions(min_value=0, max_value=10**6), mode=st.sampled_from(sorted(MODES)))
def test_a_rounded_amount_is_less_than_a_unit_away(amount: Fraction, mode: str) -> None:
    units = minor_units(amount, 2, mode)
    assert abs(Fraction(units, 100) - amount) < Fraction(1, 100)
    if mode.startswith("half"):
        assert abs(Fraction(units, 100) - amount) <= Fraction(1, 200)


@given(weights=weights, total=st.integers(min_value=0, max_value=10**9))
def test_a_split_adds_up_and_stays_within_a_unit(weights: list[int], total: int) -> None:
    split = largest_remainder(total, weights)
    whole = sum(weights)
    if not whole:
        assert split == [0] * len(weights)
        return
    assert sum(split) == total
    for units, weight in zip(split, weights, strict=True):
        assert abs(units - Fraction(total * weight, whole)) < 1
        assert weight or not units


@given(weights=weights)
def test_a_split_of_no_more_than_the_weights_takes_no_more_than_each(weights: list[int]) -> None:
    total = sum(weights) * 2 // 3
    assert all(part <= weight for part, weight in zip(largest_remainder(total, weights), weights, strict=True))


@given(weights=weights, total=st.integers(min_value=0, max_value=10**6))
def test_equal_weights_differ_by_a_unit_at_most_and_earlier_ones_get_it(weights: list[int], total: int) -> None:
    split = largest_remainder(total, [7] * len(weights))
    assert max(split) - min(split) <= 1
    assert split == sorted(split, reverse=True)


def test_a_share_is_rounded_to_its_places() -> None:
    assert rounded_share(Fraction(13, 15), 4, "half_up") == Fraction(8667, 10000)
    assert rounded_share(Fraction(13, 15), 2, "down") == Fraction(86, 100)
    assert rounded_share(Fraction(1, 8), 2, "half_even") == Fraction(12, 100)
