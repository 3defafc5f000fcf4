"""What a duty's schedule is calculated from, converted once a policy: intervals and windows in hundredths and days."""

from dataclasses import dataclass, replace
from functools import lru_cache

from schemas.conventions import Conventions
from schemas.policy.services import CalendarLimb, ServiceDuty, Tolerances
from schemas.quantities import Tolerance, centihours

Offsets = tuple[int, int]  # of the bounds of a window from what is due: how far before, how far behind


@dataclass(frozen=True, slots=True)
class Intervals:
    """The intervals of one duty under its policy's conventions.

    ``hour_windows`` holds one for each one-off point and, last, one for the recurring ones; None where the window is a
    share of the due value and so differs from point to point. ``day_window`` is None where it differs from month to
    month.
    """

    duty: ServiceDuty
    conventions: Conventions
    gaps: tuple[int, ...]  # hundredths between each one-off point and the one before it
    every: int | None
    keep_their_hours: int  # how many points, counted from the first, stay where they are whenever a service was done
    on_grid: bool
    inside_window: bool  # the next point counts from the due point where the visit lay inside the window
    hour_windows: tuple[Offsets | None, ...]
    calendar: CalendarLimb | None
    day_window: Offsets | None

    def gap(self, step: int) -> int | None:
        """Return the hours between point in hours number ``step`` and the one before it, None when there is none."""
        return self.gaps[step] if step < len(self.gaps) else self.every

    def hour_window(self, step: int, hours: int) -> tuple[int, int]:
        """Return the bounds of the window of point in hours number ``step``, due at ``hours``."""
        offsets = self.hour_windows[min(step, len(self.gaps))] or _hour_offsets(self.duty, step, hours)
        return hours - offsets[0], hours + offsets[1]

    def day_offsets(self, interval: int) -> Offsets:
        """Return how far the calendar window reaches round a due day, at the end of an interval of so many days."""
        window = self.duty.window.calendar
        assert window is not None, "a policy with a calendar limb states window.calendar"
        return _days_of(window.early, interval, window), _days_of(window.late, interval, window)


def intervals_of(duty: ServiceDuty, conventions: Conventions) -> Intervals:
    """Return the intervals of a duty under these conventions."""
    return _converted(_Pair(duty, conventions))


class _Pair:
    """A duty and its conventions, known again as the same objects: to compare documents would cost more than it saves.

    The cache holds the pair, so no other object can come to have its place in memory.
    """

    __slots__ = ("conventions", "duty")

    def __init__(self, duty: ServiceDuty, conventions: Conventions) -> None:
        self.duty = duty
        self.conventions = conventions

    def __hash__(self) -> int:
        return id(self.duty) ^ id(self.conventions)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Pair) and self.duty is other.duty and self.conventions is other.conventions


@lru_cache(maxsize=1024)
def _converted(pair: _Pair) -> Intervals:
    duty, conventions = pair.duty, pair.conventions
    due, calendar = duty.due, duty.due.calendar
    at = due.one_off_hundredths
    gaps = tuple(hours - before for hours, before in zip(at, [0, *at], strict=False))
    every = due.every_hundredths
    by_interval = conventions.percent_window == "of_interval"
    windows: list[Offsets | None] = []
    for step, base in enumerate((*gaps, every)):
        if base is not None and (by_interval or not _takes_share(duty, step)):
            windows.append(_hour_offsets(duty, step, base))
        else:
            windows.append(None)
    converted = Intervals(
        duty=duty,
        conventions=conventions,
        gaps=gaps,
        every=every,
        keep_their_hours=len(at) if conventions.one_off_points == "keep_their_hours" else 0,
        on_grid=duty.next_due_from == "due_point" or duty.judged == "last_closed_window",
        inside_window=duty.next_due_from == "due_point_inside_window",
        hour_windows=tuple(windows),
        calendar=calendar,
        day_window=None,
    )
    return replace(converted, day_window=_steady_days(converted)) if calendar is not None else converted


def _steady_days(intervals: Intervals) -> Offsets | None:
    """Return the calendar window where every interval has the same number of days, or none plays a part."""
    window, calendar = intervals.duty.window.calendar, intervals.calendar
    assert window is not None, "a policy with a calendar limb states window.calendar"
    assert calendar is not None
    every = calendar.every
    if every.days:
        return intervals.day_offsets(every.days)
    steady = intervals.conventions.calendar_percent == "of_thirty_day_months"
    if steady or (window.early.share is None and window.late.share is None):
        return intervals.day_offsets(every.months * 30)
    return None


def _takes_share(duty: ServiceDuty, step: int) -> bool:
    """Return whether the window of a point is a percentage."""
    own = duty.due.at_hours[step] if step < len(duty.due.at_hours) else None
    if own is not None and own.from_hours is not None and own.until_hours is not None:
        return False
    if own is not None and own.early is not None and own.late is not None:
        return own.early.share is not None or own.late.share is not None
    window = duty.window.hours
    return window is not None and (window.early.share is not None or window.late.share is not None)


def _hour_offsets(duty: ServiceDuty, step: int, base: int) -> Offsets:
    """Return how far the window of point in hours number ``step`` reaches; percentages are of ``base``."""
    own = duty.due.at_hours[step] if step < len(duty.due.at_hours) else None
    if own is not None and own.from_hours is not None and own.until_hours is not None:
        # A one-off that counts from actual takes its hard bounds along.
        return centihours(own.at) - centihours(own.from_hours), centihours(own.until_hours) - centihours(own.at)
    if own is not None and own.early is not None and own.late is not None:
        return _hours_of(own.early, base, None), _hours_of(own.late, base, None)
    window = duty.window.hours
    assert window is not None, "a policy with points in hours states window.hours"
    return _hours_of(window.early, base, window), _hours_of(window.late, base, window)


def _hours_of(tolerance: Tolerance, base: int, window: Tolerances | None) -> int:
    if tolerance.share is None:
        assert tolerance.amount is not None
        return centihours(tolerance.amount)
    taken = base * tolerance.share.numerator // tolerance.share.denominator
    return taken if window is None or window.at_most is None else min(taken, centihours(window.at_most))


def _days_of(tolerance: Tolerance, interval: int, window: Tolerances) -> int:
    if tolerance.share is None:
        assert tolerance.amount is not None
        return int(tolerance.amount)
    taken = interval * tolerance.share.numerator // tolerance.share.denominator
    return taken if window.at_most is None else min(taken, int(window.at_most))
