"""One wrong day of a machine is one question, however many coverages count from it, and the dealer is told which day.

Terms: the demo's; each coverage states its start of term in its own way, and all of them begin with the delivery here.
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
BASE: dict[str, Any] = {
    "machine": {"model": "QF60", "use": "commercial", "region": "DE", "built_on": "2024-01-15"},
    "claim": {
        "failed_on": "2024-09-02",
        "reading": 300,
        "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
    },
}
SERVICE = {
    "on": "2024-05-02",
    "reading": 75,
    "tasks": ["drain_and_fill", "replace_filter"],
    "by": "authorised_dealer",
    "evidence": ["dealer_invoice"],
}


def decided(runner: CaseRunner, **events: str) -> Decision:
    table = {
        "policies": ["quillfen-base@1", "quillfen-engine@1", "quillfen-rental@1", *WHEEL_DRIVE],
        "base": {
            **BASE,
            "machine": {**BASE["machine"], "records_complete_from": "2024-01-15", **events},
            "services": {"a": SERVICE},
        },
        "cases": [{"name": "a day before the building", "expect": {"drive": {"outcome": "pay"}}}],
    }
    (result,) = runner.run(CaseTable.model_validate(table))
    return result.decision


def flat(text: str) -> str:
    return " ".join(text.split())


def test_a_delivery_before_the_building_that_changes_nothing_is_a_note(runner: CaseRunner) -> None:
    """From 11 March 2023 on version 1 pays in full up to 900 h; from 2024 on version 2 does, its 75 h service done."""
    decision = decided(runner, retail_delivery="2023-03-11")
    assert decision.lines[0].outcome == "pay"
    assert not decision.questions
    assert "dates_set_aside" in {note.code for note in decision.lines[0].notes}


DAYS = "retail delivery on 11 March 2014 lies before the machine was built on 15 January 2024"
INVOICE = "dealer invoice on 5 January 2014 lies before the machine was built on 15 January 2024"


def test_one_wrong_day_is_one_question_and_the_letter_names_it(runner: CaseRunner) -> None:
    """In 2014 no version was in force, in 2024 version 2 was: a person looks at the days."""
    decision = decided(runner, retail_delivery="2014-03-11")
    assert decision.lines[0].outcome == "refer"
    assert "too_many_open_facts" not in {reason.code for reason in decision.lines[0].reasons}
    (question,) = decision.questions
    assert (question.about, question.asks) == ("start", "person")
    assert question.words.endswith(f": {DAYS}")
    assert flat(decision_text(decision)).count("Held for a person: the day on which") == 1
    letter = flat(letter_text(decision))
    assert f"In doubt is the day on which the machine was delivered or first used: {DAYS}. If a day was noted" in letter
    assert "wrongly, send the record that shows it." in letter


def test_days_that_some_coverages_alone_count_from_are_in_the_same_question(runner: CaseRunner) -> None:
    """The base and the drive's coverage count from the invoice as well, those of engines and hire machines do not."""
    decision = decided(runner, retail_delivery="2014-03-11", dealer_invoice="2014-01-05")
    assert decision.lines[0].outcome == "refer"
    (question,) = (q for q in decision.questions if q.about == "start")
    assert question.words.endswith(f": {INVOICE}; {DAYS}")
    assert flat(decision_text(decision)).count("Held for a person: the day on which") == 1
