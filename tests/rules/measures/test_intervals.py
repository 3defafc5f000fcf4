"""Windows round due points, in hundredths of an hour and in days: percentages of each kind, worked by hand.

A percentage is taken of the time between a due point and the one before it, or of the due value; what is less than a
hundredth of an hour, or than a day, is dropped.
"""

from datetime import date, timedelta
from typing import Any

import pytest

from rules.measures.intervals import intervals_of
from rules.measures.schedule import Schedule
from tests.rules.measures.duty_building import conventions, duty

pytestmark = pytest.mark.fast

START = date(2024, 3, 1)


def hours_window(early: Any, late: Any, at_most: int | None = None) -> dict[str, Any]:
    return {"window": {"hours": {"early": early, "late": late, "at_most": at_most}}}


def one_offs(second: Any) -> dict[str, Any]:
    return {"due": {"at_hours": [50, second], "then_every": 500}, **hours_window(25, 25)}


@pytest.mark.parametrize(
    ("terms", "percent_window", "step", "due", "low", "high"),
    [
        # Every 250 h: at 500 h the time before it is 250 h, the due value 500 h.
        (hours_window(25, 25), "of_interval", 1, 50_000, 47_500, 52_500),
        (hours_window(25, 25), "of_due_value", 1, 50_000, 47_500, 52_500),
        (hours_window("10%", "10%"), "of_interval", 1, 50_000, 47_500, 52_500),
        (hours_window("10%", "10%"), "of_due_value", 1, 50_000, 45_000, 55_000),
        (hours_window("10%", 25), "of_due_value", 1, 50_000, 45_000, 52_500),
        (hours_window(25, "10%"), "of_due_value", 1, 50_000, 47_500, 55_000),
        # Ten hundredths of 333.33 h are 33.333 h.
        (hours_window("10%", "10%"), "of_due_value", 1, 33_333, 30_000, 36_666),
        # At most 20 h: of 50 h they cut, of 10 h they do not.
        (hours_window("10%", "10%", 20), "of_due_value", 1, 50_000, 48_000, 52_000),
        (hours_window("10%", "10%", 20), "of_due_value", 1, 10_000, 9_000, 11_000),
        (hours_window("10%", "10%", 20), "of_interval", 1, 50_000, 48_000, 52_000),
        # A second one-off at 250 h, 200 h after the first one: a tenth is 20 h, or 25 h of the due value.
        (one_offs({"at": 250, "early": "10%", "late": 5}), "of_interval", 1, 25_000, 23_000, 25_500),
        (one_offs({"at": 250, "early": "10%", "late": 5}), "of_due_value", 1, 25_000, 22_500, 25_500),
        (one_offs({"at": 250, "early": 5, "late": "10%"}), "of_interval", 1, 25_000, 24_500, 27_000),
        (one_offs({"at": 250, "early": 5, "late": "10%"}), "of_due_value", 1, 25_000, 24_500, 27_500),
        # Hard bounds go along with a one-off counted from a visit: due at 260 h, 230 to 270 h become 240 to 280 h.
        (one_offs({"at": 250, "from_hours": 230, "until_hours": 270}), "of_due_value", 1, 26_000, 24_000, 28_000),
        # Behind the one-offs every 500 h, 25 h either side.
        (one_offs({"at": 250, "from_hours": 230, "until_hours": 270}), "of_due_value", 2, 75_000, 72_500, 77_500),
    ],
)
def test_windows_in_hours(terms: dict[str, Any], percent_window: str, step: int, due: int, low: int, high: int) -> None:
    intervals = intervals_of(duty(**terms), conventions(percent_window=percent_window))
    assert intervals.hour_window(step, due) == (low, high)


@pytest.mark.parametrize(
    ("every", "early", "late", "at_most", "calendar_percent", "days_early", "days_late"),
    [
        # 1 March 2024 to 1 March 2025 are 365 days, or twelve months of 30.
        ("12 months", 30, 40, None, "of_actual_days", 30, 40),
        ("12 months", "50%", "10%", None, "of_thirty_day_months", 180, 36),
        ("12 months", "50%", "10%", None, "of_actual_days", 182, 36),
        ("12 months", "50%", 40, None, "of_actual_days", 182, 40),
        ("12 months", 40, "50%", None, "of_actual_days", 40, 182),
        ("12 months", 40, "50%", None, "of_thirty_day_months", 40, 180),
        # An interval in days is as long as it says.
        ("200 days", "10%", "25%", None, "of_actual_days", 20, 50),
        ("200 days", "10%", "25%", None, "of_thirty_day_months", 20, 50),
        ("200 days", "15%", "35%", None, "of_thirty_day_months", 30, 70),
        # At most 30 days: of 50 they cut, of 20 they do not.
        ("200 days", "10%", "25%", 30, "of_thirty_day_months", 20, 30),
        ("12 months", "50%", 40, 30, "of_actual_days", 30, 40),
    ],
)
def test_windows_in_days(
    every: str,
    early: Any,
    late: Any,
    at_most: int | None,
    calendar_percent: str,
    days_early: int,
    days_late: int,
) -> None:
    limb = {"every": every, "holds_from": "start_of_term", "in_storage": "runs"}
    window = {"calendar": {"early": early, "late": late, "at_most": at_most}}
    terms = duty(due={"calendar": limb}, window=window)
    point = Schedule(terms, conventions(calendar_percent=calendar_percent), START, 0).first()
    due = date(2025, 3, 1) if every == "12 months" else START + timedelta(days=200)
    assert point.low_day is not None
    assert point.day is not None
    assert point.high_day is not None
    assert date.fromordinal(point.day) == due
    assert (point.day - point.low_day, point.high_day - point.day) == (days_early, days_late)
