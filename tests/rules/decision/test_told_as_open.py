"""What is open is told as open: by measures and notes, by what would change a line, and by the letter that asks for it.

Terms: fixtures/cases/policies/full-cover-1.yaml (drive oil at 80 h, 8 h either side, and every 480 h, 48 h either side;
else prorated-1.yaml: in full up to 900 h, nothing at 2,400 h) and term-plain-1.yaml (1,000 h). 24 h a day at most.
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

DONE = {
    "tasks": ["drain_and_fill", "replace_filter"],
    "by": "authorised_dealer",
    "dealer": "D-2",
    "evidence": ["dealer_invoice"],
}
A = {**DONE, "on": "2020-05-11", "reading": 80}
B = {**DONE, "on": "2020-11-01", "reading": 480}
DRIVE: dict[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2020-03-02", "records_complete_from": "2020-03-02"},
    "services": {"a": A, "b": B},
    "claim": {
        "failed_on": "2021-06-01",
        "submitted_on": "2021-06-05",
        "reading": 600,
        "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
    },
}
PUMP: dict[str, Any] = {
    "machine": {
        "model": "RM10",
        "retail_delivery": "2024-07-20",
        "built_on": "2024-01-01",
        "readings": {"r1": {"on": "2025-01-01", "hours": 900}},
    },
    "claim": {
        "failed_on": "2025-03-01",
        "reading": 1010,
        "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
    },
}


def decided(runner: CaseRunner, policies: list[str], base: dict[str, Any], **case: Any) -> Decision:
    line = next(iter(base["claim"]["lines"]))
    cases = [{"name": "a case of this file", "expect": {line: {"outcome": "pay"}}, "remedy": {line: "0.00"}, **case}]
    (result,) = runner.run(CaseTable.model_validate({"policies": policies, "base": base, "cases": cases}))
    return result.decision


def drive(runner: CaseRunner, **case: Any) -> Decision:
    return decided(runner, ["full-cover@1", "prorated@1"], DRIVE, **case)


def value_of(decision: Decision, name: str) -> str:
    return next(measure.value for measure in decision.measures if measure.name == name)


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_hours_that_are_not_known_are_told_with_their_range(runner: CaseRunner) -> None:
    """1,010 h in the claim, 900 h before and 990 h after it: at the failure between 900 and 1,010 h."""
    later = {"readings": {"r2": {"on": "2025-04-01", "hours": 990}}}
    decision = decided(runner, ["term-plain@1"], PUMP, machine=later)
    assert decision.lines[0].outcome == "refer"
    assert value_of(decision, "machine hours at the failure") == "900.0 to 1,010.0 h"
    assert value_of(decision, "machine: term.ends[1]") == "900.0 to 1,010.0 h used"


def test_hours_that_change_nothing_are_told_with_their_range_all_the_same(runner: CaseRunner) -> None:
    later = {"readings": {"r2": {"on": "2025-04-01", "hours": 970}}}
    decision = decided(runner, ["term-plain@1"], PUMP, machine=later, claim={"reading": 980})
    assert decision.lines[0].outcome == "pay"
    assert value_of(decision, "machine hours at the failure") == "900.0 to 980.0 h"


def test_a_due_point_is_told_as_open_and_no_note_takes_it_for_a_fact(runner: CaseRunner) -> None:
    """The service between 400 and 600 h is early, in its window (432 to 528 h) or late, and paid in each case."""
    round_it = {"r1": {"on": "2020-10-01", "hours": 400}, "r2": {"on": "2021-01-01", "hours": 600}}
    decision = drive(runner, machine={"readings": round_it}, services={"b": {"reading": None}}, claim={"reading": 700})
    assert decision.lines[0].outcome == "pay"
    assert value_of(decision, "drive_oil point 1") == "met window 72.0 to 88.0 h"
    assert value_of(decision, "drive_oil point 2") == "open: early or late or met window 432.0 to 528.0 h"
    assert {note.code for note in decision.lines[0].notes} == {"typed_unchecked"}
    text = one_line(derivation_text(decision))
    assert "drive oil, due point 2: open: early or late or met, window 432.0 to 528.0 h" in text
    assert "where the open facts are as the lines take them" in text


def test_what_is_certain_is_told_as_ever(runner: CaseRunner) -> None:
    decision = drive(runner)
    assert value_of(decision, "machine hours at the failure") == "600.0 h"
    assert value_of(decision, "drive_oil point 2") == "met window 432.0 to 528.0 h"
    assert "Rules that fired, with the facts they matched" in derivation_text(decision)


def test_windows_of_a_later_fitting_are_told_in_machine_hours(runner: CaseRunner) -> None:
    """A kit at 730 h: due 100 h later, 10 h either side, and 500 h later, a tenth of the 400 h between either side."""
    fitted = {"component": "wheel_drive", "fitted_as": "retrofit_kit", "fitted_on": "2024-12-01", "fitted_at": 730}
    base = {
        "machine": {
            "model": "RM10",
            "retail_delivery": "2023-03-01",
            "records_complete_from": "2023-03-01",
            "components": {"F": {"component": "wheel_drive"}, "K": {**fitted, "kit_parts": ["seal_kit"]}},
        },
        "claim": {**DRIVE["claim"], "failed_on": "2025-06-01", "submitted_on": "2025-06-05", "reading": 1500},
    }
    decision = decided(runner, ["drive-kit@1", "drive-prorated@1"], base)
    text = one_line(derivation_text(decision))
    assert "drive oil: schedule starts: 1 December 2024, at 730.0 h" in text
    assert "drive oil, due point 1: missed, window 820.0 to 840.0 h" in text
    assert "drive oil, due point 2: missed, window 1,190.0 to 1,270.0 h" in text


def test_one_reading_below_a_record_is_one_question(runner: CaseRunner) -> None:
    """80, 480 and 450 h: the first of them agrees with both others."""
    decision = drive(runner, claim={"reading": 450})
    assert decision.lines[0].outcome == "refer"
    assert [question.words for question in decision.questions] == [
        "the meter reading of 450.0 h on 1 June 2021 (the claim), which is below 480.0 h on 1 November 2020 (b)"
    ]
    assert value_of(decision, "drive_oil point 1") == "met window 72.0 to 88.0 h"
    letter = one_line(letter_text(decision))
    assert "the meter reading of 450.0 h on 1 June 2021 (the claim), which does not agree with that of" in letter
    assert "480.0 h" not in letter
    assert "send the record that shows it" in letter


def test_while_the_reading_is_impossible_no_service_is_what_would_change_the_line(runner: CaseRunner) -> None:
    """480 h on 1 November and 6,400 h on 1 June, 212 days later: 30 h a day; 640 h may be meant, and nothing be due."""
    decision = drive(runner, claim={"reading": 6400})
    assert decision.lines[0].outcome == "need_info"
    assert decision.remedies == ()
    assert "was 640.0 h meant?" in decision.questions[0].words


def test_nor_while_a_reading_that_is_not_given_leaves_room_for_further_services(runner: CaseRunner) -> None:
    """From 480 h up to 480 + 213 × 24 h; with 1,100 h at the repair only the service at 960 h can be missing."""
    facts = {fact for remedy in drive(runner, claim={"reading": None}).remedies for fact in remedy.facts}
    assert facts == {"reading:failure"}
    bounded = drive(runner, claim={"reading": None, "repair_reading": 1100, "repair_began_on": "2021-06-02"})
    (remedy,) = bounded.remedies
    assert "due at 960.0 h (912.0–1,008.0 h)" in remedy.desk_words


def test_a_missing_service_names_no_record_that_is_not_about_it(runner: CaseRunner) -> None:
    """The service at 80 h lacks its invoice; the one at 480 h came after that window and is in order."""
    never = {"full-cover@1": {"services": {"drive_oil": {"late": "never_cures"}}}}
    decision = drive(runner, terms=never, services={"a": {"evidence": []}}, claim={"reading": 905})
    missed = [reason for reason in decision.lines[0].reasons if reason.code == "service_missed"]
    assert [reason.records for reason in missed] == [("a",)]


ASKED = [{"about": "reading", "asked_on": "2021-06-06"}]


def test_a_question_whose_time_is_over_names_no_day_to_answer_by(runner: CaseRunner) -> None:
    """Asked on 6 June, 30 days to answer: due by 6 July."""
    decision = drive(runner, claim={"reading": None, "questions": ASKED}, decided_on="2021-08-01")
    assert [(q.asked_on, q.answer_by) for q in decision.questions] == [("2021-06-06", "2021-07-06")]
    letter = one_line(letter_text(decision))
    assert (
        "Please tell us: the meter reading at the failure (line drive). This was asked on 6 June 2021, due by" in letter
    )
    assert "due by 6 July 2021, and not answered: what is open is not paid before you answer." in letter
    assert ", by 6 July 2021" not in letter
    desk = one_line(decision_text(decision))
    assert "asked on 6 June 2021, due by 6 July 2021, and not answered: it stays open until it is answered." in desk


def test_on_the_last_day_there_is_still_time(runner: CaseRunner) -> None:
    decision = drive(runner, claim={"reading": None, "questions": ASKED}, decided_on="2021-07-06")
    letter = one_line(letter_text(decision))
    assert "Please tell us: the meter reading at the failure, by 6 July 2021 (line drive)." in letter
    assert "not answered" not in letter


def test_a_first_question_was_not_asked_before(runner: CaseRunner) -> None:
    decision = drive(runner, claim={"reading": None}, decided_on="2021-06-06")
    assert [(q.asked_on, q.answer_by) for q in decision.questions] == [(None, "2021-07-06")]
