"""What is paid of each kind of item, prorating, exclusions, deductible and caps, in sentences."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from rules.policy_book.term_words import limit_words, limits_words
from rules.policy_book.values import (
    BEARERS,
    CLAIM_DATES,
    Told,
    amount_words,
    hours_words,
    listed,
    number_words,
    plain,
    sentence,
    share_words,
    told,
)
from schemas.policy.exclusions import Alterations, Consumables, ExcludedCauses, Exclusion, WearItems
from schemas.policy.pays import (
    AsInvoiced,
    Cap,
    CapAmount,
    Deductible,
    Distance,
    EitherOr,
    FixedSum,
    HoursAtRate,
    LabourPaid,
    NotPaid,
    Paid,
    PartsPaid,
    ShareOfLabour,
)
from schemas.policy.prorating import Axis, Decline, OwnerPrices, Points, Prorating, Steps, WorkedExample

BASES = {
    "dealer_net": "the dealer's net price",
    "list_price": "the list price",
    "price_paid": "the price the owner paid",
}
TIMES = {
    "lesser_of_actual_and_flat_rate": "the actual hours or the flat-rate time, whichever is less",
    "flat_rate": "the flat-rate time, whatever the actual hours",
    "actual": "the actual hours",
}
WITHOUT_FLAT_RATE = {
    "actual": "the actual hours count",
    "refer": "a person must judge the time",
}
INVOICES = {
    "invoice_needed": "as invoiced, and the invoice is needed",
    "no_invoice_needed": "as stated, without the invoice being needed",
}
MEASURES = {  # what a share depends on, and the unit behind its numbers
    "complete_months": ("complete months in service", "complete months"),
    "begun_months": ("months in service, a month begun counting in full", "begun months"),
    "complete_30_day_units": ("age in complete units of 30 days", "complete 30-day units"),
    "begun_30_day_units": ("age in units of 30 days, a unit begun counting in full", "begun 30-day units"),
    "machine_hours": ("machine hours", "h"),
    "component_hours": ("hours on the component itself", "h of the component"),
    "wear": ("wear", "wear"),
}
COMBINED = {
    "worse_of": "the lowest of these shares is paid",
    "better_of": "the highest of these shares is paid",
    "product_of": "these shares are multiplied",
}
OWNER_PAYS_ON = {
    "allowed_amount": "the rest, a share of the allowed amount, is borne by {bearer}",
    "list_price": "the rest, a share of the list price, is borne by {bearer}, and the dealer keeps the margin",
}
PRICE_BESIDE = {  # a fixed price is no share, so that what shares would be taken of changes nothing
    "allowed_amount": "the fixed price is borne by {bearer}, and what is allowed above it is paid",
    "list_price": "the fixed price is borne by {bearer}, and what is allowed above it is paid, whatever the list price",
}
UNLESS = {
    "caused_by_covered_failure": ", unless a covered failure ruined them",
    "never": ", not even when a covered failure ruined them",
}
ALTERATIONS = {"altered": "altered parts", "other_make": "parts of another make"}
REACHES = {
    "everything": "{found} on the machine end the cover of everything",
    "altered_component": "a component with {found} is not covered",
    "only_if_it_caused_the_failure": "a failure that {found} caused is not covered",
}
CAP_OVER = {
    "line": "any one line",
    "claim": "any one claim",
    "machine_lifetime": "the whole life of the machine",
    "component_lifetime": "the whole life of the component, each side of a paired one counted by itself",
}
CAP_AT = {
    "machine_price": "the price of the machine",
    "part_list_price": "the list price of the part",
    "part_net_price": "the net price of the part",
}


def item_sentences(item: str, rule: NotPaid | Paid, currency: str) -> Iterator[Told]:
    """Yield a pays rule's sentences; the first says what is paid. ``item`` is parts, or anything_else."""
    name = "Anything else" if item == "anything_else" else sentence(item)[:-1]
    if isinstance(rule, NotPaid):
        yield told("basis", f"{name}: nothing is paid; borne by {BEARERS[rule.borne_by]}")
        return
    assert isinstance(rule, Paid), "an item rule pays or does not pay"
    share = "" if rule.share is None else f"{share_words(rule.share)} of "
    yield told("basis", f"{name}: {share}{_basis_words(rule, currency)}")
    if rule.until is not None and rule.after_borne_by is not None:
        after = f"after that borne by {BEARERS[rule.after_borne_by]}"
        yield told("until", f"it is paid for {limits_words(rule.until)} only, and {after}")
    yield from _details(rule, currency)
    if rule.at_most is not None:
        yield told("at_most", f"at most {amount_words(rule.at_most, currency)} a line is allowed")
    yield told("excess", f"what is above the allowance is borne by {BEARERS[rule.excess_borne_by]}")


