"""Readings left out never turn an answer into a denial: what is decided without them holds for every true value."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from rules.policy_book.book import build_book
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.decision import LineDecision
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source
from tests.rules.history.machine_lives import Life, left_out, lives, through_meters

SOURCE = read_policy_source(Path(__file__).parents[3] / "fixtures")
CIVIL = Conventions.model_validate(SOURCE.conventions["common-civil@1"])
# Edges of the reference terms, in hundredths: the windows of 50, 250, 500 and 750 h, the cap of 1,000 h, and the
# windows that count from a service outside its own.
EDGES = (4000, 6000, 22500, 27500, 47500, 52500, 72500, 77500, 97500, 100000, 102500)
PAID = ("pay", "pay_part", "pay_zero")


def adjudicator_of(**changes: object) -> Adjudicator:
    terms = dict(SOURCE.policies["reference@1"])
    for path, value in changes.items():
        section, key = path.split("__")
        if section == "services":
            terms["services"] = {n: {**dict(d), key: value} for n, d in terms["services"].items()}
        else:
            terms[section] = {**dict(terms[section]), key: value}
    return Adjudicator(build_book([CoveragePolicy.model_validate(terms)], [CIVIL]))


KNOBS = {
    "as_written": {},
    "from_actual": {"services__next_due_from": "actual"},
    "on_the_grid": {"services__next_due_from": "due_point"},
    "never_cured": {"services__late": "never_cures"},
    "last_window": {"services__judged": "last_closed_window"},
    "demo_credit": {"term__hours_count_from": "start_of_term"},
}


@pytest.fixture(scope="module", params=list(KNOBS))
def adjudicator(request: pytest.FixtureRequest) -> Iterator[Adjudicator]:
    with adjudicator_of(**KNOBS[request.param]) as made:
        yield made


def pump_line(adjudicator: Adjudicator, claim_file: ClaimFile) -> LineDecision:
    return adjudicator.decide(claim_file, remedies=False).lines[0]


def assert_never_adverse(known: LineDecision, hidden: LineDecision) -> None:
    """``hidden`` is the same claim with less on file."""
    assert hidden.maker_pays <= known.maker_pays or hidden.outcome in PAID, (hidden.outcome, known.outcome)
    if hidden.outcome == "deny":
        assert known.outcome == "deny"
    if hidden.outcome in PAID:
        assert (hidden.outcome, hidden.maker_pays) == (known.outcome, known.maker_pays)
    if hidden.outcome in ("need_info", "refer"):
        assert hidden.maker_pays <= known.maker_pays


def assert_fewer_readings_hold(adjudicator: Adjudicator, drawn: tuple[Life, list[int]], data: st.DataObject) -> None:
    life, _ = drawn
    known = pump_line(adjudicator, life.claim_file())
    left_out(life, data.draw)
    assert_never_adverse(known, pump_line(adjudicator, life.claim_file()))


def assert_a_changed_meter_holds(adjudicator: Adjudicator, drawn: tuple[Life, list[int]], data: st.DataObject) -> None:
    life, served = drawn
    known = pump_line(adjudicator, life.claim_file())
    through_meters(life, served, data.draw)
    assert_never_adverse(known, pump_line(adjudicator, life.claim_file()))


@pytest.mark.fast
@settings(max_examples=8, deadline=None)
@given(drawn=lives(most_records=2, near=EDGES), data=st.data())
def test_fewer_readings_never_turn_an_answer_adverse(
    adjudicator: Adjudicator, drawn: tuple[Life, list[int]], data: st.DataObject
) -> None:
    assert_fewer_readings_hold(adjudicator, drawn, data)


@pytest.mark.fast
@settings(max_examples=8, deadline=None)
@given(drawn=lives(most_records=2, near=EDGES), data=st.data())
def test_a_meter_replaced_unread_never_turns_an_answer_adverse(
    adjudicator: Adjudicator, drawn: tuple[Life, list[int]], data: st.DataObject
) -> None:
    assert_a_changed_meter_holds(adjudicator, drawn, data)


@pytest.mark.long
@settings(max_examples=150, deadline=None)
@given(drawn=lives(most_records=4, near=EDGES), data=st.data())
def test_fewer_readings_of_longer_lives(
    adjudicator: Adjudicator, drawn: tuple[Life, list[int]], data: st.DataObject
) -> None:
    assert_fewer_readings_hold(adjudicator, drawn, data)


@pytest.mark.long
@settings(max_examples=150, deadline=None)
@given(drawn=lives(most_records=4, near=EDGES), data=st.data())
def test_meters_replaced_in_longer_lives(
    adjudicator: Adjudicator, drawn: tuple[Life, list[int]], data: st.DataObject
) -> None:
    assert_a_changed_meter_holds(adjudicator, drawn, data)


@pytest.mark.fast
@settings(max_examples=8, deadline=None)
@given(drawn=lives(most_records=1, near=EDGES))
def test_a_reading_is_asked_for_only_where_it_changes_the_result(drawn: tuple[Life, list[int]]) -> None:
    life, _ = drawn
    life.reading = None
    with adjudicator_of() as adjudicator:
        hidden = adjudicator.decide(life.claim_file(), remedies=False)
        if hidden.lines[0].outcome != "need_info":
            return
        day = max((d for d in life.hours if d < life.failed), default=0)
        last = life.hours.get(day, 0)
        most = last + 2400 * (life.failed - day + 1)
        edges = {last, most, *(e + step for e in EDGES for step in (0, 1))}
        edges |= {last + e for e in (22499, 22500, 27500, 27501)}
        lines = [pump_line(adjudicator, _read(life, at).claim_file()) for at in sorted(edges) if last <= at <= most]
        assert len({(line.outcome, line.maker_pays) for line in lines}) > 1


def _read(life: Life, at: int) -> Life:
    return replace(life, reading=f"{at // 100}.{at % 100:02d}")
