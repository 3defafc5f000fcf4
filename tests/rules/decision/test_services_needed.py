"""What would change a line names the services that it lacks and no others, and with these on file it comes to that.

Terms: fixtures/cases/policies/reference-1.yaml with 24 months and no limit of hours: a service every 250 h (25 h either
side) or 12 months (30 days either side) from delivery on 1 March 2024. The pump comes to 1,000.00 × 1.15 = 1,150.00.
"""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.rendering.decision_text import decision_text
from service.rendering.letter_text import letter_text
from tests.rules.decision.records import BROKEN_IN, Service, service

pytestmark = pytest.mark.fast

HOURS_ALONE: Mapping[str, Any] = {"due": {"calendar": None}, "window": {"calendar": None}}


def decided(
    runner: CaseRunner,
    services: Mapping[str, Service],
    failed_on: str,
    reading: int,
    machine: Mapping[str, Any] | None = None,
    **terms: Any,
) -> Decision:
    recurring = {"services": {"recurring": terms}} if terms else {}
    case = {
        "name": "a case of this file",
        "terms": {"reference@1": {"term": {"ends": {"first_of": [{"months": 24}]}}, **recurring}},
        "machine": {
            "model": "RM10",
            "retail_delivery": "2024-03-01",
            "records_complete_from": "2024-03-01",
            **(machine or {}),
        },
        "services": {**BROKEN_IN, **services},
        "claim": {
            "failed_on": failed_on,
            "reading": reading,
            "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
        },
        "expect": {"pump": {"outcome": "pay"}},
        "remedy": {"pump": "1150.00"},
    }
    base = {"machine": case.pop("machine"), "services": case.pop("services"), "claim": case.pop("claim")}
    (result,) = runner.run(CaseTable.model_validate({"policies": ["reference@1"], "base": base, "cases": [case]}))
    return result.decision


def due(decision: Decision) -> str:
    """Return the due points that the only remedy names."""
    (remedy,) = decision.remedies
    assert (remedy.line, remedy.outcome, str(remedy.maker_pays)) == ("pump", "pay", "1150.00")
    return remedy.desk_words.removeprefix("records of the recurring services due at ")


def told(decision: Decision, fact: str) -> str:
    return next(value for reason in decision.lines[0].reasons for name, value in reason.facts if name == fact)


SECOND = {"second": service("2024-08-01", 525)}


def test_a_service_whose_lack_is_cured_already_is_not_asked_for(runner: CaseRunner) -> None:
    """250 h was missed; 525 h is past it and counts again. The next is due at 775 h (750 to 800), missed at 1,040 h."""
    decision = decided(runner, SECOND, "2025-01-20", 1040)
    assert (decision.lines[0].outcome, told(decision, "due")) == ("deny", "775.0 h (750.0–800.0 h)")
    assert due(decision) == "775.0 h (750.0–800.0 h)"


@pytest.mark.parametrize("at", [750, 775, 800])
def test_with_it_on_file_anywhere_in_its_window_the_line_is_paid(runner: CaseRunner, at: int) -> None:
    """The next one is due at 1,025 h (1,000 to 1,050), and still open at 1,040 h."""
    decision = decided(runner, {**SECOND, "z": service("2024-11-01", at)}, "2025-01-20", 1040)
    assert (decision.lines[0].outcome, str(decision.lines[0].maker_pays)) == ("pay", "1150.00")


@pytest.mark.parametrize(
    ("late", "judged", "named"),
    [
        ("cures_from_its_date", "every_closed_window", "750.0 h (725.0–775.0 h)"),
        ("never_cures", "last_closed_window", "750.0 h (725.0–775.0 h)"),
        (
            "never_cures",
            "every_closed_window",
            "250.0 h (225.0–275.0 h); 500.0 h (475.0–525.0 h); 750.0 h (725.0–775.0 h)",
        ),
    ],
)
def test_of_three_missing_ones_the_last_is_enough_where_it_cures(
    runner: CaseRunner, late: str, judged: str, named: str
) -> None:
    """None of three at 790 h, in the first year; a day that the failure did not reach is told with none of them."""
    decision = decided(runner, {}, "2024-12-20", 790, late=late, judged=judged)
    assert due(decision) == named


def test_where_the_records_are_open_the_question_asks_for_all_and_the_last_is_enough(runner: CaseRunner) -> None:
    decision = decided(runner, {}, "2024-12-20", 790, {"records_complete_from": None})
    assert decision.lines[0].outcome == "need_info"
    (question,) = decision.questions
    assert question.words.endswith("250.0 h (225.0–275.0 h); 500.0 h (475.0–525.0 h); 750.0 h (725.0–775.0 h)")
    assert due(decision) == "750.0 h (725.0–775.0 h)"
    assert decision.remedies[0].facts == (question.id,)


def test_on_a_grid_a_service_between_two_points_may_be_the_one_that_is_needed(runner: CaseRunner) -> None:
    """250, 500, 750 h on the grid; the one at 600 h is late for 500 h and restores both. At 790 h 750 h is missing."""
    decision = decided(
        runner, {"s": service("2024-10-01", 600)}, "2024-12-20", 790, next_due_from="due_point", **HOURS_ALONE
    )
    assert due(decision) == "750.0 h (725.0–775.0 h)"