def _basis_words(rule: Paid, currency: str) -> str:
    match rule:
        case PartsPaid(basis=basis, handling=handling):
            return f"{BASES[basis]} {_handling(handling)}"
        case LabourPaid(hours=hours, rate=rate):
            return f"{TIMES[hours]}, at {_rate(rate, currency)}"
        case FixedSum(fixed=fixed):
            return f"a fixed {amount_words(fixed, currency)} a line, whatever was claimed"
        case HoursAtRate(hours_at_most=hours, rate=rate):
            return f"up to {hours_words(hours)} at {_rate(rate, currency)}"
        case Distance(per_unit=per_unit, unit=unit, units_at_most=units):
            most = "" if units is None else f", up to {number_words(units)} {unit}{'s' if unit == 'mile' else ''}"
            return f"{amount_words(per_unit, currency)} a {unit}{most}"
        case AsInvoiced(as_invoiced=invoiced, handling=handling):
            return f"{INVOICES[invoiced]}, {_handling(handling)}"
        case ShareOfLabour(of_labour=share):
            return f"{share_words(share)} of the allowed labour"
    raise AssertionError(f"no words for an item rule of type {type(rule).__name__}")


def _handling(handling: Fraction) -> str:
    return f"plus {share_words(handling)} handling" if handling else "without handling"


def _rate(rate: Decimal | str, currency: str) -> str:
    most = f"{amount_words(rate, currency)} an hour" if isinstance(rate, Decimal) else "the dealer's registered rate"
    return f"{most}, or at the rate claimed where that is lower"


def _details(rule: Paid, currency: str) -> Iterator[Told]:
    match rule:
        case PartsPaid(price_on=price_on, handling_at_most=most):
            yield told("dated", f"the price list in force on {CLAIM_DATES[price_on]} holds")
            if most is not None:
                yield told("handling", f"handling is at most {amount_words(most, currency)} a line")
        case LabourPaid(rate_on=rate_on, hours_in=hours_in, without_flat_rate=without):
            yield told("dated", f"the rate in force on {CLAIM_DATES[rate_on]} holds")
            yield told("hours_in", f"actual hours count in full {hours_in} of an hour")
            yield told("no_flat_rate", f"for an operation without a flat-rate time, {WITHOUT_FLAT_RATE[without]}")
        case HoursAtRate(rate_on=rate_on):
            yield told("dated", f"the rate in force on {CLAIM_DATES[rate_on]} holds")


def either_or_sentences(rule: EitherOr) -> Iterator[Told]:
    first, second = rule.items
    since = limit_words(rule.after)
    yield told("picks", f"from {since} on, only {first} or {second} is paid: the {rule.picks} of the two sums")
    yield told("reach", "a line counts from the start of its own term; before that point both are paid")
    yield told("excess", f"the other is borne by {BEARERS[rule.borne_by]}")


def deductible_sentences(deductible: Deductible, currency: str) -> Iterator[Told]:
    borne = amount_words(deductible.amount, currency)
    words = f"{BEARERS[deductible.borne_by]} bears {borne} of each claim, spread over its payable lines"
    yield told("deductible", words)


