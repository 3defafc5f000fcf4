"""What is said of a reason never contradicts the clause that says who bears what it takes."""

import re
from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from rules.decision.catalogue import KINDS
from schemas.cases import CaseTable
from service.rendering.decision_text import decision_text
from service.rendering.letter_text import letter_text
from tests.rules.decision.records import BROKEN_IN
from tests.service.command_line import flat

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/reference-1.yaml, with a deductible. A pump of 1,000.00 with its handling of 15 %.
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2024-03-01", "records_complete_from": "2024-03-01"},
    "services": BROKEN_IN,
    "claim": {
        "failed_on": "2024-06-20",
        "reading": 200,
        "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
    },
}
BEARERS = ("owner_owes", "dealer_bears", "other_payer")


@pytest.mark.parametrize("kind", [k for k in KINDS.values() if k.bearer is None], ids=lambda kind: kind.code)
def test_a_text_names_no_bearer_where_the_clause_does(kind: Any) -> None:
    assert not re.search(r"\b(bears?|borne|owes|kept whole)\b", kind.text)
    if kind.effect in ("deny", "cut"):
        assert not re.search(r"\b(owner|dealer|payer|maker)\b", kind.text)


@pytest.mark.parametrize(
    ("borne_by", "bears"), [("owner", "owner_owes"), ("dealer", "dealer_bears"), ("other_payer", "other_payer")]
)
def test_whoever_bears_the_deductible_no_letter_says_that_another_does(
    runner: CaseRunner, borne_by: str, bears: str
) -> None:
    """1,150.00 less the deductible of 100.00."""
    amounts = {**dict.fromkeys(BEARERS, "0.00"), bears: "100.00"}
    case = {
        "name": "a deductible of 100.00",
        "terms": {"reference@1": {"deductible": {"clause": "8", "amount": "100.00", "borne_by": borne_by}}},
        "expect": {"pump": {"outcome": "pay_part", "maker_pays": "1050.00", "only_reasons": ["deductible"], **amounts}},
    }
    table = CaseTable.model_validate({"policies": ["reference@1"], "base": BASE, "cases": [case]})
    (result,) = runner.run(table)
    assert not result.mismatches
    words = {"owner_owes": "the owner", "dealer_bears": "the dealer", "other_payer": "another payer"}
    for told in (flat(letter_text(result.decision)), flat(decision_text(result.decision))):
        assert "The deductible is taken off" in told
        for other in (each for each in BEARERS if each != bears):
            assert f"{words[other]} bears" not in told.lower()
