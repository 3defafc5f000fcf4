"""The demo scenario: it loads, it shows every outcome and reason, and its decisions are those worked by hand."""

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import get_args

import pytest

from rules.cases.run import CaseRunner
from rules.decision.catalogue import KINDS
from schemas.cases import CaseTable, WorkedCase
from schemas.decision import Outcome
from schemas.documents import parse_document, validated
from service.command.cases import on_file_of
from service.command.demo import decided_on
from service.currencies import all_exponents
from service.policy_files import read_policy_source
from service.shipped import DEMO
from tests.fixtures_scenario.scenario import book, claim_files, decisions, rows, scenario

pytestmark = pytest.mark.fast

BEARERS = ("maker_pays", "owner_owes", "dealer_bears", "other_payer", "open")
FILE = DEMO / "decisions.yaml"
TABLE = validated(CaseTable, parse_document(FILE.read_text(encoding="utf-8"), FILE.name))
WORKED: Mapping[str, WorkedCase] = {str(case.claim_on_file): case for case in TABLE.cases}


def test_the_scenario_has_the_size_it_promises() -> None:
    names = ("dealers.json", "machines.json", "services.json", "claims.json")
    assert [len(rows(name)) for name in names] == [15, 80, 600, 250]
    assert {row["currency"] for row in rows("dealers.json")} == {"EUR", "JPY", "KWD"}
    assert len(book().versions) >= 6
    assert len(book().versions["quillfen-wheel-drive"]) == 3


def test_every_table_is_read_and_has_rows_of_several_dates() -> None:
    read = scenario().on_file.tables
    dates: dict[str, set[date]] = {}
    for table in read:
        dates.setdefault(table.kind, set()).update(row.from_ for row in table.rows)
    several = {kind for kind, found in dates.items() if len(found) > 1}
    assert several >= {"prices", "flat_times", "labour_rates", "exchange_rates", "fluids"}
    assert "part_components" in dates
    assert any(len(row.operations) > 1 for table in read if table.kind == "flat_times" for row in table.rows)


def test_dates_of_machines_and_claims_are_in_order_but_for_one_slip() -> None:
    machines = {row["serial"]: row for row in rows("machines.json")}
    for machine in machines.values():
        assert all(machine["built_on"] <= day for day in machine["events"].values()), machine["serial"]
    for claim in rows("claims.json"):
        order = [claim.get(key) for key in ("failed_on", "repair_began_on", "repair_ended_on", "submitted_on")]
        known = [day for day in order if day is not None]
        assert (known == sorted(known)) is (claim["claim"] != "C-2067"), claim["claim"]
        assert machines[claim["serial"]]["built_on"] <= claim["failed_on"], claim["claim"]


def test_papers_are_on_file_before_every_decision_that_can_use_them() -> None:
    late = [row for row in rows("services.json") if "provided_on" in row]
    assert late
    claims = scenario().claims.values()
    for record in late:
        for claim in claims:
            if claim.serial == record["serial"] and claim.failed_on >= date.fromisoformat(record["on"]):
                assert date.fromisoformat(record["provided_on"]) <= decided_on(claim), (record, claim.claim)


def test_the_decision_day_is_ten_days_after_submission_or_thirty_after_the_failure() -> None:
    claims = scenario().claims
    assert decided_on(claims["C-2001"]) == date(2025, 3, 4)  # submitted on 22 February 2025
    unsent = next(claim for claim in claims.values() if claim.submitted_on is None)
    assert decided_on(unsent) == unsent.failed_on + timedelta(days=30)


def test_every_outcome_occurs() -> None:
    found = Counter(line.outcome for decision in decisions().values() for line in decision.lines)
    assert set(found) == set(get_args(Outcome))


def test_every_reason_code_occurs() -> None:
    found = {
        reason.code
        for decision in decisions().values()
        for line in decision.lines
        for reason in (*line.reasons, *line.notes)
    }
    assert set(KINDS) == found


def test_a_refused_line_always_says_why() -> None:
    silent = {
        (number, line.line)
        for number, decision in decisions().items()
        for line in decision.lines
        if line.outcome != "pay" and not line.reasons
    }
    assert not silent


def test_every_line_adds_up() -> None:
    for number, decision in decisions().items():
        for line in decision.lines:
            parts = (line.maker_pays, line.owner_owes, line.dealer_bears, line.other_payer, line.open)
            assert line.claimed + line.added == sum(parts), (number, line.line)
            assert all(part >= 0 for part in parts), (number, line.line)


def test_a_payout_is_in_the_dealers_currency_and_decimals() -> None:
    decimals = {"EUR": 2, "JPY": 0, "KWD": 3}
    for number, decision in decisions().items():
        payout = decision.payout
        assert payout.currency == claim_files()[number].dealer.currency, number
        assert -payout.amount.as_tuple().exponent == decimals[payout.currency], number  # type: ignore[operator]


def test_forty_decisions_are_worked_by_hand_over_all_policies_and_outcomes() -> None:
    assert len(WORKED) >= 40
    shown = [decisions()[number] for number in WORKED]
    assert {line.outcome for decision in shown for line in decision.lines} == set(get_args(Outcome))
    policies = {line.policy.split("@")[0] for decision in shown for line in decision.lines if line.policy}
    assert policies == set(book().versions)


@pytest.fixture(scope="module")
def runner() -> Iterator[CaseRunner]:
    with CaseRunner(read_policy_source(DEMO), all_exponents(), on_file_of(FILE, TABLE)) as runner:
        yield runner


@pytest.mark.parametrize("number", sorted(WORKED))
def test_decision_is_the_one_worked_by_hand(runner: CaseRunner, number: str) -> None:
    result = runner.run_case(TABLE, WORKED[number])
    assert not result.mismatches, "\n".join(map(str, result.mismatches))
    assert set(WORKED[number].expect) == {line.line for line in result.decision.lines}, "every line is worked"


@pytest.mark.parametrize("number", sorted(WORKED))
def test_a_worked_decision_states_every_bearer_the_reasons_and_the_payout(number: str) -> None:
    case = WORKED[number]
    assert None not in (case.payout, case.proposals)
    for expected in case.expect.values():
        assert None not in [expected.outcome, *(getattr(expected, bearer) for bearer in BEARERS)]
        assert expected.only_reasons is not None or expected.reasons
