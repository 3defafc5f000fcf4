"""What an undecided line waits for: who supplies what, the amount unchanged; and what is never named as a remedy."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import pytest

from rules.cases.facts import merged
from rules.cases.run import CaseRunner, PolicySource
from schemas.cases import CaseTable
from schemas.decision import Remedy
from tests.rules.settlement.examples import BASE, CONVENTIONS, EXPONENTS, TERMS

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/money-1.yaml. A part at 100.00 net comes to 115.00 with 15 % handling.
PART = {"component": "engine", "net": "100.00"}
WORK = {"component": "engine", "item": "labour", "hours": "2.0"}
PRICES = {"kind": "prices", "currency": "EUR", "rows": [{"part": "P-1", "from": "2024-01-01", "net": "5.00"}]}
TIMES = {"kind": "flat_times", "rows": [{"operations": ["OP-1"], "from": "2024-01-01", "hours": "1.0"}]}
RATES = {
    "kind": "labour_rates",
    "currency": "EUR",
    "rows": [{"dealer": "D-9", "from": "2024-01-01", "rate": "95.00"}],
}
LIMITED = {"term": {"ends": {"first_of": [{"months": 60}, {"machine_hours": 1000}]}}}
LIFETIME = {"clause": "6", "items": "all", "excess_borne_by": "owner"}


@pytest.fixture(scope="module")
def runner() -> Iterator[CaseRunner]:
    with CaseRunner(PolicySource({"money@1": TERMS}, {"common-civil@1": CONVENTIONS}), EXPONENTS) as runner:
        yield runner


def remedies(
    runner: CaseRunner,
    line: Mapping[str, Any],
    terms: Mapping[str, Any] | None = None,
    claim: Mapping[str, Any] | None = None,
    **case: Any,
) -> tuple[Remedy, ...]:
    """Return the remedies of a claim with one line, under money@1 with these changes."""
    tree = {
        "name": "a line that waits for something",
        "terms": {"money@1": terms or {}},
        "claim": {"reading": 500, **(claim or {}), "lines": {"a": line}},
        "expect": {"a": {"claimed": "0.00"}},
        "remedy": {"a": "0.00"},
        **case,
    }
    table = CaseTable.model_validate(merged(BASE, {"cases": [tree]}))
    (result,) = runner.run(table)
    return result.decision.remedies


@pytest.mark.parametrize(
    ("line", "terms", "case", "desk", "letter"),
    [
        (
            {**PART, "part_number": "P-7"},
            {},
            {"tables": {"prices": PRICES}},
            "a price list row for part P-7 that holds on the day",
            "",
        ),
        (PART, {}, {"tables": {"prices": PRICES}}, "the part number of line a", "the part number of line a"),
        (
            {**PART, "part_number": "P-1"},
            {"pays": {"parts": {"basis": "list_price"}}},
            {"tables": {"prices": PRICES}},
            "a price list row for part P-1 with its list price",
            "",
        ),
        (
            {"component": "engine", "item": "fluids", "amount": "32.00"},
            {},
            {"tables": {"prices": PRICES}},
            "the net price of one unit on line a",
            "the net price of one unit on line a",
        ),
        (
            PART,
            {},
            {"claim": {"currency": "USD"}},
            "a row in a table of exchange rates (no exchange rate USD to EUR is on file for the day)",
            "",
        ),
        (
            WORK,
            {},
            {},
            "a labour rate row for dealer D-1, or the rate per hour of line a",
            "the rate per hour of line a",
        ),
        (WORK, {}, {"tables": {"rates": RATES}}, "a labour rate row for dealer D-1", ""),
        (
            {**WORK, "rate": "90.00", "operation": "OP-7"},
            {"pays": {"labour": {"without_flat_rate": "refer"}}},
            {"tables": {"times": TIMES}},
            "a flat-rate time for operation OP-7",
            "",
        ),
        (
            {**WORK, "rate": "90.00"},
            {"pays": {"labour": {"without_flat_rate": "refer"}}},
            {"tables": {"times": TIMES}},
            "the operation code of line a",
            "the operation code of line a",
        ),
        (
            PART,
            {"caps": [{**LIFETIME, "over": "machine_lifetime", "at": {"of": "machine_price"}}]},
            {"machine": {"price": None, "currency": None}},
            "the price of machine M-1",
            "",
        ),
        (
            {**WORK, "rate": "90.00"},
            {"caps": [{**LIFETIME, "over": "component_lifetime", "at": {"of": "part_net_price"}}]},
            {},
            "the dealer net price of the part that caps line a, in the price list or on a parts line",
            "the dealer net price of the part that caps line a",
        ),
        (
            {"component": "engine", "item": "travel", "hours": "2.0"},
            {
                "pays": {
                    "travel": {
                        "per_unit": None,
                        "unit": None,
                        "units_at_most": None,
                        "as_invoiced": "invoice_needed",
                        "handling": 0,
                    }
                }
            },
            {},
            "the amount of line a, with its bill",
            "the amount of line a, with its bill",
        ),
        (
            PART,
            {"pays": {"parts": {"basis": "price_paid"}}},
            {},
            "what the owner paid for the part of line a, with the receipt",
            "what the owner paid for the part of line a, with the receipt",
        ),
    ],
)
def test_what_a_person_waits_for_is_named_with_who_supplies_it(
    runner: CaseRunner,
    line: Mapping[str, Any],
    terms: Mapping[str, Any],
    case: dict[str, Any],
    desk: str,
    letter: str,
) -> None:
    """A row of the desk's own tables is not asked of the dealer; the amount is what is undisputed, nothing here."""
    claim = case.get("claim", {})
    rest = {key: value for key, value in case.items() if key != "claim"}
    (remedy,) = remedies(runner, line, terms, claim, **rest)
    assert (remedy.line, remedy.desk_words, remedy.letter_words) == ("a", desk, letter)
    assert (remedy.outcome, remedy.maker_pays) == ("refer", Decimal("0.00"))


