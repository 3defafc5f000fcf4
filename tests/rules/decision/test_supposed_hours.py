"""Hours that nobody stated are never told as the machine's: a reason that rests on them says what it supposes.

Terms: fixtures/cases/policies/full-cover-1.yaml (drive oil at 80 h, 480 h and every 480 h, 48 h either side; else
prorated-1.yaml: in full up to 900 h, nothing at 2,400 h). The services at 80 and 480 h are on file, and no others.
"""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision, Reason
from service.rendering.decision_text import decision_text
from service.rendering.letter_text import letter_text

pytestmark = pytest.mark.fast

DONE = {"tasks": ["drain_and_fill", "replace_filter"], "by": "authorised_dealer", "evidence": ["dealer_invoice"]}
BASE: dict[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2020-03-02", "records_complete_from": "2020-03-02"},
    "services": {
        "a": {**DONE, "on": "2020-05-11", "reading": 80},
        "b": {**DONE, "on": "2020-11-01", "reading": 480},
    },
    "claim": {
        "failed_on": "2021-06-01",
        "submitted_on": "2021-06-05",
        "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
    },
}
TAKEN = "Not decided yet, and only taken for now, as if the machine had run 2,400.0 h: "


def decided(runner: CaseRunner, outcome: str, **case: Any) -> Decision:
    cases = [{"name": "a case of this file", "expect": {"drive": {"outcome": outcome}}, **case}]
    table = {"policies": ["full-cover@1", "prorated@1"], "base": BASE, "cases": cases}
    (result,) = runner.run(CaseTable.model_validate(table))
    assert result.decision.lines[0].outcome == outcome
    return result.decision


def reason(decision: Decision, code: str) -> Reason:
    (found,) = (r for r in decision.lines[0].reasons if r.code == code)
    return found


def flat(text: str) -> str:
    return " ".join(text.split())


def test_without_a_reading_a_reason_says_which_hours_it_supposes(runner: CaseRunner) -> None:
    decision = decided(runner, "need_info")
    for code in ("service_missed", "prorated_to_nothing"):
        assert ("as if the machine had run", "2,400.0 h") in reason(decision, code).facts
    for text in (flat(decision_text(decision)), flat(letter_text(decision))):
        assert f"{TAKEN}decided under" in text
        assert f"{TAKEN}covered, but the paid share has fallen to nothing" in text
        assert text.count("as if the machine had run") == 2  # told before the reason, and not again among its facts


def test_what_the_least_hours_decide_supposes_nothing(runner: CaseRunner) -> None:
    """At 1,100 h or more the window of 960 h (to 1,008 h) had closed; that of 1,440 h may still have been open."""
    decision = decided(runner, "need_info", machine={"readings": {"r": {"on": "2021-05-31", "hours": 1100}}})
    missed = reason(decision, "service_missed")
    assert dict(missed.facts)["due"] == "960.0 h (912.0–1,008.0 h)"
    assert missed.comparison is not None
    assert (missed.comparison.left, missed.comparison.right) == ("1100.00", "1008.00")
    assert "as if the machine had run" not in dict(missed.facts)


def test_a_stated_reading_is_supposed_by_nobody(runner: CaseRunner) -> None:
    """At 1,500 h: (2,400 − 1,500) ÷ 1,500 = 3/5; 960 h and 1,440 h (to 1,488 h) had passed without a service."""
    decision = decided(runner, "pay_part", claim={"reading": 1500})
    missed = reason(decision, "service_missed")
    assert dict(missed.facts)["due"] == "960.0 h (912.0–1,008.0 h); 1,440.0 h (1,392.0–1,488.0 h)"
    for found in decision.lines[0].reasons:
        assert "as if the machine had run" not in dict(found.facts)
