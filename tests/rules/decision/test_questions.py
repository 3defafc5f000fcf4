"""By when a question must be answered: the days run from the first time that its subject was asked about."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/reference-1.yaml under common-civil@1, which asks for records that are not on file and
# gives 30 days to answer. No service at 250 h is on file and nothing says that the records are complete.
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2023-09-01"},
    "claim": {
        "failed_on": "2024-02-01",
        "reading": 300,
        "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
    },
}


def decided(runner: CaseRunner, on: str, *questions: Mapping[str, Any]) -> Decision:
    """Return the decision of the claim on a day, with the questions that were put before it."""
    case = {
        "name": "asked about the services",
        "claim": {"questions": list(questions)},
        "decided_on": on,
        "expect": {"pump": {"outcome": "need_info"}},
    }
    table = CaseTable.model_validate({"policies": ["reference@1"], "base": BASE, "cases": [case]})
    (result,) = runner.run(table)
    return result.decision


# Thirty days after 5 February 2024 (a leap year) are 6 March; after 20 February, 21 March; after 3 February, 4 March.
@pytest.mark.parametrize(
    ("on", "asked", "by"),
    [
        ("2024-02-05", [], "2024-03-06"),
        ("2024-02-20", [], "2024-03-21"),
        ("2024-02-20", [{"about": "services", "asked_on": "2024-02-05"}], "2024-03-06"),
        ("2024-03-06", [{"about": "services", "asked_on": "2024-02-05"}], "2024-03-06"),
        (
            "2024-03-01",
            [{"about": "services", "asked_on": "2024-02-05"}, {"about": "services", "asked_on": "2024-02-03"}],
            "2024-03-04",
        ),
        (
            "2024-02-20",
            [
                {"about": "services", "asked_on": "2024-02-03", "answered": True},
                {"about": "services", "asked_on": "2024-02-05"},
            ],
            "2024-03-06",
        ),
        ("2024-02-20", [{"about": "services", "asked_on": "2024-02-05", "answered": True}], "2024-03-21"),
        ("2024-02-20", [{"about": "reading", "asked_on": "2024-02-05"}], "2024-03-21"),
        ("2024-02-20", [{"about": "services", "asked_on": "2024-02-25"}], "2024-03-21"),
    ],
)
def test_the_days_to_answer_run_from_the_first_question_that_stands(
    runner: CaseRunner, on: str, asked: list[Mapping[str, Any]], by: str
) -> None:
    decision = decided(runner, on, *asked)
    assert decision.questions
    assert {(q.about, q.answer_by) for q in decision.questions} == {("services", by)}
    assert {day for _, _, day in decision.deadlines} == {by}
