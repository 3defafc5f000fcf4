"""Which days of a claim contradict one another: pair by pair, the same day twice never, and none without those days."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.history.claim_dates import PAIRS, contradictions, without_days_in_doubt
from schemas.claim_file import ClaimFile

pytestmark = pytest.mark.fast

FIRST = date(2025, 3, 1)
DAYS = ("failed_on", "reported_on", "part_received_on", "repair_began_on", "repair_ended_on", "submitted_on")
EVERY = ("symptom", *DAYS, "decided_on")


def claim_file(**after_first: int | None) -> ClaimFile:
    """Return a claim whose days lie so many days after the first of March; None leaves one out."""
    on = {name: None if n is None else (FIRST + timedelta(days=n)).isoformat() for name, n in after_first.items()}
    claim: dict[str, Any] = {"claim": "C-1", "serial": "M-1", "dealer": "D-1", "currency": "EUR"}
    claim |= {name: on.get(name) for name in DAYS}
    claim |= {"symptom": {"on": on["symptom"]} if on.get("symptom") else None}
    claim["lines"] = [{"line": "1", "item": "parts", "net": "100.00"}]
    return ClaimFile.model_validate(
        {
            "machine": {
                "serial": "M-1",
                "model": "RM10",
                "built_on": "2024-01-10",
                "use": "commercial",
                "region": "XX",
            },
            "claim": claim,
            "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"},
            "currency_exponents": {"EUR": 2},
            "decided_on": on["decided_on"],
        }
    )


def days(required: tuple[str, ...] = ("failed_on", "decided_on")) -> st.SearchStrategy[dict[str, int | None]]:
    return st.fixed_dictionaries(
        {name: st.integers(0, 6) if name in required else st.none() | st.integers(0, 6) for name in EVERY}
    )


@pytest.mark.parametrize(("earlier", "later"), PAIRS)
def test_each_pair_is_seen_from_the_day_after_on(earlier: str, later: str) -> None:
    around = {"failed_on": 3, "decided_on": 8}  # always stated; the other days in no pair with these two are left out
    assert contradictions(claim_file(**{**around, earlier: 5, later: 5})) == ()
    (found,) = contradictions(claim_file(**{**around, earlier: 6, later: 5}))
    assert set(found.fields) == set(found.suspects) == {earlier, later} - {"decided_on"}
    assert {day for _, day in found.days} == {FIRST + timedelta(days=6), FIRST + timedelta(days=5)}


@given(days())
def test_days_out_of_order_are_exactly_those_of_some_pair(on: dict[str, int | None]) -> None:
    stated = {name: n for name, n in on.items() if n is not None}
    wrong = [(a, b) for a, b in PAIRS if a in stated and b in stated and stated[a] > stated[b]]
    found = contradictions(claim_file(**on))
    assert {field for c in found for field in c.fields} == {name for pair in wrong for name in pair} - {"decided_on"}
    assert sum(len(c.pairs) for c in found) == len(wrong)
    assert sum(len(c.fields) for c in found) == len({field for c in found for field in c.fields}), "one question a day"
    for contradiction in found:
        assert set(contradiction.suspects) <= set(contradiction.fields)


@given(days())
def test_without_the_days_in_doubt_only_the_failure_can_still_be_in_the_wrong_place(on: dict[str, int | None]) -> None:
    stated = claim_file(**on)
    found = contradictions(stated)
    left = without_days_in_doubt(stated, found)
    assert {field for c in contradictions(left) for field in c.fields} <= {"failed_on"}
    assert left.claim.failed_on == stated.claim.failed_on
    assert (left is stated) is all(c.fields == ("failed_on",) for c in found)
    assert left is stated or left.digest != stated.digest


def test_of_many_days_the_one_that_explains_every_pair_is_named_to_be_corrected() -> None:
    (found,) = contradictions(
        claim_file(failed_on=9, repair_began_on=1, repair_ended_on=2, submitted_on=3, decided_on=9)
    )
    assert found.suspects == ("failed_on",)
    assert found.words.endswith("; correct the day of the failure")
    (found,) = contradictions(
        claim_file(failed_on=0, repair_began_on=5, repair_ended_on=4, submitted_on=3, decided_on=9)
    )
    assert found.suspects == ("repair_began_on", "repair_ended_on", "submitted_on")


def test_days_that_do_not_hang_together_are_two_contradictions() -> None:
    found = contradictions(claim_file(symptom=3, failed_on=2, repair_ended_on=6, submitted_on=5, decided_on=9))
    assert [c.fields for c in found] == [("symptom", "failed_on"), ("repair_ended_on", "submitted_on")]
