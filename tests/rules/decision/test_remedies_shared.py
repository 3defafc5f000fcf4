"""What a remedy does to the claim: lines share a cap, a deductible or a record, and one may gain what another loses."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import Decision
from service.policy_files import read_policy_source
from service.rendering.decision_text import decision_text
from service.rendering.letter_text import letter_text
from tests.rules.decision.conftest import FIXTURES

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/two-services-1.yaml for a pump and a drive. The oil of the pump, due at 250 h (25 h
# either side), is missed at 300 h and denies the pump alone. The pump comes to 1,000.00 × 1.15 = 1,150.00, the drive to
# 2,000.00 × 1.15 = 2,300.00, both to 3,450.00.
TERMS: Mapping[str, Any] = {
    "applies_to": {"components": ["hydrostatic_pump", "wheel_drive"]},
    "services": {"yearly": {"missed": "note_only"}},
}
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2020-03-02", "records_complete_from": "2020-03-02"},
    "claim": {
        "failed_on": "2021-06-01",
        "reading": 300,
        "lines": {
            "pump": {"component": "hydrostatic_pump", "net": "1000.00"},
            "drive": {"component": "wheel_drive", "net": "2000.00"},
        },
    },
}
RECORDS = "records of the oil services due at 250.0 h (225.0–275.0 h)"


@pytest.fixture(scope="module")
def runner() -> Iterator[CaseRunner]:
    with CaseRunner(read_policy_source(FIXTURES), {"EUR": 2, "USD": 2}) as runner:
        yield runner


def capped(amount: str) -> dict[str, Any]:
    return {
        "caps": [{"clause": "8", "over": "claim", "at": {"amount": amount}, "items": "all", "excess_borne_by": "owner"}]
    }


def decided(runner: CaseRunner, terms: Mapping[str, Any], **case: Any) -> Decision:
    table = {
        "policies": ["two-services@1"],
        "base": BASE,
        "cases": [
            {
                "name": "a pump and a drive on one claim",
                "terms": {"two-services@1": {**TERMS, **terms}},
                "expect": {"pump": {"outcome": "deny"}},
                "remedy": {"pump": "0.00"},  # so that remedies are sought at all
                **case,
            }
        ],
    }
    (result,) = runner.run(CaseTable.model_validate(table))
    return result.decision


def paid(decision: Decision) -> dict[str, str]:
    return {line.line: str(line.maker_pays) for line in decision.lines}


def remedies(decision: Decision) -> list[tuple[str, str, dict[str, str], str | None]]:
    """Return each remedy's line with what it, the other lines that change and the payout come to."""
    return [
        (
            remedy.line,
            str(remedy.maker_pays),
            {line: str(amount) for line, amount in remedy.also},
            None if remedy.payout is None else str(remedy.payout.amount),
        )
        for remedy in decision.remedies
    ]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_without_a_cap_the_other_line_stays_as_it_is(runner: CaseRunner) -> None:
    decision = decided(runner, {})
    assert paid(decision) == {"pump": "0.00", "drive": "2300.00"}
    assert remedies(decision) == [("pump", "1150.00", {}, None)]
    text = flat(decision_text(decision))
    assert f"{RECORDS} would bring this line to 1,150.00 EUR (paid in full)." in text


# Under a cap both lines give of what is above it, in proportion to 1,150.00 and 2,300.00: a third and two thirds.
@pytest.mark.parametrize(
    ("cap", "before", "pump", "drive"),
    [
        ("3450.00", "2300.00", "1150.00", None),  # the cap holds both
        ("3449.99", "2300.00", "1150.00", "2299.99"),  # 0.01 above: the larger part of it is the drive's
        ("3000.00", "2300.00", "1000.00", "2000.00"),  # 450.00 above: 150.00 and 300.00
        ("2300.01", "2300.00", "766.67", "1533.34"),  # 1,149.99 above: 383.33 and 766.66
    ],
)
def test_under_a_cap_the_drive_gives_to_the_pump_and_the_claim_comes_to_more(
    runner: CaseRunner, cap: str, before: str, pump: str, drive: str | None
) -> None:
    decision = decided(runner, capped(cap))
    assert paid(decision) == {"pump": "0.00", "drive": before}
    also = {} if drive is None else {"drive": drive}
    total = None if drive is None else str(Decimal(pump) + Decimal(drive))
    assert remedies(decision) == [("pump", pump, also, total)]
    assert total in (None, cap)


@pytest.mark.parametrize("cap", ["2300.00", "2000.00"])
def test_where_the_drive_alone_reaches_the_cap_the_records_of_the_pump_bring_nothing(
    runner: CaseRunner, cap: str
) -> None:
    """They would only take from the drive what the pump gets, and nobody is asked for them."""
    decision = decided(runner, capped(cap))
    assert paid(decision) == {"pump": "0.00", "drive": cap}
    assert decision.remedies == ()
    assert "What would change it" not in decision_text(decision)
    assert "decided again" not in letter_text(decision)


def test_the_desk_reads_what_the_other_line_and_the_payout_come_to(runner: CaseRunner) -> None:
    text = flat(decision_text(decided(runner, capped("3000.00"))))
    assert (
        f"{RECORDS} would bring this line to 1,000.00 EUR (paid in part), line drive down to 2,000.00 EUR and the"
        " payout to 3,000.00 EUR." in text
    )


def test_a_deductible_of_both_lines_leaves_the_other_one_more(runner: CaseRunner) -> None:
    """100.00 a claim: the drive bears it alone, 2,200.00; of both it bears 66.67 and the pump 33.33."""
    decision = decided(runner, {"deductible": {"clause": "7", "amount": "100.00", "borne_by": "owner"}})
    assert paid(decision) == {"pump": "0.00", "drive": "2200.00"}
    assert remedies(decision) == [("pump", "1116.67", {"drive": "2233.33"}, "3350.00")]
    text = flat(decision_text(decision))
    assert "would bring this line to 1,116.67 EUR (paid in part) and the payout to 3,350.00 EUR." in text


def test_records_that_bring_both_lines_say_what_both_come_to(runner: CaseRunner) -> None:
    """The oil denies the drive too; its records bring 1,150.00 and 2,300.00."""
    services = {"oil": {"links": ["hydrostatic_pump", "wheel_drive"]}, "yearly": {"missed": "note_only"}}
    decision = decided(runner, {"services": services})
    assert paid(decision) == {"pump": "0.00", "drive": "0.00"}
    assert sorted(remedies(decision)) == [
        ("drive", "2300.00", {"pump": "1150.00"}, "3450.00"),
        ("pump", "1150.00", {"drive": "2300.00"}, "3450.00"),
    ]


@pytest.mark.parametrize(
    ("cap", "expected"),
    [("2300.00", []), ("3000.00", [("pump", "1000.00", {"drive": "2000.00"}, "0.00")])],
)
def test_where_the_payout_waits_for_an_exchange_rate_the_lines_are_summed(
    runner: CaseRunner, cap: str, expected: list[Any]
) -> None:
    decision = decided(runner, capped(cap), dealer={"currency": "USD"})
    assert (decision.payout.currency, str(decision.payout.amount)) == ("USD", "0.00")
    assert remedies(decision) == expected
    text = flat(decision_text(decision))
    assert ("and the payout to 0.00 USD, besides 3,000.00 EUR held." in text) is bool(expected)
