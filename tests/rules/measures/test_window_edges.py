"""Where service windows begin and end, and from which visit or fitting on they lie beyond given hours: by hand.

All hours are hundredths; an edge is the first value on its other side, so a window of 225 to 275 h has the edges 22500
and 27501.
"""

from datetime import date
from typing import Any

import pytest

from rules.measures.schedule import Schedule
from rules.measures.window_edges import WindowEdges, edges_from
from tests.rules.measures.duty_building import conventions, duty

pytestmark = pytest.mark.fast

START = date(2024, 3, 1)
ONE_OFFS: dict[str, Any] = {"due": {"at_hours": [{"at": 50, "early": 10, "late": 10}, 250], "then_every": 500}}
TENTHS: dict[str, Any] = {"window": {"hours": {"early": "10%", "late": "10%"}}}
HARD: dict[str, Any] = {"due": {"at_hours": [{"at": 50, "from_hours": 40, "until_hours": 60}]}, "window": {}}
WHOLE: dict[str, Any] = {"window": {"hours": {"early": "100%", "late": "10%"}}}


def schedule(terms: dict[str, Any] | None = None, percent_window: str = "of_interval") -> Schedule:
    """Return a schedule of 250 h, 25 h either side, with these changes."""
    return Schedule(duty(**(terms or {})), conventions(percent_window=percent_window), START, 0)


@pytest.mark.parametrize(
    ("begin", "up_to", "expected"),
    [
        # 225-275 and 475-525 h open by 480 h; of those that open later the first one stands too.
        (0, 48_000, (22_500, 27_501, 47_500, 52_501, 72_500, 77_501)),
        # One that opens at 475 h has opened at 475 h, and not at 474.99 h.
        (0, 47_500, (22_500, 27_501, 47_500, 52_501, 72_500, 77_501)),
        (0, 47_499, (22_500, 27_501, 47_500, 52_501)),
        # 250 h is due beyond 240 h, but its window has opened at 225 h.
        (0, 24_000, (22_500, 27_501, 47_500, 52_501)),
        # Begun at 100 h all lie 100 h on: 325-375, 575-625, 825-875 h.
        (10_000, 57_500, (32_500, 37_501, 57_500, 62_501, 82_500, 87_501)),
        (10_000, 57_499, (32_500, 37_501, 57_500, 62_501)),
    ],
)
def test_windows_on_the_grid(begin: int, up_to: int, expected: tuple[int, ...]) -> None:
    assert WindowEdges(schedule()).on_grid(begin, up_to) == expected


@pytest.mark.parametrize(
    ("begin", "up_to", "expected"),
    [
        # Early by the whole due value, 250 h is open from 0 to 275 h, 500 h from 0 to 550 h, 750 h from 0 to 825 h:
        # none opens later than the one before, so the first that is due beyond is the last.
        (0, 60_000, (0, 27_501, 0, 55_001, 0, 82_501)),
        (0, 50_000, (0, 27_501, 0, 55_001, 0, 82_501)),
        (0, 49_999, (0, 27_501, 0, 55_001)),
        # Begun at 100 h: due at 350, 600 and 850 h.
        (10_000, 60_000, (10_000, 37_501, 10_000, 65_001, 10_000, 92_501)),
        (10_000, 59_999, (10_000, 37_501, 10_000, 65_001)),
    ],
)
def test_windows_as_early_as_their_whole_due_value_come_to_an_end(
    begin: int, up_to: int, expected: tuple[int, ...]
) -> None:
    early = schedule(WHOLE, "of_due_value")
    assert edges_from(early, early.first(), begin, up_to) == expected


def test_the_last_point_of_a_duty_has_none_behind_it() -> None:
    assert WindowEdges(schedule(HARD)).on_grid(0, 100_000) == (4_000, 6_001)


