"""Days and months, counted the slow way, on the calendar itself."""

from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from schemas.conventions import Conventions
from schemas.policy.clause import Limit
from schemas.quantities import Span


def months_on(day: date, months: int, conventions: Conventions) -> date:
    """Return the day ``months`` later; one that does not exist is the month's last, or the first of the next month."""
    later = day + relativedelta(months=months)
    if conventions.month_end == "roll_to_next_month" and later.day < day.day:
        return later + timedelta(days=1)
    return later


def span_on(day: date, span: Span, conventions: Conventions) -> date:
    return months_on(day, span.months, conventions) if span.months else day + timedelta(days=span.days)


def whole_months(start: date, day: date, conventions: Conventions) -> int:
    """Return how many whole months lie between, counted one after another from the start; 0 before the start."""
    count = 0
    while months_on(start, count + 1, conventions) <= day:
        count += 1
    return count


def started_months(start: date, day: date, conventions: Conventions) -> int:
    whole = whole_months(start, day, conventions)
    return whole + 1 if months_on(start, whole, conventions) < day else whole


def last_day(limit: Limit, start: date, conventions: Conventions) -> date:
    """Return the last day inside a limit of months or days."""
    if limit.months is None:
        assert limit.days is not None
        return start + timedelta(days=limit.days)
    anniversary = months_on(start, limit.months, conventions)
    return anniversary if conventions.last_covered_day == "anniversary" else anniversary - timedelta(days=1)
