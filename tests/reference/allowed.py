"""What is allowed of each line, by the kind of its rule. Amounts are fractions of the policy's currency."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

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
from schemas.reference_tables import FlatTimeTable, PriceTable
from tests.reference.rounding import rounded
from tests.reference.tables import Counter


@dataclass
class Allowed:
    """A line's claimed amount, what the policy adds, and cuts as (code, amount, bearer); ``held`` says why it waits."""

    claimed: Fraction
    currency: str
    added: Fraction = Fraction(0)
    cuts: list[tuple[str, Fraction, str]] = field(default_factory=list)
    held: list[str] = field(default_factory=list)
    rate: Fraction = Fraction(1)
    list_total: Fraction | None = None
    net_total: Fraction | None = None

    @property
    def amount(self) -> Fraction:
        return self.claimed + self.added - sum(c[1] for c in self.cuts)

    def cut_to(self, most: Fraction, code: str, bearer: str) -> None:
        if self.amount > most:
            self.cuts.append((code, self.amount - most, bearer))


def typed(line: ClaimLine) -> Fraction:
    """Return what the dealer typed, in the claim's currency."""
    if line.amount is not None:
        return Fraction(line.amount)
    if line.net is not None:
        return Fraction(line.net) * Fraction(line.quantity)
    if line.hours is not None and line.rate is not None:
        return Fraction(line.hours) * Fraction(line.rate)
    return Fraction(0)


def allow(line: ClaimLine, counter: Counter, together: dict[str, Fraction], labour: Fraction | None) -> Allowed:
    """Return what is allowed; ``labour`` is the allowed labour of the claim, None while some of it waits."""
    claim_currency = counter.claim_file.claim.currency
    rate = counter.into(claim_currency)
    if rate is None:
        return Allowed(typed(line), claim_currency, held=["exchange_rate_missing"])
    rule = counter.policy.pays.rule_for(line.item)
    if isinstance(rule, NotPaid):
        return Allowed(typed(line) * rate, counter.policy.currency, rate=rate)
    if isinstance(rule, PartsPaid):
        allowed = _parts(line, rule, counter, rate)
    elif isinstance(rule, LabourPaid):
        allowed = _labour(line, rule, counter, rate, together)
    elif isinstance(rule, HoursAtRate):
        allowed = _hours(line, rule, counter, rate)
    elif isinstance(rule, Distance):
        allowed = _distance(line, rule, counter, rate)
    else:
        allowed = _sum(line, rule, counter, rate, labour)
    stepwise = _step_by_step(allowed, counter)
    if rule.share is not None and rule.share != 1 and allowed.amount:
        paid = stepwise(allowed.amount * rule.share)
        allowed.cuts.append(("fixed_share", allowed.amount - paid, rule.excess_borne_by))
    if rule.at_most is not None:
        allowed.cut_to(stepwise(Fraction(rule.at_most)), "above_allowance", rule.excess_borne_by)
    allowed.rate = rate
    return allowed


def _step_by_step(allowed: Allowed, counter: Counter) -> Callable[[Fraction], Fraction]:
    """Bring the amounts after each step so far to minor units, where each step rounds; return what does so for one."""
    exponent, money = counter.claim_file.currency_exponents[allowed.currency], counter.conventions.money
    if money.at == "line":
        return lambda amount: amount

    def to_minor_units(amount: Fraction) -> Fraction:
        return Fraction(rounded(amount, exponent, money.round), 10**exponent)

    exact = [allowed.claimed, allowed.claimed + allowed.added]
    for _, amount, _ in allowed.cuts:
        exact.append(exact[-1] - amount)
    claimed, granted, *after = [to_minor_units(amount) for amount in exact]
    allowed.claimed, allowed.added = claimed, granted - claimed
    befores = [granted, *after]
    allowed.cuts = [(code, befores[n] - after[n], bearer) for n, (code, _, bearer) in enumerate(allowed.cuts)]
    return to_minor_units


