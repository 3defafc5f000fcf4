"""Shares of curves: exact, between nothing and the whole, falling with the measure, and as a reader works them out."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from rules.measures.prorating import number_text, share_at
from rules.measures.wear import cannot_be, worn_share
from schemas.claim import Wear
from schemas.policy.prorating import Decline, OwnerPrices, Points, Steps

pytestmark = pytest.mark.fast

measures = st.fractions(min_value=0, max_value=5000, max_denominator=100)
hundredths = st.integers(0, 100).map(lambda number: Fraction(number, 100))


@st.composite
def falling_curves(draw: st.DrawFn) -> Steps | Points | Decline:
    """Curves as policies have them: never rising with the measure."""
    kind = draw(st.sampled_from(["steps", "points", "decline"]))
    if kind == "decline":
        zero_at = draw(st.integers(1, 3000))
        free_until = draw(st.integers(0, zero_at - 1))
        credit = draw(st.sampled_from(["whole_term", "tail_only"]))
        return Decline.model_validate({"zero_at": zero_at, "free_until": free_until, "credit": credit})
    at = sorted(draw(st.sets(st.integers(1, 3000), min_size=1, max_size=6)))
    shares = sorted(draw(st.lists(hundredths, min_size=len(at) + 1, max_size=len(at) + 1)), reverse=True)
    pairs = [[place, str(share)] for place, share in zip([0, *at], shares, strict=True)]
    if kind == "steps":
        return Steps.model_validate({"steps": pairs})
    return Points.model_validate({"points": pairs, "between": "linear"})


@given(curve=falling_curves(), one=measures, other=measures)
def test_a_share_lies_between_nothing_and_the_whole_and_never_rises(
    curve: Steps | Points | Decline, one: Fraction, other: Fraction
) -> None:
    early, late = share_at(curve, min(one, other))[0], share_at(curve, max(one, other))[0]
    assert 0 <= late <= early <= 1
    assert isinstance(late, Fraction)


@given(curve=falling_curves())
def test_points_hold_at_their_own_measure(curve: Steps | Points | Decline) -> None:
    pairs = {Steps: "steps", Points: "points"}.get(type(curve))
    for point in getattr(curve, pairs) if pairs else ():
        assert share_at(curve, Fraction(point.at))[0] == point.value


@pytest.mark.parametrize(
    ("curve", "at", "share", "words"),
    [
        ({"zero_at": 120, "free_until": 0, "credit": "whole_term"}, 66, "9/20", "(120 − 66) ÷ 120"),
        ({"zero_at": 24, "free_until": 12, "credit": "whole_term"}, 14, "5/12", "(24 − 14) ÷ 24"),
        ({"zero_at": 24, "free_until": 12, "credit": "tail_only"}, 14, "5/6", "(24 − 14) ÷ (24 − 12)"),
        ({"zero_at": 24, "free_until": 12, "credit": "tail_only"}, 11, "1", "11 below 12"),
    ],
)
def test_a_decline_with_its_arithmetic(curve: dict[str, Any], at: int, share: str, words: str) -> None:
    assert share_at(Decline.model_validate(curve), Fraction(at)) == (Fraction(share), words)


@pytest.mark.parametrize(
    ("at", "share", "words"),
    [
        ("0", "1", "0 between 0 and 900"),
        ("900", "1", "(2,400 − 900) ÷ (2,400 − 900)"),
        ("1500", "3/5", "(2,400 − 1,500) ÷ (2,400 − 900)"),
        ("2400", "0", "beyond 2,400"),
        ("9999.5", "0", "beyond 2,400"),
    ],
)
def test_points_with_their_arithmetic(at: str, share: str, words: str) -> None:
    points = Points.model_validate({"points": [[0, 1], [900, 1], [2400, 0]], "between": "linear"})
    assert share_at(points, Fraction(at)) == (Fraction(share), words)


def test_points_that_do_not_end_at_nothing_write_the_whole_line() -> None:
    points = Points.model_validate({"points": [[0, 1], [100, "1/2"]], "between": "linear"})
    assert share_at(points, Fraction(50)) == (Fraction(3, 4), "1 + (1/2 − 1) × (50 − 0) ÷ (100 − 0)")
    assert share_at(points, Fraction(100))[0] == Fraction(1, 2)


@pytest.mark.parametrize(
    ("new", "left", "floor", "worn"),
    [
        ("46", "24", "2", "1/2"),
        ("46", "35", "2", "1/4"),
        ("46", "46", "2", "0"),
        ("46", "2", "2", "1"),
        ("46", "0", "2", "1"),
    ],
)
def test_worn_share_of_the_usable_measure(new: str, left: str, floor: str, worn: str) -> None:
    assert worn_share(Wear(new=Decimal(new), left=Decimal(left)), Decimal(floor)) == Fraction(worn)


@pytest.mark.parametrize(
    ("new", "left", "floor", "why"),
    [
        ("46", "46", "2", ""),
        ("46", "46.01", "2", "46.01 left is more than 46 new"),
        ("2.01", "2.01", "2", ""),
        ("2", "2", "2", "2 new is no more than 2"),
        ("1", "1", "2", "1 new is no more than 2"),
        ("46", "0", "2", ""),  # worn past the floor
    ],
)
def test_a_wear_that_cannot_be(new: str, left: str, floor: str, why: str) -> None:
    found = cannot_be(Wear(new=Decimal(new), left=Decimal(left)), Decimal(floor))
    assert why in found
    assert bool(found) == bool(why)


@pytest.mark.parametrize(
    ("curve", "tree", "words"),
    [
        (Steps, {"steps": [[1, 1], [2, 0]]}, "nothing is said below 1"),
        (Steps, {"steps": [[0, 1], [12, "1/2"], [12, 0]]}, "each once"),
        (Points, {"points": [[0, 1], [900, 1], [800, 0]], "between": "linear"}, "rising order"),
        (Points, {"points": [[-5, 1], [900, 0]], "between": "linear"}, "-5 is outside 0 to 1,000,000"),
        (Steps, {"steps": [[0, "3/2"]]}, "more than the whole"),
        (OwnerPrices, {"owner_prices": [[12, "40.00"]]}, "nothing is said below 12"),
        (Decline, {"zero_at": 12, "free_until": 12, "credit": "tail_only"}, "does not lie below"),
        (Decline, {"zero_at": 12, "free_until": -1, "credit": "tail_only"}, "-1 is outside 0 to 1,000,000"),
    ],
)
def test_curves_with_gaps_or_turns_are_refused(curve: type[Any], tree: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        curve.model_validate(tree)


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("1500", "1,500"),
        ("24.37", "24.37"),
        ("1/3", "1/3"),
        ("0", "0"),
        ("0.00001", "1/100000"),
        ("1234567.5", "1,234,567.5"),
    ],
)
def test_numbers_as_a_reader_writes_them(number: str, text: str) -> None:
    assert number_text(Fraction(number)) == text
