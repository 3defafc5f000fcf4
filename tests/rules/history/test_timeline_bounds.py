"""The bounds of a timeline hold the true machine hours, whatever was left unread, mistyped or not recorded."""

from datetime import timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.history.timeline import Timeline, build_timeline
from schemas.conventions import Conventions
from schemas.documents import parse_document, validated
from tests.rules.history.machine_lives import (
    DELIVERED,
    Life,
    hours_text,
    left_out,
    lives,
    lives_served_over,
    lives_set_back,
    through_meters,
)

pytestmark = pytest.mark.fast

FILE = Path(__file__).parents[3] / "fixtures" / "conventions" / "common-civil-1.yaml"
CONVENTIONS = validated(Conventions, parse_document(FILE.read_text(encoding="utf-8"), FILE.name))
HELD = CONVENTIONS.meter.model_copy(update={"single_spike": "refer"})


def assert_holds(life: Life, served: list[int], timeline: Timeline) -> None:
    assert timeline.at_failure is not None
    assert timeline.at_failure.low <= life.hours[life.failed] <= timeline.at_failure.high
    for number, day in enumerate(served):
        bounds = timeline.of_records[f"S-{number}"]
        assert bounds.low <= life.hours[day] <= bounds.high, f"S-{number}"
    for day in life.hours:
        # Every record up to the day before lies within what the timeline says was run by then.
        most = timeline.most_on(DELIVERED + timedelta(days=day))
        before = max((h for d, h in life.hours.items() if d < day), default=0)
        assert most is None or before <= most


@settings(max_examples=150, deadline=None)
@given(lives(), st.data())
def test_readings_left_out_are_bounded_by_the_others(drawn: tuple[Life, list[int]], data: st.DataObject) -> None:
    life, served = drawn
    left_out(life, data.draw)
    timeline = build_timeline(life.claim_file(), CONVENTIONS.meter, CONVENTIONS.facts)
    assert_holds(life, served, timeline)
    certain = [sighting.hours.low for sighting in timeline.sightings if sighting.hours.fact is None]
    assert certain == sorted(certain)
    assert timeline.notes == ()


@settings(max_examples=200, deadline=None)
@given(lives(), st.data())
def test_meters_replaced_with_and_without_the_old_reading(drawn: tuple[Life, list[int]], data: st.DataObject) -> None:
    life, served = drawn
    through_meters(life, served, data.draw)
    left_out(life, data.draw)
    timeline = build_timeline(life.claim_file(), CONVENTIONS.meter, CONVENTIONS.facts)
    assert_holds(life, served, timeline)
    noted = all("old_reading" in change for change in life.changes)
    if noted and life.reading is not None:
        assert timeline.at_failure is not None
        assert timeline.at_failure.certain


@settings(max_examples=200, deadline=None)
@given(lives_set_back(most_records=5))
def test_a_meter_set_back_without_a_record(drawn: tuple[Life, list[int]]) -> None:
    """Where the readings fall, the bounds hold both the hours before and those after; a person is asked."""
    life, served = drawn
    shown = [Decimal(s["reading"]) for s in life.services] + [Decimal(life.reading or 0)]
    assert any(b < a for a, b in pairwise(shown))
    timeline = build_timeline(life.claim_file(), HELD, CONVENTIONS.facts)
    assert_holds(life, served, timeline)


@settings(max_examples=150, deadline=None)
@given(lives(fewest_records=3, most_records=5), st.data())
def test_one_mistyped_service_reading(drawn: tuple[Life, list[int]], data: st.DataObject) -> None:
    """A service reading that its neighbours contradict is set aside, and its hours lie between theirs."""
    life, served = drawn
    place = data.draw(st.integers(1, len(served) - 2))
    days = [*served, life.failed]
    before, after = life.hours[days[place - 1]], life.hours[days[place + 1]]
    typed = data.draw(st.integers(0, before - 1) | st.integers(after + 1, 2_000_000))
    life.services[place]["reading"] = hours_text(typed)
    timeline = build_timeline(life.claim_file(), CONVENTIONS.meter, CONVENTIONS.facts)
    assert timeline.at_failure is not None
    assert timeline.at_failure.low == timeline.at_failure.high == life.hours[life.failed]
    assert_holds(life, served, timeline)
    assert f"S-{place}" in {record for note in timeline.notes for record in note.records}


@settings(max_examples=150, deadline=None)
@given(lives_served_over(120, most_records=3), st.data())
def test_a_meter_that_stood_still(drawn: tuple[Life, list[int]], data: st.DataObject) -> None:
    """From some record on the meter shows what it showed then; where work over 120 days proves it, the bounds hold."""
    life, served = drawn
    for service in life.services:
        service["reading"] = hours_text(life.hours[served[0]])
    moved_on = data.draw(st.booleans())
    lost = life.hours[served[-1]] - life.hours[served[0]]
    shown = life.hours[life.failed] - lost if moved_on else life.hours[served[0]]
    life.reading = hours_text(shown)
    timeline = build_timeline(life.claim_file(), CONVENTIONS.meter, CONVENTIONS.facts)
    assert_holds(life, served, timeline)
