"""A machine that runs evenly through the years: its hours on a day, the day of an hour, and the end of its term.

A year runs from one anniversary of the start to the next; whatever its length in days, it holds the same hours.
Everything is exact: hours are fractions until they are compared.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from rules.calendar import add_months, last_covered_day
from schemas.conventions import Conventions
from schemas.policy.clause import Limit, Limits

MONTHS_A_YEAR = 12
FURTHEST_YEARS = 1000  # further on, days would leave the calendar and mean nothing


@dataclass(frozen=True, slots=True)
class SteadyUse:
    """Hours a year from a start of term on."""

    start: date
    hours_a_year: Fraction
    month_end: str

    def hours_on(self, day: date) -> Fraction:
        """Return the hours run by the beginning of ``day``, which is not before the start."""
        years = day.year - self.start.year
        if self._anniversary(years) > day:
            years -= 1
        since, until = self._anniversary(years), self._anniversary(years + 1)
        return self.hours_a_year * (years + Fraction((day - since).days, (until - since).days))

    def day_of(self, hours: Fraction) -> date:
        """Return the first day by whose beginning ``hours`` have been run, at most a thousand years on."""
        years, rest = divmod(min(hours / self.hours_a_year, Fraction(FURTHEST_YEARS)), 1)
        since, until = self._anniversary(int(years)), self._anniversary(int(years) + 1)
        days = rest * (until - since).days
        return since + timedelta(days=-(-days.numerator // days.denominator))

    def _anniversary(self, years: int) -> date:
        return add_months(self.start, years * MONTHS_A_YEAR, self.month_end)


@dataclass(frozen=True, slots=True)
class Period:
    """A term of a machine that starts on a day with no hours on it, under a set of conventions."""

    limits: Limits
    start: date
    conventions: Conventions

    def holds(self, day: date, hours: Fraction) -> bool:
        """Return whether a day and the hours then run lie inside; wear is taken to be none."""
        inside = [self._inside(limit, day, hours) for limit in self.limits.all]
        return all(inside) if self.limits.first_of is not None else any(inside)

    def _inside(self, limit: Limit, day: date, hours: Fraction) -> bool:
        cap = limit.hours
        if cap is not None:
            return hours <= cap if self.conventions.hours_at_cap == "covered" else hours < cap
        if limit.months is not None:
            conventions = self.conventions
            return day <= last_covered_day(
                self.start, limit.months, conventions.month_end, conventions.last_covered_day
            )
        return limit.days is None or day <= self.start + timedelta(days=limit.days)
