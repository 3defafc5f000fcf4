"""Windows and next due points against published rules of interval tolerance.

Sources: US Army TM 1-1500-328-23, paragraph 2-10, "Scheduling of recurring special inspections" (read in a public
copy); an aircraft engine manual's 100 h check (read in a public copy); an operator's note on a 100 h check with a
tolerance of 30 h. Hours that stand on an aircraft's meter are counted here from the due point before.
"""

from datetime import date

import pytest

from rules.measures.schedule import DuePoint, Schedule, Visit, judge
from schemas.policy.services import ServiceDuty
from tests.rules.measures.duty_building import conventions, duty, not_done

pytestmark = pytest.mark.fast

START = date(1998, 1, 1)


def _first(terms: ServiceDuty, start_hours: int = 0, start: date = START, **changed: str) -> DuePoint:
    return Schedule(terms, conventions(**changed), start, start_hours).first()


def _by_hours(every: str, *, early: object = "10%", late: object = "10%", most: object = 5) -> ServiceDuty:
    window = {"early": early, "late": late} | ({} if most is None else {"at_most": most})
    return duty(due={"then_every": every}, window={"hours": window})


def _by_days(every: str) -> ServiceDuty:
    return duty(
        due={"calendar": {"every": every, "holds_from": "start_of_term", "in_storage": "runs"}},
        window={"calendar": {"early": "10%", "late": "10%", "at_most": 30}},
    )


@pytest.mark.parametrize(
    ("every", "due", "low", "high"),
    [
        ("25", 147270, 147020, 147520),  # below 50 h: a tenth, 2.5 h; printed 1472.7, 1470.2 to 1475.2
        ("75", 160940, 160440, 161440),  # from 50 h on: 5 h; printed 1609.4, 1604.4 to 1614.4
    ],
)
def test_window_in_hours(every: str, due: int, low: int, high: int) -> None:
    interval = int(every) * 100
    point = _first(_by_hours(every), start_hours=due - interval)
    base = due - interval
    assert (point.hours, point.low_hours, point.high_hours) == (interval, low - base, high - base)


@pytest.mark.parametrize("done", [160440, 160940, 161440])
def test_done_inside_the_window_the_next_counts_from_the_due_value(done: int) -> None:
    """75 h: due 1609.4, done anywhere from 1604.4 to 1614.4, next due 1684.4."""
    schedule = Schedule(_by_hours("75"), conventions(), START, 153440)
    points = judge(
        schedule, [Visit("v", START.toordinal() + 50, done - 153440)], START.toordinal() + 60, 8500, not_done
    )
    assert points[0].state == "met"
    assert points[1].hours == 168440 - 153440


@pytest.mark.parametrize(("done", "state"), [(160430, "early"), (161450, "late")])
def test_done_outside_the_window_the_next_counts_from_the_actual_value(done: int, state: str) -> None:
    """Out of sequence: next due = actual + 75 h."""
    schedule = Schedule(_by_hours("75"), conventions(), START, 153440)
    points = judge(
        schedule, [Visit("v", START.toordinal() + 50, done - 153440)], START.toordinal() + 60, 8500, not_done
    )
    assert points[0].state == state
    assert points[1].hours == done - 153440 + 7500


def test_each_side_of_a_dual_interval_is_computed_separately() -> None:
    """In the window by hours, two months early by the calendar: hours from the due value, days from the actual day."""
    terms = duty(
        due={
            "then_every": 75,
            "calendar": {"every": "6 months", "holds_from": "start_of_term", "in_storage": "runs"},
        },
        window={
            "hours": {"early": "10%", "late": "10%", "at_most": 5},
            "calendar": {"early": "10%", "late": "10%", "at_most": 30},
        },
    )
    schedule = Schedule(terms, conventions(), date(1998, 7, 31), 0)
    done = date(1998, 11, 30)
    points = judge(schedule, [Visit("v", done.toordinal(), 7900)], done.toordinal(), 7900, not_done)
    assert points[1].hours == 15000
    assert points[1].day == date(1999, 5, 30).toordinal()


