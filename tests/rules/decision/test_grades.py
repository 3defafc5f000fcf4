"""The grade that the terms give to a service's proof is told, unless it is the best one."""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable

pytestmark = pytest.mark.fast

PROOF = [
    {"grade": "A", "all": ["log_entry"]},
    {"grade": "B", "all": ["telematics_reset"]},
    {"grade": "C", "all": ["garage_invoice"]},
]
SERVICE = {"on": "2024-06-01", "reading": 250, "tasks": ["recurring"], "by": "owner"}


@pytest.mark.parametrize(
    ("evidence", "told"),
    [
        (["log_entry"], []),
        (["log_entry", "telematics_reset"], []),  # the best of what is on file counts
        (["telematics_reset"], ["telematics reset, grade B."]),
        (["garage_invoice", "telematics_reset"], ["telematics reset, grade B."]),
        (["garage_invoice"], ["garage invoice, grade C."]),
    ],
)
def test_a_grade_below_the_best_is_told(runner: CaseRunner, evidence: list[str], told: list[str]) -> None:
    case: dict[str, Any] = {
        "name": "a service on time",
        "terms": {"reference@1": {"services": {"break_in": None, "recurring": {"proof": PROOF}}}},
        "services": {"a": {**SERVICE, "evidence": evidence}},
        "expect": {"pump": {"outcome": "pay"}},
    }
    base = {
        "machine": {"model": "RM10", "retail_delivery": "2024-03-01", "records_complete_from": "2024-03-01"},
        "claim": {
            "failed_on": "2024-08-01",
            "reading": 300,
            "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
        },
    }
    (result,) = runner.run(CaseTable.model_validate({"policies": ["reference@1"], "base": base, "cases": [case]}))
    assert not result.mismatches
    (line,) = result.decision.lines
    notes = [note for note in line.notes if note.code == "grade_of_evidence"]
    assert [note.words.removeprefix("A service is proven by evidence of a lower grade. ") for note in notes] == told
    assert all(note.records == ("a",) for note in notes)
