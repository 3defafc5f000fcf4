"""Parts or labour: which of two kinds of items is paid, and what is due of it while other lines are not decided."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from rules.settlement.allowance import Allowance
from schemas.claim import ClaimLine
from schemas.policy.pays import EitherOr, LabourPaid, PartsPaid

Verdict = Literal["kept", "cut", "undecided"]
UNPRICED = frozenset(
    ("labour_rate_missing", "amount_missing", "exchange_rate_missing", "price_paid_missing", "cap_price_missing")
)
ANY_SUM = 10**40  # minor units; above every sum


@dataclass(frozen=True, slots=True)
class Waiting:
    """A line that is not decided and may come to be paid: at most ``most`` minor units, None where nobody can say."""

    line: str
    item: str
    most: int | None


@dataclass(frozen=True, slots=True)
class Sums:
    """What the lines of a kind come to: those that are decided alone, and with all that wait."""

    low: int
    high: int


def is_bounded(allowance: Allowance, line: ClaimLine, rule: object) -> bool:
    """Return whether a held line can come to no more than its allowance: its price is known, or its ceiling typed."""
    codes = {held.code for held in allowance.held}
    if "price_not_listed" in codes:
        return isinstance(rule, PartsPaid) and rule.basis == "dealer_net" and line.net is not None
    if "no_flat_rate_time" in codes and isinstance(rule, LabourPaid) and rule.hours == "flat_rate":
        return False
    return not codes & UNPRICED


def verdict_on(item: str, rule: EitherOr, sums: Mapping[str, Sums]) -> Verdict:
    """Return whether the lines of a kind are cut in every outcome of those that wait, in none, or in some.

    Where the higher of two sums is paid, a kind is cut the sooner the less it and the more the other comes to; where
    the lower is paid, the sooner the more it and the less the other comes to. Nothing is cut beside a kind of nothing.
    """
    first, second = rule.items
    own, other = sums[item], sums[second if item == first else first]

    def is_cut(mine: int, its: int) -> bool:
        if not its:
            return False
        ahead = mine > its or (mine == its and item == first)
        return ahead is (rule.picks == "lower")

    if rule.picks == "higher":
        soonest, latest = is_cut(own.low, other.high), is_cut(own.high, other.low)
    else:
        soonest = is_cut(own.high, max(other.low, 1)) if other.high else False
        latest = is_cut(own.low, other.high) if other.low else False
    if soonest != latest:
        return "undecided"
    return "cut" if soonest else "kept"
