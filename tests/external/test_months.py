"""Months of a term against published rules and other libraries.

Sources beside each table. Values of libraries were taken with python-dateutil 4.0.0, duckdb 2.0.1 and elementpath 5;
the last two run here as oracles.
"""

from datetime import date, timedelta
from typing import Any

import duckdb
import elementpath
import pytest

from rules.calendar import add_months, add_span, begun_months, complete_months, last_covered_day
from schemas.quantities import Span, parse_span

pytestmark = pytest.mark.fast

CLAMP, ROLL = "clamp_from_start", "roll_to_next_month"


def day(text: str) -> date:
    return date.fromisoformat(text)


# Forward addition, libraries side by side: the third column is the clamping rule of dateutil, duckdb, elementpath and
# others; the fourth is the overflowing addition of numpy's datetime64[M] plus a day, which counts the days that are
# missing on into the next month. A policy that rolls means the first day of the next month, which is the same only
# where one day is missing.
FORWARD = [
    ("2024-01-31", 1, "2024-02-29", "2024-03-02"),
    ("2023-01-31", 1, "2023-02-28", "2023-03-03"),
    ("2024-02-29", 12, "2025-02-28", "2025-03-01"),
    ("2024-02-29", 36, "2027-02-28", "2027-03-01"),
    ("2024-02-29", 48, "2028-02-29", "2028-02-29"),
    ("2023-08-31", 6, "2024-02-29", "2024-03-02"),
    ("2023-11-30", 3, "2024-02-29", "2024-03-01"),
    ("2022-12-31", 2, "2023-02-28", "2023-03-03"),
    ("2024-03-31", -1, "2024-02-29", "2024-03-02"),
    ("2021-02-28", 36, "2024-02-28", "2024-02-28"),
    ("2023-05-31", 25, "2025-06-30", "2025-07-01"),
]


@pytest.mark.parametrize(("start", "months", "clamped", "overflowed"), FORWARD)
def test_months_are_added_once_and_clamped(start: str, months: int, clamped: str, overflowed: str) -> None:
    assert add_months(day(start), months, CLAMP) == day(clamped)
    rolled = add_months(day(start), months, ROLL)
    if clamped == overflowed:
        assert rolled == day(clamped)
    else:
        assert rolled == day(clamped) + timedelta(days=1)
        assert rolled.day == 1
        assert rolled <= day(overflowed)


@pytest.mark.parametrize(("start", "months", "clamped", "overflowed"), FORWARD)
def test_duckdb_and_elementpath_clamp_alike(start: str, months: int, clamped: str, overflowed: str) -> None:
    del overflowed
    assert duckdb.execute(f"SELECT (DATE '{start}' + INTERVAL ({months}) MONTH)::DATE").fetchone() == (day(clamped),)
    sign = "-" if months < 0 else ""
    xpath = f"string(xs:date('{start}') + xs:yearMonthDuration('{sign}P{abs(months)}M'))"
    assert elementpath.select(None, xpath, parser=elementpath.XPath2Parser, item=1) == clamped


# java.time.LocalDate.plusMonths and minusMonths: 2007-03-31 and a month either way, from its documentation; the other
# pairs as printed for the same rule (add, check, clamp), and for NodaTime's.
PRINTED = [
    ("2007-03-31", 1, "2007-04-30"),
    ("2007-03-31", -1, "2007-02-28"),
    ("2011-01-30", 1, "2011-02-28"),
    ("2011-03-30", -1, "2011-02-28"),
    ("2012-01-31", 1, "2012-02-29"),
    ("2013-10-31", 4, "2014-02-28"),
    ("2013-10-31", -4, "2013-06-30"),
    ("2012-02-29", 12, "2013-02-28"),
    ("2020-01-31", 1, "2020-02-29"),
    ("2020-02-29", -1, "2020-01-29"),
    # W3C XPath and XQuery Functions and Operators, op:add-yearMonthDuration-to-date (from memory).
    ("2000-10-30", 14, "2001-12-30"),
    # DMN Technology Compatibility Kit, 0100-arithmetic.
    ("2021-01-01", 12, "2022-01-01"),
    ("2021-01-01", 1, "2021-02-01"),
    ("2021-01-02", -1, "2020-12-02"),
]


@pytest.mark.parametrize(("start", "months", "expected"), PRINTED)
def test_printed_pairs(start: str, months: int, expected: str) -> None:
    assert add_months(day(start), months, CLAMP) == day(expected)


def test_chained_months_drift_and_a_term_added_once_does_not() -> None:
    chained = day("2024-01-31")
    for _ in range(12):
        chained = add_months(chained, 1, CLAMP)
    assert chained == day("2025-01-29")
    assert add_months(day("2024-01-31"), 12, CLAMP) == day("2025-01-31")


def test_the_order_of_months_and_days_matters() -> None:
    """W3C XML Schema Part 2, Appendix E (from memory): a span of the policy is months or days, never both."""
    a_day, a_month = Span(days=1), Span(months=1)
    assert add_span(add_span(day("2000-03-30"), a_day, CLAMP), a_month, CLAMP) == day("2000-04-30")
    assert add_span(add_span(day("2000-03-30"), a_month, CLAMP), a_day, CLAMP) == day("2000-05-01")
    with pytest.raises(ValueError, match="is not a span of time"):
        parse_span("1 month 1 day")


