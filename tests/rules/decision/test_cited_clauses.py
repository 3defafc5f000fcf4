"""Which clause a reason cites as its ground, and whether the words it cites are the maker's own."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision, Reason

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/full-cover-1.yaml. Clause 1 says whose drive is covered, clause 2 when the term starts,
# clause 3.1, quoted from the maker, what the drive oil service is. The part states 1,000.00 net.
OIL = {"tasks": ["drain_and_fill", "replace_filter"], "by": "authorised_dealer", "dealer": "D-2"}
BASE: Mapping[str, Any] = {
    "machine": {
        "model": "RM10",
        "built_on": "2020-01-01",
        "retail_delivery": "2020-03-02",
        "records_complete_from": "2020-03-02",
    },
    "services": {"a": {**OIL, "on": "2020-05-11", "reading": 80, "evidence": ["dealer_invoice"]}},
    "claim": {
        "failed_on": "2020-12-12",
        "reading": 537,
        "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
    },
}
LATE = {"c": {"like": "a", "on": "2020-12-10", "reading": 535}}
SECOND_DUTY = {  # due at 500 h up to 520 h, of the same work: the service at 535 h is late for both
    "clause": "3.2",
    "tasks": ["replace_filter"],
    "due": {"at_hours": [{"at": 500, "early": 20, "late": 20}]},
    "window": {},
    "early": "does_not_count",
    "late": "cures_from_its_date",
    "next_due_from": "due_point",
    "judged": "every_closed_window",
    "performed_by": ["authorised_dealer"],
    "proof": [{"grade": "A", "all": ["dealer_invoice"]}],
    "repairs_count": True,
    "bookings_count": False,
    "new_component": "keeps_schedule",
    "links": ["wheel_drive"],
    "missed": {"deny": "linked_components"},
    "done_wrong_by_dealer": "owner_kept_whole",
    "borne_by": "owner",
}


def decided(runner: CaseRunner, **facts: Any) -> Decision:
    case = {"name": "which clause a reason cites", "expect": {"drive": {"claimed": "1150.00"}}, **facts}
    table = CaseTable.model_validate({"policies": ["full-cover@1", "prorated@1"], "base": BASE, "cases": [case]})
    (result,) = runner.run(table)
    assert not result.mismatches
    return result.decision


def reasons(decision: Decision, code: str) -> list[Reason]:
    return [reason for line in decision.lines for reason in line.reasons if reason.code == code]


def test_trouble_before_a_service_cites_that_service(runner: CaseRunner) -> None:
    claim = {"symptom": {"on": "2020-12-05", "reading": 525}}
    (found,) = reasons(decided(runner, services=LATE, claim=claim), "symptom_first")
    assert found.clause == "3.1"
    assert found.clause_quoted
    assert found.clause_text is not None
    assert found.clause_text.startswith("The drive oil and its filter are changed by a dealer at 80 h")


def test_trouble_before_a_service_of_two_duties_cites_each(runner: CaseRunner) -> None:
    """The 480 h window of the drive oil closed at 528 h, that of the filter at 520 h; both were done at 535 h."""
    terms = {"full-cover@1": {"services": {"filter": SECOND_DUTY}}}
    claim = {"symptom": {"on": "2020-12-05", "reading": 525}}
    found = reasons(decided(runner, services=LATE, claim=claim, terms=terms), "symptom_first")
    assert [(reason.clause, reason.clause_quoted) for reason in found] == [("3.1", True), ("3.2", False)]
    assert "A late service puts the gap right from its date." in str(found[1].clause_text)
    assert all(("overdue service", "10 December 2020 at 535.0 h") in reason.facts for reason in found)


def test_another_serial_cites_what_is_covered(runner: CaseRunner) -> None:
    claim = {"failed_on": "2020-09-01", "reading": 300, "lines": {"drive": {"removed_serial": "WD-7"}}}
    machine = {"components": {"d1": {"component": "wheel_drive", "serial": "WD-1"}}}
    (found,) = reasons(decided(runner, claim=claim, machine=machine), "serial_differs")
    assert (found.clause, found.clause_quoted) == ("1", False)
    assert str(found.clause_text).startswith("Covered is the wheel drive of every model")


@pytest.mark.parametrize(
    ("carve_out", "clause", "says"),
    [
        (None, "2", "counted from the retail delivery"),
        ({"ends": {"first_of": [{"days": 90}]}}, "2", "counted from the retail delivery"),  # the term says the start
        (
            {"ends": {"first_of": [{"days": 90}]}, "starts": {"earliest_of": ["registered"]}},
            "2.1",
            "counted from the registration",
        ),
    ],
)
def test_a_failure_before_the_term_cites_where_the_term_starts(
    runner: CaseRunner, carve_out: Any, clause: str, says: str
) -> None:
    """Delivered on 2 March and registered on 9 March 2020; the failure on 1 March lies before both."""
    drive = [] if carve_out is None else [{"clause": "2.1", "components": ["wheel_drive"], **carve_out}]
    decision = decided(
        runner,
        terms={"full-cover@1": {"carve_outs": drive}},
        machine={"events": {"registered": "2020-03-09"}},
        services={"a": None},
        claim={"failed_on": "2020-03-01", "reading": 1},
    )
    (found,) = reasons(decision, "before_term")
    assert found.clause == clause
    assert says in str(found.clause_text)
