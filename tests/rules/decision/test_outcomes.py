"""The outcome of a line that claims nothing, and the status of a claim by the outcomes of its lines."""

from collections.abc import Mapping
from typing import Any, get_args

import pytest

from rules.cases.run import CaseRunner
from rules.decision.assemble import STATUS_TABLE
from schemas.cases import CaseTable
from schemas.decision import Decision, Outcome, Status

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/term-plain-1.yaml: whole machine, 24 months, parts at net and 15 % handling.
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2024-03-01", "records_complete_from": "2024-03-01"},
    "claim": {
        "failed_on": "2024-09-01",
        "reading": 240,
        "lines": {"free": {"component": "hydrostatic_pump", "net": "0.00"}},
    },
}
PAID = {"component": "hydrostatic_pump", "net": "100.00"}


def decided(runner: CaseRunner, **claim: Any) -> Decision:
    case = {"name": "a line that claims nothing", "claim": claim, "expect": {"free": {"claimed": "0.00"}}}
    table = CaseTable.model_validate({"policies": ["term-plain@1"], "base": BASE, "cases": [case]})
    (result,) = runner.run(table)
    assert not result.mismatches
    return result.decision


def test_a_covered_line_that_claims_nothing_has_nothing_due(runner: CaseRunner) -> None:
    decision = decided(runner)
    assert [(line.line, line.outcome, line.reasons) for line in decision.lines] == [("free", "pay_zero", ())]
    assert decision.status == "nothing_due"


def test_beside_a_line_that_is_paid_it_leaves_the_claim_paid_in_full(runner: CaseRunner) -> None:
    decision = decided(runner, lines={"pump": PAID})
    assert {line.line: line.outcome for line in decision.lines} == {"free": "pay_zero", "pump": "pay"}
    assert decision.status == "paid_in_full"


def test_a_line_that_claims_nothing_after_the_term_is_denied(runner: CaseRunner) -> None:
    """The term of 24 months ended on 1 March 2026."""
    decision = decided(runner, failed_on="2026-03-02")
    assert [line.outcome for line in decision.lines] == ["deny"]
    assert decision.status == "denied"


@pytest.mark.parametrize(
    ("failed_on", "words"),
    [
        ("2024-09-01", "the day tested lies 545 days before it"),  # 365 to 1 September 2025, and 30+31+30+31+31+27
        ("2026-02-27", "the day tested lies 1 day before it"),
        ("2026-02-28", "the day tested is its last"),
        ("2026-03-01", "the day tested lies 1 day after it"),
        ("2029-02-28", "the day tested lies 1,096 days after it"),  # 365, 365, and 366 with 29 February 2028
    ],
)
def test_the_end_of_the_term_is_told_beside_the_day_tested(runner: CaseRunner, failed_on: str, words: str) -> None:
    """24 months from 1 March 2024: the last covered day is the one before the anniversary, 28 February 2026."""
    measures = {measure.name: measure.value for measure in decided(runner, failed_on=failed_on).measures}
    assert measures["machine: term.ends[0]"] == f"ends 2026-02-28; {words}"


# By hand from the words of the statuses; every set of outcomes that holds one of these kinds.
@pytest.mark.parametrize(
    ("outcomes", "status"),
    [
        ({"pay"}, "paid_in_full"),
        ({"deny"}, "denied"),
        ({"pay_zero"}, "nothing_due"),
        ({"pay_zero", "deny"}, "nothing_due"),
        ({"refer"}, "held_for_person"),
        ({"refer", "deny"}, "held_for_person"),
        ({"refer", "need_info"}, "held_for_person"),
        ({"refer", "need_info", "deny"}, "held_for_person"),
        ({"need_info"}, "waiting_for_dealer"),
        ({"need_info", "deny"}, "waiting_for_dealer"),
        ({"pay", "deny"}, "paid_in_part"),
        ({"pay_part"}, "paid_in_part"),
        ({"pay", "pay_zero"}, "paid_in_part"),
        ({"pay", "need_info"}, "partly_decided"),
        ({"pay_part", "refer"}, "partly_decided"),
        ({"pay_zero", "need_info"}, "partly_decided"),
        ({"pay_zero", "refer", "need_info"}, "partly_decided"),
    ],
)
def test_the_status_of_a_claim(outcomes: set[Outcome], status: Status) -> None:
    assert next(name for name, only, some in STATUS_TABLE if outcomes <= only and outcomes & some) == status


def test_every_set_of_outcomes_has_a_status_and_every_status_a_set() -> None:
    every = get_args(Outcome)
    sets = [{o for bit, o in enumerate(every) if number >> bit & 1} for number in range(1, 2 ** len(every))]
    found = [next(name for name, only, some in STATUS_TABLE if s <= only and s & some) for s in sets]
    assert len(found) == 63
    assert set(found) == set(get_args(Status))
