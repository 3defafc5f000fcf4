"""Where one payer pays by fixed prices and asks for no services, a later failure or more hours never pay more."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from schemas.claim_file import ClaimFile
from schemas.policy.document import CoveragePolicy
from schemas.policy.prorating import Decline, OwnerPrices
from tests.reference.fixture_books import POLICIES, book_of, claims_for

pytestmark = pytest.mark.fast


def falls(policy: CoveragePolicy) -> bool:
    """Return whether the paid share can only fall, and nothing but age, hours and wear decides."""
    axes = policy.prorating.axes if policy.prorating is not None else ()
    for axis in axes:
        if isinstance(axis.share, OwnerPrices):
            values = [-price.value for price in axis.share.owner_prices]
        elif isinstance(axis.share, Decline):
            continue
        else:
            points = getattr(axis.share, "steps", None) or getattr(axis.share, "points", ())
            values = [point.value for point in points]
        if list(values) != sorted(values, reverse=True):
            return False
    own_day = policy.in_force.selected_by not in ("failed_on", "repair_ended_on", "submitted_on")
    return not policy.services and own_day and policy.applies_to.owner == "any"


FALLING = sorted(name for name, policy in POLICIES.items() if falls(policy))


def plain(name: str, seed: int) -> dict[str, Any]:
    """Return a claim of typed prices only, without another claim's payments."""
    tree = claims_for((name,), seed, 0).draw_tree(lines=2)
    tree["tables"], tree["earlier_payments"], tree["machine"]["readings"] = [], [], []
    tree["claim"]["currency"] = POLICIES[name].currency
    for line in tree["claim"]["lines"]:
        line.setdefault("list_price", "500.00")
        line.setdefault("price_paid", "400.00")
        if line["item"] in ("labour", "diagnosis"):
            line.setdefault("rate", "90.00")
        line.pop("wear", None)
        if POLICIES[name].prorating is not None and POLICIES[name].prorating.wear_floor is not None:
            line["wear"] = {"new": "46", "left": "40"}
    return tree


def later(tree: dict[str, Any], days: int) -> dict[str, Any]:
    """Return the claim as if the failure and all after it had come ``days`` later, at the same reading."""
    claim = {
        key: (date.fromisoformat(value) + timedelta(days=days)).isoformat() if key.endswith("_on") else value
        for key, value in tree["claim"].items()
    }
    decided = (date.fromisoformat(tree["decided_on"]) + timedelta(days=days)).isoformat()
    return {**tree, "claim": claim, "decided_on": decided}


def with_reading(tree: dict[str, Any], hundredths: int) -> dict[str, Any]:
    text = str(Decimal(hundredths).scaleb(-2))
    return {**tree, "claim": {**tree["claim"], "reading": text, "repair_reading": text}}


def paid(adjudicator: Adjudicator, tree: dict[str, Any]) -> Decimal:
    decision = adjudicator.decide(ClaimFile.model_validate(tree), remedies=False)
    return sum((line.maker_pays for line in decision.lines), Decimal(0))


def in_term(tree: dict[str, Any]) -> bool:
    """Return whether the failure comes after every event and fitting, so that a later one cannot enter a term."""
    days = [*tree["machine"]["events"].values(), *(c.get("fitted_on", "") for c in tree["machine"]["components"])]
    return all(day < tree["claim"]["failed_on"] for day in days)


def test_there_are_policies_to_try() -> None:
    assert len(FALLING) >= 10, FALLING


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(FALLING), seed=st.integers(0, 10**6), days=st.integers(1, 900))
def test_a_later_failure_never_pays_more(name: str, seed: int, days: int) -> None:
    tree = plain(name, seed)
    with Adjudicator(book_of((name,))) as adjudicator:
        if not in_term(tree) or not tree["machine"]["has_meter"]:
            return
        assert paid(adjudicator, later(tree, days)) <= paid(adjudicator, tree)


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(FALLING), seed=st.integers(0, 10**6), more=st.integers(1, 200_000))
def test_more_hours_never_pay_more(name: str, seed: int, more: int) -> None:
    tree = later(plain(name, seed), 0)
    if not tree["machine"]["has_meter"]:
        return
    days = (date.fromisoformat(tree["claim"]["failed_on"]) - date.fromisoformat(tree["machine"]["built_on"])).days
    hours = int(Decimal(tree["claim"]["reading"]) * 100)
    most = max(hours, min(hours + more, days * 2000))  # more than 20 h a day would be doubted
    with Adjudicator(book_of((name,))) as adjudicator:
        assert paid(adjudicator, with_reading(tree, most)) <= paid(adjudicator, tree)
