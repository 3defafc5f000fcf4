"""Prorating against printed formulas and examples: what a single failure at a given age or use is paid."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from rules.measures.prorating import share_at
from rules.measures.wear import worn_share
from schemas.claim import Wear
from schemas.policy.prorating import Decline, Points, Steps

pytestmark = pytest.mark.fast


def decline(zero_at: Any, free_until: Any = 0, credit: str = "whole_term") -> Decline:
    return Decline.model_validate({"zero_at": zero_at, "free_until": free_until, "credit": credit})


# Blischke and Murthy, Warranty Cost Analysis (Marcel Dekker 1994), from memory: the linear rebate c (1 - x / W).
@pytest.mark.parametrize("used", range(61))
def test_linear_rebate(used: int) -> None:
    assert share_at(decline(60), Fraction(used))[0] == 1 - Fraction(used, 60)


# The same, from memory: free to W1, then c (W - x) / (W - W1); some published terms prorate from 0 instead.
@pytest.mark.parametrize(("used", "from_the_end", "from_zero"), [(0, "1", "1"), (11, "1", "1"), (12, "1", "1/2")])
def test_combined_free_replacement_and_linear_rebate(used: int, from_the_end: str, from_zero: str) -> None:
    assert share_at(decline(24, 12, "tail_only"), Fraction(used))[0] == Fraction(from_the_end)
    assert share_at(decline(24, 12), Fraction(used))[0] == Fraction(from_zero)


def test_beyond_the_end_nothing_is_left() -> None:
    assert share_at(decline(24, 12, "tail_only"), Fraction(24))[0] == 0
    assert share_at(decline(24, 12), Fraction(30))[0] == 0


def test_battery_of_60_months_fails_at_38() -> None:
    """Common practice, no source: price 100, 60 months, 38 used: the customer pays 63.33."""
    share, words = share_at(decline(60), Fraction(38))
    assert round((1 - share) * 10_000) == 6333
    assert words == "(60 − 38) ÷ 60"


def test_mileage_of_40000_in_60000_is_two_thirds_used() -> None:
    """Common practice, no source."""
    assert share_at(decline(60_000), Fraction(40_000))[0] == 1 - Fraction(2, 3)


def test_tread_of_10_worn_to_6_over_a_floor_of_2_leaves_half() -> None:
    """Tread depth in 32nds of an inch, usable to 2/32 (from memory): (6 - 2) / (10 - 2)."""
    assert 1 - worn_share(Wear(new=Decimal(10), left=Decimal(6)), Decimal(2)) == Fraction(1, 2)


# Printed examples that are wrong, for the rule must not be bent to them (common practice, no source).
def test_a_printed_credit_of_55_percent_at_66_of_120_months_is_the_used_share() -> None:
    share = share_at(decline(120), Fraction(66))[0]
    assert share == Fraction(45, 100) != Fraction(55, 100)


def test_a_printed_discount_of_25_percent_for_30000_of_70000_miles_is_not_linear() -> None:
    share = share_at(decline(70_000), Fraction(30_000))[0]
    assert share == Fraction(4, 7)
    assert abs(share - Fraction(571, 1000)) < Fraction(1, 1000)
    assert share != Fraction(25, 100)


def test_points_and_a_decline_that_say_the_same_agree_everywhere() -> None:
    points = Points.model_validate({"points": [[0, 1], [900, 1], [2400, 0]], "between": "linear"})
    for tenths in range(0, 26_000, 37):
        at = Fraction(tenths, 10)
        assert share_at(points, at)[0] == share_at(decline(2400, 900, "tail_only"), at)[0]


def test_a_step_holds_from_its_own_measure_on() -> None:
    steps = Steps.model_validate({"steps": [[0, 1], [12, "1/2"], [24, 0]]})
    found = [share_at(steps, Fraction(at))[0] for at in ("0", "11.99", "12", "23.99", "24", "100")]
    assert found == [1, 1, Fraction(1, 2), Fraction(1, 2), 0, 0]
