"""Between two edges that visits leave open, hours make no difference: every due point stands alike."""

from bisect import bisect_right
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.measures.followed import Passed, edges_left_open
from rules.measures.schedule import PASSED, Absence, DuePoint, Schedule, Visit, judge
from tests.rules.measures.duty_building import conventions, duty

pytestmark = pytest.mark.fast

START = date(2024, 3, 1)
CALENDAR = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}
BOTH = {
    "due": {"then_every": 250, "calendar": CALENDAR},
    "window": {"hours": {"early": 25, "late": 25}, "calendar": {"early": 30, "late": 30}},
}
ONE_OFFS = {"due": {"at_hours": [{"at": 50, "early": 10, "late": 10}, 250], "then_every": 500}}
TERMS: dict[str, dict[str, Any]] = {
    "hours": {},
    "hours_and_months": BOTH,
    "one_offs": ONE_OFFS,
    "percent": {"window": {"hours": {"early": "10%", "late": "10%"}}},
    "from_actual": {"next_due_from": "actual"},
    "on_the_grid": {"next_due_from": "due_point"},
    "early_is_nothing": {"early": "does_not_count"},
    "booked": {"bookings_count": True},
    "booked_on_the_grid": {**BOTH, "bookings_count": True, "next_due_from": "due_point"},
}
ANSWERS: tuple[Absence, ...] = ("not_done", "done", "booked")


def schedule_of(terms: str, percent_window: str) -> Schedule:
    return Schedule(duty(**TERMS[terms]), conventions(percent_window=percent_window), START, 0)


@st.composite
def histories(draw: st.DrawFn) -> list[tuple[Visit, bool]]:
    """Draw visits on rising days at rising hours, and whether each is sure to count."""
    found, day, hours = [], START.toordinal(), 0
    for number in range(draw(st.integers(0, 5))):
        day += draw(st.integers(1, 200))
        hours += draw(st.one_of(st.integers(0, 40_000), st.sampled_from((2499, 2501, 22_499, 22_500, 27_500, 27_501))))
        found.append((Visit(f"S-{number}", day, hours), draw(st.booleans())))
    return found


@pytest.mark.parametrize("percent_window", ["of_interval", "of_due_value"])
@pytest.mark.parametrize("terms", TERMS)
@settings(max_examples=60, deadline=None)
@given(history=histories(), data=st.data())
def test_between_edges_every_point_stands_alike(
    terms: str, percent_window: str, history: list[tuple[Visit, bool]], data: st.DataObject
) -> None:
    schedule = schedule_of(terms, percent_window)
    last = history[-1][0] if history else Visit("", START.toordinal(), 0)
    up_to = (last.hours or 0) + 120_000
    edges = edges_left_open(schedule, [Passed(visit, counts) for visit, counts in history], up_to)
    if edges is None:
        return  # too many ways: nothing is left out
    taken = [visit for visit, counts in history if counts or data.draw(st.booleans())]
    answers = data.draw(
        st.lists(st.sampled_from(ANSWERS[: 3 if terms.startswith("booked") else 2]), min_size=30, max_size=30)
    )
    day = last.day + data.draw(st.integers(0, 400))

    def absent(point: DuePoint, _: int, __: int | None) -> Absence:
        return answers[point.number % len(answers)]

    def states(hours: int) -> list[str]:
        # A closed window that a backlog held open is passed like any other at the failure.
        return [point.state for point in judge(schedule, taken, day, hours, absent)]

    ordered = sorted(edges)
    at = data.draw(st.integers(last.hours or 0, up_to))
    place = bisect_right(ordered, at)
    low = max(ordered[place - 1] if place else 0, last.hours or 0)
    high = min(ordered[place] - 1 if place < len(ordered) else up_to, up_to)
    assert states(low) == states(at) == states(high), (low, at, high)


@pytest.mark.parametrize(
    ("terms", "visits", "expected"),
    [
        # Every 250 h, 25 h either side; 230 h lies in 225-275, which may hold a spare visit as well, and keeps the
        # grid: 475-525 is open next.
        ("hours", [(100, 23_000)], {22_500, 27_501, 47_500, 52_501}),
        # 200 h is early and counts from its own hours: 450 h, open from 425 to 475 h.
        ("hours", [(100, 20_000)], {42_500, 47_501}),
        # 300 h is late for 250 h and counts from its own hours: 550 h, open from 525 to 575 h.
        ("hours", [(100, 30_000)], {52_500, 57_501}),
        # From actual: 230 h is followed by 480 h, open from 455 to 505 h.
        ("from_actual", [(100, 23_000)], {22_500, 27_501, 45_500, 50_501}),
    ],
)
def test_edges_worked_by_hand(terms: str, visits: list[tuple[int, int]], expected: set[int]) -> None:
    schedule = schedule_of(terms, "of_interval")
    passed = [Passed(Visit(f"S-{day}", START.toordinal() + day, hours), True) for day, hours in visits]
    edges = edges_left_open(schedule, passed, 55_000)
    assert edges is not None
    assert {edge for edge in edges if edge <= 58_000} >= expected
    others = {edge for edge in edges if edge < max(expected)} - expected
    assert not others


def test_a_record_that_may_not_count_leaves_both_ways_open() -> None:
    """200 h, early: 425-475 h where it counts; 225-275 and then 475-525 h where it does not."""
    schedule = schedule_of("hours", "of_interval")
    edges = edges_left_open(schedule, [Passed(Visit("S-1", START.toordinal() + 100, 20_000), False)], 45_000)
    assert edges is not None
    assert {22_500, 27_501, 42_500, 47_501, 47_500, 52_501} <= set(edges)


def test_too_many_ways_are_not_followed() -> None:
    """Each visit re-bases at hours of its own or leaves all as it was: n visits, none sure, leave 2 to the n ways."""
    schedule = schedule_of("from_actual", "of_interval")
    visits = [Passed(Visit(f"S-{n}", START.toordinal() + n, 20_000 + 137 * n), False) for n in range(1, 80)]
    assert edges_left_open(schedule, visits, 100_000) is None


def test_every_answer_is_followed() -> None:
    assert set(PASSED) == set(ANSWERS)
