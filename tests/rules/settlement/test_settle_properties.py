"""What holds for every settlement, whatever the policy, the claim and the order of the steps."""

import itertools
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.rounding import minor_units
from rules.settlement.settle import LowerShare
from tests.rules.settlement.examples import allowances, check_steps, claim_file, policy_of, settled

pytestmark = pytest.mark.fast

ORDERS = [["allowance", *rest] for rest in itertools.permutations(("share", "deductible", "caps"))]
MODES = ("half_up", "half_even", "half_down", "up", "down")
BEARERS = ("owner", "dealer", "other_payer")
PRORATING = {
    "clause": "3",
    "axes": [{"by": "complete_months", "share": {"steps": [[0, 1]]}}],
    "items": ["parts"],
    "owner_pays_on": "allowed_amount",
    "borne_by": "owner",
}


def money(most: int = 100_000) -> st.SearchStrategy[str]:
    return st.integers(min_value=0, max_value=most * 100).map(lambda units: str(Decimal(units) / 100))


shares = st.fractions(min_value=0, max_value=1, max_denominator=1000)
parts = st.fixed_dictionaries(
    {
        "net": money(),
        "quantity": st.sampled_from(["1", "2", "0.5", "4.75", "3"]),
        "list_price": st.none() | money(),
        "part_number": st.sampled_from([None, "P-1", "P-2"]),
    }
)
labour = st.fixed_dictionaries(
    {
        "item": st.just("labour"),
        "hours": st.integers(min_value=0, max_value=2000).map(lambda hundredths: str(Decimal(hundredths) / 100)),
        "rate": st.none() | money(200),
        "operation": st.sampled_from([None, "OP-1", "OP-2"]),
    }
)
travel = st.fixed_dictionaries(
    {
        "item": st.just("travel"),
        "units": st.integers(0, 500).map(str),
        "unit": st.sampled_from(["km", "mile"]),
        "amount": st.none() | money(500),
    }
)
bills = st.fixed_dictionaries(
    {"item": st.sampled_from(["freight", "sublet", "supplies"]), "amount": money(2000), "invoice": st.just("I-1")}
)
diagnosis = st.fixed_dictionaries(
    {
        "item": st.just("diagnosis"),
        "hours": st.integers(0, 500).map(lambda hundredths: str(Decimal(hundredths) / 100)),
        "rate": money(200),
    }
)
components = st.sampled_from(["engine", "pump"])
lines = st.lists(st.tuples(parts | labour | travel | bills | diagnosis, components), min_size=1, max_size=5).map(
    lambda found: {
        f"L{number}": {key: value for key, value in {**line, "component": component}.items() if value is not None}
        for number, (line, component) in enumerate(found)
    }
)
caps = st.lists(
    st.fixed_dictionaries(
        {
            "clause": st.just("6"),
            "over": st.sampled_from(["line", "claim", "machine_lifetime", "component_lifetime"]),
            "at": money(3000).map(lambda amount: {"amount": amount}) | st.just({"of": "machine_price"}),
            "items": st.sampled_from(["all", ["parts"], ["labour", "travel"]]),
            "components": st.sampled_from(["all", ["engine"]]),
            "excess_borne_by": st.sampled_from(BEARERS),
        }
    ),
    max_size=2,
)
terms = st.fixed_dictionaries(
    {
        "pays": st.fixed_dictionaries(
            {
                "parts": st.fixed_dictionaries(
                    {
                        "basis": st.just("dealer_net"),
                        "handling": st.sampled_from(["0", "15%", "1/3"]),
                        "handling_at_most": st.none() | money(50),
                        "share": st.none() | shares.map(str),
                        "at_most": st.none() | money(2000),
                        "excess_borne_by": st.sampled_from(BEARERS),
                    }
                ),
                "labour": st.fixed_dictionaries(
                    {
                        "hours": st.sampled_from(["lesser_of_actual_and_flat_rate", "flat_rate", "actual"]),
                        "rate": st.just("registered") | money(150),
                        "hours_in": st.sampled_from(["tenths", "hundredths"]),
                        "excess_borne_by": st.sampled_from(BEARERS),
                    }
                ),
            }
        ),
        "prorating": st.just(PRORATING),
        "deductible": st.none() | money(500).map(lambda amount: {"clause": "5", "amount": amount, "borne_by": "owner"}),
        "caps": caps,
    }
)
conventions = st.fixed_dictionaries(
    {
        "deduction_order": st.sampled_from(ORDERS),
        "money": st.fixed_dictionaries({"round": st.sampled_from(MODES), "at": st.sampled_from(["line", "step"])}),
    }
)
TABLES = {
    "prices": {
        "kind": "prices",
        "currency": "EUR",
        "rows": [
            {"part": "P-1", "net": "312.40", "list_price": "500.00", "from": "2025-01-01"},
            {"part": "P-2", "net": "7.35", "from": "2025-01-01"},
        ],
    },
    "times": {
        "kind": "flat_times",
        "rows": [
            {"operations": ["OP-1"], "hours": "2.6", "from": "2025-01-01"},
            {"operations": ["OP-2"], "hours": "1.1", "from": "2025-01-01"},
            {"operations": ["OP-1", "OP-2"], "hours": "3.1", "from": "2025-01-01"},
        ],
    },
    "labour-rates": {
        "kind": "labour_rates",
        "currency": "EUR",
        "rows": [{"dealer": "D-1", "rate": "95.00", "from": "2025-01-01"}],
    },
}
PAYMENTS = {"E-1": {"paid_on": "2025-03-01", "policy": "money@1", "amount": "1400.55", "component": "engine"}}