def test_six_months_are_180_days_and_their_tenth_18() -> None:
    """Due 31 January 1999: 13 January to 18 February 1999; done inside, next due 31 July 1999."""
    schedule = Schedule(_by_days("6 months"), conventions(), date(1998, 7, 31), 0)
    first = schedule.first()
    assert _days(first) == (date(1999, 1, 13), date(1999, 1, 31), date(1999, 2, 18))
    for done in (date(1999, 1, 13), date(1999, 1, 31), date(1999, 2, 18)):
        points = judge(schedule, [Visit("v", done.toordinal(), None)], date(1999, 3, 1).toordinal(), None, not_done)
        assert points[0].state == "met"
        assert _days(points[1])[1] == date(1999, 7, 31)


def test_twelve_months_and_more_have_30_days() -> None:
    """Due 6 February 1999: 7 January to 8 March 1999; next, by the rule, 6 February 2000."""
    schedule = Schedule(_by_days("12 months"), conventions(), date(1998, 2, 6), 0)
    first = schedule.first()
    assert _days(first) == (date(1999, 1, 7), date(1999, 2, 6), date(1999, 3, 8))
    done = date(1999, 3, 8)
    points = judge(schedule, [Visit("v", done.toordinal(), None)], done.toordinal(), None, not_done)
    assert _days(points[1])[1] == date(2000, 2, 6)


@pytest.mark.parametrize(
    ("months", "percent", "taken"),
    [
        (6, "of_thirty_day_months", 18),  # 180 days
        (6, "of_actual_days", 18),  # 31 July 1998 to 31 January 1999: 184 days, 18.4
        (7, "of_thirty_day_months", 21),  # 210 days
        (7, "of_actual_days", 21),  # to 28 February 1999: 212 days, 21.2
        (11, "of_thirty_day_months", 30),  # 330 days: 33, but at most 30
        (1, "of_actual_days", 3),  # to 31 August 1998: 31 days, 3.1
    ],
)
def test_a_fraction_of_a_day_is_dropped(months: int, percent: str, taken: int) -> None:
    point = _first(_by_days(f"{months} months"), start=date(1998, 7, 31), calendar_percent=percent)
    assert point.day is not None
    assert (point.low_day, point.high_day) == (point.day - taken, point.day + taken)


def test_engine_manual_done_at_110_h_the_next_is_due_at_200_h() -> None:
    """100 h check, 10 h either side: done at 110 h, the next is due at 200 h (190 to 210 h), not at 210 h."""
    schedule = Schedule(_by_hours("100", early=10, late=10, most=None), conventions(), START, 0)
    day = START.toordinal() + 10
    points = judge(schedule, [Visit("v", day, 11000)], day, 11000, not_done)
    assert (points[1].low_hours, points[1].hours, points[1].high_hours) == (19000, 20000, 21000)


def test_engine_manual_done_early_at_87_h_the_next_is_due_at_187_h() -> None:
    schedule = Schedule(_by_hours("100", early=10, late=10, most=None), conventions(), START, 0)
    day = START.toordinal() + 10
    points = judge(schedule, [Visit("v", day, 8700)], day, 8700, not_done)
    assert points[1].hours == 18700


def test_a_tolerance_of_30_h_does_not_accumulate() -> None:
    """Due at 100 h, to be done by 130 h; done then, the next is due 70 h later, at 200 h."""
    schedule = Schedule(_by_hours("100", early=0, late=30, most=None), conventions(), START, 0)
    day = START.toordinal() + 10
    points = judge(schedule, [Visit("v", day, 13000)], day, 13000, not_done)
    assert points[0].high_hours == 13000
    assert points[0].state == "met"
    assert points[1].hours == 13000 + 7000


def _days(point: DuePoint) -> tuple[date, date, date]:
    assert point.low_day is not None
    assert point.day is not None
    assert point.high_day is not None
    return date.fromordinal(point.low_day), date.fromordinal(point.day), date.fromordinal(point.high_day)
