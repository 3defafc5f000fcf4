"""A policy whose rules the engine could not run safely does not load; one at the limit loads and decides."""

from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from rules.policy_book.book import BookRefused
from tests.rules.history.machine_lives import Life
from tests.rules.policy_book.examples import book, duty, policy

pytestmark = pytest.mark.fast

Change = dict[str, Any]


def carve_outs(count: int) -> Change:
    """Each gives one reason to lines of its group: with the term's two limits, count + 2 rules on one condition."""
    ends = {"first_of": [{"months": 6}]}
    return {"carve_outs": [{"clause": "2.1", "components": [f"part_{n}"], "ends": ends} for n in range(count)]}


def causes(count: int) -> Change:
    """Each is a test of its own, side by side with the others."""
    words = [f"cause_{number}" for number in range(count)]
    return {"exclusions": [{"clause": "6", "causes": words, "borne_by": "owner"}]}


def last_of(count: int) -> Change:
    """Each limit is a fact that one rule joins."""
    return {"term": {"ends": {"first_of": None, "last_of": [{"months": 12 + n} for n in range(count)]}}}


def services(*names: str) -> Change:
    return {"services": {name: duty() for name in names}}


REFUSED: list[tuple[str, Change, str, str]] = [
    ("251 rules on one condition", carve_outs(249), "sprayer@1:", "are the same 251 times"),
    ("401 tests side by side", causes(401), "sprayer@1:", "put 401 tests side by side"),
    ("16 facts in a join", last_of(16), "sprayer@1: term:", "it has 16 conditions"),
    ("16 facts in a join of a carve-out", {
        "carve_outs": [{"clause": "2.1", "components": ["belt"], "ends": {
            "last_of": [{"days": 30 + n} for n in range(16)]}}]},
     "sprayer@1: carve_outs.0:", "it has 16 conditions"),
    # FNV-1a of to_valve_pump_oil is that of to_oil_coolant_winch_axle
    ("two services that the engine cannot tell apart", services("valve_pump_oil", "oil_coolant_winch_axle"),
     "sprayer@1:", "have the same hash"),
]  # fmt: skip


@pytest.mark.parametrize(("unsafe", "at", "what"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED])
def test_a_policy_with_unsafe_rules_does_not_load(unsafe: Change, at: str, what: str) -> None:
    with pytest.raises(BookRefused) as refused:
        book(policy(unsafe))
    (line,) = str(refused.value).splitlines()
    assert line.startswith(f"{at} its rules would not be safe to run: ")
    assert what in line
    assert ("Give one of the two services (to_…) another name." in line) == ("same hash" in what)
    assert ("Split the policy into several" in line) != ("same hash" in what)


def test_one_unsafe_policy_keeps_the_whole_book_out() -> None:
    with pytest.raises(BookRefused) as refused:
        book(policy(), policy({"policy": "crowded", **causes(401)}))
    assert [str(fault.policy) for fault in refused.value.faults] == ["crowded@1"]


# Delivered on 1 January 2024 (day 0): 6 months hold until 30 June 2024 (day 181), 26 until 28 February 2026 (day 789).
PUMP = [{"clause": "2.9", "components": ["hydrostatic_pump"], "ends": {"first_of": [{"months": 6}]}}]
DECIDED: list[tuple[str, Change, int, str, set[str]]] = [
    ("the last of 248 carve-outs holds", {"carve_outs": carve_outs(247)["carve_outs"] + PUMP}, 181, "material", set()),
    ("and ends", {"carve_outs": carve_outs(247)["carve_outs"] + PUMP}, 182, "material", {"term_elapsed"}),
    ("none of 400 causes", causes(400), 181, "material", set()),
    ("the last of 400 causes", causes(400), 181, "cause_399", {"excluded_cause"}),
    ("before the last of 15 limits", last_of(15), 789, "material", set()),
    ("past the last of 15 limits", last_of(15), 790, "material", {"every_limit_passed"}),
]


@pytest.mark.parametrize(("terms", "day", "cause", "codes"), [d[1:] for d in DECIDED], ids=[d[0] for d in DECIDED])
def test_a_policy_at_the_limit_loads_and_decides(terms: Change, day: int, cause: str, codes: set[str]) -> None:
    made = book(policy({"in_force": {"from": "2024-01-01"}, "applies_to": {"models": ["RM10"]}, **terms}))
    claim_file = Life({}, failed=day, reading="100.00").claim_file()
    claim = claim_file.claim.model_copy(update={"cause": cause})
    with Adjudicator(made) as adjudicator:
        (line,) = adjudicator.decide(claim_file.model_copy(update={"claim": claim})).lines
    assert {reason.code for reason in line.reasons} == codes
    assert (line.outcome, str(line.maker_pays)) == (("deny", "0.00") if codes else ("pay", "1150.00"))