@pytest.mark.parametrize(
    ("terms", "percent_window", "visit", "number", "begin", "up_to", "expected"),
    [
        # From 300 h the next ones are due at 550 and 800 h; where a window stands 25 h either side, whatever began it.
        ({}, "of_interval", 30_000, 0, 0, 60_000, (52_500, 57_501, 77_500, 82_501)),
        ({}, "of_interval", 30_000, 0, 10_000, 60_000, (52_500, 57_501, 77_500, 82_501)),
        # A visit at 60 h for the one-off of 50 h: 200 h on is 260 h, then 500 h on is 760 h.
        (ONE_OFFS, "of_interval", 6_000, 0, 0, 28_000, (23_500, 28_501, 73_500, 78_501)),
        # A visit at 300 h for the one-off of 250 h, or for a recurring one: 500 h on is 800 h.
        (ONE_OFFS, "of_interval", 30_000, 1, 0, 40_000, (77_500, 82_501)),
        (ONE_OFFS, "of_interval", 30_000, 2, 0, 40_000, (77_500, 82_501)),
        # A tenth of the due value: 550 h from 495 to 605 h, 800 h from 720 to 880 h.
        (TENTHS, "of_due_value", 30_000, 0, 0, 55_000, (49_500, 60_501, 72_000, 88_001)),
        # Begun at 100 h the same visit is one at 200 h: 450 h from 405 to 495 h, 700 h from 630 to 770 h, all 100 h on.
        (TENTHS, "of_due_value", 30_000, 0, 10_000, 55_000, (50_500, 59_501, 73_000, 87_001)),
    ],
)
def test_windows_counted_from_a_visit(
    terms: dict[str, Any],
    percent_window: str,
    visit: int,
    number: int,
    begin: int,
    up_to: int,
    expected: tuple[int, ...],
) -> None:
    assert WindowEdges(schedule(terms, percent_window)).counted_from(visit, number, begin, up_to) == expected


@pytest.mark.parametrize(
    ("terms", "percent_window", "alike"),
    [
        ({}, "of_interval", True),
        ({}, "of_due_value", True),
        (TENTHS, "of_interval", True),
        (TENTHS, "of_due_value", False),
        ({"window": {"hours": {"early": "10%", "late": 25}}}, "of_due_value", False),
        ({"window": {"hours": {"early": 25, "late": "10%"}}}, "of_due_value", False),
        (ONE_OFFS, "of_due_value", True),
        (HARD, "of_due_value", True),
        (
            {"due": {"at_hours": [{"at": 50, "early": "10%", "late": 5}], "then_every": 250}},
            "of_due_value",
            False,
        ),
    ],
)
def test_windows_lie_as_far_behind_every_visit_unless_they_grow_with_the_hours(
    terms: dict[str, Any], percent_window: str, alike: bool
) -> None:
    assert WindowEdges(schedule(terms, percent_window)).moves_along is alike


def test_each_one_off_and_any_recurring_point_can_be_answered_by_a_visit_but_none_on_the_grid() -> None:
    assert list(WindowEdges(schedule()).answers) == [0]
    assert list(WindowEdges(schedule(ONE_OFFS)).answers) == [0, 1, 2]
    assert list(WindowEdges(schedule({**ONE_OFFS, "next_due_from": "due_point"})).answers) == []


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        # At 600 h: fitted at 375.01 h the first window opens beyond (225 h on), at 325.00 h it closes beyond (275.01 h
        # on), at 125.01 h the second one opens and at 75.00 h it closes beyond.
        (0, 60_000, {37_501, 32_500, 12_501, 7_500}),
        (7_499, 37_501, {37_501, 32_500, 12_501, 7_500}),
        (7_500, 37_500, {32_500, 12_501}),
    ],
)
def test_fittings_whose_windows_lie_beyond(low: int, high: int, expected: set[int]) -> None:
    assert set(WindowEdges(schedule()).fittings_reaching(60_000, low, high)) == expected


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        # At 600 h: after a visit at 375.01 h the next window (250 h on, 25 h either side) opens beyond, after one at
        # 325.00 h it closes beyond; after 125.01 h the one behind it opens beyond, after 75.00 h it closes beyond.
        (5_000, 60_000, {37_501, 32_500, 12_501, 7_500}),
        (12_500, 37_501, {37_501, 32_500, 12_501}),
        (12_501, 37_500, {32_500}),
    ],
)
def test_visits_whose_counted_windows_lie_beyond(low: int, high: int, expected: set[int]) -> None:
    assert set(WindowEdges(schedule()).visits_reaching(60_000, 0, low, high)) == expected


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        # At 630 h, a tenth of the due value (what is less than 0.01 h dropped): due at 700.01 h a window opens at
        # 630.01 h, due at 700.00 h at 630.00 h; due at 572.73 h it has closed from 630.01 h on (572.73 + 57.27 + 0.01),
        # due at 572.72 h from 630.00 h on. Due 250 h behind the visit, and 500 h behind it.
        (10_000, 60_000, {45_001, 32_273, 20_001}),
        (7_272, 45_001, {45_001, 32_273, 20_001, 7_273}),
        (7_273, 45_000, {32_273, 20_001}),
        (45_001, 60_000, set()),
    ],
)
def test_visits_whose_windows_grow_with_the_hours(low: int, high: int, expected: set[int]) -> None:
    windows = WindowEdges(schedule(TENTHS, "of_due_value"))
    assert set(windows.visits_reaching(63_000, 0, low, high)) == expected
