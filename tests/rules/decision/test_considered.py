"""Why a coverage that covers a line does not pay it: the coverages are compared before the steps over the claim.

The base coverage, here of the drives as well, pays a drive in full; the drive's own falls back and pays one half at
1,500 h. What a deductible, a cap or a choice of parts or labour then takes changes no choice, and the words say so.
"""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Considered

pytestmark = pytest.mark.fast

BASE: dict[str, Any] = {
    "machine": {
        "model": "RM10",
        "retail_delivery": "2024-01-10",
        "records_complete_from": "2024-01-10",
        "components": {"W": {"component": "wheel_drive", "serial": "WD-1"}},
    },
    "claim": {
        "failed_on": "2025-06-16",
        "repair_ended_on": "2025-06-20",
        "reading": 1500,
        "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
    },
    "earlier_payments": {
        "P-1": {"paid_on": "2025-01-15", "policy": "beside-drive@1", "component": "pump", "amount": "1000.00"}
    },
}
DEDUCTIBLE = {"clause": "7", "amount": "50.00", "borne_by": "owner"}
CAP = {
    "clause": "8",
    "over": "machine_lifetime",
    "at": {"amount": "1300.00"},
    "items": "all",
    "excess_borne_by": "owner",
}
EITHER_OR = {"clause": "4.4", "items": ["parts", "labour"], "after": {"months": 1}, "picks": "higher"}


def drive_of(runner: CaseRunner, base: dict[str, Any], own: dict[str, Any], pays: str) -> tuple[Considered, ...]:
    """Return what was looked at beside the base coverage, which pays the line ``pays``."""
    terms = {
        "beside-drive@1": {"applies_to": {"except_components": []}, **base},
        "paired-drive@1": own,
    }
    expect = {"drive": {"policy": "beside-drive@1", "maker_pays": pays}}
    case = {"name": "two coverages of one drive", "terms": terms, "expect": expect}
    policies = ["beside-drive@1", "paired-drive@2", "paired-drive@1"]
    (result,) = runner.run(CaseTable.model_validate({"policies": policies, "base": BASE, "cases": [case]}))
    assert not result.mismatches, "\n".join(map(str, result.mismatches))
    return result.decision.lines[0].considered


@pytest.mark.parametrize(
    ("base", "own", "pays", "why"),
    [
        ({}, {}, "1000.00", "it pays the customer no more"),
        ({"caps": [CAP]}, {}, "300.00", "it pays the customer no more before the caps"),
        ({}, {"caps": [CAP]}, "1000.00", "it pays the customer no more before the caps"),
        ({"deductible": DEDUCTIBLE}, {}, "950.00", "it pays the customer no more before the deductible"),
        (
            {"deductible": DEDUCTIBLE, "caps": [CAP]},
            {"pays": {"either_or": {**EITHER_OR, "borne_by": "owner"}}},
            "300.00",
            "it pays the customer no more before the deductible and the caps and the choice of parts or labour",
        ),
    ],
)
def test_the_words_name_the_steps_that_come_after_the_comparison(
    runner: CaseRunner, base: dict[str, Any], own: dict[str, Any], pays: str, why: str
) -> None:
    (considered,) = drive_of(runner, base, own, pays)
    assert (considered.policy, considered.outcome, str(considered.maker_pays)) == (
        "paired-drive@1",
        "covered",
        "500.00",
    )
    assert considered.why == why
