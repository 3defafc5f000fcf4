"""What must hold of every schedule, whatever its numbers."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.measures.schedule import DuePoint, Schedule, Visit, judge
from schemas.policy.services import ServiceDuty
from tests.rules.measures.duty_building import conventions, duty, not_done

pytestmark = pytest.mark.fast

START = date(2024, 2, 29)
DAY0 = START.toordinal()
LAST_DAY, LAST_HOURS = DAY0 + 1500, 300000
GOOD = ("met", "early")


@st.composite
def duties(draw: st.DrawFn, **fixed: Any) -> ServiceDuty:
    """Draw a duty whose windows do not overlap, with one-off points, recurring ones and a calendar limb as drawn."""
    every = draw(st.integers(100, 600))
    first = draw(st.integers(50, 200))
    one_offs = draw(st.sampled_from([[], [first], [first, first + draw(st.integers(100, 500))]]))
    tolerance = draw(st.integers(0, 20))
    due: dict[str, Any] = {"at_hours": one_offs, "then_every": every}
    window: dict[str, Any] = {"hours": {"early": tolerance, "late": draw(st.integers(0, 20))}}
    if draw(st.booleans()) and fixed.get("by_hours_only") is None:
        holds_from = draw(st.sampled_from(["start_of_term", "last_one_off"] if one_offs else ["start_of_term"]))
        due["calendar"] = {
            "every": draw(st.sampled_from(["6 months", "12 months", "200 days"])),
            "holds_from": holds_from,
            "in_storage": draw(st.sampled_from(["runs", "pauses"])),
        }
        window["calendar"] = {"early": draw(st.integers(0, 40)), "late": draw(st.integers(0, 40))}
    changed = {
        "due": due,
        "window": window,
        "early": draw(st.sampled_from(["counts", "does_not_count"])),
        "next_due_from": draw(st.sampled_from(["due_point", "actual", "due_point_inside_window"])),
    }
    return duty(**changed | {key: value for key, value in fixed.items() if key != "by_hours_only"})


@st.composite
def schedules(draw: st.DrawFn, **fixed: Any) -> Schedule:
    since = draw(st.integers(0, 800))
    storage = draw(st.sampled_from([(), ((DAY0 + since, DAY0 + since + draw(st.integers(1, 400))),)]))
    kept = draw(st.sampled_from(["keep_their_hours", "count_from_actual"]))
    return Schedule(draw(duties(**fixed)), conventions(one_off_points=kept), START, 0, storage)


@st.composite
def histories(draw: st.DrawFn) -> list[Visit]:
    """Draw visits whose hours never fall as the days go on."""
    days = sorted(draw(st.lists(st.integers(0, 1500), max_size=8)))
    hours = sorted(draw(st.lists(st.integers(0, 3000), min_size=len(days), max_size=len(days))))
    return [Visit(f"v{i}", DAY0 + d, h * 100) for i, (d, h) in enumerate(zip(days, hours, strict=True))]


def _judged(schedule: Schedule, visits: Sequence[Visit], hours: int = LAST_HOURS) -> tuple[DuePoint, ...]:
    return judge(schedule, visits, LAST_DAY, hours, not_done)


@given(schedules(), histories(), st.randoms(use_true_random=False))
@settings(max_examples=200, deadline=None)
def test_the_order_of_the_records_plays_no_part(schedule: Schedule, visits: list[Visit], random: Any) -> None:
    shuffled = list(visits)
    random.shuffle(shuffled)
    assert _judged(schedule, visits) == _judged(schedule, shuffled)


@given(schedules(), histories())
@settings(max_examples=200, deadline=None)
def test_numbers_rise_one_by_one_and_only_the_last_point_is_open(schedule: Schedule, visits: list[Visit]) -> None:
    points = _judged(schedule, visits)
    assert [p.number for p in points] == list(range(len(points)))
    assert all(p.state != "open" for p in points[:-1])
    last = points[-1]
    assert last.state != "open" or not last.closed_at(LAST_DAY, LAST_HOURS)


@given(schedules(), histories())
@settings(max_examples=200, deadline=None)
def test_a_visit_answers_at_most_one_point(schedule: Schedule, visits: list[Visit]) -> None:
    answered = [p.record for p in _judged(schedule, visits) if p.state in ("met", "early", "late", "booked")]
    assert len(answered) == len(set(answered))


@given(schedules(), histories())
@settings(max_examples=200, deadline=None)
def test_states_say_where_the_visit_lay(schedule: Schedule, visits: list[Visit]) -> None:
    by_record = {v.record: v for v in visits}
    for point in _judged(schedule, visits):
        visit = by_record.get(point.record or "")
        if point.state == "met":
            assert visit is not None
            assert point.holds(visit)
        elif point.state == "early":
            assert visit is not None
            assert not point.opened_at(visit.day, visit.hours)
            assert schedule.duty.early == "counts"
        elif point.state == "late":
            assert visit is not None
            assert point.closed_at(visit.day, visit.hours)
        elif point.state == "missed":
            assert point.closed_at(LAST_DAY, LAST_HOURS)
            assert not any(point.holds(v) and v.record == point.record for v in visits)
            assert point.cured == any(point.closed_at(v.day, v.hours) for v in visits)


@given(schedules(), st.integers(1, 12))
@settings(max_examples=200, deadline=None)
def test_serving_each_point_when_it_falls_due_never_misses_and_stays_on_the_grid(
    schedule: Schedule, count: int
) -> None:
    """A machine that works 2 h a day, served in the very hour, or on the very day, in which a limb falls due."""
    visits: list[Visit] = []
    for number in range(count):
        day, hours = (visits[-1].day, visits[-1].hours or 0) if visits else (DAY0, 0)
        point = judge(schedule, visits, day, hours, not_done)[-1]
        assert point.state == "open"
        if point.day is None or (point.hours is not None and DAY0 + point.hours // 200 <= point.day):
            assert point.hours is not None
            day, hours = DAY0 + point.hours // 200, point.hours
        else:
            day, hours = point.day, max((point.day - DAY0) * 200, hours)
        visits.append(Visit(f"v{number:02}", day, hours))
    points = judge(schedule, visits, visits[-1].day, visits[-1].hours, not_done)
    assert {p.state for p in points[:-1]} == {"met"}
    if schedule.duty.due.calendar is None:
        assert [p.hours for p in points] == _grid(schedule, len(points))


def _grid(schedule: Schedule, count: int) -> list[int | None]:
    terms = schedule.duty.due
    assert terms.then_every is not None
    found = [int(p.at * 100) for p in terms.at_hours] or [int(terms.then_every * 100)]
    while len(found) < count:
        found.append(found[-1] + int(terms.then_every * 100))
    return list(found[:count])


@given(schedules(next_due_from="due_point", by_hours_only=True), histories(), st.integers(0, 40), st.integers(-20, 20))
@settings(max_examples=300, deadline=None)
def test_on_the_grid_a_service_in_a_window_never_makes_a_point_worse(
    schedule: Schedule, visits: list[Visit], number: int, off: int
) -> None:
    before = _judged(schedule, visits)
    point = before[min(number, len(before) - 1)]
    if point.hours is None or point.low_hours is None or point.high_hours is None:
        return
    hours = min(max(point.hours + off * 100, point.low_hours), point.high_hours)
    # A day that fits: no earlier visit has more hours, no later one fewer.
    days = [v.day for v in visits if (v.hours or 0) <= hours]
    extra = Visit("extra", max(days, default=DAY0), hours)
    after = {p.hours: p for p in _judged(schedule, [*visits, extra])}
    assert after[point.hours].state in GOOD
    for earlier in before:
        now = after[earlier.hours]
        assert earlier.state not in GOOD or now.state in GOOD, (earlier, now)
        assert earlier.state != "late" or now.state != "missed" or now.cured, (earlier, now)


@given(schedules(), histories())
@settings(max_examples=200, deadline=None)
def test_deciding_at_an_earlier_failure_finds_no_breach_that_a_later_one_does_not(
    schedule: Schedule, visits: list[Visit]
) -> None:
    """Points settled by the day of one visit stay as they are when the history goes on."""
    for number, visit in enumerate(visits):
        known = visits[: number + 1]
        early = judge(schedule, known, visit.day, visit.hours, not_done)
        same_day = [v for v in visits[number + 1 :] if v.day == visit.day]
        if same_day:
            continue
        late = _judged(schedule, visits)
        for a, b in zip([p for p in early if p.state in ("met", "early", "late")], late, strict=False):
            found = next(p for p in late if p.record == a.record and p.state == a.state)
            assert (found.hours, found.day) == (a.hours, a.day), b