def _file(found: dict[str, Any], with_tables: bool) -> Any:
    tables = TABLES if with_tables else {}
    return claim_file({"claim": {"lines": found}, "tables": tables, "earlier_payments": PAYMENTS})


@settings(max_examples=150, deadline=None)
@given(found=lines, changed=terms, by=conventions, share=shares, with_tables=st.booleans(), lower=st.none() | shares)
def test_every_line_adds_up_and_every_step_can_be_recomputed(
    found: dict[str, Any],
    changed: dict[str, Any],
    by: dict[str, Any],
    share: Fraction,
    with_tables: bool,
    lower: Fraction | None,
) -> None:
    policy, file = policy_of(changed, by), _file(found, with_tables)
    lowered = [] if lower is None else [LowerShare(lower, "term", "dealer")]
    for split in settled(policy, file, share, lowered).values():
        borne = (split.maker, split.owner, split.dealer, split.other_payer, split.open)
        assert split.claimed + split.added == sum(borne)
        assert min(*borne, split.claimed, split.added, split.allowed) >= 0
        assert split.maker <= split.allowed <= split.claimed + split.added
        check_steps(split, by["money"]["round"], by["money"]["at"] == "step")


@settings(max_examples=80, deadline=None)
@given(found=lines, with_tables=st.booleans())
def test_nothing_is_added_where_the_lesser_of_claim_and_table_is_paid(found: dict[str, Any], with_tables: bool) -> None:
    for split in settled(policy_of(), _file(found, with_tables)).values():
        assert split.added == 0
        assert split.allowed <= split.claimed


@settings(max_examples=80, deadline=None)
@given(found=lines, changed=terms, by=conventions, share=shares)
def test_the_order_of_lines_changes_nothing(
    found: dict[str, Any], changed: dict[str, Any], by: dict[str, Any], share: Fraction
) -> None:
    policy = policy_of(changed, by)
    turned = dict(reversed(found.items()))
    assert _plain(settled(policy, _file(found, True), share)) == _plain(settled(policy, _file(turned, True), share))


def _plain(found: dict[str, Any]) -> dict[str, tuple[Any, ...]]:
    return {line: (m.claimed, m.added, m.maker, m.owner, m.dealer, m.other_payer, m.steps) for line, m in found.items()}


@settings(max_examples=100, deadline=None)
@given(found=lines, changed=terms, by=conventions, one=shares, other=shares)
def test_a_smaller_share_never_pays_more_on_one_line(
    found: dict[str, Any], changed: dict[str, Any], by: dict[str, Any], one: Fraction, other: Fraction
) -> None:
    """On one line only: a sum spread over several moves between them when their proportion does."""
    line = dict(itertools.islice(found.items(), 1))
    policy, file = policy_of(changed, by), _file(line, False)
    low, high = settled(policy, file, min(one, other)), settled(policy, file, max(one, other))
    for name in low:
        assert low[name].maker <= high[name].maker


@settings(max_examples=100, deadline=None)
@given(net=money(), share=shares, deductible=money(500), cap=money(5000), mode=st.sampled_from(MODES))
def test_share_deductible_and_cap_of_one_part_by_a_second_way(
    net: str, share: Fraction, deductible: str, cap: str, mode: str
) -> None:
    policy = policy_of(
        {
            "pays": {"parts": {"handling": 0}},
            "prorating": PRORATING,
            "deductible": {"clause": "5", "amount": deductible, "borne_by": "owner"},
            "caps": [
                {"clause": "6", "over": "claim", "at": {"amount": cap}, "items": "all", "excess_borne_by": "dealer"}
            ],
        },
        {"money": {"round": mode, "at": "line"}},
    )
    split = settled(policy, claim_file({"claim": {"lines": {"a": {"component": "engine", "net": net}}}}), share)["a"]
    shared = minor_units(Fraction(net) * share, 2, mode)
    after = max(shared - int(Decimal(deductible) * 100), 0)
    assert split.maker == min(after, int(Decimal(cap) * 100))
    assert split.dealer == after - split.maker
    assert split.owner == split.claimed - after


