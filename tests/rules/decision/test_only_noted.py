"""A service that the policy only notes is told as a note: of lines it has to do with, where nothing of it is open."""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.rendering.letter_text import letter_text
from tests.rules.decision.records import BROKEN_IN
from tests.service.command_line import flat

pytestmark = pytest.mark.fast

# The reference terms; the recurring service of 250 h (225 to 275 h) is missing at 400 h, and is only noted.
BASE: dict[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2024-03-01", "records_complete_from": "2024-03-01"},
    "services": BROKEN_IN,
    "claim": {
        "failed_on": "2024-09-20",
        "reading": 400,
        "lines": {
            "pump": {"component": "hydrostatic_pump", "net": "1000.00"},
            "seat": {"component": "seat", "net": "100.00"},
        },
    },
}


def decided(runner: CaseRunner, duty: dict[str, Any], **case: Any) -> Decision:
    terms = {"reference@1": {"services": {"recurring": {"missed": "note_only", **duty}}}}
    cases = [{"name": "a case of this file", "terms": terms, "expect": {"pump": {"outcome": "pay"}}, **case}]
    (result,) = runner.run(CaseTable.model_validate({"policies": ["reference@1"], "base": BASE, "cases": cases}))
    assert not result.mismatches
    return result.decision


def noted(decision: Decision) -> list[str]:
    return [line.line for line in decision.lines for note in line.notes if note.code == "service_noted"]


def test_it_stands_beside_the_lines_that_the_service_can_have_to_do_with(runner: CaseRunner) -> None:
    assert noted(decided(runner, {})) == ["pump"]


def test_it_stands_beside_every_line_where_the_service_is_linked_to_none(runner: CaseRunner) -> None:
    assert noted(decided(runner, {"links": []})) == ["pump", "seat"]


def test_a_letter_tells_it_as_a_note_without_the_window(runner: CaseRunner) -> None:
    letter = flat(letter_text(decided(runner, {})))
    assert "Note: A service was not done as it should be; that is only noted. Missing: due at 250.0 h" in letter
    assert "225" not in letter


def test_it_is_not_told_while_records_may_not_be_complete(runner: CaseRunner) -> None:
    assert noted(decided(runner, {}, machine={"records_complete_from": None})) == []


def test_it_names_the_records_that_do_not_count(runner: CaseRunner) -> None:
    done = {"like": "b", "on": "2024-06-01", "reading": 250, "tasks": ["recurring"], "by": "owner"}
    decision = decided(runner, {"performed_by": ["authorised_dealer"]}, services={"s": done})
    (note,) = (note for note in decision.lines[0].notes if note.code == "service_noted")
    assert "Done by someone the coverage does not accept: due at 250.0 h" in note.words
    assert "s was done by owner" in note.words
    assert note.records == ("s",)
