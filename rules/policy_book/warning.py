"""A warning about a policy, and how far a policy's cover reaches."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from rules.policy_book.compiled import CompiledPolicy
from schemas.policy.clause import Limit, Limits


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
