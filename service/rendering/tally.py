"""Many decisions in numbers: lines and sums by outcome and currency, claims by status, the most frequent reasons."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import get_args

from schemas.decision import Decision, Outcome, Status

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
STATUSES: tuple[Status, ...] = get_args(Status)
# In each outcome and currency the first two together are the others together: whatever is asked for goes to somebody.
SUMS = ("claimed", "added", "maker_pays", "owner_owes", "dealer_bears", "other_payer", "open")


@dataclass(slots=True)
class Sums:
    """Lines of one outcome in one currency, and what they come to."""

    lines: int = 0
    amounts: dict[str, Decimal] = field(default_factory=lambda: dict.fromkeys(SUMS, Decimal(0)))


@dataclass(frozen=True, slots=True)
class Tally:
    """The numbers of many decisions; everything in the order of the published lists, whatever came first."""

    claims: int
    by_outcome: dict[tuple[Outcome, str], Sums]  # outcome, currency
    by_status: dict[Status, int]
    reasons: tuple[tuple[str, int], ...]  # code and number of lines, most frequent first


def tally_of(decisions: Iterable[Decision]) -> Tally:
    """Return the numbers of these decisions; a reason counts once a line."""
    found: dict[tuple[Outcome, str], Sums] = {}
    statuses: Counter[Status] = Counter()
    reasons: Counter[str] = Counter()
    claims = 0
    for decision in decisions:
        claims += 1
        statuses[decision.status] += 1
        for line in decision.lines:
            sums = found.setdefault((line.outcome, line.currency), Sums())
            sums.lines += 1
            for name in SUMS:
                sums.amounts[name] += getattr(line, name)
            reasons.update({reason.code for reason in line.reasons})
    ordered = sorted(found, key=lambda key: (OUTCOMES.index(key[0]), key[1]))
    frequent = sorted(reasons.items(), key=lambda pair: (-pair[1], pair[0]))
    by_status = {status: statuses[status] for status in STATUSES if statuses[status]}
    return Tally(claims, {key: found[key] for key in ordered}, by_status, tuple(frequent))
