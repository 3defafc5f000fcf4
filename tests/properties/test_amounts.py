"""Sums are exact, and no more is paid than was claimed unless the policy's own terms add to it."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from schemas.policy.document import CoveragePolicy
from schemas.policy.pays import FixedSum, LabourPaid
from tests.reference.fixture_books import BOOKS, POLICIES, book_of, claims_for

pytestmark = pytest.mark.fast

ITEMS = ("parts", "labour", "travel", "freight", "sublet", "diagnosis", "fluids", "supplies")


def may_add(policy: CoveragePolicy) -> bool:
    """Return whether the terms can pay more than was claimed: flat times, fixed sums, owners on list."""
    for item in ITEMS:
        rule = policy.pays.rule_for(item)
        if isinstance(rule, FixedSum) or (isinstance(rule, LabourPaid) and rule.hours == "flat_rate"):
            return True
    return policy.prorating is not None and policy.prorating.owner_pays_on == "list_price"


@settings(max_examples=80, deadline=None)
@given(names=st.sampled_from(BOOKS), seed=st.integers(0, 10**6), mess=st.sampled_from([0.0, 0.0, 0.3]))
def test_every_cent_has_one_bearer(names: tuple[str, ...], seed: int, mess: float) -> None:
    with Adjudicator(book_of(names)) as adjudicator:
        decision = adjudicator.decide(claims_for(names, seed, mess).draw(), remedies=False)
    for line in decision.lines:
        borne = (line.maker_pays, line.owner_owes, line.dealer_bears, line.other_payer, line.open)
        assert all(amount >= 0 for amount in borne), line
        assert sum(borne, Decimal(0)) == line.claimed + line.added
        assert line.maker_pays <= line.allowed <= line.claimed + line.added, line
        if line.outcome in ("pay", "pay_part"):  # paid in full says that nothing was cut, whatever was added
            assert (line.outcome == "pay") == (line.maker_pays == line.claimed + line.added), line
        if line.policy is not None and not may_add(POLICIES[line.policy]):
            assert line.added == 0, line
            assert line.allowed <= line.claimed, line