# Counted from the service itself, one at 225 h would make the next due at 475 h, missed after 500 h; from 250 h on it
# is due at 500 h (475 to 525 h) or later, and open at 510 h.
def test_a_part_of_a_window_that_would_not_do_is_not_named(runner: CaseRunner) -> None:
    terms = {"next_due_from": "actual", "late": "never_cures", **HOURS_ALONE}
    assert due(decided(runner, {}, "2024-12-20", 510, **terms)) == "250.0 h (250.0–275.0 h)"
    assert due(decided(runner, {}, "2024-12-20", 490, **terms)) == "250.0 h (225.0–275.0 h)"
    for at, outcome in ((225, "deny"), (250, "pay"), (275, "pay")):
        decision = decided(runner, {"z": service("2024-07-01", at)}, "2024-12-20", 510, **terms)
        assert decision.lines[0].outcome == outcome, at


BOTH = "250.0 h (225.0–275.0 h) or 1 March 2025 (30 January 2025 to 31 March 2025), whichever comes first"


@pytest.mark.parametrize(
    ("failed_on", "reading", "words"),
    [
        ("2024-12-20", 276, "250.0 h (225.0–275.0 h)"),  # the day had not come
        ("2025-05-20", 249, "1 March 2025 (30 January 2025 to 31 March 2025)"),  # the hours had not
        ("2025-05-20", 250, BOTH),
        ("2025-05-20", 276, BOTH),
        ("2025-02-28", 276, "250.0 h (225.0–275.0 h)"),
        ("2025-03-01", 276, BOTH),
    ],
)
def test_hours_and_day_are_told_as_whichever_comes_first_and_only_what_had_come(
    runner: CaseRunner, failed_on: str, reading: int, words: str
) -> None:
    decision = decided(runner, {}, failed_on, reading, late="never_cures")
    assert told(decision, "due") == words
    assert due(decision) == words


def test_a_service_at_the_hours_but_after_the_day_is_late(runner: CaseRunner) -> None:
    """250 h on 10 April 2025: the calendar came first, and its window closed on 31 March."""
    decision = decided(runner, {"z": service("2025-04-10", 250)}, "2025-05-20", 270, late="never_cures")
    assert [reason.code for reason in decision.lines[0].reasons] == ["service_late"]
    assert told(decision, "due") == BOTH
    assert told(decision, "nearest") == "z at 250.0 h, 10 April 2025"


def test_desk_and_letter_go_on_after_whichever_comes_first(runner: CaseRunner) -> None:
    decision = decided(runner, {}, "2025-05-20", 270, late="never_cures")
    desk, letter = (" ".join(text.split()) for text in (decision_text(decision), letter_text(decision)))
    assert f"records of the recurring services due at {BOTH}, would bring this line to 1,150.00 EUR" in desk
    assert "If the recurring service due at 250.0 h or 1 March 2025, whichever comes first, was done in time," in letter


def test_no_service_is_named_while_the_fitting_leaves_open_which_were_due(runner: CaseRunner) -> None:
    """Fitted at 882.2 h as its record says, or at 1,010 h or more by the reading before it: due 100 h later, or so.

    Terms: drive-kit-1.yaml beside those; in full up to 1,000 h, nothing at 3,000 h: 1,400 ÷ 2,000 of 1,150.00.
    """
    kit = {"component": "wheel_drive", "serial": "K-1", "fitted_as": "retrofit_kit"}
    done = {**service("2027-04-07", 1475), "tasks": ["drain_and_fill", "replace_filter"]}
    base = {
        "machine": {
            "model": "RM10",
            "retail_delivery": "2025-08-17",
            "records_complete_from": "2025-08-17",
            "components": {"k": {**kit, "fitted_on": "2026-12-09", "fitted_at": "882.2"}},
            "readings": {"r1": {"on": "2026-09-30", "hours": 1010}, "r2": {"on": "2027-01-10", "hours": 1150}},
        },
        "services": {"a": done},
        "claim": {
            "failed_on": "2027-06-16",
            "reading": 1600,
            "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
        },
    }
    case = {"name": "hours at the fitting", "expect": {"drive": {"outcome": "pay"}}, "remedy": {"drive": "0.00"}}
    tree = {"policies": ["drive-kit@1", "drive-prorated@1"], "base": base, "cases": [case]}
    (result,) = runner.run(CaseTable.model_validate(tree))
    assert str(result.decision.lines[0].maker_pays) == "805.00"
    assert result.decision.remedies == ()


def test_counted_from_the_service_itself_one_service_may_take_the_place_of_a_later_one(runner: CaseRunner) -> None:
    """The visit at 400 h is past the window of 250 h and sets 650 h, which is missed as well at 748 h.

    With 250 h on file, 500 h (475 to 525) is next: 400 h is before it, 490 h in it, and 740 h (715 to 765) still open.
    Done at 275 h, 525 h (500 to 550) would be next, and 490 h before it: the late half of the window is not named.
    """
    decision = decided(
        runner,
        {"first": service("2024-09-01", 400), "second": service("2024-10-15", 490)},
        "2025-01-20",
        748,
        next_due_from="actual",
        late="never_cures",
        judged="every_closed_window",
        early="does_not_count",
        **HOURS_ALONE,
    )
    assert {reason.code for reason in decision.lines[0].reasons} == {"service_missed", "service_late"}
    assert due(decision) == "250.0 h (225.0–250.0 h)"
