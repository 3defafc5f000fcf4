"""Lines of one claim under several versions of one coverage: one deductible, one room under each cap."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.measures.prorating import Proration
from rules.policy_book.compiled import CompiledPolicy
from rules.settlement.money import LineMoney
from rules.settlement.settle import Payable, Settlement
from rules.settlement.versions import settled_versions
from schemas.claim_file import ClaimFile
from tests.rules.settlement.examples import allowances, check_steps, claim_file, desk_of, policy_of

pytestmark = pytest.mark.fast

HALF = {
    "clause": "3",
    "axes": [{"by": "complete_months", "share": {"steps": [[0, 1]]}}],
    "items": ["parts"],
    "owner_pays_on": "allowed_amount",
    "borne_by": "owner",
}
STEPS = ("share", "deductible", "caps")


def version(number: int, terms: Mapping[str, Any], conventions: Mapping[str, Any] | None = None) -> CompiledPolicy:
    """Return a version of money@1 that pays parts without handling, prorated as a test says."""
    own = {"version": number, "prorating": HALF, "pays": {"parts": {"handling": 0}}}
    return policy_of({**own, **terms}, conventions)


def of_deductible(amount: str) -> dict[str, Any]:
    return {"deductible": {"clause": "5", "amount": amount, "borne_by": "owner"}}


def of_cap(amount: str, over: str = "claim", items: Any = "all") -> dict[str, Any]:
    return {
        "caps": [{"clause": "6", "over": over, "at": {"amount": amount}, "items": items, "excess_borne_by": "owner"}]
    }


def file_of(nets: Mapping[str, str]) -> ClaimFile:
    return claim_file({"claim": {"lines": {line: {"component": "engine", "net": net} for line, net in nets.items()}}})


def settled(
    file: ClaimFile, by: Mapping[str, CompiledPolicy], share: Fraction = Fraction(1), *, backwards: bool = False
) -> dict[str, LineMoney]:
    """Return the money of each line, which ``by`` gives the version that pays it."""
    payables = payables_of(file, by, share)
    return settled_versions(
        payables[::-1] if backwards else payables,
        lambda _: False,
        lambda _: (),
        lambda policy: desk_of(policy, file),
        file,
    )


def payables_of(file: ClaimFile, by: Mapping[str, CompiledPolicy], share: Fraction) -> Sequence[Payable]:
    proration = Proration(share, None, (), False, None)
    allowed = {line: allowances(policy, file)[line] for line, policy in by.items()}
    return [Payable(subject, allowance, proration, (), by[line]) for line, (subject, allowance) in allowed.items()]


def makers(money: Mapping[str, LineMoney]) -> dict[str, int]:
    return {line: split.maker for line, split in money.items()}


def test_each_version_takes_the_steps_in_its_own_order() -> None:
    """The older one takes 100.00 of 1,000.00 and pays half of 900.00; the newer pays half, less 50.00 of its 150.00."""
    older = version(1, of_deductible("100.00"), {"deduction_order": ["allowance", "deductible", "share", "caps"]})
    newer = version(2, of_deductible("150.00"), {"deduction_order": ["allowance", "share", "deductible", "caps"]})
    money = settled(file_of({"a": "1000.00", "b": "1000.00"}), {"a": older, "b": newer}, Fraction(1, 2))
    assert makers(money) == {"a": 450_00, "b": 450_00}


def test_one_that_rounds_otherwise_is_settled_by_itself() -> None:
    """100.01 are halved to 50.005: up to 50.01, down to 50.00. The deductible of 10.00 falls to the older line."""
    older = version(1, of_deductible("10.00"), {"money": {"round": "half_up", "at": "line"}})
    newer = version(2, of_deductible("10.00"), {"money": {"round": "half_down", "at": "line"}})
    money = settled(file_of({"a": "100.01", "b": "100.01"}), {"a": older, "b": newer}, Fraction(1, 2))
    assert makers(money) == {"a": 40_01, "b": 50_00}


def test_what_two_of_three_versions_share_comes_with_the_older_of_them() -> None:
    """Versions 1 and 3 bear 60.00 over 300.00, a fifth of each line; version 2 what is left of its 90.00, 30.00."""
    one, two, three = (
        version(number, of_deductible(amount)) for number, amount in ((1, "60.00"), (2, "90.00"), (3, "60.00"))
    )
    file = file_of({"a": "100.00", "b": "100.00", "c": "200.00"})
    assert makers(settled(file, {"a": three, "b": two, "c": one})) == {"a": 80_00, "b": 70_00, "c": 160_00}


def test_a_version_whose_cap_is_used_up_pays_nothing() -> None:
    older, newer = version(1, {}), version(2, of_cap("400.00"))
    money = settled(file_of({"a": "500.00", "b": "100.00"}), {"a": older, "b": newer})
    assert makers(money) == {"a": 500_00, "b": 0}
    assert "at most 400.00, of which 500.00 is paid on line a" in money["b"].cuts[-1].words


amounts = st.integers(0, 90_000).map(lambda units: f"{units // 100}.{units % 100:02d}")
stated = st.fixed_dictionaries(
    {
        "deductible": st.none() | amounts,
        "cap": st.none() | amounts,
        "over": st.sampled_from(["line", "claim", "machine_lifetime", "component_lifetime"]),
        "order": st.permutations(STEPS),
        "round": st.sampled_from(["half_up", "half_even", "down"]),
        "at": st.sampled_from(["line", "step"]),
    }
)


def drawn(number: int, found: Mapping[str, Any]) -> CompiledPolicy:
    terms = {} if found["deductible"] is None else of_deductible(found["deductible"])
    terms |= {} if found["cap"] is None else of_cap(found["cap"], found["over"])
    by = {"deduction_order": ["allowance", *found["order"]], "money": {"round": found["round"], "at": found["at"]}}
    return version(number, terms, by)


@settings(max_examples=40, deadline=None)
@given(
    found=st.tuples(stated, stated, stated),
    nets=st.lists(st.tuples(amounts, st.integers(0, 2)), min_size=1, max_size=5),
    share=st.sampled_from([Fraction(1), Fraction(1, 3), Fraction(0)]),
)
def test_a_claim_bears_no_more_than_one_deductible_and_no_cap_has_a_second_room(
    found: tuple[dict[str, Any], ...], nets: list[tuple[str, int]], share: Fraction
) -> None:
    versions = [drawn(number + 1, each) for number, each in enumerate(found)]
    file = file_of({f"L{number}": net for number, (net, _) in enumerate(nets)})
    by = {f"L{number}": versions[which] for number, (_, which) in enumerate(nets)}
    money = settled(file, by, share)
    again = settled(file, by, share, backwards=True)
    assert {line: split.steps for line, split in again.items()} == {line: split.steps for line, split in money.items()}
    for line, split in money.items():
        assert split.claimed + split.added == split.maker + split.owner + split.dealer + split.other_payer + split.open
        check_steps(split, by[line].conventions.money.round, by[line].conventions.money.at == "step")
    taken = sum(m.before - m.after for split in money.values() for m in split.moves if m.step == "deductible")
    used = {policy.name: policy.terms for policy in by.values()}
    assert taken <= max((int(t.deductible.amount * 100) for t in used.values() if t.deductible), default=0)
    paid = {name: sum(money[line].maker for line in by if by[line].name == name) for name in used}
    for name, terms in used.items():
        for cap in terms.caps:
            if cap.over != "line":
                assert paid[name] <= int(cap.at.amount * 100)  # type: ignore[union-attr]
    alike = [t for t in used.values() if t.caps and t.caps[0].over != "line"]
    if len(alike) == len(used):
        assert sum(paid.values()) <= max(int(t.caps[0].at.amount * 100) for t in alike)  # type: ignore[union-attr]


@settings(max_examples=20, deadline=None)
@given(found=stated, nets=st.lists(st.tuples(amounts, st.booleans()), min_size=1, max_size=5))
def test_versions_that_state_the_same_settle_a_claim_as_one_would(
    found: dict[str, Any], nets: list[tuple[str, bool]]
) -> None:
    one, other = drawn(1, found), drawn(2, found)
    file = file_of({f"L{number}": net for number, (net, _) in enumerate(nets)})
    by = {f"L{number}": one if is_one else other for number, (_, is_one) in enumerate(nets)}
    whole = Settlement(one, file).settle(
        payables_of(file, dict.fromkeys(by, one), Fraction(1)), lambda _: False, desk_of(one, file)
    )
    assert makers(settled(file, by)) == makers(whole)
