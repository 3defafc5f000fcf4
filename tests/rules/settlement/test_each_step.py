"""Where every step rounds: a parts line worked from the words of its clause alone, step by step in whole cents."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.rounding import rounded_ratio
from tests.rules.settlement.examples import claim_file, policy_of, settled

pytestmark = pytest.mark.fast

MODES = ("half_up", "half_even", "half_down", "up", "down")
ten_thousandths = st.integers(min_value=0, max_value=5_000_000).map(lambda units: Decimal(units) / 10_000)


def cents(amount: Fraction, mode: str) -> Fraction:
    return Fraction(rounded_ratio(amount.numerator * 100, amount.denominator, mode), 100)


@settings(max_examples=300, deadline=None)
@given(
    net=ten_thousandths,
    listed=st.none() | ten_thousandths,
    quantity=st.sampled_from(["1", "3", "0.5", "4.75"]),
    handling=st.sampled_from(["0", "15%", "12.5%"]),
    share=st.none() | st.fractions(min_value=Fraction(1, 90), max_value=1, max_denominator=90),
    at_most=st.none() | st.integers(min_value=0, max_value=200_000).map(lambda units: Decimal(units) / 100),
    prorated=st.fractions(min_value=0, max_value=1, max_denominator=90),
    mode=st.sampled_from(MODES),
)
def test_each_step_starts_from_the_rounded_amount_of_the_one_before(
    net: Decimal,
    listed: Decimal | None,
    quantity: str,
    handling: str,
    share: Fraction | None,
    at_most: Decimal | None,
    prorated: Fraction,
    mode: str,
) -> None:
    of_parts: dict[str, Any] = {"handling": handling}
    if share is not None:
        of_parts["share"] = str(share)
    if at_most is not None:
        of_parts["at_most"] = str(at_most)
    prorating = {
        "clause": "3",
        "axes": [{"by": "complete_months", "share": {"steps": [[0, 1]]}}],
        "items": ["parts"],
        "owner_pays_on": "allowed_amount",
        "borne_by": "owner",
    }
    policy = policy_of({"pays": {"parts": of_parts}, "prorating": prorating}, {"money": {"round": mode, "at": "step"}})
    rows = [] if listed is None else [{"part": "P-1", "net": str(listed), "from": "2025-01-01"}]
    tables = {"list": {"kind": "prices", "currency": "EUR", "rows": rows}} if rows else {}
    line = {"part": {"component": "engine", "net": str(net), "quantity": quantity, "part_number": "P-1"}}
    file = claim_file({"claim": {"lines": line}, "tables": tables})

    with_handling = Fraction(quantity) * (1 + Fraction(Decimal(handling.rstrip("%"))) / 100)
    claimed = cents(Fraction(net) * with_handling, mode)
    paid = claimed if listed is None else min(claimed, cents(Fraction(listed) * with_handling, mode))
    if share is not None:
        paid = cents(paid * share, mode)
    if at_most is not None:
        paid = min(paid, Fraction(at_most))
    allowed, paid = paid, cents(paid * prorated, mode)

    money = settled(policy, file, prorated)["part"]
    assert (money.claimed, money.allowed, money.maker) == (claimed * 100, allowed * 100, paid * 100)
