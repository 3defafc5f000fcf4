"""A refusal for a service that is not on file tells on what ground its absence counts: to the desk and to the dealer.

Terms: fixtures/cases/policies/reference-1.yaml, break-in due at 50 h, its window to 60 h; the failure at 60.1 h.
Asked on 5 March 2025: 30 days to answer end on 4 April 2025.
"""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.rendering.decision_text import decision_text
from service.rendering.derivation_text import derivation_text
from service.rendering.letter_text import letter_text

pytestmark = pytest.mark.fast

BASE: dict[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2025-01-10"},
    "claim": {
        "failed_on": "2025-03-01",
        "reading": "60.1",
        "submitted_on": "2025-03-03",
        "lines": {"box": {"component": "transmission", "net": "1000.00"}},
    },
    "decided_on": "2025-04-05",
}
ASKED = {"questions": [{"about": "services", "asked_on": "2025-03-05"}]}
COMPLETE = {"records_complete_from": "2025-01-10"}


def denied(runner: CaseRunner, **case: Any) -> Decision:
    table = {
        "policies": ["reference@1"],
        "base": BASE,
        "cases": [{"name": "the break-in is not on file", "expect": {"box": {"outcome": "deny"}}, **case}],
    }
    (result,) = runner.run(CaseTable.model_validate(table))
    assert result.decision.lines[0].outcome == "deny"
    return result.decision


def facts(decision: Decision) -> dict[str, str]:
    (reason,) = (r for r in decision.lines[0].reasons if r.code in ("service_missed", "coverage_not_activated"))
    return dict(reason.facts)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_what_the_dealer_declared(runner: CaseRunner) -> None:
    decision = denied(runner, claim={"services_declared_complete": True})
    found = facts(decision)
    assert found["declared by the dealer"] == "the services on file are complete"
    assert "records complete from" not in found
    assert "asked on" not in found
    assert "declared by the dealer: the services on file are complete" in flat(decision_text(decision))
    explained = flat(derivation_text(decision))
    assert "not on file, and the dealer declared the services on file complete" in explained
    letter = flat(letter_text(decision))
    assert "you declared that the services on file are complete" in letter
    assert "we do not know" not in letter.lower()


def test_a_question_that_stood_unanswered(runner: CaseRunner) -> None:
    decision = denied(runner, claim=ASKED)
    found = facts(decision)
    assert found["asked on"] == "5 March 2025, unanswered by 4 April 2025"
    assert "declared by the dealer" not in found
    assert "asked on: 5 March 2025, unanswered by 4 April 2025" in flat(decision_text(decision))
    assert "not on file, and the time to answer is over" in flat(derivation_text(decision))
    letter = flat(letter_text(decision))
    asked = "the services that are not on file were asked for on 5 March 2025, unanswered by 4 April 2025"
    assert asked in letter
    assert "we do not know" not in letter.lower()


def test_what_is_known_comes_before_what_was_asked(runner: CaseRunner) -> None:
    """Complete records show that it was not done: neither the declaration nor the question is what it rests on."""
    found = facts(denied(runner, machine=COMPLETE, claim={**ASKED, "services_declared_complete": True}))
    assert found["records complete from"] == "10 January 2025"
    assert "asked on" not in found
    assert "declared by the dealer" not in found


def test_records_that_begin_after_the_window_are_told_beside_the_declaration(runner: CaseRunner) -> None:
    late = {"records_complete_from": "2025-03-01", "readings": {"r": {"on": "2025-02-28", "hours": 60}}}
    found = facts(denied(runner, machine=late, claim={"services_declared_complete": True}))
    assert found["records complete from"] == "1 March 2025"
    assert found["declared by the dealer"] == "the services on file are complete"


def test_what_the_terms_take_for_not_done(runner: CaseRunner) -> None:
    decision = denied(runner, conventions={"absent_service_record": {"counts_as": "not_done", "not_done_when": []}})
    assert facts(decision)["by the terms"] == "a service that is not on file counts as not done"
    assert "not on file, which the terms take for not done" in flat(derivation_text(decision))
    assert "a service that is not on file counts as not done" in flat(letter_text(decision))


def test_a_booking_whose_proof_was_asked_for_in_vain(runner: CaseRunner) -> None:
    """Booked at 50 h, inside the window to 60 h, for 10 March, after the failure: proven, it would hold it open."""
    booking = {
        "asked_on": "2025-02-01",
        "asked_at": 50,
        "tasks": ["break_in"],
        "earliest_slot_on": "2025-03-10",
        "proven": False,
    }
    case: dict[str, Any] = {
        "terms": {"reference@1": {"services": {"break_in": {"bookings_count": True}}}},
        "claim": {"questions": [{"about": "evidence", "asked_on": "2025-03-05"}]},
    }
    decision = denied(runner, machine={**COMPLETE, "bookings": {"k": booking}}, **case)
    told = "k; its proof was asked for on 5 March 2025, unanswered by 4 April 2025"
    assert facts(decision)["booking not counted"] == told
    assert f"ot counted: booking {told}" in flat(letter_text(decision))
    # Asked for at 60.1 h, after the window had closed, it held nothing open, proven or not.
    late = denied(runner, machine={**COMPLETE, "bookings": {"k": {**booking, "asked_at": "60.1"}}}, **case)
    assert "booking not counted" not in facts(late)


def test_records_of_the_dealer_who_sold_the_machine(runner: CaseRunner) -> None:
    found = facts(
        denied(
            runner,
            terms={"reference@1": {"services": {"break_in": {"performed_by": ["selling_dealer"]}}}},
            machine={"selling_dealer": "D-1"},
            dealer={"dealer": "D-1", "records_complete_from": "2025-01-10"},
        )
    )
    assert found["records complete from"] == "10 January 2025 (those of dealer D-1, who sold the machine)"
