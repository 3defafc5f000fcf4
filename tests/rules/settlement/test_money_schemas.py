"""Terms of money that cannot be carried out are refused when the policy is read, with the way out."""

from typing import Any

import pytest
from pydantic import ValidationError

from rules.cases.facts import merged
from schemas.claim import ClaimLine
from schemas.policy.document import CoveragePolicy
from schemas.policy.pays import Pays
from tests.rules.settlement.examples import TERMS, claim_file, policy_of, settled

pytestmark = pytest.mark.fast

PRORATING = {
    "clause": "3",
    "axes": [{"by": "complete_months", "share": {"steps": [[0, "1/2"]]}}],
    "items": ["parts"],
    "owner_pays_on": "allowed_amount",
    "borne_by": "owner",
}
CAP = {"clause": "6", "over": "line", "at": {"of": "part_list_price"}, "items": ["parts"], "excess_borne_by": "owner"}
PRICED = [{"by": "complete_months", "share": {"owner_prices": [[0, "40.00"]]}}]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"caps": [{**CAP, "items": "all"}]}, r"names items: \[parts\]"),
        ({"caps": [{**CAP, "items": ["parts", "labour"]}]}, r"names items: \[parts\]"),
        ({"caps": [{**CAP, "over": "claim"}]}, "over a line or a component_lifetime, not over claim"),
        ({"caps": [{**CAP, "over": "machine_lifetime"}]}, "over a line or a component_lifetime"),
        ({"prorating": {**PRORATING, "owner_pays_on": "list_price", "borne_by": "dealer"}}, "bills the owner"),
        ({"prorating": {**PRORATING, "owner_pays_on": "list_price", "items": ["parts", "labour"]}}, "no list price"),
        ({"prorating": {**PRORATING, "axes": PRICED, "items": ["parts", "labour"]}}, "price of one part"),
        ({"prorating": {**PRORATING, "axes": PRICED, "borne_by": "dealer"}}, "what the owner pays, but borne_by says"),
        ({"prorating": {**PRORATING, "axes": [*PRORATING["axes"], *PRICED], "combine": "worse_of"}}, "stand alone"),  # type: ignore[misc]
        ({"prorating": {**PRORATING, "combine": "worse_of"}}, "goes with more than one axis"),
        ({"prorating": {**PRORATING, "axes": [{"by": "wear", "share": {"steps": [[0, 1]]}}]}}, "needs wear_floor"),
        ({"prorating": {**PRORATING, "wear_floor": -1}}, "outside 0 to 1,000,000"),
        ({"pays": {"labour": {"until": {"first_of": [{"months": 12}]}}}}, "until and after_borne_by go together"),
        ({"pays": {"travel": {"clause": "1", "of_labour": "5%", "excess_borne_by": "owner"}}}, "travel"),
    ],
)
def test_terms_that_cannot_be_carried_out(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        CoveragePolicy.model_validate(merged(TERMS, change))


def test_one_of_two_kinds_of_items_are_two_kinds() -> None:
    either = {
        "clause": "4",
        "items": ["parts", "parts"],
        "after": {"months": 24},
        "picks": "higher",
        "borne_by": "owner",
    }
    with pytest.raises(ValidationError, match="names parts twice"):
        Pays.model_validate(
            {"anything_else": {"clause": "9", "nothing": True, "borne_by": "owner"}, "either_or": either}
        )


@pytest.mark.parametrize("quantity", ["0", "-1", "-0.5"])
def test_a_line_claims_more_than_no_piece(quantity: str) -> None:
    with pytest.raises(ValidationError, match=r"greater than 0|outside 0 to"):
        ClaimLine.model_validate({"line": "a", "item": "parts", "net": "1.00", "quantity": quantity})


@pytest.mark.parametrize("field", ["units"])
def test_a_distance_is_not_negative(field: str) -> None:
    with pytest.raises(ValidationError, match="outside 0 to 1,000,000"):
        ClaimLine.model_validate({"line": "a", "item": "travel", field: "-1"})


def test_a_currency_without_its_decimals_is_named_and_not_guessed() -> None:
    file = claim_file({"claim": {"lines": {"a": {"component": "engine", "net": "1.00"}}}})
    file = file.model_copy(update={"currency_exponents": {"USD": 2}})
    with pytest.raises(ValueError, match="no ISO 4217 decimals for EUR"):
        settled(policy_of(), file)