def _sum(
    line: ClaimLine,
    rule: FixedSum | AsInvoiced | ShareOfLabour,
    counter: Counter,
    rate: Fraction,
    labour: Fraction | None,
) -> Allowed:
    allowed, bearer = Allowed(typed(line) * rate, counter.policy.currency), rule.excess_borne_by
    if isinstance(rule, FixedSum):
        allowed.added = max(Fraction(rule.fixed) - allowed.claimed, Fraction(0))
        allowed.cut_to(Fraction(rule.fixed), "above_allowance", bearer)
    elif isinstance(rule, ShareOfLabour):
        if labour is None:
            allowed.held.append("labour_undecided")
        else:
            allowed.cut_to(labour * rule.of_labour, "above_allowance", bearer)
    else:
        allowed.claimed *= 1 + rule.handling
        if line.amount is None and not typed(line):
            allowed.held.append("amount_missing")
        elif (
            rule.as_invoiced == "invoice_needed"
            and line.invoice is None
            and not counter.evidence(f"invoice:{line.line}")
        ):
            allowed.cut_to(Fraction(0), "invoice_missing", bearer)
    return allowed


def _parts(line: ClaimLine, rule: PartsPaid, counter: Counter, rate: Fraction) -> Allowed:
    quantity = Fraction(line.quantity) if line.net is not None else Fraction(1)
    held: list[str] = []
    listed_net = listed_list = None
    row = counter.price(line.part_number, counter.day(rule.price_on)) if _on_a_list(line, counter) else None
    converted = row is None
    if row is not None:
        into = counter.into(row[1])
        if into is None:
            held.append("exchange_rate_missing")
        else:
            converted = True
            listed_net = Fraction(row[0].net) * into
            listed_list = None if row[0].list_price is None else Fraction(row[0].list_price) * into
    elif rule.basis != "price_paid" and counter.has(PriceTable):
        held.append("price_not_listed")
    one, most = _price_of_one(line, rule, counter, rate, (row is not None, converted, listed_net, listed_list), held)
    allowed = Allowed(one * quantity * (1 + rule.handling), counter.policy.currency, held=held)
    base = one
    if most is not None and one > most:
        base = most
        allowed.cuts.append(("price_above_list", (one - most) * quantity * (1 + rule.handling), rule.excess_borne_by))
    if rule.handling_at_most is not None and base * quantity * rule.handling > rule.handling_at_most:
        over = base * quantity * rule.handling - Fraction(rule.handling_at_most)
        allowed.cuts.append(("handling_capped", over, rule.excess_borne_by))
    net = listed_net if row is not None else (None if line.net is None else Fraction(line.net) * rate)
    if listed_list is None and line.list_price is not None:
        listed_list = Fraction(line.list_price) * rate
    allowed.net_total = None if net is None else net * quantity
    allowed.list_total = None if listed_list is None else listed_list * quantity
    return allowed


def _on_a_list(line: ClaimLine, counter: Counter) -> bool:
    """Return whether any list names the part; only then does the day of the price matter."""
    tables = [t for t in counter.claim_file.tables if isinstance(t, PriceTable)]
    return any(row.part == line.part_number for table in tables for row in table.rows)


def _price_of_one(
    line: ClaimLine,
    rule: PartsPaid,
    counter: Counter,
    rate: Fraction,
    listed: tuple[bool, bool, Fraction | None, Fraction | None],
    held: list[str],
) -> tuple[Fraction, Fraction | None]:
    """Return the typed price of one and the most it may be; adds to ``held`` what is missing."""
    found, converted, listed_net, listed_list = listed
    if line.net is None:
        if counter.has(PriceTable):
            held.append("price_not_listed")
        return typed(line) * rate, None
    net = Fraction(line.net) * rate
    if rule.basis == "dealer_net":
        return net, listed_net
    if rule.basis == "price_paid":
        if line.price_paid is None:
            held.append("price_paid_missing")
            return net, None
        return Fraction(line.price_paid) * rate, None
    one = Fraction(line.list_price) * rate if line.list_price is not None else listed_list
    if one is None or (found and converted and listed_list is None):
        held.append("price_not_listed")
        return (net if one is None else one), None
    return one, listed_list


def tenths(hours: Decimal, rule: LabourPaid) -> Fraction:
    return Fraction(int(hours * 10), 10) if rule.hours_in == "tenths" else Fraction(hours)


