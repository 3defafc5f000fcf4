"""What the terms demand of owners; every expected value is worked by hand from the schedule and the term.

The machine starts on 1 January 2026, so that a year of use is a calendar year: at 600 h a year it has 1,800 h at the
end of 36 months.
"""

from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.policy_book.demands import demand_words, demands_of, demands_text, services_due
from rules.policy_book.use import SteadyUse
from tests.rules.policy_book.examples import CONVENTIONS, book, compiled, conventions, duty, policy, tree_of

pytestmark = pytest.mark.fast

MONTHS_36 = {"ends": {"first_of": [{"months": 36}]}}
YEARLY = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}
DAYS = {"calendar": {"early": 30, "late": 30}}


def asked(services: dict[str, Any], term: dict[str, Any], hours_a_year: int) -> list[str]:
    made = compiled({"services": services, "term": term})
    (demand,) = demands_of(made, [hours_a_year])
    return [f"{s.hours} {s.by}" if s.by == "hours" else f"{s.due_on} {s.by}" for s in demand.services]


OIL = {"oil": duty()}  # 100, 500, then every 500 h; windows 10 %
HOURS_TABLE: list[tuple[int, list[int]]] = [
    (40, [100]),  # 120 h in 36 months
    (80, [100]),  # 240 h
    (200, [100, 500]),  # 600 h
    (400, [100, 500, 1000]),  # 1,200 h
    (600, [100, 500, 1000, 1500]),  # 1,800 h
    (1000, [100, 500, 1000, 1500, 2000, 2500]),  # 3,000 h are reached on the anniversary, one day too late
]


@pytest.mark.parametrize(("hours_a_year", "due"), HOURS_TABLE)
def test_services_due_by_hours_within_36_months(hours_a_year: int, due: list[int]) -> None:
    assert asked(OIL, MONTHS_36, hours_a_year) == [f"{hours} hours" for hours in due]


def test_the_anniversary_itself_is_inside_where_the_conventions_say_so() -> None:
    one = policy({"services": OIL, "term": MONTHS_36})
    made = book(one, counted=[conventions({"last_covered_day": "anniversary"})]).policy("sprayer@1")
    *_, last = services_due(made, "oil", Fraction(1000))
    assert (last.hours, last.due_on) == (3000, date(2029, 1, 1))


@pytest.mark.parametrize(
    ("at_cap", "last"),
    [("covered", 2000), ("not_covered", 1500)],
)
def test_the_hour_limit_ends_the_term_first(at_cap: str, last: int) -> None:
    one = policy({"services": OIL})  # 36 months or 2,000 h
    made = book(one, counted=[conventions({"hours_at_cap": at_cap})]).policy("sprayer@1")
    assert [s.hours for s in services_due(made, "oil", Fraction(1000))][-1] == last


def test_whichever_comes_last_keeps_the_term_open() -> None:
    term = {"ends": {"first_of": None, "last_of": [{"months": 12}, {"machine_hours": 1000}]}}
    assert asked(OIL, term, 200) == ["100 hours", "500 hours", "1000 hours"]


CALENDAR = {"oil": duty({"due": {"at_hours": [], "then_every": 250, "calendar": YEARLY}, "window": DAYS})}


def test_little_use_is_served_by_the_calendar() -> None:
    """80 h a year: each year's service lies outside the 225-275 h window, so its hours count from the service."""
    assert asked(CALENDAR, MONTHS_36, 80) == ["2027-01-01 calendar", "2028-01-01 calendar"]


def test_both_limbs_of_a_schedule_in_turn() -> None:
    """200 h a year, grid. The calendar comes at 200, 400 and 600 h, outside every hour window and so moving no point
    in hours: 250 h on the 92nd day of 2027 (50 of 200 h: 91.25 days), 500 h at half of 2028 (183 of 366 days).
    On the grid the calendar stays on 1 January.
    """
    services = {"oil": duty({"due": CALENDAR["oil"]["due"], "window": DAYS, "next_due_from": "due_point"})}
    expected = ["2027-01-01 calendar", "250 hours", "2028-01-01 calendar", "500 hours"]
    assert asked(services, MONTHS_36, 200) == expected


