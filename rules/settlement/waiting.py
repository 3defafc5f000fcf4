"""Held lines that may come to be paid, as far as they weigh in the choice between two kinds of items."""

from collections.abc import Callable, Iterator, Sequence

from rules.line_views import LineView
from rules.policy_book.compiled import CompiledPolicy
from rules.settlement.either_or import Waiting, is_bounded
from rules.settlement.exact import minor_of
from schemas.claim_file import ClaimFile


def lines_waiting(
    policy: CompiledPolicy, views: Sequence[LineView], is_past: Callable[[LineView], bool], claim_file: ClaimFile
) -> Iterator[Waiting]:
    """Yield the held lines that a version may come to pay past its either-or point, as it stands or as a fall-back."""
    if policy.terms.pays.either_or is None:
        return
    minor = minor_of(claim_file, policy.terms.currency, policy.conventions.money.round)
    for view in views:
        line = view.subject.line
        if view.state != "refer":
            continue
        if view.payer is policy:
            if is_past(view):
                known = is_bounded(view.allowance, line, policy.terms.pays.rule_for(line.item))
                yield Waiting(line.line, line.item, minor.units(view.allowance.allowed) if known else None)
        elif policy.ref in view.payer.falls_back_to:
            yield Waiting(line.line, line.item, None)
