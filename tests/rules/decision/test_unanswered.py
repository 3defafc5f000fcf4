"""A service without a record is missed, late or still to be answered; the derivation tells which."""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.rendering.derivation_text import derivation_text

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/two-services-1.yaml, the oil every 250 h (25 h either side); an inspection every 12
# months. The failure at 300 h, three months after delivery, leaves the oil at 250 h without a record.
BASE: dict[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2020-03-02"},
    "claim": {
        "failed_on": "2020-06-01",
        "reading": 300,
        "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
    },
}
LATE = {
    "on": "2020-05-20",
    "reading": 290,
    "tasks": ["oil_change"],
    "by": "authorised_dealer",
    "evidence": ["dealer_invoice"],
}


def decided(runner: CaseRunner, **case: Any) -> Decision:
    table = {
        "policies": ["two-services@1"],
        "base": BASE,
        "cases": [{"name": "oil at 250 h", "expect": {"pump": {"outcome": "pay"}}, **case}],
    }
    (result,) = runner.run(CaseTable.model_validate(table))
    return result.decision


def points(decision: Decision) -> list[str]:
    return [m.value.partition(" ")[0] for m in decision.measures if m.name == "oil point 1"]


def test_a_service_that_is_asked_about_is_not_called_missed(runner: CaseRunner) -> None:
    decision = decided(runner)
    assert decision.lines[0].outcome == "need_info"
    assert points(decision) == ["unanswered"]
    text = " ".join(derivation_text(decision).split())
    assert "oil, due point 1: no record on file, and asked for, window 225.0 to 275.0 h" in text
    assert "service due: oil, taken as missed until it is answered" in text
    assert "missed, window" not in text


def test_a_service_that_complete_records_do_not_hold_is_missed(runner: CaseRunner) -> None:
    decision = decided(runner, machine={"records_complete_from": "2020-03-02"})
    assert decision.lines[0].outcome == "deny"
    assert points(decision) == ["missed"]
    assert "service due: oil, missed" in " ".join(derivation_text(decision).split())


def test_a_service_done_after_its_window_is_late(runner: CaseRunner) -> None:
    assert points(decided(runner, machine={"records_complete_from": "2020-03-02"}, services={"s1": LATE})) == ["late"]


def test_notes_of_due_points_stand_in_their_order(runner: CaseRunner) -> None:
    """Early at 200, 430, 700 and 930 h, each before its window: those of 250, 500, 750 and 1,000 h, by number."""
    visits = {
        f"s{number}": {**LATE, "on": f"2020-0{3 + number}-10", "reading": reading}
        for number, reading in enumerate((200, 430, 700, 930))
    }
    decision = decided(
        runner,
        machine={"records_complete_from": "2020-03-02"},
        claim={"failed_on": "2020-07-01", "reading": 940},
        services=visits,
        terms={"two-services@1": {"services": {"oil": {"next_due_from": "due_point"}}}},
    )
    early = [note.words.partition("Due at ")[2].partition(" (")[0] for note in decision.lines[0].notes]
    assert [words for words in early if words] == ["250.0 h", "500.0 h", "750.0 h", "1,000.0 h"]
