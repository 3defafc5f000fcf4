"""A part number that is left out brings no money: neither on its line nor, in sum, on the others."""

from rules.adjudicate import Adjudicator
from schemas.claim import Claim
from tests.fixtures_scenario.scenario import decisions, scenario

PAID = ("pay", "pay_part", "pay_zero")


def test_a_part_number_left_out_brings_no_line_and_no_claim_more() -> None:
    """Its line is held. A cap or a deductible then falls on the others alone, but never leaves more in sum."""
    tried = 0
    with Adjudicator(scenario().policies.book) as adjudicator:
        for number, claim in scenario().claims.items():
            whole = decisions()[number]
            for place, line in enumerate(claim.lines):
                if line.part_number is None or whole.lines[place].outcome not in PAID:
                    continue
                tree = claim.model_dump(mode="json", by_alias=True)
                tree["lines"][place]["part_number"] = None
                without = adjudicator.decide(scenario().claim_file(Claim.model_validate(tree)), remedies=False)
                tried += 1
                assert without.lines[place].maker_pays <= whole.lines[place].maker_pays, (number, line.line)
                assert without.payout.amount <= whole.payout.amount, (number, line.line)
    assert tried > 100
