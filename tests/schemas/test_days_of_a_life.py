"""Days lie between 1900 and 2199, and what never ends says so; near the bounds, no span leads out of the calendar."""

from datetime import date

import pytest
from pydantic import ValidationError

from rules.calendar import add_months, add_span
from rules.policy_book.demands import demands_of
from schemas.machine import Machine
from schemas.policy.services import Window
from schemas.policy.term import InForce
from schemas.quantities import FIRST_DAY, LAST_DAY, parse_day, parse_last_day, parse_span
from schemas.reference_tables import FluidRow
from tests.rules.policy_book.examples import DUTY, SHORT, compiled, tree_of

pytestmark = pytest.mark.fast


@pytest.mark.parametrize("day", ["1900-01-01", "2199-12-31"])
def test_the_first_and_the_last_day_are_days(day: str) -> None:
    assert parse_day(day).isoformat() == day


@pytest.mark.parametrize("day", ["1899-12-31", "2200-01-01", "0001-01-01", "9999-12-31"])
def test_a_day_outside_is_refused_with_the_way_out(day: str) -> None:
    with pytest.raises(ValueError, match=f"{day} lies outside 1900-01-01 to 2199-12-31; correct it, or leave it out"):
        parse_day(day)
    with pytest.raises(ValueError, match="lies outside"):
        parse_day(date.fromisoformat(day))


def test_the_last_day_of_the_calendar_says_no_end() -> None:
    """How office systems write that something has no end: common practice, no source."""
    in_force = {"from": "2026-01-01", "until": "9999-12-31", "selected_by": "failed_on"}
    assert InForce.model_validate(in_force).until is None
    assert (
        FluidRow.model_validate({"from": "2026-01-01", "until": "9999-12-31", "fluid": "a", "on_list": "b"}).until
        is None
    )
    assert parse_last_day("2199-12-31") == LAST_DAY
    with pytest.raises(ValueError, match="lies outside"):
        parse_last_day("9999-12-30")


def test_an_event_that_never_came_is_left_out() -> None:
    machine = {
        "serial": "Q-1",
        "model": "QF60",
        "built_on": "2026-01-15",
        "events": {"retail_delivery": "9999-12-31"},
        "use": "commercial",
        "region": "DE",
        "selling_dealer": "D-01",
    }
    with pytest.raises(ValidationError) as refused:
        Machine.model_validate(machine)
    (fault,) = refused.value.errors()
    assert fault["loc"] == ("events", "retail_delivery")
    assert "leave it out" in fault["msg"]


@pytest.mark.parametrize("written", ["101 years", "1201 months", "9999 years"])
def test_a_span_of_more_than_a_hundred_years_is_refused(written: str) -> None:
    with pytest.raises(ValueError, match="is longer than 100 years"):
        parse_span(written)


def test_the_longest_spans_stay_inside_the_calendar() -> None:
    """A start after an event, the term, and a service interval, each of a hundred years, after the last day.

    From 1 January 1900, 27 years with six leap days are 9,861 days; the 138 that are left end on 19 May 1927.
    """
    day = LAST_DAY
    for _ in range(3):
        day = add_months(day, parse_span("100 years").months, "roll_to_next_month")
    assert day == date(2499, 12, 31)
    assert add_span(FIRST_DAY, parse_span("9999 days"), "clamp_from_start") == date(1927, 5, 19)


@pytest.mark.parametrize("side", ["early", "late"])
def test_a_calendar_window_is_no_wider_than_a_hundred_years(side: str) -> None:
    sides = {"early": "36500", "late": "36500"}
    assert Window.model_validate({"calendar": sides}).calendar is not None
    with pytest.raises(ValidationError, match="a calendar window of 36501 days is wider than 100 years"):
        Window.model_validate({"calendar": {**sides, side: "36501"}})


def test_demands_of_hours_that_no_machine_reaches_are_told_all_the_same() -> None:
    """At 100 h a year the one point, at 900,000 h, is due after 9,000 years, and so is the end of term by hours."""
    duty = tree_of(DUTY) | {"due": {"at_hours": ["900000"]}, "window": {"hours": {"early": 0, "late": 0}}}
    tree = tree_of(SHORT) | {"services": {"oil": duty}}
    tree["term"]["ends"] = {"first_of": [{"machine_hours": "1000000"}]}
    policy = compiled({"services": tree["services"], "term": tree["term"]})
    (demand,) = demands_of(policy, (100,))
    assert [service.hours for service in demand.services] == [900000]
    every = {"every": "100 years", "holds_from": "start_of_term", "in_storage": "runs"}
    tree["services"]["oil"] = duty | {"due": {"calendar": every}, "window": {"calendar": {"early": 30, "late": 30}}}
    policy = compiled({"services": tree["services"], "term": tree["term"]})
    (demand,) = demands_of(policy, (100,))
    assert demand.services[0].due_on == date(2126, 1, 1)
    assert len(demand.services) == 10  # until a thousand years on