@pytest.mark.parametrize(
    ("counted", "words"),
    [
        ({"next_due_from": "due_point"}, "Oil service, due every 250 h, and also every 12 months (clause 3)"),
        ({"judged": "last_closed_window"}, "Oil service, due every 250 h, and also every 12 months (clause 3)"),
        ({"next_due_from": "actual"}, "Oil service, due every 250 h or 12 months, whichever comes first (clause 3)"),
        ({}, "Oil service, due every 250 h or 12 months, whichever comes first (clause 3)"),  # due_point_inside_window
    ],
)
def test_it_says_whether_the_first_of_the_two_counts_or_each_has_a_plan(counted: dict[str, Any], words: str) -> None:
    services = {"oil": duty({"due": CALENDAR["oil"]["due"], "window": DAYS, **counted})}
    assert words in demands_text(compiled({"services": services, "term": MONTHS_36})).splitlines()


def test_a_calendar_from_the_last_one_off_never_begins_for_little_use() -> None:
    """Trade case T-04: 60 h a year, 48 months: 240 h, so the 480 h service is never reached, nor is any year after."""
    due = {"at_hours": [80, 480], "then_every": 480, "calendar": YEARLY | {"holds_from": "last_one_off"}}
    services = {"oil": duty({"due": due, "window": DAYS})}
    assert asked(services, {"ends": {"first_of": [{"months": 48}]}}, 60) == ["80 hours"]


def test_a_lifetime_cover_is_looked_at_for_ten_years() -> None:
    assert len(asked({"oil": duty()}, {"ends": "lifetime"}, 1000)) == 1 + 19  # 100, then 500 to 9,500


def test_a_sentence_for_each_amount_of_use() -> None:
    made = compiled({"services": OIL, "term": MONTHS_36})
    words = {demand.hours_a_year: demand_words(demand) for demand in demands_of(made)}
    assert words[80] == "at 80 h a year: one service, 100 h"
    assert words[600] == "at 600 h a year: 4 services, 100, 500, 1,000 and 1,500 h"


def test_a_sentence_for_no_service_and_for_days() -> None:
    made = compiled(
        {"services": {"oil": duty({"due": {"at_hours": [900]}})} | {"year": CALENDAR["oil"]}, "term": MONTHS_36}
    )
    text = demands_text(made, [80])
    assert "at 80 h a year: none" in text
    assert "at 80 h a year: 2 services, 1 January 2027 (80 h) and 1 January 2028 (160 h)" in text
    assert text.startswith("What Orchard sprayer (version 1) asks of owners within 36 months\n")
    assert "The days are those of a machine whose term starts on 1 January 2026, the first day in force." in text
    assert "The days are those" not in demands_text(compiled({"services": OIL}), [80])
    assert "Oil service, due at 900 h, then every 500 h (clause 3)" in text


def test_terms_without_services_ask_for_nothing() -> None:
    assert "No service is asked for." in demands_text(compiled())


@settings(max_examples=200, deadline=None)
@given(
    start=st.dates(date(2020, 1, 1), date(2030, 12, 31)),
    rate=st.fractions(1, 2000, max_denominator=7),
    hours=st.fractions(0, 5000, max_denominator=100),
)
def test_the_day_of_an_hour_is_the_first_on_which_it_is_reached(start: date, rate: Fraction, hours: Fraction) -> None:
    use = SteadyUse(start, rate, "clamp_from_start")
    if hours / rate > 50:
        return
    day = use.day_of(hours)
    assert use.hours_on(day) >= hours
    if day > start:
        assert use.hours_on(date.fromordinal(day.toordinal() - 1)) < hours


@settings(max_examples=60, deadline=None)
@given(slower=st.integers(20, 900), more=st.integers(1, 400))
def test_more_use_never_means_fewer_services_by_hours(slower: int, more: int) -> None:
    assert len(asked(OIL, MONTHS_36, slower)) <= len(asked(OIL, MONTHS_36, slower + more))


def test_the_conventions_of_the_examples_keep_a_day_before_the_anniversary() -> None:
    assert tree_of(CONVENTIONS)["last_covered_day"] == "day_before_anniversary"