# W3C XML Schema Part 2 orders durations by these four instants: a month is then neither more nor less than 30 days.
INSTANTS = ("1696-09-01", "1697-02-01", "1903-03-01", "1903-07-01")


def test_a_month_and_thirty_days_cannot_be_compared() -> None:
    signs = {
        (add_span(day(i), Span(months=1), CLAMP) > add_span(day(i), Span(days=30), CLAMP))
        - (add_span(day(i), Span(months=1), CLAMP) < add_span(day(i), Span(days=30), CLAMP))
        for i in INSTANTS
    }
    assert len(signs) > 1


# DMN Technology Compatibility Kit, 1121-feel-years-and-months-duration-function (times of day left out).
DMN = [
    ("2011-12-22", "2013-08-24", 20),
    ("2015-01-21", "2016-01-21", 12),
    ("2016-01-01", "2016-01-01", 0),
    ("2016-09-30", "2017-12-28", 14),
    ("2010-05-30", "2017-12-15", 90),
    ("2014-12-31", "2019-10-01", 57),
    ("2013-08-24", "2017-12-15", 51),
    ("2017-02-28", "2019-07-23", 28),
    ("2014-12-31", "2016-12-31", 24),
    ("2011-08-25", "2015-08-25", 48),
]


@pytest.mark.parametrize(("start", "until", "months"), DMN)
def test_complete_months_of_the_compatibility_kit(start: str, until: str, months: int) -> None:
    assert complete_months(day(start), day(until), CLAMP) == months


# Elapsed months where libraries disagree. The rule here is the forward one: the largest n with start + n months on or
# before the day, as relativedelta, whenever and duckdb's datesub have it. ``age`` is PostgreSQL's rule as duckdb runs
# it (None: the table has no value), ``boundaries`` counts turns of the month.
GOLDEN: list[tuple[str, str, int, int | None, int]] = [
    ("2024-01-31", "2024-02-29", 1, 0, 1),
    ("2024-02-29", "2025-02-28", 12, 11, 12),
    ("2024-02-29", "2027-02-28", 36, 35, 36),
    ("2024-01-30", "2024-02-29", 1, None, 1),
    ("2024-01-31", "2024-02-01", 0, None, 1),
]


def one(sql: str) -> Any:
    row = duckdb.execute(sql).fetchone()
    assert row is not None
    return row[0]


@pytest.mark.parametrize(("start", "until", "months", "age", "boundaries"), GOLDEN)
def test_elapsed_months_follow_the_forward_rule(
    start: str, until: str, months: int, age: int | None, boundaries: int
) -> None:
    assert complete_months(day(start), day(until), CLAMP) == months
    assert one(f"SELECT datesub('month', DATE '{start}', DATE '{until}')") == months
    assert one(f"SELECT datediff('month', DATE '{start}', DATE '{until}')") == boundaries
    if age is not None:
        span = f"age(TIMESTAMP '{until}', TIMESTAMP '{start}')"
        assert one(f"SELECT (12 * year({span}) + month({span}))::INTEGER") == age
        assert age < months  # another rule: it turns the days round before the months


def test_the_documented_age_of_postgresql_agrees_where_no_month_end_is_near() -> None:
    """PostgreSQL, date/time functions: age(2001-04-10, 1957-06-13) is 43 years 9 mons 27 days."""
    months = 43 * 12 + 9
    assert complete_months(day("1957-06-13"), day("2001-04-10"), CLAMP) == months
    assert add_months(day("1957-06-13"), months, CLAMP) == day("2001-03-13")
    # duckdb's own tests: 3 mons 24 days from 1 January to 25 April 2014, 8 days from 17 April.
    assert complete_months(day("2014-01-01"), day("2014-04-25"), CLAMP) == 3
    assert complete_months(day("2014-04-17"), day("2014-04-25"), CLAMP) == 0
    assert begun_months(day("2014-01-01"), day("2014-04-25"), CLAMP) == 4


# Regulation (EEC, Euratom) No 1182/71, Article 3: the day of the event is not counted, the period ends with the last
# hour of the corresponding day, or of the month's last day where that day does not exist.
REGULATION = [
    ("2024-02-29", 36, "2027-02-28"),
    ("2024-01-31", 1, "2024-02-29"),
]


@pytest.mark.parametrize(("event", "months", "last"), REGULATION)
def test_the_statutory_conventions_count_as_the_regulation(event: str, months: int, last: str) -> None:
    assert last_covered_day(day(event), months, CLAMP, "anniversary") == day(last)
    assert last_covered_day(day(event), months, CLAMP, "day_before_anniversary") == day(last) - timedelta(days=1)


def test_a_number_of_days_approximates_no_months() -> None:
    assert day("2024-02-29") + timedelta(days=1095) == day("2027-02-28")
    assert add_months(day("2024-02-28"), 36, CLAMP) == day("2027-02-28")
    assert day("2024-02-28") + timedelta(days=1095) == day("2027-02-27")
