"""A drawn share that only falls, on steps, points or a line: what is paid only falls with it, past its end too."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of
from rules.policy_book.book import build_book
from schemas.cases import CaseTable
from schemas.policy.document import CoveragePolicy
from tests.reference.fixture_books import CONVENTIONS, SOURCE

pytestmark = pytest.mark.fast

DELIVERED = date(2015, 1, 15)
YEARS_OF_THE_HOURS = 5  # at which the hours are read: 5,000 h are then 3 h a day
TWELFTHS = 12
Curve = dict[str, Any]


@st.composite
def curves(draw: st.DrawFn, most: int) -> tuple[Curve, list[int]]:
    """Return a curve of falling shares, and the measures at which something about it changes."""
    at = sorted(draw(st.sets(st.integers(2, most), min_size=2, max_size=4)))
    if draw(st.booleans()):
        credit = draw(st.sampled_from(["whole_term", "tail_only"]))
        free = draw(st.sampled_from([0, at[0]]))
        return {"zero_at": at[-1], "credit": credit, "free_until": free}, [free, at[-1]]
    shares = sorted(draw(st.lists(st.integers(0, TWELFTHS), min_size=len(at), max_size=len(at))), reverse=True)
    values = [[0, 1], *([x, f"{share}/{TWELFTHS}"] for x, share in zip(at, shares, strict=True))]
    form = draw(st.sampled_from([{"steps": values}, {"points": values, "between": "linear"}]))
    return form, at


def policy_of(by: str, curve: Curve) -> CoveragePolicy:
    """Return the prorated policy of the worked cases with this curve, and without an end of its own."""
    tree = dict(SOURCE.policies["prorated@1"])
    tree["term"] = {**tree["term"], "ends": "lifetime"}
    tree["prorating"] = {**tree["prorating"], "axes": [{"by": by, "share": curve}]}
    return CoveragePolicy.model_validate(tree)


def claim_of(by: str, measure: int) -> dict[str, Any]:
    """Return a claim of 1,000.00 net about a failure at so many months or hours."""
    months = measure if by == "complete_months" else 12 * YEARS_OF_THE_HOURS
    failed_on = (DELIVERED + relativedelta(months=months)).isoformat()
    reading = measure if by == "machine_hours" else 100
    return {"failed_on": failed_on, "reading": reading, "lines": {"part": {"component": "wheel_drive", "net": "1000"}}}


def payments(by: str, curve: Curve, measures: list[int]) -> list[Decimal]:
    """Return what the maker pays of the claim at each measure."""
    policy = policy_of(by, curve)
    paid = []
    with Adjudicator(build_book([policy], CONVENTIONS.values())) as adjudicator:
        for measure in measures:
            case = {
                "name": "a failure at one measure",
                "claim": claim_of(by, measure),
                "expect": {"part": {"share": 1}},
            }
            machine = {"model": "QF60", "retail_delivery": DELIVERED.isoformat()}
            table = CaseTable.model_validate(
                {"policies": ["prorated@1"], "base": {"machine": machine, "claim": {}}, "cases": [case]}
            )
            claim_file = claim_file_of(table, table.cases[0], "EUR", {"EUR": 2})
            (line,) = adjudicator.decide(claim_file, remedies=False).lines
            assert line.open == 0, "every fact is known"
            paid.append(line.maker_pays)
    return paid


@settings(max_examples=50, deadline=None)
@given(st.data())
@pytest.mark.parametrize(("by", "most"), [("complete_months", 60), ("machine_hours", 5000)])
def test_a_falling_share_never_pays_more_later(by: str, most: int, data: st.DataObject) -> None:
    curve, knots = data.draw(curves(most))
    near = {knot + step for knot in knots for step in (-1, 0, 1, 3, 7)} | {most // 2, most, most + 20}
    measures = sorted(one for one in near if one >= 0)
    paid = payments(by, curve, measures)
    assert paid == sorted(paid, reverse=True), list(zip(measures, paid, strict=True))


def test_the_drawn_terms_pay_what_they_say() -> None:
    """Else the property might hold of nothing: 1,000 x 1.15 = 1,150; half, then (24 - 18) / 24 = 1/4, then nothing."""
    steps = {"steps": [[0, 1], [12, "1/2"]]}
    assert payments("complete_months", steps, [11, 12, 40]) == [Decimal(1150), Decimal(575), Decimal(575)]
    line = {"zero_at": 24, "credit": "whole_term", "free_until": 6}
    assert payments("complete_months", line, [5, 18, 24, 30]) == [Decimal(1150), Decimal("287.50"), 0, 0]
    points = {"points": [[0, 1], [1000, 1], [2000, "1/5"]], "between": "linear"}
    whole = Fraction(1150)
    expected = [whole, whole * Fraction(3, 5), whole / 5, whole / 5]  # half-way between 1 and 1/5 lies 3/5
    assert payments("machine_hours", points, [1000, 1500, 2000, 4000]) == expected
