"""What a decision shows of the money: steps a reader can follow, and a payout that holds what it cannot convert."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest

from rules.cases.facts import merged
from rules.cases.run import CaseRunner, PolicySource
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.rendering.decision_text import decision_text
from service.rendering.derivation_text import derivation_text
from service.rendering.letter_text import letter_text
from tests.rules.settlement.examples import BASE, CONVENTIONS, EXPONENTS, TERMS

pytestmark = pytest.mark.fast


@pytest.fixture
def runner() -> Iterator[CaseRunner]:
    policies = {"money@1": TERMS}
    with CaseRunner(PolicySource(policies, {"common-civil@1": CONVENTIONS}), EXPONENTS) as runner:
        yield runner


def decide(runner: CaseRunner, base: dict[str, Any], case: dict[str, Any]) -> Decision:
    table = CaseTable.model_validate(merged(BASE, {"base": base}))
    named = table.cases[0].model_validate({"name": "a decision on money", **case, "expect": {"a": {"outcome": "pay"}}})
    return runner.run_case(table, named).decision


LINE = {"claim": {"lines": {"a": {"component": "engine", "net": "66.69"}}}}
RATE = {
    "rates": {"kind": "exchange_rates", "rows": [{"one": "EUR", "is_worth": "1.10", "in": "USD", "from": "2025-06-20"}]}
}


def test_steps_say_what_each_of_them_did(runner: CaseRunner) -> None:
    terms = {
        "money@1": {
            "pays": {"parts": {"share": "1/2"}},
            "deductible": {"clause": "5", "amount": "10", "borne_by": "owner"},
        }
    }
    line = decide(runner, LINE, {"terms": terms}).lines[0]
    # 66.69 x 1.15 = 76.6935, half of it 38.34675, less 10.00 = 28.34675.
    shown = [(s.step, s.clause, str(s.before), str(s.after), s.bearer, s.amount, s.exact) for s in line.steps]
    assert shown == [
        ("claimed", None, "76.69", "76.69", None, None, "76.6935"),
        ("allowance", "4.1", "76.69", "38.35", "dealer", "38.34675", "38.34675"),
        ("deductible", "5", "38.35", "28.35", "owner", "10", "28.34675"),
    ]
    assert line.steps[0].words == "66.69 dealer net × 1.15 handling"
    assert (line.maker_pays, line.dealer_bears, line.owner_owes) == (
        Decimal("28.35"),
        Decimal("38.34"),
        Decimal("10.00"),
    )


def test_a_payout_names_the_rate_it_used(runner: CaseRunner) -> None:
    payout = decide(runner, LINE, {"dealer": {"currency": "USD"}, "tables": RATE}).payout
    assert (payout.currency, payout.amount, payout.held) == ("USD", Decimal("84.36"), ())  # 76.69 x 1.10 = 84.359
    assert payout.rates == ("rates@1 of 20 June 2025: 1 EUR = 1.1 USD",)


def test_a_payout_without_a_rate_is_held_in_the_dealers_currency(runner: CaseRunner) -> None:
    payout = decide(runner, LINE, {"dealer": {"currency": "USD"}}).payout
    assert (payout.currency, payout.amount, payout.rates) == ("USD", Decimal("0.00"), ())
    assert payout.held == ("76.69 EUR: no exchange rate to USD is on file for 20 June 2025",)


def test_a_payout_without_the_day_of_its_rate_is_held(runner: CaseRunner) -> None:
    case = {"dealer": {"currency": "USD"}, "tables": RATE, "claim": {"repair_ended_on": None}}
    decision = decide(runner, LINE, case)
    assert decision.payout.amount == 0
    held = "76.69 EUR: the day on which the repair ended, whose rate converts it, is not on file"
    assert decision.payout.held == (held,)
    # The line is decided, so that the payout alone waits; the dealer knows the day, and is asked for it.
    (question,) = decision.questions
    assert (question.id, question.asks, question.lines) == ("date:repair_ended_on", "dealer", ())
    assert ("answer_question", question.id, question.answer_by) in decision.deadlines
    desk, letter = (" ".join(text.split()) for text in (decision_text(decision), letter_text(decision)))
    assert "To be paid in full: the maker pays the dealer nothing yet." in desk
    assert "Waiting for the dealer: the day on which the repair ended, by" in desk
    assert "Your claim is to be paid in full. We pay nothing yet." in letter
    assert "Please tell us: the day on which the repair ended, by" in letter
    assert "(what we pay is converted by it)" in letter
    assert "the payout: the day on which the repair ended, asked of the dealer." in derivation_text(decision)


def test_a_rate_that_holds_on_every_possible_day_converts_without_the_day(runner: CaseRunner) -> None:
    """Published on 1 January 2025 and none since: 76.69 x 1.10 = 84.359, whenever the repair ended."""
    rows = [{"one": "EUR", "is_worth": "1.10", "in": "USD", "from": "2025-01-01"}]
    tables = {"rates": {"kind": "exchange_rates", "rows": rows}}
    case = {"dealer": {"currency": "USD"}, "tables": tables, "claim": {"repair_ended_on": None}}
    decision = decide(runner, LINE, case)
    assert (decision.payout.amount, decision.payout.held) == (Decimal("84.36"), ())
    assert not decision.questions


def test_no_day_is_asked_for_where_nothing_is_converted(runner: CaseRunner) -> None:
    assert not decide(runner, LINE, {"claim": {"repair_ended_on": None}}).questions


def test_a_day_in_doubt_that_converts_the_payout_is_asked_for_with_what_contradicts_it(runner: CaseRunner) -> None:
    """A repair that ended on 20 June cannot have been claimed on 19 June: either day may be the slip."""
    claim = {"failed_on": "2025-06-10", "repair_began_on": None, "repair_ended_on": "2025-06-20"}
    claim["submitted_on"] = "2025-06-19"
    decision = decide(runner, LINE, {"dealer": {"currency": "USD"}, "tables": RATE, "claim": claim})
    (question,) = decision.questions
    assert question.id == "dates:repair_ended_on+submitted_on"
    assert question.words.startswith("the right days of this claim: ")


@pytest.mark.parametrize(
    ("net", "quantity", "claimed", "exact"),
    [
        # 10^9 x 10^6 x 1.15 handling.
        ("1000000000", "1000000", "1150000000000000.00", "1150000000000000"),
        # (10^9 - 10^-4) x (10^6 - 10^-6) = 10^15 - 10^3 - 10^2 + 10^-10; of it 15 % more.
        ("999999999.9999", "999999.999999", "1149999999998735.00", "1149999999998735.000000000115"),
        # 10^-4 x 10^-6 x 1.15: a claim of nothing that money can show.
        ("0.0001", "0.000001", "0.00", "0.000000000115"),
    ],
)
def test_the_largest_and_the_finest_amounts_are_exact(
    runner: CaseRunner, net: str, quantity: str, claimed: str, exact: str
) -> None:
    base = {"claim": {"lines": {"a": {"component": "engine", "net": net, "quantity": quantity}}}}
    line = decide(runner, base, {}).lines[0]
    assert (str(line.claimed), str(line.maker_pays), line.steps[0].exact) == (claimed, claimed, exact)


def test_the_largest_sum_at_the_largest_rate_is_exact(runner: CaseRunner) -> None:
    """Two lines of 1.15 x 10^15 at 999,999.9999999999: 2.3 x 10^21 less 2.3 x 10^5."""
    line = {"component": "engine", "net": "1000000000", "quantity": "1000000"}
    row = {"one": "EUR", "is_worth": "999999.9999999999", "in": "USD", "from": "2025-06-20"}
    payout = decide(
        runner,
        {"claim": {"lines": {"a": line, "b": line}}},
        {"dealer": {"currency": "USD"}, "tables": {"rates": {"kind": "exchange_rates", "rows": [row]}}},
    ).payout
    assert str(payout.amount) == "2299999999999999770000.00"
