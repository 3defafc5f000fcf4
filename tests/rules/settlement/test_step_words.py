"""The words of steps that hold numbers of their own, each number worked by hand."""

from fractions import Fraction
from typing import Any

import pytest

from rules.settlement.money import LineMoney
from tests.rules.settlement.examples import claim_file, policy_of, settled

pytestmark = pytest.mark.fast

ON_LIST = policy_of(
    {
        "prorating": {
            "clause": "3",
            "axes": [{"by": "machine_hours", "share": {"points": [[0, 1], [2400, 0]], "between": "linear"}}],
            "items": ["parts"],
            "owner_pays_on": "list_price",
            "borne_by": "owner",
        }
    }
)
TIMES = [
    {"operations": ["DRIVE-L"], "hours": "2.6", "from": "2024-01-01"},
    {"operations": ["DRIVE-R"], "hours": "2.6", "from": "2024-01-01"},
    {"operations": ["DRIVE-L", "DRIVE-R"], "hours": "3.8", "from": "2024-01-01"},
]


def words_of(money: LineMoney, step: str) -> list[str]:
    return [found.words for found in money.steps if found.step == step]


def money_of(terms: Any, lines: dict[str, Any], share: Fraction | None = None, **tables: Any) -> dict[str, LineMoney]:
    return settled(terms, claim_file({"claim": {"lines": lines}, "tables": tables}), share)


def part(list_price: str) -> dict[str, Any]:
    return {"drive": {"component": "wheel_drive", "net": "1000.00", "list_price": list_price}}


def test_the_owner_s_part_of_a_list_price_above_the_claim() -> None:
    """T-07: 40 % of 1,400.00 are 560.00, and of the claim of 1,150.00 460.00."""
    money = money_of(ON_LIST, part("1400.00"), Fraction(3, 5))["drive"]
    assert (money.maker, money.owner, money.added) == (69000, 56000, 10000)
    assert words_of(money, "added") == [
        "the owner's part is 40 % of the list price 1,400.00: 100.00 more than of the claim, kept by the dealer"
    ]


def test_the_owner_s_part_of_a_list_price_below_the_claim() -> None:
    """40 % of 900.00 are 360.00, and of the claim of 1,150.00 460.00."""
    money = money_of(ON_LIST, part("900.00"), Fraction(3, 5))["drive"]
    assert (money.maker, money.owner, money.dealer, money.added) == (69000, 36000, 10000, 0)
    of_list, short = words_of(money, "share")
    assert of_list.endswith("the owner's part is 40 % of the list price 900.00")
    assert short == (
        "the owner's part is 40 % of the list price 900.00, 100.00 less than of the claim; nobody owes the dealer that"
    )
    amounts = [step.amount for step in money.steps if step.step == "share"]
    assert amounts == ["360", "100"]


def test_the_share_of_a_combined_time() -> None:
    """T-09: 3.8 h for both, of which 2.6 ÷ 5.2 are each line's: 1.9 h."""
    labour = {"item": "labour", "component": "wheel_drive", "hours": "2.6", "rate": "95.00"}
    lines = {"right": {**labour, "operation": "DRIVE-R"}, "left": {**labour, "operation": "DRIVE-L"}}
    found = money_of(policy_of(), lines, times={"kind": "flat_times", "rows": TIMES})
    assert [(name, money.maker) for name, money in found.items()] == [("left", 18050), ("right", 18050)]
    (words,) = words_of(found["left"], "allowance")
    assert words.startswith("2.6 h claimed, DRIVE-L and DRIVE-R together take 3.8 h (times@1 from 1 January 2024); ")
    assert words.endswith("; of them 2.6 h ÷ 5.2 h is this line's: 3.8 h × 0.5 = 1.9 h")


def test_pieces_at_a_price_above_the_list() -> None:
    line = {"component": "wheel_drive", "part_number": "P-1", "net": "412.37", "quantity": 2}
    rows = [{"part": "P-1", "net": "400.00", "from": "2025-01-01"}]
    prices = {"kind": "prices", "currency": "EUR", "rows": rows}
    money = money_of(policy_of(), {"part": line}, prices=prices)["part"]
    assert (money.claimed, money.maker) == (94845, 92000)  # 2 × 412.37 × 1.15 = 948.451; 2 × 400.00 × 1.15
    assert words_of(money, "claimed") == ["2 × 412.37 dealer net × 1.15 handling"]
    assert words_of(money, "allowance") == [
        "412.37 claimed, 400.00 on the price list (prices@1 from 1 January 2025); 2 × 400.00 × 1.15 handling = 920.00"
    ]
    (cut,) = money.cuts
    assert cut.records == ("prices@1 from 1 January 2025",)
    bare = policy_of({"pays": {"parts": {"handling": 0}}})
    one = money_of(bare, {"part": {**line, "quantity": 1}})["part"]
    assert words_of(one, "claimed") == ["412.37 dealer net"]
    # Without handling and of one piece, the list price is what is left.
    one = money_of(bare, {"part": {**line, "quantity": 1}}, prices=prices)["part"]
    assert words_of(one, "allowance") == ["412.37 claimed, 400.00 on the price list (prices@1 from 1 January 2025)"]
    # 0.3333 × 1.15 = 0.383295 is cut off in words, and said to go on.
    small = {**prices, "rows": [{"part": "P-1", "net": "0.3333", "from": "2025-01-01"}]}
    one = money_of(policy_of(), {"part": {**line, "quantity": 1}}, prices=small)["part"]
    assert words_of(one, "allowance")[0].endswith("; 0.3333 × 1.15 handling = 0.3832…")


