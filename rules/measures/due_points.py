"""Due points as a reader is told them, and the services not on file that a remedy supposes at them.

A due point with a limb of hours and one of the calendar is due by whichever comes first. Once it is passed, only the
limbs that had come are told: a day after the failure, or hours never reached, asked nothing of anybody.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Literal

from rules.measures.schedule import DuePoint, Schedule, Visit
from rules.plain import WHICHEVER_FIRST, day_text, hours_text
from schemas.frozen import quickly_made

Place = Literal["early", "due", "late"]  # where in its window a supposed service lies
Sighted = tuple[int, int]  # a day and the machine hours on it
Supposed = tuple[int, int | None]  # the day of a supposed service and its machine hours


@quickly_made
@dataclass(frozen=True, slots=True)
class PassedPoint:
    """A due point whose window had closed without a record by ``day`` and ``hours``: the next visit, or the failure.

    Called, it gives its words.
    """

    point: DuePoint
    schedule: Schedule
    day: int
    hours: int | None

    def __call__(self) -> str:
        return self.words()

    def words(self, *, early: bool = True, late: bool = True) -> str:
        """Return the point with its window; without the part before or after the due value where that is not meant."""
        hours = _hours_limb(self.point, self.schedule, early=early, late=late) if self._hours_came else ""
        days = _calendar_limb(self.point, early=early, late=late) if self._day_came else ""
        return f"{hours} or {days}{WHICHEVER_FIRST}" if hours and days else hours or days

    def supposed(self, sighted: Sequence[Sighted], failed: int, at: Place = "due") -> Supposed:
        """Return a service at the point, by the limb that came first, as the machine ran between what was seen of it.

        It lies before the day of the failure, on which not every maker counts one.
        """
        point, base = self.point, self.schedule.start_hours
        due = _of_window(point.low_hours, point.hours, point.high_hours, at)
        if self._hours_came and due is not None and self.hours is not None:
            due = min(due, self.hours) + base
            day = min(_day_of(sighted, due), failed - 1)
            if not point.days_closed_at(day):
                return day, due
        on = _of_window(point.low_day, point.day, point.high_day, at)
        assert on is not None, "a point is passed by a limb that it has"
        day = min(on, failed - 1)
        if self.hours is None:
            return day, None
        ran = _hours_of(sighted, day)
        return day, ran if point.high_hours is None else min(ran, point.high_hours + base)

    @property
    def _hours_came(self) -> bool:
        return self.point.hours is not None and self.hours is not None and self.hours >= self.point.hours

    @property
    def _day_came(self) -> bool:
        return self.point.day is not None and self.day >= self.point.day


def point_words(point: DuePoint, schedule: Schedule) -> str:
    """Return a due point with its window in machine hours and days, as a reader writes it."""
    limbs = [limb for limb in (_hours_limb(point, schedule), _calendar_limb(point)) if limb]
    return " or ".join(limbs) + (WHICHEVER_FIRST if len(limbs) > 1 else "")


def passed(point: DuePoint, schedule: Schedule, visits: Iterable[Visit], failed: int, hours: int | None) -> PassedPoint:
    """Return a point that no visit met in time, with what it was passed by: a visit in order, else the failure."""
    by = next((v for v in visits if point.closed_at(v.day, v.hours)), None)
    return PassedPoint(point, schedule, failed, hours) if by is None else PassedPoint(point, schedule, by.day, by.hours)


def supposed_key(key: str, service: Supposed) -> str:
    """Return the key under which a remedy supposes a service of ``key`` that is not on file."""
    day, hours = service
    return f"{key}:supposed:{day}:{'' if hours is None else hours}"


def supposed_visits(assumed: Mapping[str, int], key: str, schedule: Schedule) -> Iterator[Visit]:
    """Yield the visits of a duty that a remedy supposes; a schedule that a fitting began takes only later days."""
    begins = f"{key}:supposed:"
    for number, name in enumerate(name for name in assumed if name.startswith(begins)):
        day, _, hours = name.removeprefix(begins).partition(":")
        if not schedule.start_hours or int(day) > schedule.start.toordinal():
            relative = int(hours) - schedule.start_hours if hours else None
            yield Visit(f"supposed {number}", int(day), relative)


def _hours_limb(point: DuePoint, schedule: Schedule, *, early: bool = True, late: bool = True) -> str:
    if point.hours is None or point.low_hours is None or point.high_hours is None:
        return ""
    base, after = schedule.start_hours, ""
    if schedule.begins_open is not None:  # hours at the fitting that are open: told as those after it
        base, after = 0, " after the fitting"
    due = hours_text(point.hours + base)
    low = hours_text((point.low_hours if early else point.hours) + base)
    high = hours_text((point.high_hours if late else point.hours) + base)
    return f"{due} ({low[:-2]}–{high}){after}" if early or late else f"{due}{after}"


def _calendar_limb(point: DuePoint, *, early: bool = True, late: bool = True) -> str:
    if point.day is None or point.low_day is None or point.high_day is None:
        return ""
    due, low, high = (day_text(date.fromordinal(day)) for day in (point.day, point.low_day, point.high_day))
    return f"{due} ({low if early else due} to {high if late else due})" if early or late else due


def _of_window(low: int | None, due: int | None, high: int | None, at: Place) -> int | None:
    return {"early": low, "due": due, "late": high}[at]


def _day_of(sighted: Sequence[Sighted], hours: int) -> int:
    """Return the day on which the machine had run ``hours``, evenly between what was seen of it."""
    for (day, at), (next_day, next_at) in pairwise(sighted):
        if at <= hours <= next_at:
            return day if next_at == at else day + (hours - at) * (next_day - day) // (next_at - at)
    return sighted[-1][0] if hours > sighted[-1][1] else sighted[0][0]


def _hours_of(sighted: Sequence[Sighted], day: int) -> int:
    """Return the machine hours on ``day``, evenly between what was seen."""
    for (before, at), (after, next_at) in pairwise(sighted):
        if before <= day <= after:
            return at if after == before else at + (next_at - at) * (day - before) // (after - before)
    return sighted[-1][1] if day > sighted[-1][0] else sighted[0][1]
