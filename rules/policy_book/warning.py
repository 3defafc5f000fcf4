"""A warning about a policy, and how far a policy's cover reaches."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from rules.policy_book.compiled import CompiledPolicy
from schemas.policy.clause import Limit, Limits

HOURS_A_DAY = 24
FOUR_YEARS_DAYS, FOUR_YEARS_MONTHS = 1461, 48
A_FEW_DAYS = 3  # no span of months is longer or shorter than its share of the years by more than that


@dataclass(frozen=True, slots=True)
class PolicyWarning:
    """Something legal but suspicious: which version, the path of the key, a code, what follows, and the way out."""

    policy: str  # name@version
    path: str
    code: str
    message: str
    way_out: str

    def __str__(self) -> str:
        return f"{self.policy}: {self.path}: {self.code}: {self.message} {self.way_out}"


def covers(policy: CompiledPolicy) -> Iterator[Limits | str]:
    """Yield each period in which something of the policy is covered: the term's, and those of carve-outs."""
    yield policy.terms.term.ends
    for carve_out in policy.terms.carve_outs:
        if carve_out.ends is not None:
            yield carve_out.ends
    later = (policy.terms.term.retrofit_kit, policy.terms.term.replacement)
    if any(fitting is not None and fitting.term != "of_the_machine" for fitting in later):
        yield "a term of its own"  # may outlast the machine's


def bound(ends: Limits | str, value: Callable[[Limit], Decimal | int | None]) -> Fraction | None:
    """Return where a limit of one unit ends a period at the latest, None where no such limit must end it."""
    if not isinstance(ends, Limits):
        return None
    found = [value(limit) for limit in ends.all if limit.from_ is None]
    given = [Fraction(one) for one in found if one is not None]
    if ends.last_of is not None:
        return given[0] if len(given) == len(ends.all) == 1 else None
    return min(given) if given else None


def longest(policy: CompiledPolicy, value: Callable[[Limit], Decimal | int | None]) -> Fraction | None:
    """Return how far the longest cover of the policy reaches in one unit, None where it has no such end."""
    ends = [bound(period, value) for period in covers(policy)]
    known = [end for end in ends if end is not None]
    return max(known) if len(known) == len(ends) else None


def months_of(limit: Limit) -> int | None:
    return limit.months


def hours_of(limit: Limit) -> Decimal | None:
    return limit.machine_hours


def days_of(limit: Limit) -> int | None:
    return limit.days


def component_hours_of(limit: Limit) -> Decimal | None:
    return limit.component_hours


Unit = Literal["months", "days", "machine_hours", "component_hours"]


def reached(policy: CompiledPolicy, unit: Unit) -> Fraction | None:
    """Return the most that is reached of a unit inside the longest cover, None where nothing bounds it.

    Limits of other units bound it too: no machine runs more than 24 hours a day. Months are those that have begun.
    """
    ends = [_reached_in(period, unit, policy) for period in covers(policy)]
    known = [end for end in ends if end is not None]
    return max(known) if len(known) == len(ends) else None


def _reached_in(period: Limits | str, unit: Unit, policy: CompiledPolicy) -> Fraction | None:
    months, days = bound(period, months_of), bound(period, days_of)
    if unit == "months":
        complete = None if days is None else (days + A_FEW_DAYS) * 12 // 365
        return _least(months, None if complete is None else Fraction(complete + 1))
    longest_days = None if months is None else months * FOUR_YEARS_DAYS / FOUR_YEARS_MONTHS + A_FEW_DAYS
    within_days = _least(days, None if longest_days is None else Fraction(int(longest_days)))
    if unit == "days":
        return within_days
    round_the_clock = None if within_days is None else HOURS_A_DAY * (within_days + 1)
    machine, component = bound(period, hours_of), bound(period, component_hours_of)
    if unit == "machine_hours":
        return _least(machine, round_the_clock)
    # A component runs no longer than its machine; where hours before the term do not count, it may have run then.
    of_machine = machine if policy.terms.term.hours_count_from == "zero" else None
    return _least(component, of_machine, round_the_clock)


def _least(*ends: Fraction | None) -> Fraction | None:
    return min((end for end in ends if end is not None), default=None)
