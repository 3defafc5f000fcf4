"""Calendar arithmetic of a term: properties, and the edges that the worked cases do not reach."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.calendar import add_months, add_span, begun_months, complete_months, last_covered_day
from schemas.quantities import Span

pytestmark = pytest.mark.fast

DAYS = st.dates(date(1990, 1, 1), date(2090, 12, 31))
MONTHS = st.integers(0, 240)
MONTH_ENDS = st.sampled_from(["clamp_from_start", "roll_to_next_month"])


@given(DAYS, MONTHS, MONTH_ENDS)
def test_a_day_plus_months_has_that_many_complete_months(start: date, months: int, month_end: str) -> None:
    reached = add_months(start, months, month_end)
    assert complete_months(start, reached, month_end) == months
    if months:
        assert complete_months(start, reached - timedelta(days=1), month_end) == months - 1


@given(DAYS, st.integers(0, 8000), MONTH_ENDS)
def test_complete_months_are_the_largest_that_fit(start: date, days: int, month_end: str) -> None:
    day = start + timedelta(days=days)
    months = complete_months(start, day, month_end)
    assert add_months(start, months, month_end) <= day < add_months(start, months + 1, month_end)
    begun = begun_months(start, day, month_end)
    assert begun == months + (add_months(start, months, month_end) < day)


@given(DAYS, MONTHS, MONTH_ENDS)
def test_a_later_start_never_ends_earlier(start: date, months: int, month_end: str) -> None:
    """The search for days that matter rests on this."""
    assert add_months(start, months, month_end) <= add_months(start + timedelta(days=1), months, month_end)


@given(DAYS, MONTHS)
def test_rolling_ends_at_most_a_day_after_clamping_and_only_at_month_ends(start: date, months: int) -> None:
    clamped = add_months(start, months, "clamp_from_start")
    rolled = add_months(start, months, "roll_to_next_month")
    if clamped.day == start.day:
        assert rolled == clamped
    else:
        assert rolled == clamped + timedelta(days=1)
        assert rolled.day == 1


@given(DAYS, st.integers(1, 240), MONTH_ENDS)
def test_the_knob_on_the_last_day_moves_it_by_one_day(start: date, months: int, month_end: str) -> None:
    inside = last_covered_day(start, months, month_end, "anniversary")
    assert last_covered_day(start, months, month_end, "day_before_anniversary") == inside - timedelta(days=1)


def test_a_day_before_the_start_has_no_complete_months() -> None:
    assert complete_months(date(2024, 5, 10), date(2024, 4, 9), "clamp_from_start") == 0
    assert complete_months(date(2024, 5, 10), date(2024, 5, 9), "clamp_from_start") == 0


def test_a_span_is_months_or_days() -> None:
    assert add_span(date(2024, 1, 31), Span(months=1), "clamp_from_start") == date(2024, 2, 29)
    assert add_span(date(2024, 1, 31), Span(days=30), "clamp_from_start") == date(2024, 3, 1)
