"""Which facts a remedy names: all that are needed together, none that is not, and none where no record would help."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Remedy

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/two-services-1.yaml, the oil every 250 h (25 h either side) and an inspection every 12
# months (30 days either side). At 300 h and 15 months on 1 June 2021 both are missed; the pump comes to 1,150.00.
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2020-03-02", "records_complete_from": "2020-03-02"},
    "claim": {
        "failed_on": "2021-06-01",
        "reading": 300,
        "lines": {"pump": {"component": "hydrostatic_pump", "net": "1000.00"}},
    },
}


def remedies(runner: CaseRunner, duties: Mapping[str, Any], **case: Any) -> tuple[Remedy, ...]:
    """Return the remedies of the pump's claim where the two duties differ as ``duties`` says."""
    table = CaseTable.model_validate(
        {
            "policies": ["two-services@1"],
            "base": BASE,
            "cases": [
                {
                    "name": "both services are missed",
                    "terms": {"two-services@1": {"services": duties}},
                    "expect": {"pump": {"outcome": "pay"}},
                    "remedy": {"pump": "1150.00"},
                    **case,
                }
            ],
        }
    )
    (result,) = runner.run(table)
    return result.decision.remedies


def test_where_each_of_two_missed_services_denies_the_records_of_both_are_named(runner: CaseRunner) -> None:
    (remedy,) = remedies(runner, {})
    assert [fact.split(":")[2] for fact in remedy.facts] == ["oil", "yearly"]
    assert (remedy.line, remedy.outcome, remedy.maker_pays) == ("pump", "pay", Decimal("1150.00"))
    assert remedy.desk_words.count("records of the") == 2
    assert "250.0 h (225.0–275.0 h)" in remedy.desk_words
    assert "225.0" not in remedy.letter_words


def test_a_service_that_changes_nothing_is_left_out_again(runner: CaseRunner) -> None:
    """A missed oil change is only noted here, so its record is not what the pump lacks, although it is tried first."""
    (remedy,) = remedies(runner, {"oil": {"missed": "note_only"}})
    assert len(remedy.facts) == 1
    assert "yearly" in remedy.facts[0]
    assert remedy.maker_pays == Decimal("1150.00")


def test_a_line_that_no_record_would_help_has_no_remedy(runner: CaseRunner) -> None:
    """The term of 24 months ended on 1 March 2022, the day before the anniversary; the services are beside it."""
    assert remedies(runner, {}, claim={"failed_on": "2022-03-02"}) == ()


def test_where_other_hands_did_a_service_the_letter_says_whose_would_count(runner: CaseRunner) -> None:
    """The oil at 250 h was changed in its window by an independent workshop; the policy takes an authorised dealer."""
    done = {
        "on": "2021-05-01",
        "reading": 250,
        "tasks": ["oil_change"],
        "by": "independent",
        "evidence": ["dealer_invoice"],
    }
    (remedy,) = remedies(runner, {"yearly": {"missed": "note_only"}}, services={"s1": done})
    assert remedy.letter_words == "if the oil services due at 250.0 h were done by an authorised dealer, their records"
    assert "in time" not in remedy.letter_words
    assert remedy.desk_words.endswith(", done by an authorised dealer")
    assert (remedy.outcome, remedy.maker_pays) == ("pay", Decimal("1150.00"))


def test_a_share_that_a_missed_service_lowered_to_nothing_has_a_remedy(runner: CaseRunner) -> None:
    """Covered with nothing due because of the service alone: with its records the whole 1,150.00 is due."""
    lowered = {"missed": {"deny": None, "share": 0, "reach": "linked_components"}}
    (remedy,) = remedies(runner, {"oil": lowered, "yearly": {"missed": "note_only"}})
    assert (remedy.line, remedy.outcome, remedy.maker_pays) == ("pump", "pay", Decimal("1150.00"))


def test_a_line_that_is_paid_in_full_has_no_remedy(runner: CaseRunner) -> None:
    assert remedies(runner, {}, claim={"failed_on": "2020-06-01", "reading": 100}) == ()