def test_time_above_and_below_the_flat_rate() -> None:
    lines = {"work": {"component": "wheel_drive", "operation": "DRIVE-L", "hours": "3.9", "rate": "95.00"}}
    tables = {"kind": "flat_times", "rows": TIMES}
    above = money_of(policy_of(), lines, times=tables)["work"]
    assert words_of(above, "claimed") == ["3.9 h × 95.00"]
    assert words_of(above, "allowance") == ["3.9 h claimed, 2.6 h flat-rate time (times@1 from 1 January 2024)"]
    lines["work"]["hours"] = "2.1"
    below = money_of(policy_of({"pays": {"labour": {"hours": "flat_rate"}}}), lines, times=tables)["work"]
    assert (below.maker, below.added) == (24700, 4750)
    assert words_of(below, "added") == ["the policy pays 2.6 h at 95.00"]


def test_the_share_of_labour_that_supplies_may_come_to() -> None:
    """5 % of 190.00 are 9.50."""
    labour = {"item": "labour", "component": "wheel_drive", "hours": "2.0", "rate": "95.00"}
    lines = {"work": labour, "rags": {"item": "supplies", "component": "wheel_drive", "amount": "12.00"}}
    money = money_of(policy_of(), lines)["rags"]
    assert (money.maker, money.dealer) == (950, 250)
    assert words_of(money, "allowance") == ["5 % of the allowed labour"]


def test_the_distance_and_the_hours_that_are_paid_at_most() -> None:
    lines = {
        "trip": {"item": "travel", "component": "wheel_drive", "units": 350, "unit": "km"},
        "look": {"item": "diagnosis", "component": "wheel_drive", "hours": "1.0", "rate": "95.00"},
    }
    found = money_of(policy_of(), lines)
    assert (found["trip"].maker, found["look"].maker) == (18000, 4750)  # 300 × 0.60 and 0.5 × 95.00
    assert "at most 300" in words_of(found["trip"], "allowance")[0]
    assert words_of(found["look"], "allowance") == ["1 h claimed, at most 0.5 h"]


def test_a_deductible_over_lines_says_how_each_line_s_part_was_found() -> None:
    """100.00 over 920.00 and 460.00: 66.666… and 33.333…, the last cent to the greater rest."""
    terms = policy_of({"deductible": {"clause": "5", "amount": "100", "borne_by": "owner"}})
    lines = {name: {"component": "wheel_drive", "net": net} for name, net in (("a", "800.00"), ("b", "400.00"))}
    found = money_of(terms, lines)
    assert [(name, money.owner) for name, money in found.items()] == [("a", 6667), ("b", 3333)]
    ends = ", to the minor unit by largest remainder"
    assert words_of(found["a"], "deductible") == [
        f"deductible 100 a claim; of 100.00 in all: 100.00 × 920.00 ÷ 1,380.00{ends}"
    ]
    assert words_of(found["b"], "deductible") == [
        f"deductible 100 a claim; of 100.00 in all: 100.00 × 460.00 ÷ 1,380.00{ends}"
    ]
    # 69.00 over the same: 46.00 and 23.00, whole cents by themselves.
    whole = policy_of({"deductible": {"clause": "5", "amount": "69", "borne_by": "owner"}})
    (words,) = words_of(money_of(whole, lines)["a"], "deductible")
    assert words == "deductible 69 a claim; of 69.00 in all: 69.00 × 920.00 ÷ 1,380.00"
    # One line takes it all: there is nothing to split.
    alone = money_of(terms, {"a": lines["a"]})
    assert words_of(alone["a"], "deductible") == ["deductible 100 a claim"]


def test_what_is_above_a_cap_says_how_each_line_s_part_was_found() -> None:
    """1,380.00 against 1,000.00: 380.00 too much, of which 2/3 and 1/3 are 253.333… and 126.666…."""
    cap = {"clause": "6", "over": "claim", "at": {"amount": "1000"}, "items": "all", "excess_borne_by": "owner"}
    lines = {name: {"component": "wheel_drive", "net": net} for name, net in (("a", "800.00"), ("b", "400.00"))}
    found = money_of(policy_of({"caps": [cap]}), lines)
    assert [(name, money.owner) for name, money in found.items()] == [("a", 25333), ("b", 12667)]
    (words,) = words_of(found["b"], "caps")
    assert words.endswith("; of 380.00 in all: 380.00 × 460.00 ÷ 1,380.00, to the minor unit by largest remainder")
