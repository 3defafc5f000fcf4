"""Due points of a service duty, and what the visits on file did for each.

**Due points.** One-off points come first, then one every ``then_every`` hours; a calendar limb runs beside them. Both
limbs count from the schedule's own beginning (start of term, or the fitting of a later component). A window holds both
of its bounds; it opens when either limb reaches its early bound and closes when either limb passes its late bound. A
percentage is taken of the hours (or days) between the due point and the one before it, or of the due value; a fraction
of a hundredth of an hour, or of a day, is dropped. Calendar points are counted once from their anchor (31 August plus
twice six months is 31 August), never chained.

**Visits** are taken in order of day, hours and record. At each visit the points whose windows had closed before it are
passed (missed, done though not on file, or booked); then the visit answers at most one point:

1. a point that a dealer's backlog held open (booked): the visit answers it;
2. else the last point passed as missed: the visit is *late* for it (still called *missed* once the window of the point
   after it on the grid had opened), and points missed before it stay missed; but a visit that lies in the window of the
   next point meets that one instead where points stay in their place: on the grid, and a one-off point that keeps its
   hours;
3. else the open point, when its window holds the visit: *met*;
4. else, the window not yet open: a second visit inside a window just met is spare and moves nothing (under ``actual``
   there is no window to keep: the visit counts as any other); otherwise it is *early* where early services count, and
   moves nothing where they do not.

**The next point**, each limb on its own:

- on the grid (``due_point``; also whenever only the last closed window is judged): a limb whose window had opened at
  the visit moves one interval on, a limb not yet opened stays; an early visit moves both.
- ``due_point_inside_window``: a limb whose window held the visit counts from its due point, the other from the visit.
- ``actual``: both count from the visit.
- a one-off point that keeps its hours is not moved by the visit before it (``one_off_points``).
- after a missed point a limb whose window had closed moves one interval on, the other stays; after a point done though
  not on file, or booked, both move on.
- a calendar limb from the last one-off begins with the visit that answers that point (or a later one).

Hours are hundredths since the schedule's beginning; days are proleptic ordinals.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from rules.calendar import add_months
from rules.history.sightings import HoursBounds
from rules.measures.intervals import Intervals, intervals_of
from rules.measures.pauses import merged, running_after, running_before
from schemas.conventions import Conventions
from schemas.frozen import quickly_made
from schemas.policy.services import CalendarLimb, ServiceDuty

State = Literal["open", "met", "early", "late", "missed", "booked", "assumed"]


@quickly_made
@dataclass(frozen=True, slots=True)
class Visit:
    """A record that carries the duty's tasks and is good enough to meet it; ``hours`` None: no hour meter."""

    record: str
    day: int
    hours: int | None


@quickly_made
@dataclass(frozen=True, slots=True)
class DuePoint:
    """One due point with its window on each limb (None where the limb plays no part).

    ``step`` is the place of its hours among the points in hours, ``turns`` the calendar intervals since ``anchor``.
    """

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
    step: int = 0
    anchor: int = 0
    turns: int = 0

    def hours_closed_at(self, hours: int | None) -> bool:
        return self.high_hours is not None and hours is not None and hours > self.high_hours

    def days_closed_at(self, day: int) -> bool:
        return self.high_day is not None and day > self.high_day

    def closed_at(self, day: int, hours: int | None) -> bool:
        high_hours, high_day = self.high_hours, self.high_day
        if high_hours is not None and hours is not None and hours > high_hours:
            return True
        return high_day is not None and day > high_day

    def opened_at(self, day: int, hours: int | None) -> bool:
        return (self.low_hours is not None and hours is not None and hours >= self.low_hours) or (
            self.low_day is not None and day >= self.low_day
        )

    def settled(self, state: State, record: str | None = None, *, cured: bool = False) -> "DuePoint":
        """Return the point with what became of it (built outright: ``dataclasses.replace`` is slow, this is not)."""
        return DuePoint(
            self.number,
            self.hours,
            self.low_hours,
            self.high_hours,
            self.day,
            self.low_day,
            self.high_day,
            state,
            record,
            cured,
            self.step,
            self.anchor,
            self.turns,
        )

    def holds(self, visit: Visit) -> bool:
        return self.opened_at(visit.day, visit.hours) and not self.closed_at(visit.day, visit.hours)


HoursLimb = tuple[int, int]  # step, due hours
CalendarPlace = tuple[int, int]  # anchor, turns


