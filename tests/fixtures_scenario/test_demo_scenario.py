"""The demo scenario: it loads, it shows every outcome and reason, and its decisions are those worked by hand."""

from collections import Counter
from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, get_args

import pytest
from pydantic import TypeAdapter

from rules.cases.run import Mismatch, _line_mismatches
from rules.decision.catalogue import KINDS
from schemas.cases import ExpectedLine
from schemas.decision import Decision, Outcome
from schemas.documents import parse_document
from schemas.reference_tables import ReferenceTable
from tests.fixtures_scenario.scenario import DEMO, book, claim_files, decided_on, decisions, rows, tables

pytestmark = pytest.mark.fast

# The engine names these in its catalogue and has no place yet that finds them.
NEVER_FOUND = {"no_coverage_for_machine", "cap_price_missing", "too_many_open_facts", "other_coverage_pays_more"}
KEYS = {"lines", "payout", "questions", "proposals"}

WORKED: Mapping[str, Any] = parse_document(
    (DEMO / "decisions.yaml").read_text(encoding="utf-8"), "decisions.yaml"
).tree["claims"]  # type: ignore[index, call-overload, assignment]


def test_the_scenario_has_the_size_it_promises() -> None:
    names = ("dealers.json", "machines.json", "services.json", "claims.json")
    assert [len(rows(name)) for name in names] == [15, 80, 600, 250]
    assert {row["currency"] for row in rows("dealers.json")} == {"EUR", "JPY", "KWD"}
    assert len(book().versions) >= 6
    assert len(book().versions["quillfen-wheel-drive"]) == 3


def test_every_table_is_read_and_has_rows_of_several_dates() -> None:
    adapter: TypeAdapter[ReferenceTable] = TypeAdapter(ReferenceTable)
    read = [adapter.validate_python(tree) for tree in tables()]
    dates: dict[str, set[date]] = {}
    for table in read:
        dates.setdefault(table.kind, set()).update(row.from_ for row in table.rows)
    several = {kind for kind, found in dates.items() if len(found) > 1}
    assert several >= {"prices", "flat_times", "labour_rates", "exchange_rates", "fluids"}
    assert "part_components" in dates
    assert any(len(row.operations) > 1 for table in read if table.kind == "flat_times" for row in table.rows)


def test_dates_of_machines_and_claims_are_in_order() -> None:
    machines = {row["serial"]: row for row in rows("machines.json")}
    for machine in machines.values():
        assert all(machine["built_on"] <= day for day in machine["events"].values()), machine["serial"]
    for claim in rows("claims.json"):
        order = [claim.get(key) for key in ("failed_on", "repair_began_on", "repair_ended_on", "submitted_on")]
        known = [day for day in order if day is not None]
        assert known == sorted(known), claim["claim"]
        assert machines[claim["serial"]]["built_on"] <= claim["failed_on"], claim["claim"]


def test_papers_are_on_file_before_every_decision_that_can_use_them() -> None:
    late = [row for row in rows("services.json") if "provided_on" in row]
    assert late
    for record in late:
        for claim in rows("claims.json"):
            if claim["serial"] == record["serial"] and claim["failed_on"] >= record["on"]:
                assert date.fromisoformat(record["provided_on"]) <= decided_on(claim), (record, claim["claim"])


def test_the_decision_day_is_ten_days_after_submission_or_thirty_after_the_failure() -> None:
    assert decided_on({"submitted_on": "2025-02-22", "failed_on": "2025-02-10"}) == date(2025, 3, 4)
    assert decided_on({"failed_on": "2025-02-10"}) == date(2025, 2, 10) + timedelta(days=30)
    assert any("submitted_on" not in claim for claim in rows("claims.json"))


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
    assert set(KINDS) - found <= NEVER_FOUND


def test_a_refused_line_always_says_why() -> None:
    silent = {
        (number, line.line)
        for number, decision in decisions().items()
        for line in decision.lines
        if line.outcome != "pay" and not line.reasons
    }
    assert silent <= {("C-2094", "1")}  # a model that no coverage names


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


@pytest.mark.parametrize("number", sorted(WORKED))
def test_decision_is_the_one_worked_by_hand(number: str) -> None:
    worked = WORKED[number]
    assert set(worked) <= KEYS
    mismatches = [str(m) for m in _differences(worked, decisions()[number])]
    assert not mismatches, "\n".join(mismatches)


def _differences(worked: Mapping[str, Any], decision: Decision) -> list[Mismatch]:
    lines = {line.line: line for line in decision.lines}
    assert set(worked["lines"]) == set(lines), "every line of the claim is worked"
    found = [
        mismatch
        for name, tree in worked["lines"].items()
        for mismatch in _line_mismatches(ExpectedLine.model_validate(tree), lines[name])
    ]
    if Decimal(worked["payout"]) != decision.payout.amount:
        found.append(Mismatch("claim", "payout", worked["payout"], str(decision.payout.amount)))
    asked = sorted(question.about for question in decision.questions)
    if "questions" in worked and sorted(worked["questions"]) != asked:
        found.append(Mismatch("claim", "questions", ", ".join(worked["questions"]), ", ".join(asked)))
    if worked.get("proposals", 0) != len(decision.proposals):
        found.append(Mismatch("claim", "proposals", str(worked.get("proposals", 0)), str(len(decision.proposals))))
    return found