def cap_sentences(cap: Cap, currency: str) -> Iterator[Told]:
    most = amount_words(cap.at.amount, currency) if isinstance(cap.at, CapAmount) else CAP_AT[cap.at.of]
    items = "all items" if cap.items == "all" else listed(cap.items)
    components = "" if cap.components == "all" else f" on the {listed(map(plain, cap.components))}"
    paid = f"for {items}{components}, at most {most} is paid over {CAP_OVER[cap.over]}"
    yield told("cap", f"{paid}; the rest is borne by {BEARERS[cap.excess_borne_by]}")


def prorating_sentences(prorating: Prorating, currency: str) -> Iterator[Told]:
    """Yield a prorating's sentences; the first says how the share falls."""
    curves = [curve_words(axis, currency) for axis in prorating.axes]
    combined = "" if prorating.combine is None else f"; {COMBINED[prorating.combine]}"
    bearer = BEARERS[prorating.borne_by]
    if any(isinstance(axis.share, OwnerPrices) for axis in prorating.axes):
        yield told("curve", f"for {listed(prorating.items)}, {curves[0]}")
        yield told("rest", PRICE_BESIDE[prorating.owner_pays_on].format(bearer=bearer))
    else:
        yield told("curve", f"of {listed(prorating.items)} a share is paid {'; and '.join(curves)}{combined}")
        yield told("rest", OWNER_PAYS_ON[prorating.owner_pays_on].format(bearer=bearer))
    if prorating.free_while is not None:
        joint = "and" if prorating.free_while.first_of is not None else "or"
        limits = listed((f"within {limit_words(limit)}" for limit in prorating.free_while.all), joint)
        yield told("free", f"the whole is paid {limits}")
    if prorating.wear_floor is not None:
        floor = number_words(prorating.wear_floor)
        yield told("floor", f"a part is used up when it measures {floor} in the claim's own unit")
    for example in prorating.examples:
        yield told("example", example_words(example))


def curve_words(axis: Axis, currency: str) -> str:
    """Return how one axis falls: by machine hours: 100 % up to 900 h, then evenly to 0 % at 2,400 h."""
    by, unit = MEASURES[axis.by]
    match axis.share:
        case Steps(steps=steps):
            words = listed(f"{share_words(p.value)} from {_at(p.at, axis.by, unit)}" for p in steps)
        case Points(points=points):
            words = listed(f"{share_words(p.value)} at {_at(p.at, axis.by, unit)}" for p in points)
            words += ", on straight lines between these points"
        case Decline(zero_at=zero_at, credit=credit, free_until=free):
            end = _at(zero_at, axis.by, unit)
            below = f"the whole below {_at(free, axis.by, unit)}, then " if free else ""
            whole = "whole period" if credit == "whole_term" else "declining part"
            words = f"{below}an even decline to nothing at {end}, reckoned as what is left of the {whole}"
        case OwnerPrices(owner_prices=prices):
            listed_prices = listed(f"{amount_words(p.value, currency)} from {_at(p.at, axis.by, unit)}" for p in prices)
            words = f"the owner pays a fixed price of {listed_prices}"
    return f"by {by}: {words}"


def _at(at: Decimal, by: str, unit: str) -> str:
    return f"{share_words(Fraction(at))} wear" if by == "wear" else f"{number_words(at)} {unit}"


def example_words(example: WorkedExample) -> str:
    _, unit = MEASURES[example.by]
    return f"for example, {share_words(example.share)} at {_at(example.at, example.by, unit)}"


def exclusion_sentences(exclusion: Exclusion) -> Iterator[Told]:
    """Yield an exclusion's sentences."""
    match exclusion:
        case WearItems(wear=components, unless=unless):
            words = f"not covered as wear items{UNLESS[unless]}: {listed(map(plain, components))}"
        case Consumables(consumables=components, unless=unless):
            words = f"not paid as consumables{UNLESS[unless]}: {listed(map(plain, components))}"
        case ExcludedCauses(causes=causes):
            words = f"a failure caused by {listed(map(plain, causes), 'or')} is not covered"
        case Alterations(alterations=kinds, reach=reach):
            words = REACHES[reach].format(found=listed((ALTERATIONS[kind] for kind in kinds), "or"))
    yield told("excluded", words)
    yield told("borne", f"borne by {BEARERS[exclusion.borne_by]}")
