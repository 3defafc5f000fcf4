"""Hours that a record states and other records cannot agree with, worked again from plain rows."""

from datetime import date

from schemas.machine import FittedComponent

Row = tuple[date, int, int, str]  # day, hours at least, hours at most, record


def clash(day: date, hours: int, row: Row, a_day: int) -> bool:
    """Return whether ``hours`` on ``day`` cannot be, beside what a row says of its own day."""
    on, low, high, _ = row
    run = a_day * (abs((on - day).days) + 1)
    if on > day:
        return hours > high or hours < low - run
    if on < day:
        return hours < low or hours > high + run
    return not low - run <= hours <= high + run


def stated(fitted: FittedComponent) -> tuple[date, int]:
    """Return the day of a fitting and the hours that its record states."""
    assert fitted.fitted_on is not None
    assert fitted.fitted_at is not None
    return fitted.fitted_on, int(fitted.fitted_at * 100)


def either(fitted: FittedComponent, rows: list[Row], at_failure: int, a_day: int) -> tuple[int, int]:
    """Return the bounds of hours that clash with others: what their record says, and what the others leave."""
    day, hours = stated(fitted)
    hours = min(hours, at_failure)
    low = max((most for on, _, most, record in rows if on < day or not record), default=0)
    highs = [most + a_day * ((day - on).days + 1) for on, _, most, record in rows if on < day or not record]
    highs += [most for on, _, most, _ in rows if on > day]
    return min(low, hours), max(low, hours, min([*highs, at_failure]))


def doubted(rows: list[Row], first: int, a_day: int) -> dict[int, list[int]]:
    """Return by its number each row from ``first`` on that others clash with, with the numbers of those."""
    found: dict[int, list[int]] = {}
    for n, (day, hours, _, _) in enumerate(rows):
        against = [m for m, row in enumerate(rows) if m != n and clash(day, hours, row, a_day)]
        if n >= first and against:
            found[n] = against
    return found
