"""When services fall due, and what the visits did for each due point, walked one visit at a time.

Hours are hundredths since the schedule began, days ordinals.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

from schemas.conventions import Conventions
from schemas.policy.services import ServiceDuty, Tolerances
from schemas.quantities import Span, Tolerance
from tests.reference.dates import span_on


@dataclass
class Visit:
    record: str
    day: int
    hours: int | None


@dataclass
class Point:
    """A due point: ``step`` counts its hours, ``since`` and ``turn`` its calendar; its window on both limbs."""

    step: int | None = None
    hours: int | None = None
    hours_open: int = 0
    hours_end: int = 0
    since: int | None = None
    turn: int = 0
    day: int = 0
    day_open: int = 0
    day_end: int = 0
    state: str = "open"
    record: str | None = None
    cured: bool = False

    def hours_over(self, hours: int | None) -> bool:
        return self.hours is not None and hours is not None and hours > self.hours_end

    def day_over(self, day: int) -> bool:
        return self.since is not None and day > self.day_end

    def over(self, day: int, hours: int | None) -> bool:
        return self.hours_over(hours) or self.day_over(day)

    def hours_begun(self, hours: int | None) -> bool:
        return self.hours is not None and hours is not None and hours >= self.hours_open

    def day_begun(self, day: int) -> bool:
        return self.since is not None and day >= self.day_open

    def begun(self, day: int, hours: int | None) -> bool:
        return self.hours_begun(hours) or self.day_begun(day)

    def holds(self, visit: Visit) -> bool:
        return self.begun(visit.day, visit.hours) and not self.over(visit.day, visit.hours)


@dataclass
class Plan:
    """One duty with its beginning: makes due points."""

    duty: ServiceDuty
    conventions: Conventions
    start: date
    start_hours: int
    stored: list[tuple[int, int]] = field(default_factory=list)

    @property
    def stays_on_grid(self) -> bool:
        return self.duty.next_due_from == "due_point" or self.duty.judged == "last_closed_window"

    def gap(self, step: int) -> int | None:
        """Return the hours between the point number ``step`` and the one before it."""
        points = self.duty.due.at_hours
        if step < len(points):
            return int((points[step].at - (points[step - 1].at if step else 0)) * 100)
        every = self.duty.due.then_every
        return None if every is None else int(every * 100)

    def keeps_hours(self, step: int) -> bool:
        return self.conventions.one_off_points == "keep_their_hours" and step < len(self.duty.due.at_hours)

    def first(self) -> Point:
        calendar = self.duty.due.calendar
        from_start = calendar is not None and calendar.holds_from == "start_of_term"
        hours = None if self.gap(0) is None else (0, self.gap(0))
        made = self.point(hours, (self.start.toordinal(), 1) if from_start else None)
        assert made is not None
        return made

    def point(self, hours: tuple[int, int | None] | None, calendar: tuple[int, int] | None) -> Point | None:
        """Return the point with these limbs, None where it has neither."""
        made = Point()
        if hours is not None and hours[1] is not None:
            made.step, made.hours = hours
            made.hours_open, made.hours_end = hour_window(self, made.step, made.hours)
        if calendar is not None and self.duty.due.calendar is not None:
            made.since, made.turn = calendar
            made.day_open, made.day, made.day_end = self._days(*calendar)
        return None if made.hours is None and made.since is None else made

    def hours_after(self, point: Point, counted_from: int | None) -> tuple[int, int | None] | None:
        if point.hours is None or point.step is None or counted_from is None:
            return None
        gap = self.gap(point.step + 1)
        return None if gap is None else (point.step + 1, counted_from + gap)

    def _nth(self, since: int, turn: int) -> int:
        assert self.duty.due.calendar is not None
        every = self.duty.due.calendar.every
        if turn == 0:
            return since
        return span_on(
            date.fromordinal(since), Span(every.months * turn, every.days * turn), self.conventions
        ).toordinal()

    def _days(self, since: int, turn: int) -> tuple[int, int, int]:
        calendar, window = self.duty.due.calendar, self.duty.window.calendar
        assert calendar is not None
        assert window is not None
        nominal = self._nth(since, turn)
        if calendar.every.days:
            interval = calendar.every.days
        elif self.conventions.calendar_percent == "of_thirty_day_months":
            interval = 30 * calendar.every.months
        else:
            interval = nominal - self._nth(since, turn - 1)
        early, late = (_taken(t, interval, window, 1) for t in (window.early, window.late))
        if calendar.in_storage == "runs" or not self.stored:
            return nominal - early, nominal, nominal + late
        due = self._forward(since, nominal - since)
        return self._backward(due, early), due, self._forward(due, late)

    def _asleep(self, day: int) -> bool:
        return any(since <= day < until for since, until in self.stored)

    def _forward(self, day: int, awake: int) -> int:
        """Return the day by which ``awake`` days out of storage have gone by, counted day by day."""
        while awake:
            awake -= not self._asleep(day)
            day += 1
        return day

    def _backward(self, day: int, awake: int) -> int:
        while awake:
            day -= 1
            awake -= not self._asleep(day)
        return day


def _taken(tolerance: Tolerance, whole: int, window: Tolerances | None, scale: int) -> int:
    if tolerance.share is None:
        assert tolerance.amount is not None
        return int(tolerance.amount * scale)
    part = int(whole * tolerance.share)
    return part if window is None or window.at_most is None else min(part, int(window.at_most * scale))


def hour_window(plan: Plan, step: int, due: int) -> tuple[int, int]:
    """Return the first and last hundredth inside the window of a point due at ``due``."""
    points = plan.duty.due.at_hours
    base = (plan.gap(step) or 0) if plan.conventions.percent_window == "of_interval" else due
    if step < len(points):
        own = points[step]
        if own.from_hours is not None and own.until_hours is not None:
            moved = due - int(own.at * 100)
            return int(own.from_hours * 100) + moved, int(own.until_hours * 100) + moved
        if own.early is not None and own.late is not None:
            return due - _taken(own.early, base, None, 100), due + _taken(own.late, base, None, 100)
    window = plan.duty.window.hours
    assert window is not None
    return due - _taken(window.early, base, window, 100), due + _taken(window.late, base, window, 100)


def walk(
    plan: Plan, visits: list[Visit], day: int, hours: int | None, absent: Callable[[Point, int], str]
) -> list[Point]:
    """Return the points up to the failure with what became of each; ``absent`` says done, not_done or booked."""
    done: list[Point] = []
    visits = sorted(visits, key=lambda v: (v.day, v.hours or 0, v.record))
    now: Point | None = plan.first()
    for visit in visits:
        now = _one_visit(plan, done, now, visit, absent)
    now, _ = _pass(plan, done, now, day, hours, absent, None)
    for point in done:
        after = [v for v in visits if point.over(v.day, v.hours)]
        if point.state == "missed" and after:
            point.cured, point.record = True, after[0].record
    return done if now is None else [*done, now]


def _pass(
    plan: Plan,
    done: list[Point],
    now: Point | None,
    day: int,
    hours: int | None,
    absent: Callable[[Point, int], str],
    visit: Visit | None,
) -> tuple[Point | None, bool]:
    """Settle every point whose window is over; stop at one that was booked and that this visit answers."""
    while now is not None and now.over(day, hours):
        answer = absent(now, day)
        done.append(now)
        if answer == "booked" and visit is not None:
            return _answered(plan, now, visit, "booked"), True
        now.state = {"done": "assumed", "not_done": "missed", "booked": "booked"}[answer]
        both = now.state != "missed"
        hour_limb: tuple[int, int | None] | None = None if now.step is None else (now.step, now.hours)
        if both or now.hours_over(hours):
            hour_limb = plan.hours_after(now, now.hours)
        calendar = None if now.since is None else (now.since, now.turn + (both or now.day_over(day)))
        now = plan.point(hour_limb, calendar)
    return now, False


def _one_visit(
    plan: Plan, done: list[Point], now: Point | None, visit: Visit, absent: Callable[[Point, int], str]
) -> Point | None:
    before = len(done)
    now, answered = _pass(plan, done, now, visit.day, visit.hours, absent, visit)
    if answered:
        return now
    if len(done) > before and done[-1].state == "missed":
        stays = now is not None and (plan.stays_on_grid or (now.step is not None and plan.keeps_hours(now.step)))
        if not (stays and now is not None and now.holds(visit)):
            return _late(plan, done[-1], now, visit)
    if now is None:
        return None
    if now.holds(visit):
        done.append(now)
        return _answered(plan, now, visit, "met")
    counted_anyhow = plan.duty.next_due_from == "actual" and not plan.stays_on_grid
    spare = bool(done) and done[-1].state == "met" and done[-1].holds(visit) and not counted_anyhow
    if spare and not now.begun(visit.day, visit.hours):
        return now
    if plan.duty.early == "counts":
        done.append(now)
        return _answered(plan, now, visit, "early")
    return now


def _late(plan: Plan, missed: Point, now: Point | None, visit: Visit) -> Point | None:
    """A visit after the window of the point just missed: late for it, unless the one after had already opened."""
    calendar = None if missed.since is None else (missed.since, missed.turn + 1)
    after = plan.point(plan.hours_after(missed, missed.hours), calendar)
    if after is None or not after.begun(visit.day, visit.hours):
        missed.state, missed.record = "late", visit.record
    if plan.stays_on_grid and not _calendar_begins(plan, missed):
        return now
    return _next(plan, missed, visit, early=False)


def _calendar_begins(plan: Plan, point: Point) -> bool:
    step = 0 if point.step is None else point.step
    return plan.duty.due.calendar is not None and point.since is None and step + 1 >= len(plan.duty.due.at_hours)


def _answered(plan: Plan, point: Point, visit: Visit, state: str) -> Point | None:
    point.state, point.record = state, visit.record
    return _next(plan, point, visit, early=state == "early")


def _next(plan: Plan, point: Point, visit: Visit, *, early: bool) -> Point | None:
    """Return the point after one that a visit answered; each limb counts for itself."""
    hour_limb = None if point.step is None else (point.step, point.hours)
    calendar = None if point.since is None else (point.since, point.turn)
    if plan.stays_on_grid:
        if early or visit.hours is None or point.hours_begun(visit.hours):
            hour_limb = plan.hours_after(point, point.hours)
        if calendar is not None and (early or point.day_begun(visit.day)):
            calendar = (calendar[0], calendar[1] + 1)
    else:
        inside = plan.duty.next_due_from == "due_point_inside_window"
        if point.step is not None:
            in_hours = visit.hours is None or (inside and point.hours_open <= visit.hours <= point.hours_end)
            on_place = in_hours or plan.keeps_hours(point.step + 1)
            hour_limb = plan.hours_after(point, point.hours if on_place else visit.hours)
        if calendar is not None:
            kept = inside and point.day_open <= visit.day <= point.day_end
            calendar = (calendar[0], calendar[1] + 1) if kept else (visit.day, 1)
    if _calendar_begins(plan, point):
        calendar = (visit.day, 1)
    return plan.point(hour_limb, calendar)