def test_a_sound_inspection_is_named_where_it_would_have_cured(runner: CaseRunner) -> None:
    """The oil at 250 h was changed at 290 h; the inspection that would cure it was done and not sound."""
    duties = {"oil": {"late": "cures_if_inspected"}, "yearly": {"missed": "note_only"}}
    late = {
        "on": "2021-05-01",
        "reading": 290,
        "tasks": ["oil_change"],
        "by": "authorised_dealer",
        "evidence": ["dealer_invoice"],
        "inspected": False,
    }
    (remedy,) = remedies(runner, duties, services={"s1": late})
    assert remedy.facts == ("inspection:s1",)
    assert "an inspection at the late oil service s1 that found the machine sound" in remedy.desk_words
    assert remedy.letter_words == "the result of an inspection at the late oil service s1"


def test_the_letter_asks_for_the_plate_and_never_names_the_serial_on_file(runner: CaseRunner) -> None:
    """Fitted new is HP-1, removed was HP-2; the desk reads which of the two would pay, the dealer does not."""
    fitted = [{"id": "F-1", "component": "hydrostatic_pump", "serial": "HP-1"}]
    claim = {"failed_on": "2020-06-01", "reading": 100, "lines": {"pump": {"removed_serial": "HP-2"}}}
    (remedy,) = remedies(runner, {}, machine={"components": fitted}, claim=claim)
    assert remedy.desk_words == "a statement which part was removed, HP-2 as claimed or HP-1 as on file"
    assert remedy.letter_words == (
        "a photo of the plate of the removed part, or what was noted of its serial number and when"
    )


def test_the_letter_asks_what_the_trouble_was_and_supplies_no_answer(runner: CaseRunner) -> None:
    """The oil at 250 h was changed at 290 h on 1 May 2021; trouble was noted on 20 April, after the window closed."""
    late = {
        "on": "2021-05-01",
        "reading": 290,
        "tasks": ["oil_change"],
        "by": "authorised_dealer",
        "evidence": ["dealer_invoice"],
    }
    duties = {"oil": {"late": "cures_from_its_date"}, "yearly": {"missed": "note_only"}}
    claim = {"symptom": {"on": "2021-04-20", "reading": 285}}
    (remedy,) = remedies(runner, duties, services={"s1": late}, claim=claim)
    assert "the trouble noted on 20 April 2021 was not the one that led to this failure" in remedy.desk_words
    assert remedy.letter_words == "what was found about the trouble noted on 20 April 2021, by whom and when"


# Thirty days to answer. After 1 September 2021 they end on 1 October; after 10 August, on 9 September.
@pytest.mark.parametrize(
    ("asked", "by"),
    [
        ([], "2021-10-01"),
        ([{"about": "services", "asked_on": "2021-08-10"}], "2021-09-09"),
        ([{"about": "services", "asked_on": "2021-08-10", "answered": True}], "2021-10-01"),
        ([{"about": "reading", "asked_on": "2021-08-10"}], "2021-10-01"),
        ([{"about": "services", "asked_on": "2021-07-01"}], "2021-07-31"),  # it has passed: no new time
    ],
)
def test_the_days_to_send_records_run_from_the_first_question(runner: CaseRunner, asked: list[Any], by: str) -> None:
    (remedy,) = remedies(runner, {}, decided_on="2021-09-01", claim={"questions": asked})
    assert remedy.answer_by == by


def test_due_points_by_hours_or_date_are_named_whole_in_a_letter(runner: CaseRunner) -> None:
    """Due at 250 h or 1 March 2021; both ranges are left out, and the date after the first one stays."""
    calendar = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}
    window = {"hours": {"early": 25, "late": 25}, "calendar": {"early": 30, "late": 30}}
    oil = {"due": {"then_every": 250, "calendar": calendar}, "window": window}
    (remedy,) = remedies(runner, {"oil": oil, "yearly": {"missed": "note_only"}})
    assert (
        "due at 250.0 h (225.0–275.0 h) or 2 March 2021 (31 January 2021 to 1 April 2021), whichever comes first"
        in remedy.desk_words
    )
    assert "due at 250.0 h or 2 March 2021, whichever comes first, were done in time" in remedy.letter_words
