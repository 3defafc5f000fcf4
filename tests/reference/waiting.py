"""Held lines beside a choice between two kinds of items: which of them may yet be paid, and how much at most."""

from collections.abc import Callable, Iterator
from fractions import Fraction

from schemas.policy.document import CoveragePolicy
from schemas.policy.pays import LabourPaid, PartsPaid
from schemas.policy.services import FallBack
from tests.reference.views import View

Book = dict[str, CoveragePolicy]
# What leaves a line without the number that its amount comes from.
NUMBERLESS = {"labour_rate_missing", "amount_missing", "exchange_rate_missing", "price_paid_missing"}


def waiting(
    payer: str, views: list[View], book: Book, past: Callable[[View], bool]
) -> Iterator[tuple[str, Fraction | None]]:
    """Yield the items of held lines that a version may yet pay past its point, with the most each may come to."""
    if book[payer].pays.either_or is None:
        return
    for view in views:
        if view.state != "refer":
            continue
        if view.payer != payer:
            if payer in falls_back_to(book[view.payer]):
                yield view.subject.line.item, None
        elif past(view):
            yield view.subject.line.item, _most_of(view, book[payer])


def _most_of(view: View, policy: CoveragePolicy) -> Fraction | None:
    line, held = view.subject.line, set(view.allowed.held)
    rule = policy.pays.rule_for(line.item)
    typed_net = isinstance(rule, PartsPaid) and rule.basis == "dealer_net" and line.net is not None
    if held & NUMBERLESS or ("price_not_listed" in held and not typed_net):
        return None
    if "no_flat_rate_time" in held and isinstance(rule, LabourPaid) and rule.hours == "flat_rate":
        return None
    return view.allowed.amount


def falls_back_to(policy: CoveragePolicy) -> set[str]:
    """Return the versions that a missed or wrong service makes a version give way to."""
    does = [what for duty in policy.services.values() for what in (duty.missed, duty.wrong_fluid)]
    return {str(what.fall_back_to) for what in does if isinstance(what, FallBack)}
