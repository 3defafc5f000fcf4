"""The paid share of a line by age, hours or wear."""

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from schemas.claim import ClaimLine
from schemas.policy.prorating import Decline, OwnerPrices, Points, Steps
from tests.reference.dates import started_months, whole_months
from tests.reference.duties import Asking
from tests.reference.rounding import rounded
from tests.reference.terms import Term, is_over, unmeasured, untold, worn


@dataclass
class Share:
    """The paid share, or the price of one that the owner pays."""

    paid: Fraction
    price: Fraction | None = None
    unmeasured: bool = False


def share_of(asking: Asking, line: ClaimLine, term: Term) -> Share | None:
    """Return the paid share of a line, None where its items are not prorated."""
    prorating, conventions = asking.policy.prorating, asking.conventions
    if prorating is None or line.item not in prorating.items:
        return None
    wear = worn(line, asking.policy)
    failed = asking.claim_file.claim.failed_on
    if prorating.free_while is not None:
        over = [is_over(asking, limit, term, wear, failed) for limit in prorating.free_while.all]
        inside = [not passed for passed in over if passed is not None]
        if untold(prorating.free_while, over):
            return Share(Fraction(1), unmeasured=True)
        if all(inside) if prorating.free_while.first_of is not None else any(inside):
            return Share(Fraction(1))
    shares: list[Fraction] = []
    for axis in prorating.axes:
        at = _measured(asking, axis.by, term, wear)
        if isinstance(axis.share, OwnerPrices):
            reached = [p for p in axis.share.owner_prices if p.at <= (at or 0)]
            return Share(Fraction(1), Fraction(reached[-1].value), unmeasured=at is None)
        if at is not None:
            shares.append(_on_curve(axis.share, at))
    paid = shares[0] if shares else Fraction(1)
    for share in shares[1:]:
        if prorating.combine == "product_of":
            paid *= share
        else:
            paid = min(paid, share) if prorating.combine == "worse_of" else max(paid, share)
    if conventions.share != "exact":
        places = conventions.share.places
        paid = Fraction(rounded(paid, places, conventions.share.round), 10**places)
    return Share(paid, unmeasured=not shares)


def _measured(asking: Asking, by: str, term: Term, wear: Fraction | None) -> Fraction | None:
    failed, conventions = asking.claim_file.claim.failed_on, asking.conventions
    days = max((failed - term.start).days, 0)
    if by == "complete_months":
        return Fraction(whole_months(term.start, failed, conventions))
    if by == "begun_months":
        return Fraction(started_months(term.start, failed, conventions))
    if by == "complete_30_day_units":
        return Fraction(days // 30)
    if by == "begun_30_day_units":
        return Fraction((days + 29) // 30)
    if by == "wear":
        return wear if wear is not None else unmeasured(asking)
    hours = term.hours if by == "machine_hours" else term.component_hours
    return None if hours is None else Fraction(max(hours, 0), 100)


def _on_curve(curve: Steps | Points | Decline | OwnerPrices, at: Fraction) -> Fraction:
    if isinstance(curve, Steps):
        return [step.value for step in curve.steps if step.at <= at][-1]
    if isinstance(curve, Decline):
        free, end = Fraction(curve.free_until), Fraction(curve.zero_at)
        if at < free:
            return Fraction(1)
        whole = end - free if curve.credit == "tail_only" else end
        return max((end - at) / whole, Fraction(0))
    assert isinstance(curve, Points)
    points = [(Fraction(p.at), p.value) for p in curve.points]
    for (low, first), (high, last) in pairwise(points):
        if low <= at < high:
            return first + (last - first) * (at - low) / (high - low)
    return points[-1][1]
