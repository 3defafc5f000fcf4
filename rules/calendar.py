"""Calendar arithmetic of a term: months are added once from the start, never chained.

Complete months follow the forward rule: the largest n with start + n months on or before the day.
"""

from datetime import date, timedelta
from functools import lru_cache

from dateutil.relativedelta import relativedelta

from schemas.quantities import Span


@lru_cache(maxsize=1024)
def _months(months: int) -> relativedelta:
    return relativedelta(months=months)


@lru_cache(maxsize=65536)
def add_months(start: date, months: int, month_end: str) -> date:
    """Return ``start`` plus whole months; a day that does not exist is clamped, or rolled to the next month's first.

    >>> add_months(date(2024, 2, 29), 12, "clamp_from_start"), add_months(date(2024, 2, 29), 12, "roll_to_next_month")
    (datetime.date(2025, 2, 28), datetime.date(2025, 3, 1))
    """
    moved = start + _months(months)
    if month_end == "roll_to_next_month" and moved.day != start.day:
        return moved + timedelta(days=1)
    return moved


def add_span(start: date, span: Span, month_end: str) -> date:
    """Return ``start`` plus a span of months or days."""
    return add_months(start, span.months, month_end) if span.months else start + timedelta(days=span.days)


def complete_months(start: date, day: date, month_end: str) -> int:
    """Return the largest n with ``start`` + n months on or before ``day`` (negative days count 0)."""
    months = (day.year - start.year) * 12 + day.month - start.month
    if months < 0:
        return 0
    if add_months(start, months, month_end) > day:
        months -= 1
    return max(months, 0)


def begun_months(start: date, day: date, month_end: str) -> int:
    """Return the complete months, plus one when a further month has begun."""
    complete = complete_months(start, day, month_end)
    return complete + (add_months(start, complete, month_end) < day)


def last_covered_day(start: date, months: int, month_end: str, last_day: str) -> date:
    """Return the last day inside a term of months: the anniversary, or the day before it."""
    anniversary = add_months(start, months, month_end)
    return anniversary if last_day == "anniversary" else anniversary - timedelta(days=1)