def test_an_outside_bill_is_evidence_whose_effect_is_known(runner: CaseRunner) -> None:
    """A bill of 100.00 comes to 110.00 with 10 % handling."""
    (remedy,) = remedies(runner, {"component": "engine", "item": "sublet", "amount": "100.00"})
    assert remedy.desk_words == remedy.letter_words == "the invoice behind line a (sublet)"
    assert (remedy.outcome, remedy.maker_pays) == ("pay", Decimal("110.00"))


def test_a_cause_that_is_not_stated_is_named_without_the_one_that_would_be_paid(runner: CaseRunner) -> None:
    excluded = {"exclusions": [{"clause": "5", "causes": ["racing"], "borne_by": "owner"}]}
    (remedy,) = remedies(runner, PART, excluded, {"cause": None})
    assert remedy.desk_words == "the cause of the failure (up to 115.00 EUR, by what comes of it)"
    assert remedy.letter_words == "the cause of the failure"
    assert (remedy.outcome, remedy.maker_pays) == ("need_info", Decimal("0.00"))


def test_a_reading_that_is_missing_is_asked_for_without_the_hours_that_would_be_paid(runner: CaseRunner) -> None:
    """Under a cap of 1,000 h the line comes to 115.00 or to nothing."""
    (remedy,) = remedies(runner, PART, LIMITED, {"reading": None})
    assert remedy.desk_words == "the meter reading at the failure (up to 115.00 EUR, by what comes of it)"
    assert "1,000" not in remedy.desk_words
    assert (remedy.outcome, remedy.maker_pays) == ("need_info", Decimal("0.00"))


def test_hours_and_days_that_are_on_file_are_never_a_remedy(runner: CaseRunner) -> None:
    """Past the cap, past the term, and before its start: another reading or another day would pay each of them."""
    assert remedies(runner, PART, LIMITED, {"reading": 1001}) == ()
    assert remedies(runner, PART, {"term": {"ends": {"first_of": [{"months": 3}]}}}) == ()
    early = {"failed_on": "2025-01-05", "repair_ended_on": "2025-06-20"}
    assert remedies(runner, PART, {}, early) == ()


def test_a_reading_that_contradicts_another_is_a_question_and_no_remedy(runner: CaseRunner) -> None:
    """4,820 h where 500 h stood in the month before: one of the two is wrong, and either would pay or deny."""
    readings = {"r1": {"on": "2025-05-20", "hours": 500}}
    assert remedies(runner, PART, LIMITED, {"reading": 4820}, machine={"readings": readings}) == ()


def test_what_a_person_must_settle_is_asked_of_no_dealer(runner: CaseRunner) -> None:
    """Typed as an engine, by its number a belt: which of the two is right is for a person, and no remedy names it."""
    worn = {"exclusions": [{"clause": "8", "wear": ["belt"], "unless": "never", "borne_by": "owner"}]}
    rows = [{"part": "P-1", "component": "belt", "from": "2024-01-01"}]
    tables = {"list": {"kind": "part_components", "rows": rows}}
    assert remedies(runner, {**PART, "part_number": "P-1"}, worn, tables=tables) == ()


def test_a_component_that_nothing_tells_is_asked_of_the_dealer(runner: CaseRunner) -> None:
    worn = {"exclusions": [{"clause": "8", "wear": ["belt"], "unless": "never", "borne_by": "owner"}]}
    (remedy,) = remedies(runner, {"net": "100.00"}, worn)
    assert remedy.letter_words == "which component failed first"


def test_an_answer_is_due_from_the_first_time_that_its_subject_was_asked_about(runner: CaseRunner) -> None:
    """The bill is evidence, asked for on 20 June 2025; 30 days later is 20 July, whatever was asked of readings."""
    asked = [{"about": "reading", "asked_on": "2025-06-01"}, {"about": "evidence", "asked_on": "2025-06-20"}]
    bill = {"component": "engine", "item": "sublet", "amount": "100.00"}
    (remedy,) = remedies(runner, bill, claim={"questions": asked})
    assert remedy.answer_by == "2025-07-20"
