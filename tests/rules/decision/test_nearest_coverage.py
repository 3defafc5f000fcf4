"""A line that no coverage applies to is told which ones missed it by the least, each by name and with its clause.

Terms: the demo's. The base coverage (clause 1.1: QF…, QV… and QT… in commercial, residential or public use, in seven
regions) and that of hire machines (clause 1: the same models in rental use) are for the whole machine but drives,
tracks and batteries; the engine's (8.1) names the engine, the wheel drive's (5.0) the drive of QF40 and QF60.
"""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.rendering.decision_text import decision_text
from service.rendering.letter_text import letter_text

pytestmark = pytest.mark.fast

WHEEL_DRIVE = ["quillfen-wheel-drive@1", "quillfen-wheel-drive@2", "quillfen-wheel-drive@3"]
POLICIES = ["quillfen-base@1", "quillfen-engine@1", "quillfen-rental@1", *WHEEL_DRIVE]
TITLES = {"quillfen-rental@1": "Quillfen coverage of hire machines"}
MACHINE = {"model": "QF60", "use": "commercial", "region": "DE", "retail_delivery": "2024-03-11"}


def denied(runner: CaseRunner, component: str, policies: list[str] = POLICIES, **machine: str) -> Decision:
    table: dict[str, Any] = {
        "policies": policies,
        "base": {
            "machine": {**MACHINE, **machine},
            "claim": {
                "failed_on": "2024-09-02",
                "reading": 300,
                "lines": {"part": {"component": component, "net": "1000.00"}},
            },
        },
        "cases": [{"name": "no coverage applies", "expect": {"part": {"outcome": "deny"}}}],
    }
    (result,) = runner.run(CaseTable.model_validate(table))
    assert result.decision.lines[0].outcome == "deny"
    assert result.decision.lines[0].policy is None
    return result.decision


def reasons(decision: Decision) -> list[tuple[str, str | None, str | None]]:
    return [(reason.code, reason.policy, reason.clause) for reason in decision.lines[0].reasons]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_each_near_miss_names_its_coverage_to_desk_and_dealer(runner: CaseRunner) -> None:
    decision = denied(runner, "transmission", region="SE")
    assert reasons(decision) == [
        ("use_not_covered", "quillfen-rental@1", "1"),
        ("region_not_covered", "quillfen-base@1", "1.1"),
    ]
    desk = flat(decision_text(decision))
    assert "machines in this use (clause 1 of quillfen-rental 1, in plain words: Covered is" in desk
    assert "It holds for machines in rental use)." in desk
    assert "machines in this region (clause 1.1 of quillfen-base 1, in plain words" in desk
    letter = flat(letter_text(decision, titles=TITLES))
    assert "(clause 1 of “Quillfen coverage of hire machines”, version 1, in plain words" in letter
    assert "(clause 1.1 of quillfen-base 1, in plain words" in letter


def test_two_coverages_that_miss_for_the_same_reason_are_both_told(runner: CaseRunner) -> None:
    """The base and the engine's own name the engine, and neither a machine in military use; nor does the hire one."""
    decision = denied(runner, "engine", use="military")
    assert reasons(decision) == [
        ("use_not_covered", "quillfen-base@1", "1.1"),
        ("use_not_covered", "quillfen-engine@1", "8.1"),
        ("use_not_covered", "quillfen-rental@1", "1"),
    ]


def test_a_mistyped_model_is_told_which_coverage_names_the_component(runner: CaseRunner) -> None:
    """Version 2 of the drive's coverage is in force on 11 March 2024. The base leaves drives out, and says so first."""
    decision = denied(runner, "wheel_drive", model="QF6O")
    assert reasons(decision) == [
        ("model_not_named", "quillfen-wheel-drive@2", "5.0"),
        ("component_not_named", "quillfen-base@1", "1.1"),
    ]
    assert dict(decision.lines[0].reasons[0].facts)["model"] == "QF6O"
    # Whoever decides it again needs the version that is named.
    assert "quillfen-wheel-drive@2" in dict(decision.digests.policies)
    assert ("quillfen-wheel-drive@2", "does_not_apply") in [(c.policy, c.outcome) for c in decision.lines[0].considered]


def test_a_coverage_of_whole_machines_of_other_models_is_not_near(runner: CaseRunner) -> None:
    policies = ["quillfen-base@1", "quillfen-implement@1"]
    implement = denied(runner, "spray_pump", policies, model="QM1")
    assert [code for code, *_ in reasons(implement)] == ["component_not_named"]


def test_a_machine_that_nothing_names_is_told_one_coverage(runner: CaseRunner) -> None:
    decision = denied(runner, "transmission", model="XX")
    assert reasons(decision) == [("no_coverage_for_machine", "quillfen-base@1", "1.1")]
    assert dict(decision.lines[0].reasons[0].facts)["model"] == "XX"
