"""Due points of a service duty and what the visits on file did for each.

Two ways of counting, by the policy's ``next_due_from``:

- on the grid (``due_point``): every window is fixed; a visit meets the point whose window holds it.
- one after another (``actual``, ``due_point_inside_window``): a visit answers the oldest open point. On each limb
  (hours, calendar) the next point counts from the due point where that limb's window held the visit and the policy
  says so, otherwise from the visit.

Both bounds of a window lie inside it. A window opens when either limb reaches its early bound and closes when either
limb passes its late bound. Hours are hundredths since the schedule's own beginning; days are proleptic ordinals.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Literal

from rules.calendar import add_span
from schemas.conventions import Conventions
from schemas.policy.services import ServiceDuty, Tolerances
from schemas.quantities import Tolerance, centihours

State = Literal["open", "met", "early", "late", "missed", "booked", "assumed"]


@dataclass(frozen=True, slots=True)
class Visit:
    """A record that carries the duty's tasks and is good enough to meet it."""

    record: str
    day: int
    hours: int | None


@dataclass(frozen=True, slots=True)
class DuePoint:
    """One due point with its window on each limb (None where the limb plays no part)."""

    number: int  # 0 for the first
    hours: int | None
    low_hours: int | None
    high_hours: int | None
    day: int | None
    low_day: int | None
    high_day: int | None
    state: State = "open"
    record: str | None = None
    cured: bool = False

    def closed_at(self, day: int, hours: int | None) -> bool:
        return (self.high_hours is not None and hours is not None and hours > self.high_hours) or (
            self.high_day is not None and day > self.high_day
        )

    def opened_at(self, day: int, hours: int | None) -> bool:
        return (self.low_hours is not None and hours is not None and hours >= self.low_hours) or (
            self.low_day is not None and day >= self.low_day
        )

    def holds(self, visit: Visit) -> bool:
        return self.opened_at(visit.day, visit.hours) and not self.closed_at(visit.day, visit.hours)


@dataclass(frozen=True, slots=True)
class Schedule:
    """A duty's due points for one beginning (start of term, or fitting of a later component)."""

    duty: ServiceDuty
    conventions: Conventions
    start: date
    start_hours: int
    storage: tuple[tuple[int, int], ...] = ()

    def first(self) -> DuePoint:
        due = self.duty.due
        hours = self._first_hours()
        day = None
        if due.calendar is not None and due.calendar.holds_from == "start_of_term":
            day = self._later(self.start.toordinal())
        return self._point(0, hours, 0, day)

    def next_on_grid(self, point: DuePoint) -> DuePoint | None:
        """Return the point after ``point``, both limbs on their grids."""
        return self.next_from(point, point.hours, point.day)

    def calendar_begins_after(self, point: DuePoint) -> bool:
        """Return whether the calendar limb starts with the visit that answers ``point``, the last one-off."""
        return (
            self.duty.due.calendar is not None and point.day is None and point.number + 1 >= len(self.duty.due.at_hours)
        )

    def next_from(self, point: DuePoint, hours: int | None, day: int | None) -> DuePoint | None:
        """Return the point after ``point``, counted from ``hours`` and ``day`` (each limb's grid or actual)."""
        number = point.number + 1
        gap = self._gap(number)
        next_hours = None if hours is None or gap is None else hours + gap
        next_day = None if self.duty.due.calendar is None or day is None else self._later(day)
        if next_hours is None and next_day is None:
            return None
        return self._point(number, next_hours, gap or 0, next_day)

    def _first_hours(self) -> int | None:
        due = self.duty.due
        if due.at_hours:
            return centihours(due.at_hours[0].at)
        return None if due.then_every is None else centihours(due.then_every)

    def _gap(self, number: int) -> int | None:
        """Return the hours between point ``number`` and the one before it, None when none follows."""
        one_offs = self.duty.due.at_hours
        if number < len(one_offs):
            return centihours(one_offs[number].at - one_offs[number - 1].at)
        return None if self.duty.due.then_every is None else centihours(self.duty.due.then_every)

    def _later(self, day: int) -> int:
        """Return the day one calendar interval after ``day``, storage days added where the limb pauses."""
        assert self.duty.due.calendar is not None
        due = add_span(date.fromordinal(day), self.duty.due.calendar.every, self.conventions.month_end).toordinal()
        if self.duty.due.calendar.in_storage == "pauses":
            for since, until in self.storage:
                if since <= due and until >= day:
                    due += min(until, due) - max(since, day) if until <= due else until - max(since, day)
        return due

    def _point(self, number: int, hours: int | None, gap: int, day: int | None) -> DuePoint:
        low_hours = high_hours = low_day = high_day = None
        if hours is not None:
            low_hours, high_hours = self._hour_window(number, hours, gap)
        if day is not None:
            low_day, high_day = self._day_window(day)
        return DuePoint(number, hours, low_hours, high_hours, day, low_day, high_day)

    def _hour_window(self, number: int, hours: int, gap: int) -> tuple[int, int]:
        one_offs = self.duty.due.at_hours
        own = one_offs[number] if number < len(one_offs) else None
        if own is not None and own.from_hours is not None and own.until_hours is not None:
            moved = hours - centihours(own.at)
            return centihours(own.from_hours) + moved, centihours(own.until_hours) + moved
        interval = hours if number == 0 else gap
        base = interval if self.conventions.percent_window == "of_interval" else hours
        window = self.duty.window.hours
        if own is not None and own.early is not None and own.late is not None:
            return hours - _hours_of(own.early, base, None), hours + _hours_of(own.late, base, None)
        assert window is not None, "a policy with points in hours states window.hours"
        return hours - _hours_of(window.early, base, window), hours + _hours_of(window.late, base, window)

    def _day_window(self, day: int) -> tuple[int, int]:
        window, calendar = self.duty.window.calendar, self.duty.due.calendar
        assert window is not None and calendar is not None, "a policy with a calendar limb states window.calendar"
        every = calendar.every
        if self.conventions.calendar_percent == "of_thirty_day_months" or every.days:
            interval = every.days or every.months * 30
        else:
            interval = add_span(date.fromordinal(day), every, self.conventions.month_end).toordinal() - day
        return day - _days_of(window.early, interval, window), day + _days_of(window.late, interval, window)