@dataclass(frozen=True, slots=True)
class Schedule:
    """A duty's due points for one beginning; ``storage``: recorded periods, first day and first running day again.

    ``begins_open``: where the machine hours of the beginning are not known, what they may be; ``start_hours`` is then
    one of these values.
    """

    duty: ServiceDuty
    conventions: Conventions
    start: date
    start_hours: int
    storage: tuple[tuple[int, int], ...] = ()
    begins_open: HoursBounds | None = None
    own: Intervals = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "own", intervals_of(self.duty, self.conventions))

    @property
    def on_grid(self) -> bool:
        return self.own.on_grid

    def first(self) -> DuePoint:
        """Return the first due point; the schema refuses a duty of which nothing falls due."""
        hours, calendar = self.own.gap(0), self.own.calendar
        from_start = calendar is not None and calendar.holds_from == "start_of_term"
        place = (self.start.toordinal(), 1) if from_start else None
        return self._point(0, None if hours is None else (0, hours), place)

    def next_on_grid(self, point: DuePoint) -> DuePoint | None:
        """Return the point after ``point``, both limbs one interval on from where they were due."""
        return self._follow(point, self._hours_on(point, point.hours), _turned(point))

    def next_from(self, point: DuePoint, hours: int | None, day: int | None) -> DuePoint | None:
        """Return the point after ``point``, one interval on from ``hours`` and ``day`` (None: without that limb)."""
        return self._follow(point, self._hours_on(point, hours), None if day is None else (day, 1))

    def after_missed(self, point: DuePoint, day: int, hours: int | None) -> DuePoint | None:
        """Return the point after one missed by ``day`` and ``hours``: the limbs whose windows had closed move on."""
        hours_limb, place = _hours_place(point), _calendar_place(point)
        if point.hours_closed_at(hours):
            hours_limb = self._hours_on(point, point.hours)
        if point.days_closed_at(day):
            place = _turned(point)
        return self._follow(point, hours_limb, place)

    def after_visit(self, point: DuePoint, visit: Visit, *, early: bool) -> DuePoint | None:
        """Return the point after one that ``visit`` answered, each limb on its own."""
        if self.own.on_grid:
            hours_limb, place = _hours_place(point), _calendar_place(point)
            if early or visit.hours is None or (point.low_hours is not None and visit.hours >= point.low_hours):
                hours_limb = self._hours_on(point, point.hours)
            if early or (point.low_day is not None and visit.day >= point.low_day):
                place = _turned(point)
        else:
            keeps = self.own.inside_window
            hours_kept = visit.hours is None or point.step + 1 < self.own.keep_their_hours
            if keeps and point.low_hours is not None and point.high_hours is not None and visit.hours is not None:
                hours_kept = hours_kept or point.low_hours <= visit.hours <= point.high_hours
            hours_limb = None
            if point.hours is not None:
                hours_limb = self._hours_on(point, point.hours if hours_kept else visit.hours)
            place = None
            if point.low_day is not None and point.high_day is not None:
                inside = keeps and point.low_day <= visit.day <= point.high_day
                place = _turned(point) if inside else (visit.day, 1)
        if self.begins_calendar(point):
            place = (visit.day, 1)
        return self._follow(point, hours_limb, place)

    def begins_calendar(self, point: DuePoint) -> bool:
        """Return whether the calendar limb begins with the visit that answers ``point``: the last one-off, or later."""
        return self.own.calendar is not None and point.day is None and point.step + 1 >= len(self.own.gaps)

    def keeps_place(self, point: DuePoint) -> bool:
        """Return whether ``point`` can be met in its place although the one before it was missed."""
        return self.own.on_grid or (point.hours is not None and point.step < self.own.keep_their_hours)

    def _hours_on(self, point: DuePoint, hours: int | None) -> HoursLimb | None:
        if point.hours is None or hours is None:
            return None
        step = point.step + 1
        gap = self.own.gap(step)
        return None if gap is None else (step, hours + gap)

    def _follow(self, point: DuePoint, hours_limb: HoursLimb | None, place: CalendarPlace | None) -> DuePoint | None:
        if self.own.calendar is None:
            place = None
        return None if hours_limb is None and place is None else self._point(point.number + 1, hours_limb, place)

    def _point(self, number: int, hours_limb: HoursLimb | None, place: CalendarPlace | None) -> DuePoint:
        step, hours = hours_limb if hours_limb is not None else (0, None)
        anchor, turns = place if place is not None else (0, 0)
        low_hours = high_hours = day = low_day = high_day = None
        if hours is not None:
            low_hours, high_hours = self.own.hour_window(step, hours)
        if place is not None:
            low_day, day, high_day = self._days(anchor, turns)
        return DuePoint(
            number, hours, low_hours, high_hours, day, low_day, high_day, step=step, anchor=anchor, turns=turns
        )

    def _days(self, anchor: int, turns: int) -> tuple[int, int, int]:
        """Return early bound, due day and late bound of the calendar limb."""
        own, calendar = self.own, self.own.calendar
        assert calendar is not None
        nominal = self._counted(anchor, turns, calendar)
        offsets = own.day_window or own.day_offsets(nominal - self._counted(anchor, turns - 1, calendar))
        early, late = offsets
        if not self.storage or calendar.in_storage != "pauses":
            return nominal - early, nominal, nominal + late
        pauses = merged(self.storage)
        day = running_after(anchor, nominal - anchor, pauses)
        return running_before(day, early, pauses), day, running_after(day, late, pauses)

    def _counted(self, anchor: int, turns: int, calendar: CalendarLimb) -> int:
        every = calendar.every
        if not turns or not every.months:
            return anchor + every.days * turns
        return add_months(date.fromordinal(anchor), every.months * turns, self.conventions.month_end).toordinal()