def _labour(
    line: ClaimLine, rule: LabourPaid, counter: Counter, rate: Fraction, together: dict[str, Fraction]
) -> Allowed:
    assert line.hours is not None
    currency, bearer, actual = counter.policy.currency, rule.excess_borne_by, Fraction(line.hours)
    registered, missing = _rate(rule, counter)
    own = None if line.rate is None else Fraction(line.rate) * rate
    if registered is None and own is None:
        return Allowed(Fraction(0), currency, held=[missing or "labour_rate_missing"])
    claimed_rate = own if own is not None else registered
    assert claimed_rate is not None
    paid_rate = claimed_rate if registered is None else min(registered, claimed_rate)
    hours, code, held = _time(line, rule, counter, together)
    allowed = Allowed(claimed_rate * actual, currency, held=[*([missing] if missing else []), *held])
    if hours < actual:
        allowed.cuts.append((code, claimed_rate * (actual - hours), bearer))
    if paid_rate < claimed_rate:
        allowed.cuts.append(("rate_above_registered", (claimed_rate - paid_rate) * min(hours, actual), bearer))
    allowed.added = max(hours - actual, 0) * paid_rate
    return allowed


def _rate(rule: LabourPaid | HoursAtRate, counter: Counter) -> tuple[Fraction | None, str]:
    if rule.rate != "registered":
        return Fraction(rule.rate), ""
    return counter.registered(counter.day(rule.rate_on))


def _time(
    line: ClaimLine, rule: LabourPaid, counter: Counter, together: dict[str, Fraction]
) -> tuple[Fraction, str, list[str]]:
    """Return hours allowed, the code of what cuts them, and what holds the line."""
    assert line.hours is not None
    if line.line in together:
        return together[line.line], "operations_overlap", []
    counted = tenths(line.hours, rule)
    flat = None
    if rule.hours != "actual" and line.operation is not None and counter.has(FlatTimeTable):
        flat = counter.flat_time({line.operation}, counter.day(rule.rate_on))
    if flat is None:
        held = ["no_flat_rate_time"] if rule.hours != "actual" and rule.without_flat_rate == "refer" else []
        return counted, "hours_in_tenths", held
    hours = Fraction(flat) if rule.hours == "flat_rate" else min(counted, Fraction(flat))
    return hours, "hours_in_tenths" if hours == counted < line.hours else "time_above_flat_rate", []


def _hours(line: ClaimLine, rule: HoursAtRate, counter: Counter, rate: Fraction) -> Allowed:
    currency, bearer, most = counter.policy.currency, rule.excess_borne_by, Fraction(rule.hours_at_most)
    registered, missing = _rate(rule, counter)
    held = [missing] if missing else []
    if line.hours is None or (not line.hours and line.amount):
        allowed = Allowed(typed(line) * rate, currency, held=held)
        if registered is not None:
            allowed.cut_to(registered * most, "above_allowance", bearer)
        if not counter.evidence(f"hours:{line.line}"):
            allowed.cut_to(Fraction(0), "above_allowance", bearer)
        return allowed
    hours = Fraction(line.hours)
    own = None if line.rate is None else Fraction(line.rate) * rate
    if line.amount is not None:
        own = Fraction(line.amount) * rate / hours if hours else Fraction(0)
    if own is None and registered is None:
        return Allowed(Fraction(0), currency, held=held or ["labour_rate_missing"])
    claimed_rate = own if own is not None else registered
    assert claimed_rate is not None
    allowed = Allowed(claimed_rate * hours, currency, held=held)
    allowed.cut_to(claimed_rate * min(hours, most), "above_allowance", bearer)
    if registered is not None:
        allowed.cut_to(min(registered, claimed_rate) * min(hours, most), "rate_above_registered", bearer)
    return allowed


def _distance(line: ClaimLine, rule: Distance, counter: Counter, rate: Fraction) -> Allowed:
    bearer, each = rule.excess_borne_by, Fraction(rule.per_unit)
    most = None if rule.units_at_most is None else Fraction(rule.units_at_most)
    if line.units is None:
        allowed = Allowed(typed(line) * rate, counter.policy.currency)
        if most is not None:
            allowed.cut_to(each * most, "above_allowance", bearer)
        if not counter.evidence(f"distance:{line.line}"):
            allowed.cut_to(Fraction(0), "above_allowance", bearer)
        return allowed
    units = Fraction(line.units)
    if line.unit != rule.unit:  # an international mile is 1,609.344 m
        units = units * Fraction("1.609344") if rule.unit == "km" else units / Fraction("1.609344")
    allowed = Allowed(each * units if line.amount is None else Fraction(line.amount) * rate, counter.policy.currency)
    allowed.cut_to(each * (units if most is None else min(units, most)), "above_allowance", bearer)
    return allowed