def _hours_of(tolerance: Tolerance, base: int, window: Tolerances | None) -> int:
    if tolerance.share is None:
        assert tolerance.amount is not None
        return centihours(tolerance.amount)
    taken = int(base * tolerance.share)
    return taken if window is None or window.at_most is None else min(taken, centihours(window.at_most))


def _days_of(tolerance: Tolerance, interval: int, window: Tolerances) -> int:
    if tolerance.share is None:
        assert tolerance.amount is not None
        return int(tolerance.amount)
    taken = int(Fraction(interval) * tolerance.share)
    return taken if window.at_most is None else min(taken, int(window.at_most))


Absent = Callable[[DuePoint], Literal["done", "not_done", "booked"]]


def judge(
    schedule: Schedule, visits: Sequence[Visit], day: int, hours: int | None, absent: Absent
) -> tuple[DuePoint, ...]:
    """Return the due points up to ``day`` and ``hours`` (the failure) with their states, the open one last.

    ``absent`` answers for a point whose window closed without a visit in it: done all the same (not on file), booked
    in time, or not done.
    """
    on_grid = schedule.duty.next_due_from == "due_point" or schedule.duty.judged == "last_closed_window"
    if on_grid:
        return _judge_on_grid(schedule, visits, day, hours, absent)
    return _judge_in_sequence(schedule, visits, day, hours, absent)


def _judge_on_grid(
    schedule: Schedule, visits: Sequence[Visit], day: int, hours: int | None, absent: Absent
) -> tuple[DuePoint, ...]:
    left = list(visits)
    points: list[DuePoint] = []
    point: DuePoint | None = schedule.first()
    while point is not None:
        inside = next((v for v in left if point.holds(v)), None)
        if inside is None and schedule.duty.early == "counts":
            inside = next((v for v in left if not point.opened_at(v.day, v.hours)), None)
        if inside is not None:
            state: State = "met" if point.holds(inside) else "early"
            points.append(replace(point, state=state, record=inside.record))
            left = [v for v in left if v.day > inside.day or (v.day == inside.day and v.record > inside.record)]
        elif point.closed_at(day, hours):
            points.append(_absent_point(point, absent))
        else:
            points.append(point)
            break
        starts_calendar = inside is not None and schedule.calendar_begins_after(point)
        point = schedule.next_from(point, point.hours, inside.day if starts_calendar and inside else point.day)
    return _cured(tuple(points), visits)