def _hours_place(point: DuePoint) -> HoursLimb | None:
    return None if point.hours is None else (point.step, point.hours)


def _calendar_place(point: DuePoint) -> CalendarPlace | None:
    return None if point.day is None else (point.anchor, point.turns)


def _turned(point: DuePoint) -> CalendarPlace | None:
    return None if point.day is None else (point.anchor, point.turns + 1)


Absence = Literal["done", "not_done", "booked"]
Absent = Callable[[DuePoint, int, int | None], Absence]
PASSED: dict[Absence, State] = {"done": "assumed", "not_done": "missed", "booked": "booked"}


def judge(
    schedule: Schedule, visits: Iterable[Visit], day: int, hours: int | None, absent: Absent
) -> tuple[DuePoint, ...]:
    """Return the due points up to ``day`` and ``hours`` (the failure) with their states, an open one last.

    ``visits`` lie on or before the failure, in any order. ``absent`` answers for a point whose window had closed by a
    day and hours without a visit in it: done though not on file, not done, or held open by a dealer's backlog then.
    """
    walk = Walk(schedule, absent)
    in_order = sorted(visits, key=lambda v: (v.day, v.hours or 0, v.record))
    for visit in in_order:
        walk.take(visit)
    walk.pass_closed(day, hours)
    points = walk.points if walk.point is None else [*walk.points, walk.point]
    return tuple(_cured(point, in_order) for point in points)


class Walk:
    """The points settled so far and the one now open, on the way from visit to visit."""

    def __init__(self, schedule: Schedule, absent: Absent) -> None:
        self.schedule = schedule
        self.absent = absent
        self.points: list[DuePoint] = []
        self.point: DuePoint | None = schedule.first()

    def take(self, visit: Visit) -> None:
        before = len(self.points)
        if self.pass_closed(visit.day, visit.hours, visit):
            return
        self.meet(visit, self.points[-1] if len(self.points) > before else None)

    def meet(self, visit: Visit, passed: DuePoint | None) -> None:
        """Let a visit answer a point once all that had closed is passed; ``passed`` is the last one passed for it."""
        point = self.point
        if passed is not None and passed.state == "missed":
            in_place = point is not None and self.schedule.keeps_place(point) and point.holds(visit)
            if not in_place:
                following = self.schedule.next_on_grid(passed)
                if following is None or not following.opened_at(visit.day, visit.hours):
                    self.points[-1] = passed.settled("late", visit.record)
                if not self.schedule.on_grid or self.schedule.begins_calendar(passed):
                    self.point = self._after_late(passed, visit)
                return
        if point is None or self._is_spare(point, visit):
            return
        if point.holds(visit):
            self._answer(point, "met", visit)
        elif self.schedule.duty.early == "counts":
            self._answer(point, "early", visit)

    def pass_closed(self, day: int, hours: int | None, visit: Visit | None = None) -> bool:
        """Pass every point whose window had closed; return whether ``visit`` answered one that was booked."""
        while self.point is not None and self.point.closed_at(day, hours):
            point = self.point
            state = PASSED[self.absent(point, day, hours)]
            if state == "booked" and visit is not None:
                self._answer(point, "booked", visit)
                return True
            self.points.append(point.settled(state))
            if state == "missed":
                self.point = self.schedule.after_missed(point, day, hours)
            else:
                self.point = self.schedule.next_on_grid(point)
        return False

    def _answer(self, point: DuePoint, state: State, visit: Visit) -> None:
        self.points.append(point.settled(state, visit.record))
        self.point = self.schedule.after_visit(point, visit, early=state == "early")

    def _after_late(self, passed: DuePoint, visit: Visit) -> DuePoint | None:
        return self.schedule.after_visit(passed, visit, early=False)

    def _is_spare(self, point: DuePoint, visit: Visit) -> bool:
        if self.schedule.duty.next_due_from == "actual" and not self.schedule.on_grid:
            return False
        last = self.points[-1] if self.points else None
        return (
            last is not None
            and last.state == "met"
            and last.holds(visit)
            and not point.opened_at(visit.day, visit.hours)
        )


def _cured(point: DuePoint, visits: Sequence[Visit]) -> DuePoint:
    """Mark a missed point that a later visit cured (whether a cure counts is the policy's to say)."""
    if point.state != "missed":
        return point
    cure = next((v for v in visits if point.closed_at(v.day, v.hours)), None)
    return point if cure is None else point.settled(point.state, cure.record, cured=True)
