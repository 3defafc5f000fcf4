"""What is allowed of a claimed line: the typed price, time and rate held against the dated tables.

``allowed = claimed + added - cuts``; every cut says how much, by which clause and who bears it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any, Literal

from rules.measures.prorating import number_text
from rules.open_facts import OpenFact, World
from rules.policy_book.compiled import CompiledPolicy
from rules.settlement.tables import Tables
from schemas.claim import Claim, ClaimLine
from schemas.claim_file import ClaimFile
from schemas.policy.clause import ClaimDate
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

ZERO, ONE = Fraction(0), Fraction(1)


@dataclass(frozen=True, slots=True)
class Cut:
    """Part of a claimed amount that is not allowed (in the policy's currency, exact)."""

    code: str
    path: str
    words: str
    amount: Fraction
    bearer: str
    records: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Allowance:
    """The line in the policy's currency: claimed, added by the policy, and what is cut; all exact."""

    claimed: Fraction
    added: Fraction = ZERO
    added_words: str = ""
    cuts: tuple[Cut, ...] = ()
    list_total: Fraction | None = None  # quantity times list price, for an owner billed on list
    part_net: Fraction | None = None  # one unit, for caps at the part's price
    part_list: Fraction | None = None
    quantity: Fraction = ONE
    words: str = ""
    held: tuple[tuple[str, str], ...] = ()  # code and words of what a person must look at
    notes: tuple[tuple[str, str], ...] = ()

    @property
    def allowed(self) -> Fraction:
        return self.claimed + self.added - sum((cut.amount for cut in self.cuts), ZERO)


@dataclass(frozen=True, slots=True)
class Desk:
    """What an allowance looks things up in: one claim under one policy in one world."""

    policy: CompiledPolicy
    claim_file: ClaimFile
    tables: Tables
    world: World
    combined_hours: Mapping[str, tuple[Fraction, str]]  # line -> hours inside a combined operation, and its words

    def on(self, which: ClaimDate) -> date:
        return claim_date(self.claim_file, which, self.world)

    def into_policy_currency(self, currency: str) -> tuple[Fraction, str, str] | None:
        """Return the factor into the policy's currency with its row and a note on a gap; None without a rate."""
        if currency == self.policy.terms.currency:
            return ONE, "", ""
        conventions = self.policy.conventions
        found = self.tables.rate(
            currency, self.policy.terms.currency, self.on(conventions.exchange_rate_on), conventions.rate_gap
        )
        if found is None:
            return None
        return (
            found.value,
            found.row,
            "" if found.on_the_day else "no rate was published for the day: the one before it holds",
        )


def claim_date(claim_file: ClaimFile, which: ClaimDate, world: World) -> date:
    """Return a date of the claim; one that is missing lies between the failure and the decision."""
    claim: Claim = claim_file.claim
    day: date | None = getattr(claim, which)
    if day is not None:
        return day
    fact = OpenFact(f"date:{which}", "start", "dealer", f"the date {which.replace('_on', '').replace('_', ' ')}")
    latest = (claim.submitted_on or claim_file.decided_on).toordinal()
    return date.fromordinal(world.pick(fact, tuple(sorted({claim.failed_on.toordinal(), latest}))))


def allow(line: ClaimLine, desk: Desk, labour_allowed: Fraction) -> Allowance:
    """Return what the policy allows of a line, in its currency (``labour_allowed``: for supplies by labour)."""
    rule = desk.policy.terms.pays.rule_for(line.item)
    path = f"pays.{line.item}" if getattr(desk.policy.terms.pays, line.item) is not None else "pays.anything_else"
    converted = desk.into_policy_currency(desk.claim_file.claim.currency)
    if converted is None:
        return Allowance(
            typed_amount(line),
            held=(
                (
                    "exchange_rate_missing",
                    f"no exchange rate {desk.claim_file.claim.currency} to {desk.policy.terms.currency} is on file",
                ),
            ),
        )
    factor, rate_row, gap_note = converted
    match rule:
        case PartsPaid() if line.net is not None:
            allowance = _parts(line, rule, path, desk, factor)
        case LabourPaid() if line.hours is not None:
            allowance = _labour(line, rule, path, desk, factor)
        case FixedSum():
            allowance = _fixed(line, rule, factor, path)
        case HoursAtRate():
            allowance = _hours_at_rate(line, rule, path, desk, factor)
        case Distance():
            allowance = _distance(line, rule, path, factor)
        case AsInvoiced():
            allowance = _as_invoiced(line, rule, path, desk, factor)
        case ShareOfLabour():
            allowance = _limited(
                line,
                rule,
                path,
                typed_amount(line) * factor,
                labour_allowed * Fraction(rule.of_labour),
                f"{number_text(rule.of_labour * 100)} % of the allowed labour",
            )
        case NotPaid():
            allowance = Allowance(typed_amount(line) * factor)
        case _:
            allowance = Allowance(typed_amount(line) * factor)
    notes = allowance.notes
    if rate_row:
        notes = (*notes, ("converted", f"{rate_row}{'; ' + gap_note if gap_note else ''}"))
    cuts = allowance.cuts
    if not isinstance(rule, NotPaid):
        cuts = (*cuts, *_general_cuts(rule, path, allowance.allowed))
    return _with(allowance, cuts=cuts, notes=notes)


def _with(allowance: Allowance, **changes: Any) -> Allowance:
    values = {name: getattr(allowance, name) for name in Allowance.__slots__}
    return Allowance(**{**values, **changes})


def typed_amount(line: ClaimLine) -> Fraction:
    """Return what the dealer typed for the line, in the claim's currency, handling apart."""
    if line.amount is not None:
        return Fraction(line.amount)
    if line.net is not None:
        return Fraction(line.net) * Fraction(line.quantity)
    if line.hours is not None and line.rate is not None:
        return Fraction(line.hours) * Fraction(line.rate)
    return ZERO


def _general_cuts(rule: Any, path: str, allowed: Fraction) -> tuple[Cut, ...]:
    """A fixed paid share and the most a line may come to, whatever kind of rule it is."""
    cuts: list[Cut] = []
    if rule.share is not None and rule.share != 1:
        cut = allowed * (1 - rule.share)
        cuts.append(Cut("fixed_share", path, f"{rule.share} of these items is paid", cut, rule.excess_borne_by))
        allowed -= cut
    if rule.at_most is not None and allowed > rule.at_most:
        cut = allowed - Fraction(rule.at_most)
        cuts.append(Cut("above_allowance", path, f"at most {rule.at_most} a line", cut, rule.excess_borne_by))
    return tuple(cuts)


def _parts(line: ClaimLine, rule: PartsPaid, path: str, desk: Desk, factor: Fraction) -> Allowance:
    assert line.net is not None
    quantity = Fraction(line.quantity)
    found = _price_row(line, rule, desk)
    typed: Fraction | None
    match rule.basis:
        case "dealer_net":
            typed, listed = Fraction(line.net), found.net if found else None
        case "list_price":
            typed = Fraction(line.list_price) if line.list_price is not None else Fraction(line.net)
            listed = found.list_price if found else None
        case _:
            typed, listed = (None if line.price_paid is None else Fraction(line.price_paid)), None
    held: tuple[tuple[str, str], ...] = ()
    if typed is None:
        held = (("price_paid_missing", f"what the owner paid for the part of line {line.line} is not on file"),)
        typed = Fraction(line.net)
    elif found is None and rule.basis != "price_paid" and desk.tables.has_prices:
        held = (("price_not_listed", f"part {line.part_number or 'without a number'} is on no price list in force"),)
    typed *= factor
    if listed is not None and found is not None:
        into = desk.into_policy_currency(found.currency)
        if into is None:
            held = (
                *held,
                (
                    "exchange_rate_missing",
                    f"no exchange rate {found.currency} to {desk.policy.terms.currency} is on file",
                ),
            )
            listed = None
        else:
            listed *= into[0]
    markup = 1 + Fraction(rule.handling)
    claimed, base = typed * quantity * markup, min(typed, listed) if listed is not None else typed
    cuts: list[Cut] = []
    if listed is not None and typed > listed and found is not None:
        words = f"{money_text(typed)} claimed, {money_text(listed)} on the price list ({found.row})"
        cuts.append(
            Cut(
                "price_above_list",
                path,
                words,
                (typed - listed) * quantity * markup,
                rule.excess_borne_by,
                (found.row,),
            )
        )
    handling = base * quantity * Fraction(rule.handling)
    if rule.handling_at_most is not None and handling > rule.handling_at_most:
        cut = handling - Fraction(rule.handling_at_most)
        cuts.append(
            Cut("handling_capped", path, f"handling at most {rule.handling_at_most}", cut, rule.excess_borne_by)
        )
    words = f"{number_text(quantity)} × " if quantity != 1 else ""
    words += f"{money_text(typed)} {rule.basis.replace('_', ' ')}"
    if rule.handling:
        words += f" × {number_text(markup)} handling"
    return Allowance(
        claimed,
        cuts=tuple(cuts),
        words=words,
        held=held,
        quantity=quantity,
        list_total=_list_total(line, found, quantity, factor),
        part_net=(found.net if found else Fraction(line.net) * factor),
        part_list=_list_total(line, found, ONE, factor),
    )


def _list_total(line: ClaimLine, found: Any, quantity: Fraction, factor: Fraction) -> Fraction | None:
    if found is not None and found.list_price is not None:
        return Fraction(found.list_price * quantity)
    return None if line.list_price is None else Fraction(line.list_price) * quantity * factor


def _price_row(line: ClaimLine, rule: PartsPaid, desk: Desk) -> Any:
    if line.part_number is None or line.part_number not in desk.tables.prices:
        return None
    return desk.tables.price(line.part_number, desk.on(rule.price_on))


def registered_rate(rule: LabourPaid | HoursAtRate, desk: Desk) -> tuple[Fraction, str] | None:
    """Return the rate per hour in the policy's currency: a fixed one, or the dealer's registered one."""
    if rule.rate != "registered":
        return Fraction(rule.rate), f"fixed {rule.rate} per hour"
    if desk.claim_file.claim.dealer not in desk.tables.labour_rates:
        return None
    found = desk.tables.labour_rate(desk.claim_file.claim.dealer, desk.on(rule.rate_on))
    into = None if found is None else desk.into_policy_currency(found[1])
    return None if found is None or into is None else (found[0] * into[0], found[2])


def _labour(line: ClaimLine, rule: LabourPaid, path: str, desk: Desk, factor: Fraction) -> Allowance:
    assert line.hours is not None
    registered = registered_rate(rule, desk)
    typed = None if line.rate is None else Fraction(line.rate) * factor
    if registered is None and typed is None:
        return Allowance(
            ZERO, held=(("labour_rate_missing", f"no labour rate of dealer {line_dealer(desk)} is on file"),)
        )
    held: tuple[tuple[str, str], ...] = ()
    if registered is None:
        assert typed is not None
        if desk.tables.has_labour_rates:
            held = (("labour_rate_missing", f"no labour rate of dealer {line_dealer(desk)} is on file"),)
        registered = (typed, "as typed")
    rate_claimed = typed if typed is not None else registered[0]
    rate = min(rate_claimed, registered[0]) if rule.rate == "registered" else registered[0]
    actual = Fraction(line.hours)
    counted = Fraction(int(actual * 10), 10) if rule.hours_in == "tenths" else actual
    hours, code, words, unlisted = _hours_allowed(line, rule, desk, counted)
    if unlisted:
        held = (
            *held,
            ("no_flat_rate_time", f"operation {line.operation or 'without a code'} has no flat-rate time on the day"),
        )
    claimed = actual * rate_claimed
    cuts: list[Cut] = []
    if hours < actual:
        short = (actual - hours) * rate_claimed
        cuts.append(Cut(code, path, f"{number_text(actual)} h claimed, {words}", short, rule.excess_borne_by))
    if rate < rate_claimed:
        text = f"{money_text(rate_claimed)} per hour claimed, {money_text(rate)} registered ({registered[1]})"
        cuts.append(
            Cut("rate_above_registered", path, text, min(hours, actual) * (rate_claimed - rate), rule.excess_borne_by)
        )
    added = max(hours - actual, ZERO) * rate
    if rate > rate_claimed:
        added += hours * (rate - rate_claimed)
    added_words = f"{words}: the policy pays the flat-rate time" if added else ""
    return Allowance(
        claimed,
        added=added,
        added_words=added_words,
        cuts=tuple(cuts),
        held=held,
        words=f"{number_text(hours)} h × {money_text(rate)}",
    )


def line_dealer(desk: Desk) -> str:
    return desk.claim_file.claim.dealer


def _hours_allowed(line: ClaimLine, rule: LabourPaid, desk: Desk, counted: Fraction) -> tuple[Fraction, str, str, bool]:
    """Return the hours allowed, the code and words of a shortfall, and whether a flat-rate time is lacking."""
    if rule.hours == "actual":
        return counted, "hours_in_tenths", "full tenths of an hour count", False
    combined = desk.combined_hours.get(line.line)
    if combined is not None:
        hours, words = combined
        return (hours if rule.hours == "flat_rate" else min(counted, hours)), "operations_overlap", words, False
    found = None
    if line.operation is not None and desk.tables.has_flat_times:
        found = desk.tables.flat_time(frozenset((line.operation,)), desk.on(rule.rate_on))
    if found is None:
        return counted, "hours_in_tenths", "full tenths of an hour count", rule.without_flat_rate == "refer"
    words = f"{number_text(found.value)} h flat-rate time ({found.row})"
    return (
        (found.value if rule.hours == "flat_rate" else min(counted, found.value)),
        "time_above_flat_rate",
        words,
        False,
    )


def combined_hours(
    lines: tuple[ClaimLine, ...], desk_rule: Any, tables: Tables, on: date
) -> dict[str, tuple[Fraction, str]]:
    """Return the hours of lines inside a combined operation, split in proportion to their single flat-rate times."""
    if not isinstance(desk_rule, LabourPaid) or desk_rule.hours == "actual":
        return {}
    by_operation = {line.operation: line for line in lines if line.item == "labour" and line.operation is not None}
    shares: dict[str, tuple[Fraction, str]] = {}
    for together in tables.combined(frozenset(o for o in by_operation if o is not None), on):
        found = tables.flat_time(together, on)
        single = {o: tables.flat_time(frozenset((o,)), on) for o in sorted(together)}
        total = sum((f.value for f in single.values() if f is not None), ZERO)
        if found is None or not total or any(f is None for f in single.values()) or found.value >= total:
            continue
        words = f"{' and '.join(sorted(together))} together take {number_text(found.value)} h ({found.row})"
        for operation, own in single.items():
            assert own is not None
            shares[by_operation[operation].line] = (found.value * own.value / total, words)
    return shares


def _fixed(line: ClaimLine, rule: FixedSum, factor: Fraction, path: str) -> Allowance:
    claimed, fixed = typed_amount(line) * factor, Fraction(rule.fixed)
    if fixed >= claimed:
        return Allowance(
            claimed, added=fixed - claimed, added_words=f"fixed sum {rule.fixed}", words=f"fixed sum {rule.fixed}"
        )
    cut = Cut("above_allowance", path, f"a fixed sum of {rule.fixed} is paid", claimed - fixed, rule.excess_borne_by)
    return Allowance(claimed, cuts=(cut,), words=f"fixed sum {rule.fixed}")


def _limited(line: ClaimLine, rule: Any, path: str, claimed: Fraction, most: Fraction, words: str) -> Allowance:
    del line
    if claimed <= most:
        return Allowance(claimed, words=words)
    return Allowance(
        claimed, cuts=(Cut("above_allowance", path, words, claimed - most, rule.excess_borne_by),), words=words
    )


def _hours_at_rate(line: ClaimLine, rule: HoursAtRate, path: str, desk: Desk, factor: Fraction) -> Allowance:
    registered = registered_rate(rule, desk)
    typed = None if line.rate is None else Fraction(line.rate) * factor
    if registered is None:
        if typed is None and line.amount is None:
            return Allowance(
                ZERO, held=(("labour_rate_missing", f"no labour rate of dealer {line_dealer(desk)} is on file"),)
            )
        registered = (typed if typed is not None else ZERO, "as typed")
    claimed = typed_amount(line) * factor
    if line.amount is None and line.hours is not None:
        claimed = Fraction(line.hours) * (typed if typed is not None else registered[0])
    hours = Fraction(line.hours) if line.hours is not None else Fraction(rule.hours_at_most)
    most = min(hours, Fraction(rule.hours_at_most)) * registered[0]
    return _limited(line, rule, path, claimed, most, f"at most {rule.hours_at_most} h at {money_text(registered[0])}")


def _distance(line: ClaimLine, rule: Distance, path: str, factor: Fraction) -> Allowance:
    units = Fraction(line.units) if line.units is not None else None
    claimed = Fraction(line.amount) * factor if line.amount is not None else (units or ZERO) * Fraction(rule.per_unit)
    counted = units
    if rule.units_at_most is not None:
        counted = min(units, Fraction(rule.units_at_most)) if units is not None else Fraction(rule.units_at_most)
    most = claimed if counted is None else counted * Fraction(rule.per_unit)
    limit = f", at most {rule.units_at_most}" if rule.units_at_most is not None else ""
    return _limited(line, rule, path, claimed, most, f"{rule.per_unit} a unit of distance{limit}")


def _as_invoiced(line: ClaimLine, rule: AsInvoiced, path: str, desk: Desk, factor: Fraction) -> Allowance:
    claimed = typed_amount(line) * factor * (1 + Fraction(rule.handling))
    if rule.as_invoiced == "invoice_needed" and line.invoice is None:
        fact = OpenFact(
            f"invoice:{line.line}", "evidence", "dealer", f"the invoice behind line {line.line} ({line.item})"
        )
        if not desk.world.pick(fact, (1, 0)):
            cut = Cut("invoice_missing", path, "no invoice is on file", claimed, rule.excess_borne_by)
            return Allowance(claimed, cuts=(cut,), words="as invoiced")
    return Allowance(claimed, words="as invoiced")


def money_text(amount: Fraction) -> str:
    """Return an exact amount with at least two decimals and thousands marks, for words (never for sums)."""
    units, rest = divmod(amount.numerator * 10_000, amount.denominator)
    del rest
    text = f"{units // 10_000:,}.{units % 10_000:04d}"
    return text[:-2] if text.endswith("00") else text.rstrip("0")


Effect = Literal["deny", "deny_unless_caused", "refer", "lower_share", "fall_back", "note"]