def _judge_in_sequence(
    schedule: Schedule, visits: Sequence[Visit], day: int, hours: int | None, absent: Absent
) -> tuple[DuePoint, ...]:
    points: list[DuePoint] = []
    point: DuePoint | None = schedule.first()
    for visit in visits:
        if point is None:
            break
        point = _up_to(schedule, point, visit, points, absent)
        if point is None:
            break
        if (
            points
            and points[-1].state in ("met", "early", "late")
            and points[-1].holds(visit)
            and not point.opened_at(visit.day, visit.hours)
        ):
            continue  # a second visit inside a window that is already met is spare and moves nothing
        if point.holds(visit):
            state: State = "met"
        elif point.closed_at(visit.day, visit.hours):
            state = "late"
        elif schedule.duty.early == "counts":
            state = "early"
        else:
            continue
        points.append(replace(point, state=state, record=visit.record))
        point = _after(schedule, point, visit)
    while point is not None and point.closed_at(day, hours):
        points.append(_absent_point(point, absent))
        point = schedule.next_on_grid(point)
    if point is not None:
        points.append(point)
    return _cured(tuple(points), visits)


def _up_to(
    schedule: Schedule, point: DuePoint, visit: Visit, points: list[DuePoint], absent: Absent
) -> DuePoint | None:
    """Pass the points that ``visit`` cannot answer: those done though not on file, and one-offs before its own window."""
    current: DuePoint | None = point
    while current is not None and current.closed_at(visit.day, visit.hours):
        following = schedule.next_on_grid(current)
        own_later = _one_off_that_holds(schedule, following, visit)
        judged = _absent_point(current, absent)
        if judged.state in ("assumed", "booked") or own_later:
            points.append(judged)
            current = following
        else:
            # Points after this one whose windows had closed as well were missed too; the visit answers the oldest.
            later = following
            while later is not None and later.closed_at(visit.day, visit.hours):
                passed = _absent_point(later, absent)
                points.append(passed)
                later = schedule.next_on_grid(later)
            points.sort(key=lambda p: p.number)
            return current
    return current


def _one_off_that_holds(schedule: Schedule, point: DuePoint | None, visit: Visit) -> bool:
    if schedule.conventions.one_off_points == "count_from_actual":
        return False
    one_offs = len(schedule.duty.due.at_hours)
    while point is not None and point.number < one_offs:
        if point.holds(visit):
            return True
        point = schedule.next_on_grid(point)
    return False


def _after(schedule: Schedule, point: DuePoint, visit: Visit) -> DuePoint | None:
    """Return the next point after ``visit`` answered ``point``, each limb counted on its own."""
    keeps_due = schedule.duty.next_due_from == "due_point_inside_window"
    hours, day = point.hours, point.day
    fixed_one_off = schedule.conventions.one_off_points == "keep_their_hours" and point.number + 1 < len(
        schedule.duty.due.at_hours
    )
    if hours is not None and visit.hours is not None and not fixed_one_off:
        assert point.low_hours is not None and point.high_hours is not None
        if not (keeps_due and point.low_hours <= visit.hours <= point.high_hours):
            hours = visit.hours
    if day is not None:
        assert point.low_day is not None and point.high_day is not None
        if not (keeps_due and point.low_day <= visit.day <= point.high_day):
            day = visit.day
    elif schedule.calendar_begins_after(point):
        day = visit.day
    return schedule.next_from(point, hours, day)


def _absent_point(point: DuePoint, absent: Absent) -> DuePoint:
    answer = absent(point)
    if answer == "done":
        return replace(point, state="assumed")
    return replace(point, state="booked" if answer == "booked" else "missed")


def _cured(points: tuple[DuePoint, ...], visits: Sequence[Visit]) -> tuple[DuePoint, ...]:
    """Mark missed points that a later visit cured (whether a cure counts is the policy's to say)."""
    if not any(p.state == "missed" for p in points):
        return points
    marked = []
    for point in points:
        if point.state == "missed":
            cure = next((v for v in visits if point.closed_at(v.day, v.hours)), None)
            if cure is not None:
                point = replace(point, record=cure.record, cured=True)
        marked.append(point)
    return tuple(marked)