@settings(max_examples=100, deadline=None)
@given(nets=st.lists(money(), min_size=1, max_size=5), deductible=money(2000))
def test_a_deductible_is_taken_whole_or_to_the_last_cent(nets: list[str], deductible: str) -> None:
    policy = policy_of(
        {
            "pays": {"parts": {"handling": 0}},
            "deductible": {"clause": "5", "amount": deductible, "borne_by": "other_payer"},
        }
    )
    found = {f"L{number}": {"component": "engine", "net": net} for number, net in enumerate(nets)}
    split = settled(policy, claim_file({"claim": {"lines": found}})).values()
    whole = sum(int(Decimal(net) * 100) for net in nets)
    assert sum(line.other_payer for line in split) == min(int(Decimal(deductible) * 100), whole)


@settings(max_examples=100, deadline=None)
@given(nets=st.lists(money(), min_size=1, max_size=5), cap=money(2000), paid=money(2000))
def test_a_lifetime_cap_is_never_passed(nets: list[str], cap: str, paid: str) -> None:
    policy = policy_of(
        {
            "pays": {"parts": {"handling": 0}},
            "caps": [
                {
                    "clause": "6",
                    "over": "machine_lifetime",
                    "at": {"amount": cap},
                    "items": "all",
                    "excess_borne_by": "owner",
                }
            ],
        }
    )
    found = {f"L{number}": {"component": "engine", "net": net} for number, net in enumerate(nets)}
    payment = {"E-1": {"paid_on": "2025-03-01", "policy": "money@1", "amount": paid}}
    split = settled(policy, claim_file({"claim": {"lines": found}, "earlier_payments": payment})).values()
    left = max(int((Decimal(cap) - Decimal(paid)) * 100), 0)
    whole = sum(int(Decimal(net) * 100) for net in nets)
    assert sum(line.maker for line in split) == min(left, whole)


@settings(max_examples=60, deadline=None)
@given(nets=st.lists(money(), min_size=1, max_size=3), over=st.sampled_from(["claim", "machine_lifetime"]))
def test_a_cap_at_a_price_that_is_not_on_file_leaves_everything_open(nets: list[str], over: str) -> None:
    cap = {"clause": "6", "over": over, "at": {"of": "machine_price"}, "items": "all", "excess_borne_by": "owner"}
    found = {f"L{number}": {"component": "engine", "net": net} for number, net in enumerate(nets)}
    file = claim_file({"claim": {"lines": found}, "machine": {"price": None, "currency": None}})
    for split in settled(policy_of({"caps": [cap]}), file).values():
        assert (split.maker, split.open) == (0, split.claimed)
        assert [h.code for h in split.held] == (["cap_price_missing"] if sum(map(Decimal, nets)) else [])


@settings(max_examples=60, deadline=None)
@given(net=money(), list_price=money(), share=shares)
def test_an_owner_billed_on_list_owes_that_share_of_it(net: str, list_price: str, share: Fraction) -> None:
    policy = policy_of({"pays": {"parts": {"handling": 0}}, "prorating": {**PRORATING, "owner_pays_on": "list_price"}})
    line = {"component": "engine", "net": net, "list_price": list_price}
    split = settled(policy, claim_file({"claim": {"lines": {"a": line}}}), share)["a"]
    if share == 1 or not Decimal(net):
        assert (split.owner, split.added) == (0, 0)
        return
    owes = minor_units(Fraction(list_price) * (1 - share), 2, "half_up")
    # Below the claim the owner's part is the difference of two rounded amounts, so a cent off at most.
    assert abs(split.owner - owes) <= 1
    assert split.maker == minor_units(Fraction(net) * share, 2, "half_up")


@settings(max_examples=100, deadline=None)
@given(actual=st.integers(0, 1000), other=st.integers(0, 1000))
def test_two_operations_in_one_visit_never_come_to_more_than_their_combined_time(actual: int, other: int) -> None:
    found = {
        "a": {"component": "engine", "operation": "OP-1", "hours": str(Decimal(actual) / 100), "rate": "95.00"},
        "b": {"component": "engine", "operation": "OP-2", "hours": str(Decimal(other) / 100), "rate": "95.00"},
    }
    policy = policy_of({"pays": {"labour": {"hours_in": "hundredths"}}})
    allowed = sum(a.allowed for _, a in allowances(policy, _file(found, True)).values())
    alone = min(Fraction(actual, 100), Fraction("2.6")) + min(Fraction(other, 100), Fraction("1.1"))
    assert allowed == min(alone, Fraction("3.1")) * 95 * 10**12
