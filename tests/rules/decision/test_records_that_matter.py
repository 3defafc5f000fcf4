"""That service records change nothing is said only of lines that come out alike whatever the records say."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision

pytestmark = pytest.mark.fast

# Terms: full-cover@1, services of the drive at 80, 480, 960 … h, and prorated@1, to which a machine falls back: it pays
# the whole to 900 h, and 4/5 at 1,200 h. No service is on file, and nothing says that the records are complete.
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2020-03-02"},
    "claim": {"failed_on": "2021-06-01", "lines": {}},
}
# The part is on no price list, the bill is not on file: each holds its line.
PRICES = {
    "prices": {"kind": "prices", "currency": "EUR", "rows": [{"part": "WD-2", "net": "1.00", "from": "2019-01-01"}]}
}
DRIVE = {"component": "wheel_drive", "part_number": "WD-1", "net": "1000.00"}
LATHE = {"item": "sublet", "component": "wheel_drive", "amount": "100.00"}
BILLED = {"sublet": {"clause": "5", "as_invoiced": "invoice_needed", "handling": 0, "excess_borne_by": "dealer"}}
TERMS: Mapping[str, Any] = {
    "full-cover@1": {"pays": BILLED},
    "prorated@1": {"pays": BILLED, "prorating": {"items": ["parts", "labour", "sublet"]}},
}
BREATHER = {
    "clause": "3.2",
    "tasks": ["replace_breather"],
    "due": {"at_hours": [500]},
    "window": {"hours": {"early": 50, "late": 50}},
    "early": "does_not_count",
    "late": "never_cures",
    "next_due_from": "due_point_inside_window",
    "judged": "every_closed_window",
    "performed_by": ["authorised_dealer"],
    "proof": [{"grade": "A", "all": ["dealer_invoice"]}],
    "repairs_count": True,
    "bookings_count": False,
    "new_component": "keeps_schedule",
    "links": ["wheel_drive"],
    "missed": "note_only",
    "done_wrong_by_dealer": "owner_kept_whole",
    "borne_by": "owner",
}
CLAIMS = {"drive": {"drive": DRIVE}, "lathe": {"lathe": LATHE}}


def decided(runner: CaseRunner, lines: Mapping[str, Any], hours: Any, terms: Mapping[str, Any] = TERMS) -> Decision:
    case = {
        "name": "services that are not on file",
        "terms": dict(terms),
        "claim": {"reading": hours, "lines": dict(lines)},
        "tables": PRICES,
        "expect": {line: {"maker_pays": "0.00"} for line in lines},
    }
    table = {"policies": ["full-cover@1", "prorated@1"], "base": BASE, "cases": [case]}
    (result,) = runner.run(CaseTable.model_validate(table))
    assert not result.mismatches
    return result.decision


def noted(decision: Decision) -> list[str]:
    """Return the due points whose records the first line's notes say change nothing."""
    found = [note.words for note in decision.lines[0].notes if note.code == "records_open"]
    return [words.partition("Due at ")[2].partition(" (")[0] for words in found]


def asked(decision: Decision) -> list[str]:
    return sorted(question.about for question in decision.questions)


@pytest.mark.parametrize(
    ("hours", "named"), [(720, ["80.0 h", "480.0 h"]), ("900.0", ["80.0 h", "480.0 h"]), (901, []), (1200, [])]
)
@pytest.mark.parametrize("held", sorted(CLAIMS))
def test_a_held_line_is_told_that_records_change_nothing_where_they_never_will(
    runner: CaseRunner, held: str, hours: Any, named: list[str]
) -> None:
    decision = decided(runner, CLAIMS[held], hours)
    assert noted(decision) == named
    assert ("services" in asked(decision)) is (not named)


def test_of_two_services_the_one_that_is_only_noted_is_said_to_change_nothing(runner: CaseRunner) -> None:
    terms = {**TERMS, "full-cover@1": {"pays": BILLED, "services": {"breather": BREATHER}}}
    decision = decided(runner, CLAIMS["drive"], 1200, terms)
    assert noted(decision) == ["500.0 h"]
    assert [question.id for question in decision.questions] == ["services:full-cover:drive_oil:machine"]


def test_records_that_change_nothing_are_noted_where_too_much_is_open_to_look_at_all(runner: CaseRunner) -> None:
    """Nine bills that may be on file or not are 512 worlds, more than the 400 that are looked at one by one."""
    lines = {f"lathe{number}": LATHE for number in range(9)}
    decision = decided(runner, lines, 720)
    assert {reason.code for reason in decision.lines[0].reasons} == {"fact_open", "invoice_missing"}
    assert noted(decision) == ["80.0 h", "480.0 h"]
    assert asked(decision) == ["evidence"] * 9


def test_the_question_names_the_due_points_that_would_be_asked_about_were_the_line_not_held(
    runner: CaseRunner,
) -> None:
    """Without a reading the drive may have run to where nothing is paid: at 2,400 h five windows have closed."""
    decision = decided(runner, CLAIMS["drive"], None)
    (question,) = [question for question in decision.questions if question.about == "services"]
    for point in ("80.0 h", "480.0 h", "960.0 h", "1,440.0 h", "1,920.0 h"):
        assert point in question.words
