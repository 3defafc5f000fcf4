"""Policies, claim files and settlements for the tests of the money: the terms of money@1, changed as a test says."""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from iso4217 import Currency

from rules.cases.facts import claim_file_of, merged
from rules.measures.prorating import Proration
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy, compile_policy
from rules.rounding import rounded_ratio
from rules.selection.select import Subject, subject_of
from rules.settlement.allowance import Allowance
from rules.settlement.desk import Desk
from rules.settlement.exact import GRAINS
from rules.settlement.items import allow
from rules.settlement.money import LineMoney
from rules.settlement.settle import LowerShare, Payable, Settlement
from rules.settlement.tables import index_tables
from rules.settlement.visits import overlapping_times
from schemas.cases import CaseTable
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.documents import parse_document
from schemas.policy.document import CoveragePolicy

FIXTURES = Path(__file__).parents[3] / "fixtures"
EXPONENTS = {c.code: c.exponent for c in Currency if c.exponent is not None}
BASE: dict[str, Any] = {
    "policies": ["money@1"],
    "base": {
        "machine": {
            "model": "RM10",
            "retail_delivery": "2025-01-10",
            "records_complete_from": "2025-01-10",
            "price": "14500.00",
            "currency": "EUR",
        },
        "claim": {
            "failed_on": "2025-06-16",
            "repair_ended_on": "2025-06-20",
            "submitted_on": "2025-07-01",
            "lines": {},
        },
    },
    "cases": [{"name": "a claim of the tests of money", "expect": {"x": {"outcome": "pay"}}}],
}
Decide = Callable[[Payable], bool]


def tree(name: str) -> Any:
    file = FIXTURES / name
    return parse_document(file.read_text(encoding="utf-8"), file.name).tree


TERMS = tree("cases/policies/money-1.yaml")
CONVENTIONS = tree("conventions/common-civil-1.yaml")


def policy_of(terms: Mapping[str, Any] | None = None, conventions: Mapping[str, Any] | None = None) -> CompiledPolicy:
    """Return money@1 with these changes, null taking a key away."""
    changed = CoveragePolicy.model_validate(merged(TERMS, terms or {}))
    return compile_policy(changed, Conventions.model_validate(merged(CONVENTIONS, conventions or {})), {})


def claim_file(base: Mapping[str, Any], currency: str = "EUR") -> ClaimFile:
    """Return a claim file written as in a case table's base."""
    table = CaseTable.model_validate(merged(BASE, {"base": base}))
    return claim_file_of(table, table.cases[0], currency, EXPONENTS)


def allowances(policy: CompiledPolicy, file: ClaimFile) -> dict[str, tuple[Subject, Allowance]]:
    """Return what is allowed of each line, labour first."""
    desk = desk_of(policy, file)
    subjects = {
        line.line: subject_of(line, file, line.component or file.claim.component, True, World({}))
        for line in file.claim.lines
    }
    combined = overlapping_times(desk, tuple(subjects.values()), {})
    lines = sorted(file.claim.lines, key=lambda line: (line.item != "labour", line.line))
    found: dict[str, tuple[Subject, Allowance]] = {}
    for line in lines:
        labour = sum(a.allowed for s, a in found.values() if s.line.item == "labour")
        found[line.line] = (subjects[line.line], allow(line, desk, combined, labour))
    return found


def desk_of(policy: CompiledPolicy, file: ClaimFile) -> Desk:
    return Desk(policy, file, index_tables(file), World({}))


def settled(
    policy: CompiledPolicy,
    file: ClaimFile,
    share: Fraction | None = None,
    lowered: Sequence[LowerShare] = (),
    over_limit: bool = False,
) -> dict[str, LineMoney]:
    """Return the money of every line that is not held; ``share`` is the prorated share of every part."""
    proration = None if share is None else Proration(share, None, (), False, None)
    payables = [
        Payable(subject, allowance, proration if subject.line.item == "parts" else None, tuple(lowered), policy)
        for subject, allowance in allowances(policy, file).values()
        if not allowance.held
    ]
    return Settlement(policy, file).settle(payables, lambda _: over_limit, desk_of(policy, file))


def exact_of(text: str) -> Fraction:
    """Return an exact amount as a step writes it, in grains."""
    return Fraction(text) * GRAINS


def check_steps(money: LineMoney, mode: str, each_step: bool) -> None:
    """Recompute every step from the one before it with what the step itself says, as a reader of a decision could."""
    unit = Fraction(GRAINS, 10**money.exponent)
    added, moved = 0, dict.fromkeys(("owner", "dealer", "other_payer", "open"), 0)
    first, *steps = money.steps
    assert first.step == "claimed"
    assert first.exact is not None
    exact, units = exact_of(first.exact), _units(first.after, money)
    assert units == rounded_ratio(exact.numerator, exact.denominator * int(unit), mode)
    assert money.claimed == units
    for step in steps:
        before, after = _units(step.before, money), _units(step.after, money)
        assert before == units, step
        assert step.exact is not None
        if step.step == "added" and step.bearer is not None:
            assert step.amount is not None
            assert before == after
            whole = exact_of(step.amount) / unit
            assert whole.denominator == 1
            added += int(whole)
            moved[step.bearer] += int(whole)
            continue
        if step.factor is not None:
            exact *= Fraction(step.factor)
        else:
            assert step.amount is not None, step
            amount = exact_of(step.amount)
            exact = exact + amount if step.step == "added" else max(exact - amount, Fraction(0))
            if each_step and step.step in ("added", "allowance"):
                assert (amount / unit).denominator == 1, "where each step rounds, what the terms cut leaves whole units"
        if step.step in ("deductible", "caps", "open"):
            assert step.amount is not None
            assert after == before - exact_of(step.amount) / unit
        else:
            assert after == rounded_ratio(exact.numerator, exact.denominator * int(unit), mode), step
        if each_step:
            exact = after * unit
        assert exact_of(step.exact) == exact, step
        if step.step == "added":
            added += after - before
        else:
            assert step.bearer is not None
            moved[step.bearer] += before - after
        units = after
    assert (money.maker, money.added) == (units, added)
    assert moved == {
        "owner": money.owner,
        "dealer": money.dealer,
        "other_payer": money.other_payer,
        "open": money.open,
    }


def _units(amount: Any, money: LineMoney) -> int:
    return int(amount.scaleb(money.exponent))
