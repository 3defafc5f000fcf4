"""Which side of the machine a line and a question are about, where the component is on two sides."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/full-cover-1.yaml, drive oil at 80 h, 480 h and then every 480 h; the records of this
# machine are not known to be complete, and none is on file.
BASE: Mapping[str, Any] = {
    "machine": {
        "model": "RM10",
        "built_on": "2020-01-01",
        "retail_delivery": "2020-03-02",
        "components": {
            "l": {"component": "wheel_drive", "position": "left"},
            "r": {"component": "wheel_drive", "position": "right"},
        },
    },
    "claim": {
        "failed_on": "2021-06-01",
        "reading": 1600,
        "component": "wheel_drive",
        "lines": {
            "drive": {"component": "wheel_drive", "net": "1000.00"},
            "work": {"item": "labour", "component": "wheel_drive", "hours": "2.0"},
        },
    },
}


def decided(runner: CaseRunner, remedy: Mapping[str, str] | None = None, **claim: Any) -> Decision:
    case = {
        "name": "a drive on one side",
        "claim": claim,
        "expect": {"drive": {"claimed": "1150.00"}},
        "remedy": remedy,
    }
    table = CaseTable.model_validate({"policies": ["full-cover@1", "prorated@1"], "base": BASE, "cases": [case]})
    (result,) = runner.run(table)
    assert not result.mismatches
    return result.decision


@pytest.mark.parametrize("side", ["left", "right"])
def test_labour_is_about_the_side_that_the_claim_names(runner: CaseRunner, side: str) -> None:
    decision = decided(runner, position=side)
    assert {line.line: line.position for line in decision.lines} == {"drive": side, "work": side}


def test_a_line_that_names_its_own_side_keeps_it(runner: CaseRunner) -> None:
    decision = decided(runner, position="left", lines={"work": {"position": "right"}})
    assert {line.line: line.position for line in decision.lines} == {"drive": "left", "work": "right"}


def test_a_side_that_nobody_named_is_not_told_for_one(runner: CaseRunner) -> None:
    assert {line.position for line in decided(runner).lines} == {"none"}


def test_questions_about_services_name_the_side(runner: CaseRunner) -> None:
    decision = decided(runner, position="left", lines={"work": {"position": "right"}})
    asked = [question.words.partition(" due at ")[0] for question in decision.questions]
    assert sorted(asked) == [
        "records of the drive oil services of the left side",
        "records of the drive oil services of the right side",
    ]


def test_what_would_change_a_line_names_the_side(runner: CaseRunner) -> None:
    """With the last service on file the whole 1,150.00 is due; without, (2,400 − 1,600) ÷ 1,500 of it.

    Due at 80, 480, 960 and 1,440 h; cover counts again from a late one, and from 1,440 h the next is due at 1,920 h.
    """
    decision = decided(runner, {"drive": "1150.00"}, position="right", services_declared_complete=True)
    remedy = next(remedy for remedy in decision.remedies if remedy.line == "drive")
    assert remedy.desk_words == (
        "records of the drive oil services of the right side due at 1,440.0 h (1,392.0–1,488.0 h)"
    )
    assert remedy.letter_words.startswith("if the drive oil services of the right side due at 1,440.0 h were done")
