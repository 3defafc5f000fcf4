"""Due points and states of visits, each history worked by hand. Common practice, no source."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import pytest

from rules.measures.schedule import Absence, DuePoint, Schedule, Visit, judge
from schemas.policy.services import ServiceDuty
from tests.rules.measures.duty_building import conventions, done, duty, not_done

pytestmark = pytest.mark.fast

START = date(2024, 3, 1)
DAY0 = START.toordinal()
YEARLY = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}
BOTH: dict[str, Any] = {
    "due": {"then_every": 250, "calendar": YEARLY},
    "window": {"hours": {"early": 25, "late": 25}, "calendar": {"early": 30, "late": 30}},
}
ONE_OFFS: dict[str, Any] = {
    "due": {"at_hours": [{"at": 80, "early": 8, "late": 8}, {"at": 480, "early": 48, "late": 48}], "then_every": 480},
    "window": {"hours": {"early": 48, "late": 48}},
}
GRID: dict[str, Any] = {"next_due_from": "due_point"}
FIXED: dict[str, Any] = {"next_due_from": "due_point", "early": "does_not_count"}


def _schedule(terms: ServiceDuty, storage: Sequence[tuple[int, int]] = (), **changed: str) -> Schedule:
    return Schedule(terms, conventions(**changed), START, 0, tuple(storage))


def _judged(schedule: Schedule, hours: Sequence[int], failure: int) -> list[tuple[int | None, str]]:
    """Judge visits at these hours, a day for every 2 h; all inside the first year."""
    visits = [Visit(f"v{h}", DAY0 + h // 5, h * 100) for h in hours]
    points = judge(schedule, visits, DAY0 + failure // 5, failure * 100, not_done)
    return [(None if p.hours is None else p.hours // 100, p.state) for p in points]


HISTORIES = [
    # terms, visits, failure, due points with their states
    ({}, [], 275, [(250, "open")]),
    ({}, [], 276, [(250, "missed"), (500, "open")]),
    ({}, [225], 300, [(250, "met"), (500, "open")]),
    ({}, [275], 300, [(250, "met"), (500, "open")]),
    ({}, [224], 300, [(250, "early"), (474, "open")]),
    ({}, [276], 300, [(250, "late"), (526, "open")]),
    ({}, [250, 260], 300, [(250, "met"), (500, "open")]),  # the second is spare
    ({}, [250, 300], 320, [(250, "met"), (500, "early"), (550, "open")]),
    ({}, [215, 240], 300, [(250, "early"), (465, "early"), (490, "open")]),  # no window was met, so none is spare
    ({}, [215, 485], 500, [(250, "early"), (465, "met"), (715, "open")]),
    ({}, [474], 530, [(250, "late"), (724, "open")]),
    ({}, [475], 530, [(250, "missed"), (725, "open")]),  # in the window of 500 h, for the point before it
    ({}, [400], 530, [(250, "late"), (650, "open")]),
    ({}, [515], 778, [(250, "missed"), (765, "open")]),
    ({}, [250, 515], 778, [(250, "met"), (500, "met"), (750, "missed"), (1000, "open")]),
    ({}, [250, 526], 780, [(250, "met"), (500, "late"), (776, "open")]),
    ({}, [250, 750], 900, [(250, "met"), (500, "missed"), (1000, "open")]),
    ({}, [1010], 1100, [(250, "missed"), (500, "missed"), (750, "missed"), (1260, "open")]),
    ({}, [900], 950, [(250, "missed"), (500, "missed"), (750, "late"), (1150, "open")]),
    ({}, [900, 1150], 1160, [(250, "missed"), (500, "missed"), (750, "late"), (1150, "met"), (1400, "open")]),
    ({"early": "does_not_count"}, [224], 300, [(250, "missed"), (500, "open")]),
    ({"early": "does_not_count"}, [224, 250], 300, [(250, "met"), (500, "open")]),
    # always from actual
    ({"next_due_from": "actual"}, [240], 300, [(250, "met"), (490, "open")]),
    ({"next_due_from": "actual"}, [240, 270], 300, [(250, "met"), (490, "early"), (520, "open")]),
    ({"next_due_from": "actual", "early": "does_not_count"}, [240, 270], 300, [(250, "met"), (490, "open")]),
    # on the grid
    (GRID, [224], 300, [(250, "early"), (500, "open")]),
    (FIXED, [224], 300, [(250, "missed"), (500, "open")]),
    (GRID, [276], 300, [(250, "late"), (500, "open")]),  # one visit answers one point: not early for 500 h as well
    (GRID, [276], 530, [(250, "late"), (500, "missed"), (750, "open")]),
    (GRID, [500], 530, [(250, "missed"), (500, "met"), (750, "open")]),
    (GRID, [240, 270], 300, [(250, "met"), (500, "open")]),
    (GRID, [240, 300], 530, [(250, "met"), (500, "early"), (750, "open")]),
    (FIXED, [240, 300], 530, [(250, "met"), (500, "missed"), (750, "open")]),
    ({"judged": "last_closed_window"}, [276], 300, [(250, "late"), (500, "open")]),  # defined on the grid
    # one-off points
    (ONE_OFFS, [], 88, [(80, "open")]),
    (ONE_OFFS, [], 89, [(80, "missed"), (480, "open")]),
    (ONE_OFFS, [88], 480, [(80, "met"), (480, "open")]),
    (ONE_OFFS, [60], 480, [(80, "early"), (480, "open")]),  # the one-off after it keeps its hours
    (ONE_OFFS, [300], 480, [(80, "late"), (480, "open")]),
    (ONE_OFFS, [480], 600, [(80, "missed"), (480, "met"), (960, "open")]),
    (ONE_OFFS, [960], 970, [(80, "missed"), (480, "missed"), (1440, "open")]),
    (ONE_OFFS, [80, 300], 600, [(80, "met"), (480, "early"), (780, "open")]),
    (ONE_OFFS, [80, 740, 960], 1100, [(80, "met"), (480, "late"), (1220, "early"), (1440, "open")]),
]


@pytest.mark.parametrize(("terms", "hours", "failure", "expected"), HISTORIES)
def test_states_by_hours(
    terms: dict[str, Any], hours: list[int], failure: int, expected: list[tuple[int, str]]
) -> None:
    assert _judged(_schedule(duty(**terms)), hours, failure) == expected


@pytest.mark.parametrize(
    ("hours", "failure", "expected"),
    [
        ([60], 300, [(80, "early"), (460, "open")]),
        ([300], 480, [(80, "late"), (700, "open")]),
        ([480], 600, [(80, "missed"), (880, "open")]),
        ([84], 300, [(80, "met"), (480, "open")]),
    ],
)
def test_one_off_points_that_count_from_actual_move(
    hours: list[int], failure: int, expected: list[tuple[int, str]]
) -> None:
    assert _judged(_schedule(duty(**ONE_OFFS), one_off_points="count_from_actual"), hours, failure) == expected


def test_hard_bounds_move_with_a_one_off_that_counts_from_actual() -> None:
    terms = duty(
        due={"at_hours": [50, {"at": 100, "from_hours": 90, "until_hours": 130}], "then_every": 250},
        window={"hours": {"early": 5, "late": 5}},
    )
    visits = [Visit("v", DAY0 + 10, 6000)]  # 60 h, late for 50 h: the point after it moves to 110 h, 100 to 140 h
    moved = judge(_schedule(terms, one_off_points="count_from_actual"), visits, DAY0 + 11, 6000, not_done)[1]
    kept = judge(_schedule(terms), visits, DAY0 + 11, 6000, not_done)[1]
    assert (moved.low_hours, moved.hours, moved.high_hours) == (10000, 11000, 14000)
    assert (kept.low_hours, kept.hours, kept.high_hours) == (9000, 10000, 13000)


@pytest.mark.parametrize(
    ("percent_window", "expected"),
    [
        ("of_interval", [(72, 80, 88), (440, 480, 520), (912, 960, 1008), (1392, 1440, 1488)]),
        ("of_due_value", [(72, 80, 88), (432, 480, 528), (864, 960, 1056), (1296, 1440, 1584)]),
    ],
)
def test_percentage_windows(percent_window: str, expected: list[tuple[int, int, int]]) -> None:
    terms = duty(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"early": "10%", "late": "10%"}})
    schedule = _schedule(terms, percent_window=percent_window)
    point: DuePoint | None = schedule.first()
    found = []
    for _ in expected:
        assert point is not None
        assert point.low_hours is not None
        assert point.hours is not None
        assert point.high_hours is not None
        found.append((point.low_hours // 100, point.hours // 100, point.high_hours // 100))
        point = schedule.next_on_grid(point)
    assert found == expected


def test_a_percentage_follows_a_moved_point() -> None:
    """Early at 400 h for 480 h: the next is due at 880 h, a tenth of which is 88 h; a tenth of the interval is 48 h."""
    terms = duty(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"early": "10%", "late": "10%"}})
    visits = [Visit("a", DAY0 + 10, 8000), Visit("b", DAY0 + 100, 40000)]
    by_value = judge(_schedule(terms, percent_window="of_due_value"), visits, DAY0 + 101, 40000, not_done)[2]
    by_interval = judge(_schedule(terms), visits, DAY0 + 101, 40000, not_done)[2]
    assert (by_value.low_hours, by_value.high_hours) == (79200, 96800)
    assert (by_interval.low_hours, by_interval.high_hours) == (83200, 92800)


def _day(text: str) -> int:
    return date.fromisoformat(text).toordinal()


BY_DATES = [
    # terms, visits (day, hours), failure (day, hours), points: due hours, due day, state
    # hours inside, days early: hours keep their grid, days count from the visit
    (BOTH, [("2024-06-01", 240)], ("2024-06-02", 240), [(250, "2025-03-01", "met"), (500, "2025-06-01", "open")]),
    # days inside, hours early
    (BOTH, [("2025-03-31", 90)], ("2025-04-01", 90), [(250, "2025-03-01", "met"), (340, "2026-03-01", "open")]),
    # both inside
    (BOTH, [("2025-01-30", 225)], ("2025-02-01", 225), [(250, "2025-03-01", "met"), (500, "2026-03-01", "open")]),
    # both early
    (BOTH, [("2025-01-29", 224)], ("2025-02-01", 224), [(250, "2025-03-01", "early"), (474, "2026-01-29", "open")]),
    # late by the calendar, inside by hours: hours keep, days count from the visit
    (BOTH, [("2025-04-01", 260)], ("2025-04-02", 260), [(250, "2025-03-01", "late"), (500, "2026-04-01", "open")]),
    # late by hours, inside by the calendar
    (BOTH, [("2025-03-01", 276)], ("2025-03-02", 276), [(250, "2025-03-01", "late"), (526, "2026-03-01", "open")]),
    # missed by hours alone: the calendar limb stays where it is, and is missed in its turn
    (
        BOTH,
        [],
        ("2025-04-01", 300),
        [(250, "2025-03-01", "missed"), (500, "2026-03-01", "open")],
    ),
    (BOTH, [], ("2024-08-01", 300), [(250, "2025-03-01", "missed"), (500, "2025-03-01", "open")]),
    # two years without a service on little use: the calendar is missed twice, the hours once
    (
        BOTH,
        [],
        ("2026-04-01", 300),
        [(250, "2025-03-01", "missed"), (500, "2026-03-01", "missed"), (500, "2027-03-01", "open")],
    ),
    # on the grid a limb not yet opened stays: much use in the first year does not put off the yearly service
    (
        BOTH | GRID,
        [("2024-05-01", 250), ("2024-08-01", 500), ("2024-11-01", 750)],
        ("2024-12-01", 760),
        [
            (250, "2025-03-01", "met"),
            (500, "2025-03-01", "met"),
            (750, "2025-03-01", "met"),
            (1000, "2025-03-01", "open"),
        ],
    ),
    (
        BOTH | GRID,
        [("2025-02-15", 240)],
        ("2025-03-01", 240),
        [(250, "2025-03-01", "met"), (500, "2026-03-01", "open")],
    ),
    (
        BOTH | GRID,
        [("2024-05-01", 100)],
        ("2024-05-02", 100),
        [(250, "2025-03-01", "early"), (500, "2026-03-01", "open")],
    ),
]


@pytest.mark.parametrize(("terms", "visits", "failure", "expected"), BY_DATES)
def test_states_by_both_limbs(
    terms: dict[str, Any],
    visits: list[tuple[str, int]],
    failure: tuple[str, int],
    expected: list[tuple[int, str, str]],
) -> None:
    done_on = [Visit(f"v{i}", _day(day), hours * 100) for i, (day, hours) in enumerate(visits)]
    points = judge(_schedule(duty(**terms)), done_on, _day(failure[0]), failure[1] * 100, not_done)
    found = [
        ((p.hours or 0) // 100, date.fromordinal(p.day).isoformat() if p.day is not None else "", p.state)
        for p in points
    ]
    assert found == expected


def _calendar(every: str, holds_from: str = "start_of_term", in_storage: str = "runs", **more: Any) -> ServiceDuty:
    due = {"calendar": {"every": every, "holds_from": holds_from, "in_storage": in_storage}} | more
    window = {"hours": {"early": 8, "late": 8}, "calendar": {"early": 30, "late": 30}}
    return duty(due=due, window=window)


def _due_days(points: Sequence[DuePoint]) -> list[str]:
    return [date.fromordinal(p.day).isoformat() for p in points if p.day is not None]


@pytest.mark.parametrize(
    ("month_end", "expected"),
    [
        ("clamp_from_start", ["2025-02-28", "2025-08-31", "2026-02-28", "2026-08-31"]),
        ("roll_to_next_month", ["2025-03-01", "2025-08-31", "2026-03-01", "2026-08-31"]),
    ],
)
def test_calendar_points_are_counted_once_from_the_anchor(month_end: str, expected: list[str]) -> None:
    """31 August plus six months again and again: never chained over 28 February."""
    schedule = Schedule(_calendar("6 months"), conventions(month_end=month_end), date(2024, 8, 31), 0)
    points = judge(schedule, [], _day("2026-08-01"), None, done)
    assert _due_days(points)[:4] == expected


def test_a_calendar_from_the_last_one_off_begins_with_the_visit_that_answers_it() -> None:
    terms = _calendar("12 months", "last_one_off", at_hours=[80])
    before = judge(_schedule(terms), [], _day("2030-01-01"), 8800, not_done)
    assert [(p.hours, p.day, p.state) for p in before] == [(8000, None, "open")]
    late = [Visit("v", _day("2025-05-05"), 9000)]
    assert _due_days(judge(_schedule(terms), late, _day("2025-06-01"), 9100, not_done)) == ["2026-05-05"]
    on_grid = duty(**(terms.model_dump(mode="json", exclude_none=True) | {"next_due_from": "due_point"}))
    assert _due_days(judge(_schedule(on_grid), late, _day("2025-06-01"), 9100, not_done)) == ["2026-05-05"]


@pytest.mark.parametrize(
    ("storage", "low", "due", "high"),
    [
        ([], "2025-01-30", "2025-03-01", "2025-03-31"),
        ([("2024-06-01", "2024-09-01")], "2025-05-02", "2025-06-01", "2025-07-01"),  # 92 days
        ([("2024-06-01", "2024-08-01"), ("2024-07-01", "2024-09-01")], "2025-05-02", "2025-06-01", "2025-07-01"),
        ([("2024-07-01", "2024-09-01"), ("2024-06-01", "2024-07-01")], "2025-05-02", "2025-06-01", "2025-07-01"),
        (
            [("2024-06-01", "2025-08-01")],
            "2026-04-01",
            "2026-05-01",
            "2026-05-31",
        ),  # 426 days: longer than the interval
        ([("2024-01-01", "2024-03-31")], "2025-03-01", "2025-03-31", "2025-04-30"),  # 30 of its days since the start
        ([("2024-01-01", "2024-03-01")], "2025-01-30", "2025-03-01", "2025-03-31"),  # over before the start
        ([("2025-03-01", "2025-05-01")], "2025-01-30", "2025-03-01", "2025-05-31"),  # begins on the due day: 61 days
        ([("2025-03-11", "2025-05-10")], "2025-01-30", "2025-03-01", "2025-05-30"),  # inside the window: 60 days
        ([("2025-04-01", "2025-05-10")], "2025-01-30", "2025-03-01", "2025-03-31"),  # after it had closed
        (
            [("2025-02-09", "2025-02-19")],
            "2025-01-30",
            "2025-03-11",
            "2025-04-10",
        ),  # 10 days shortly before the due day
        ([("2024-06-01", "2024-06-01")], "2025-01-30", "2025-03-01", "2025-03-31"),
    ],
)
def test_storage_stops_the_calendar(storage: list[tuple[str, str]], low: str, due: str, high: str) -> None:
    terms = _calendar("12 months", in_storage="pauses")
    point = _schedule(terms, [(_day(since), _day(until)) for since, until in storage]).first()
    assert (point.low_day, point.day, point.high_day) == (_day(low), _day(due), _day(high))


def test_storage_does_not_stop_a_calendar_that_runs() -> None:
    point = _schedule(_calendar("12 months"), [(_day("2024-06-01"), _day("2024-09-01"))]).first()
    assert point.day == _day("2025-03-01")


def test_a_machine_without_a_meter_is_never_out_by_hours() -> None:
    points = judge(_schedule(duty()), [], DAY0 + 3000, None, not_done)
    assert [p.state for p in points] == ["open"]


def test_points_not_on_file_that_were_done_stay_on_the_grid() -> None:
    points = judge(_schedule(duty()), [Visit("v", DAY0 + 90, 76000)], DAY0 + 99, 80000, done)
    assert [(p.number, p.hours, p.state) for p in points] == [
        (0, 25000, "assumed"),
        (1, 50000, "assumed"),
        (2, 75000, "met"),
        (3, 100000, "open"),
    ]


def test_a_booked_point_is_answered_by_the_visit_and_the_next_counts_from_it() -> None:
    def booked_until_day_60(point: DuePoint, day: int, _hours: int | None) -> Absence:
        return "booked" if point.number == 0 and day <= DAY0 + 60 else "not_done"

    schedule = _schedule(duty())
    in_time = judge(schedule, [Visit("v", DAY0 + 60, 29000)], DAY0 + 70, 30000, booked_until_day_60)
    assert [(p.hours, p.state, p.record) for p in in_time] == [(25000, "booked", "v"), (54000, "open", None)]
    a_day_later = judge(schedule, [Visit("v", DAY0 + 61, 29000)], DAY0 + 70, 30000, booked_until_day_60)
    assert [(p.hours, p.state) for p in a_day_later] == [(25000, "late"), (54000, "open")]
    waiting = judge(schedule, [], DAY0 + 60, 29000, booked_until_day_60)
    assert [(p.hours, p.state) for p in waiting] == [(25000, "booked"), (50000, "open")]


def test_a_later_visit_cures_every_point_missed_before_it() -> None:
    visits = [Visit("v", DAY0 + 200, 101000)]
    points = judge(_schedule(duty()), visits, DAY0 + 300, 128000, not_done)
    assert [(p.hours, p.state, p.cured, p.record) for p in points] == [
        (25000, "missed", True, "v"),
        (50000, "missed", True, "v"),
        (75000, "missed", True, "v"),
        (126000, "open", False, None),
    ]
