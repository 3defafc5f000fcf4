"""Lines of a machine without an hour meter that only its hours could decide."""

from schemas.policy.clause import Limits
from schemas.policy.pays import NotPaid
from tests.reference.duties import Asking
from tests.reference.shares import Share
from tests.reference.terms import Term, is_over, untold, worn
from tests.reference.views import Subject


def unmetered(asking: Asking, subject: Subject, subjects: list[Subject], term: Term, share: Share | None) -> list[str]:
    """Return the code that holds a line whose term, share or shorter period nobody can measure."""
    policy, item = asking.policy, subject.line.item
    rule, choice = policy.pays.rule_for(item), policy.pays.either_or
    held = term.unmeasured or (share is not None and share.unmeasured)
    if isinstance(rule, NotPaid):
        return ["no_hour_meter"] if held else []
    if rule.until is not None:
        held = held or _untold(asking, rule.until, term, subject)
    if choice is not None and item in choice.items:
        paid = {s.line.item for s in subjects if not isinstance(policy.pays.rule_for(s.line.item), NotPaid)}
        if set(choice.items) <= paid:
            held = held or _untold(asking, Limits(first_of=(choice.after,)), term, subject)
    return ["no_hour_meter"] if held else []


def _untold(asking: Asking, limits: Limits, term: Term, subject: Subject) -> bool:
    wear = worn(subject.line, asking.policy)
    return untold(limits, [is_over(asking, limit, term, wear, term.tested) for limit in limits.all])
