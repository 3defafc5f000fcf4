"""Services that count from a fitting whose machine hours are open: told from the fitting on, and promised to nobody."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Comparison, Decision

pytestmark = pytest.mark.fast

# Terms: drive-kit@1, services 100, 500, 1,000 h … after the fitting, and drive-prorated@1, to which a machine falls
# back: it pays 7/10 at 1,600 h. Every record of the machine is on file, and none is of the first service.
BASE: Mapping[str, Any] = {
    "machine": {
        "model": "RM10",
        "retail_delivery": "2025-08-17",
        "records_complete_from": "2025-08-17",
        "components": {
            "k": {"component": "wheel_drive", "fitted_on": "2026-12-09", "fitted_at": 1100, "fitted_as": "retrofit_kit"}
        },
        "readings": {"r1": {"on": "2026-09-30", "hours": 1010}, "r2": {"on": "2027-01-10", "hours": 1150}},
    },
    "claim": {
        "failed_on": "2027-06-16",
        "reading": 1600,
        "lines": {"drive": {"component": "wheel_drive", "net": "1000.00"}},
    },
}
EXPECTED = {"drive": {"outcome": "pay_part", "maker_pays": "805.00", "owner_owes": "345.00"}}


def decided(runner: CaseRunner, kit: Mapping[str, Any], services: Mapping[str, Any] | None = None) -> Decision:
    case = {
        "name": "a kit whose first service was not done",
        "machine": {"components": {"k": dict(kit)}},
        "services": dict(services or {}),
        "expect": EXPECTED,
        "questions": [],
        "remedy": {"drive": "1150.00"},
    }
    table = {"policies": ["drive-kit@1", "drive-prorated@1"], "base": BASE, "cases": [case]}
    (result,) = runner.run(CaseTable.model_validate(table))
    assert {m.what for m in result.mismatches} <= {"remedy"}
    return result.decision


def told(decision: Decision) -> tuple[dict[str, str], Comparison | None]:
    (reason,) = [r for r in decision.lines[0].reasons if r.code == "service_missed"]
    return dict(reason.facts), reason.comparison


def test_hours_of_a_fitting_that_nobody_doubts_say_what_was_due(runner: CaseRunner) -> None:
    decision = decided(runner, {})
    facts, comparison = told(decision)
    assert facts["due"] == "1,200.0 h (1,190.0–1,210.0 h)"
    assert "machine hours at the fitting" not in facts
    assert comparison == Comparison("hours at failure after the window", "1600.00", ">", "1210.00", "h")
    assert "1,200.0 h" in decision.remedies[0].desk_words


# By its record 882.2 h, by the readings 1,010 to 1,150 h: the window closes at 992.2 to 1,260 h. Not noted: the latter.
OPEN = [
    (
        {"fitted_at": "882.2"},
        "882.2 to 1,150.0 h, for its record says 882.2 h, but r1 shows 1,010.0 h on 30 September 2026",
    ),
    ({"fitted_at": None}, "1,010.0 to 1,150.0 h"),
]


@pytest.mark.parametrize(("kit", "hours"), OPEN)
def test_hours_of_a_fitting_that_are_open_are_told_as_open(runner: CaseRunner, kit: dict[str, Any], hours: str) -> None:
    decision = decided(runner, kit)
    facts, comparison = told(decision)
    assert facts["due"] == "100.0 h (90.0–110.0 h) after the fitting"
    assert facts["machine hours at the fitting"] == hours
    assert comparison == Comparison("hours at failure after the window, at the latest", "1600.00", ">", "1260.00", "h")
    assert decision.remedies == (), "no record of a service is named while nobody knows when it was due"


def test_what_only_some_hours_of_a_fitting_make_of_a_service_is_not_told(runner: CaseRunner) -> None:
    # The first service was not done in time, wherever the kit was fitted. The second, at 1,475 h, was in time after a
    # fitting at 975 h and too late after one at 882.2 h, where its window closed at 1,422.2 h.
    service = {
        "on": "2027-04-07",
        "reading": 1475,
        "tasks": ["drain_and_fill", "replace_filter"],
        "by": "authorised_dealer",
        "evidence": ["dealer_invoice"],
    }
    decision = decided(runner, {"fitted_at": "882.2"}, {"a": service})
    due = [dict(r.facts)["due"] for r in decision.lines[0].reasons if r.code != "prorated"]
    assert due == ["100.0 h (90.0–110.0 h) after the fitting"]
    known = decided(runner, {"fitted_at": "1012.2"}, {"a": service})  # 1,475 h is 462.8 h after it: in time
    assert [dict(r.facts)["due"] for r in known.lines[0].reasons if r.code != "prorated"] == [
        "1,112.2 h (1,102.2–1,122.2 h)"
    ]
