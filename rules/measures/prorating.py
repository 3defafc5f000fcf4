"""The paid share of a line, as an exact fraction, from its age, hours or wear."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from rules.calendar import begun_months, complete_months
from rules.measures.groups import Group, limit_state, only_hours_tell
from rules.measures.wear import Worn
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from rules.rounding import rounded_share
from schemas.claim_file import ClaimFile
from schemas.policy.clause import Limits
from schemas.policy.prorating import Axis, Curve, Decline, Measure, OwnerPrices, Points, PricePoint, SharePoint, Steps

ONE = Fraction(1)

Point = TypeVar("Point", SharePoint, PricePoint)


@dataclass(frozen=True, slots=True)
class AxisShare:
    """One axis: its measure (months, units, hours, worn share) and the share or owner's price it gives."""

    by: Measure
    at: Fraction
    share: Fraction
    words: str


@dataclass(frozen=True, slots=True)
class Proration:
    """The share after combining the axes, or the fixed price the owner pays."""

    share: Fraction
    owner_price: Decimal | None
    axes: tuple[AxisShare, ...]
    free: bool
    combine: str | None


def measure_value(
    by: Measure,
    group: Group,
    failed_on: date,
    component_hours: int | None,
    worn: Worn,
    month_end: str,
) -> Fraction | None:
    """Return a measure: complete or begun months or 30-day units, hours, or worn share; None without an hour meter."""
    days = (failed_on - group.start).days
    match by:
        case "complete_months":
            return Fraction(complete_months(group.start, failed_on, month_end))
        case "begun_months":
            return Fraction(begun_months(group.start, failed_on, month_end))
        case "complete_30_day_units":
            return Fraction(max(days, 0) // 30)
        case "begun_30_day_units":
            return Fraction(-(-max(days, 0) // 30))
        case "machine_hours":
            return None if group.hours_used is None else Fraction(max(group.hours_used, 0), 100)
        case "component_hours":
            return None if component_hours is None else Fraction(max(component_hours, 0), 100)
        case "wear":
            return worn.share()


def prorate(
    policy: CompiledPolicy,
    group: Group,
    claim_file: ClaimFile,
    component_hours: int | None,
    worn: Worn,
    world: World,
) -> Proration:
    """Return the paid share of a line of this group; the policy must prorate."""
    prorating = policy.terms.prorating
    assert prorating is not None
    failed_on, month_end = claim_file.claim.failed_on, policy.conventions.month_end
    if prorating.free_while is not None:
        limits = prorating.free_while
        free = _is_free(limits, policy, group, claim_file, component_hours, worn, world)
        if free is None or free:
            return Proration(ONE, None, (), bool(free), None)
    axis = prorating.axes[0]
    if isinstance(axis.share, OwnerPrices):
        at = measure_value(axis.by, group, failed_on, component_hours, worn, month_end)
        price = step_reached(axis.share.owner_prices, at or Fraction(0)).value
        words = f"{axis.by.replace('_', ' ')} {number_text(at or Fraction(0))}"
        return Proration(ONE, price, (AxisShare(axis.by, at or Fraction(0), ONE, words),), False, None)
    axes = tuple(
        found
        for axis in prorating.axes
        if (found := _axis_share(axis, group, failed_on, component_hours, worn, month_end))
    )
    shares = [axis.share for axis in axes] or [ONE]
    share = shares[0]
    for other in shares[1:]:
        match prorating.combine:
            case "worse_of":
                share = min(share, other)
            case "better_of":
                share = max(share, other)
            case _:
                share *= other
    rounding = policy.conventions.share
    if rounding != "exact":
        share = rounded_share(share, rounding.places, rounding.round)
    return Proration(share, None, axes, False, prorating.combine)


def _is_free(
    limits: Limits,
    policy: CompiledPolicy,
    group: Group,
    claim_file: ClaimFile,
    component_hours: int | None,
    worn: Worn,
    world: World,
) -> bool | None:
    """Return whether the free period still runs: all limits hold (first_of), or any (last_of).

    None where only the hours of a machine without a meter could tell: no share is reckoned then, a person looks.
    """
    passed: list[bool | None] = []
    for index, limit in enumerate(limits.all):
        state = limit_state(
            f"prorating.free_while[{index}]",
            limit,
            group.start,
            claim_file.claim.failed_on,
            group.hours_used,
            component_hours,
            worn,
            policy,
            claim_file,
            world,
        )
        passed.append(None if state is None else state.passed(policy.conventions))
    if only_hours_tell(limits, passed):
        return None
    return True not in passed if limits.first_of is not None else False in passed


def _axis_share(
    axis: Axis,
    group: Group,
    failed_on: date,
    component_hours: int | None,
    worn: Worn,
    month_end: str,
) -> AxisShare | None:
    at = measure_value(axis.by, group, failed_on, component_hours, worn, month_end)
    if at is None:
        return None
    share, words = share_at(axis.share, at)
    return AxisShare(axis.by, at, share, words)


def share_at(curve: Curve, at: Fraction) -> tuple[Fraction, str]:
    """Return the share a curve gives at a measure, and the arithmetic as a reader writes it.

    >>> share_at(Points(points=[[0, 1], [900, 1], [2400, 0]], between="linear"), Fraction(1500))
    (Fraction(3, 5), '(2,400 − 1,500) ÷ (2,400 − 900)')
    """
    match curve:
        case Steps(steps=steps):
            reached = step_reached(steps, at)
            return reached.value, f"step from {number_text(Fraction(reached.at))}"
        case Points(points=points):
            return _between(points, at)
        case Decline(zero_at=zero_at, free_until=free_until, credit=credit):
            end, free = Fraction(zero_at), Fraction(free_until)
            if at < free:
                return ONE, f"{number_text(at)} below {number_text(free)}"
            begin = free if credit == "tail_only" else Fraction(0)
            share = max((end - at) / (end - begin), Fraction(0))
            low = f" − {number_text(begin)}" if begin else ""
            below = f"({number_text(end)}{low})" if low else number_text(end)
            return share, f"({number_text(end)} − {number_text(at)}) ÷ {below}"
        case OwnerPrices():
            raise AssertionError("owner's prices give a price, not a share")


def step_reached(steps: tuple[Point, ...], at: Fraction) -> Point:
    """Return the last step whose ``at`` is not above the measure (the loader refuses a table without 0)."""
    return [step for step in steps if Fraction(step.at) <= at][-1]


def _between(points: tuple[SharePoint, ...], at: Fraction) -> tuple[Fraction, str]:
    if at >= Fraction(points[-1].at):
        return points[-1].value, f"beyond {number_text(Fraction(points[-1].at))}"
    for left, right in pairwise(points):
        low, high = Fraction(left.at), Fraction(right.at)
        if low <= at < high:
            if left.value == right.value:
                return left.value, f"{number_text(at)} between {number_text(low)} and {number_text(high)}"
            share = left.value + (right.value - left.value) * (at - low) / (high - low)
            if right.value == 0 and left.value == 1:
                return share, f"({number_text(high)} − {number_text(at)}) ÷ ({number_text(high)} − {number_text(low)})"
            return share, (
                f"{left.value} + ({right.value} − {left.value}) × ({number_text(at)} − {number_text(low)})"
                f" ÷ ({number_text(high)} − {number_text(low)})"
            )
    raise AssertionError("points begin at 0 and measures are not negative")


def number_text(value: int | Fraction) -> str:
    """Return an exact number as a reader writes it: 1,500, 24.37, or a fraction where decimals do not end."""
    if value.denominator == 1:
        return f"{value.numerator:,}"
    if 10_000 % value.denominator:
        return f"{value.numerator}/{value.denominator}"
    whole, rest = divmod(abs(value.numerator) * (10_000 // value.denominator), 10_000)
    return f"{'-' if value.numerator < 0 else ''}{whole:,}.{rest:04d}".rstrip("0")
