"""What is allowed of a line, by the kind of rule that its policy has for the item."""

from collections.abc import Mapping
from dataclasses import replace

from rules.settlement.allowance import (
    Allowance,
    as_invoiced,
    fixed_sum,
    rounded_each_step,
    share_of_labour,
    typed_grains,
    with_general_cuts,
)
from rules.settlement.desk import Desk
from rules.settlement.exact import Exact, times
from rules.settlement.labour import Time, distance, hours_at_rate, labour
from rules.settlement.parts import parts
from schemas.claim import ClaimLine
from schemas.policy.pays import (
    AsInvoiced,
    Distance,
    FixedSum,
    HoursAtRate,
    LabourPaid,
    NotPaid,
    PartsPaid,
    ShareOfLabour,
)


def allow(line: ClaimLine, desk: Desk, combined: Mapping[str, Time], labour_allowed: Exact | None) -> Allowance:
    """Return what the policy allows of a line.

    ``combined`` are the hours of lines inside combined operations; ``labour_allowed`` is for supplies by labour, None
    while some labour is held.
    """
    path, rule = desk.policy.rules_of_items[line.item]
    currency = desk.claim_file.claim.currency
    into = desk.into_policy_currency(currency)
    if into is None:
        return Allowance(currency, typed_grains(line), held=(desk.no_rate(currency, path),))
    rate = into.factor
    match rule:
        case PartsPaid():
            allowance = parts(line, rule, path, desk, rate)
        case LabourPaid():
            allowance = labour(line, rule, path, desk, rate, combined)
        case FixedSum():
            allowance = fixed_sum(line, rule, path, desk, rate)
        case HoursAtRate():
            allowance = hours_at_rate(line, rule, path, desk, rate)
        case Distance():
            allowance = distance(line, rule, path, desk, rate)
        case AsInvoiced():
            allowance = as_invoiced(line, rule, path, desk, rate)
        case ShareOfLabour():
            allowance = share_of_labour(line, rule, path, desk, rate, labour_allowed)
        case _:
            assert isinstance(rule, NotPaid)
            allowance = Allowance(desk.policy.terms.currency, times(typed_grains(line), rate))
    allowance = rounded_each_step(allowance, desk)
    if not isinstance(rule, NotPaid) and (rule.share is not None or rule.at_most is not None):
        allowance = with_general_cuts(allowance, rule, path, desk)
    if into.words:
        notes = (*allowance.notes, ("converted", into.words))
        allowance = replace(allowance, rate=rate, notes=tuple(dict.fromkeys(notes)))
    return allowance
