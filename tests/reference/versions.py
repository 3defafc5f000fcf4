"""Lines of one claim that several versions of one policy name pay: what they share of deductible and caps."""

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from schemas.policy.document import CoveragePolicy
from tests.reference.settlement import Line, Settled, Spent, Till
from tests.reference.tables import Counter


def settle_versions(
    lines: list[Line], counter_of: Callable[[str], Counter], waits: Callable[[str], list[tuple[str, Fraction | None]]]
) -> dict[str, Settled]:
    """Return the money of the lines of one policy name, those of older versions before those that state otherwise."""
    versions = {line.terms.version: counter_of(f"{line.terms.policy}@{line.terms.version}") for line in lines}
    left = sorted(versions)
    money: dict[str, Settled] = {}
    spent: list[Spent] = []
    while left:
        oldest = versions[left[0]]
        together = [v for v in left if _claim_terms(versions[v]) == _claim_terms(oldest)]
        left = [v for v in left if v not in together]
        till = Till([line for line in lines if line.terms.version in together], oldest, spent, waits)
        settled = till.settle()
        spent += [Spent(line, settled[line.name].maker, till.taken.get(line.name, 0)) for line in till.lines]
        money |= settled
    return money


def _claim_terms(counter: Counter) -> list[Any]:
    conventions = counter.conventions.model_dump(mode="json")
    stated = ("deduction_order", "money", "exchange_rate_on", "rate_gap")
    return [*(conventions[key] for key in stated), *_wordless(counter.policy)]


def _wordless(policy: CoveragePolicy) -> list[Any]:
    tree = policy.model_dump(mode="json")
    clauses = [tree["deductible"], *tree["caps"]]
    return [
        clause and {key: clause[key] for key in sorted(clause) if key not in ("clause", "text")} for clause in clauses
    ]
