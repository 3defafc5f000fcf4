"""Labour, diagnosis and travel: hours and distance as claimed, against flat-rate times, limits and rates."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from rules.measures.prorating import number_text
from rules.open_facts import OpenFact
from rules.plain import sum_text
from rules.policy_book.values import number_words
from rules.rounding import rounded_ratio
from rules.settlement.allowance import Allowance, Cut, lesser, limited, typed_grains, unless_given
from rules.settlement.desk import Desk, Held
from rules.settlement.exact import Exact, Factor, factor, grains, money_text, times
from schemas.claim import ClaimLine
from schemas.policy.pays import Distance, HoursAtRate, LabourPaid
from schemas.quantities import METRES_IN, DistanceUnit, centihours

AN_HUNDREDTH = Fraction(1, 100)
NO_RATES = (("typed_unchecked", "No table of labour rates is on file."),)
KM_IN_A_MILE = Fraction(METRES_IN["mile"]) / Fraction(METRES_IN["km"])


@dataclass(frozen=True, slots=True)
class Time:
    """Hours allowed (hundredths of an hour) with the words of the limit, and what cuts the actual ones to them."""

    hundredths: Factor
    code: str
    words: str
    held: tuple[Held, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()


def labour(
    line: ClaimLine, rule: LabourPaid, path: str, desk: Desk, rate: Factor, combined: Mapping[str, Time]
) -> Allowance:
    """Return labour time at a rate: time above the flat rate and a rate above the registered one are cut.

    The registered rate and a fixed one are ceilings: a dealer who typed less is paid what he typed. A flat-rate time
    above the actual one is added where the clause pays it.
    """
    assert line.hours is not None
    currency = desk.policy.terms.currency
    registered, row, unrated = desk.registered_rate(path, rule.rate, rule.rate_on)
    typed = None if line.rate is None else times(grains(line.rate), rate)
    held: tuple[Held, ...] = () if unrated is None else (unrated,)
    if registered is None and typed is None:
        words = f"no labour rate of dealer {desk.claim_file.claim.dealer} is on file, and line {line.line} states none"
        return Allowance(currency, 0, held=held or (Held("labour_rate_missing", path, words),))
    unchecked: tuple[tuple[str, str], ...] = ()
    if registered is None:
        assert typed is not None
        registered, row, unchecked = typed, _as_typed, NO_RATES if unrated is None else ()
    claimed_rate = registered if typed is None else typed
    paid_rate = min(claimed_rate, registered)
    time = combined.get(line.line) or _time(line, rule, path, desk)
    hours, actual = time.hundredths, centihours(line.hours)
    counted = hours if hours < actual else actual
    cuts: tuple[Cut, ...] = ()
    added: Exact = 0
    if hours < actual:
        words = f"{_hours(actual)} h claimed, {time.words}"
        cuts = (Cut(time.code, path, words, _at(claimed_rate, actual - hours), rule.excess_borne_by),)
    elif hours > actual:
        added = _at(paid_rate, hours - actual)
    if paid_rate < claimed_rate:
        words = f"{money_text(claimed_rate)} per hour claimed, {money_text(paid_rate)} is the rate ({row()})"
        excess = _at(claimed_rate - paid_rate, counted)
        cuts = (*cuts, Cut("rate_above_registered", path, words, excess, rule.excess_borne_by))
    return Allowance(
        currency,
        _at(claimed_rate, actual),
        added=added,
        added_words=f"the policy pays {_hours(hours)} h at {money_text(paid_rate)}" if added else "",
        cuts=cuts,
        held=(*held, *time.held),
        notes=(*unchecked, *time.notes),
        words=lambda: f"{_hours(actual)} h × {money_text(claimed_rate)}",
    )


def _at(rate: Exact, hundredths: Factor) -> Exact:
    """Return an hourly rate for so many hundredths of an hour."""
    if type(rate) is int and type(hundredths) is int:
        whole, rest = divmod(rate * hundredths, 100)
        if not rest:
            return whole
    return times(times(rate, hundredths), AN_HUNDREDTH)


def _hours(hundredths: Factor) -> str:
    return number_text(Fraction(hundredths, 100))


def _as_typed() -> str:
    return "as typed"


def counted_hours(line: ClaimLine, rule: LabourPaid) -> int:
    """Return the hundredths of an hour that count: full tenths only, or all."""
    assert line.hours is not None
    actual = centihours(line.hours)
    return actual - actual % 10 if rule.hours_in == "tenths" else actual


def _time(line: ClaimLine, rule: LabourPaid, path: str, desk: Desk) -> Time:
    """Return the hours that the clause allows of a line by itself."""
    counted = counted_hours(line, rule)
    found = None
    if rule.hours != "actual" and line.operation is not None and desk.tables.has_flat_times:
        found = desk.tables.flat_time(frozenset((line.operation,)), desk.on(rule.rate_on))
    if found is not None:
        flat = centihours(found.value)
        if flat < counted or (rule.hours == "flat_rate" and flat > counted):
            return Time(flat, "time_above_flat_rate", f"{found.value} h flat-rate time ({found.row})")
    held: tuple[Held, ...] = ()
    if found is None and rule.hours != "actual" and rule.without_flat_rate == "refer":
        words = f"operation {line.operation or 'without a code'} of line {line.line} has no flat-rate time on the day"
        held = (Held("no_flat_rate_time", path, words),)
    notes: tuple[tuple[str, str], ...] = ()
    if found is None and rule.hours != "actual" and not held:
        lacking = f"Operation {line.operation or 'without a code'} has no flat-rate time on the day."
        words = lacking if desk.tables.has_flat_times else "No table of flat-rate times is on file."
        notes = (("typed_unchecked", words),)
    return Time(counted, "hours_in_tenths", "full tenths of an hour count", held, notes)


def hours_at_rate(line: ClaimLine, rule: HoursAtRate, path: str, desk: Desk, rate: Factor) -> Allowance:
    """Return hours of diagnosis or travel up to a number, at a rate; hours that are not stated are asked for."""
    currency, bearer = desk.policy.terms.currency, rule.excess_borne_by
    registered, row, unrated = desk.registered_rate(path, rule.rate, rule.rate_on)
    typed = None if line.rate is None else times(grains(line.rate), rate)
    held: tuple[Held, ...] = () if unrated is None else (unrated,)
    if line.hours is None or (not line.hours and line.amount):
        allowance = Allowance(currency, times(typed_grains(line), rate), held=held)
        words = f"at most {rule.hours_at_most} h"
        if registered is not None:
            most = times(registered, factor(rule.hours_at_most))
            allowance = limited(
                allowance, most, "above_allowance", path, f"{words} at {money_text(registered)}", bearer
            )
        fact = OpenFact(f"hours:{line.line}", "evidence", "dealer", f"the hours of line {line.line} ({line.item})")
        return unless_given(allowance, fact, desk, "above_allowance", path, "no hours are stated", bearer)
    hours = factor(line.hours)
    if line.amount is not None:
        # The rate that the typed sum stands for.
        typed = times(times(grains(line.amount), rate), 1 / Fraction(line.hours)) if hours else 0
    if registered is None and typed is None:
        words = f"no labour rate of dealer {desk.claim_file.claim.dealer} is on file, and line {line.line} states none"
        return Allowance(currency, 0, held=held or (Held("labour_rate_missing", path, words),))
    claimed_rate = typed if typed is not None else registered
    assert claimed_rate is not None
    counted = factor(lesser(line.hours, rule.hours_at_most))
    notes = NO_RATES if registered is None and not held else ()
    allowance = Allowance(currency, times(claimed_rate, hours), held=held, notes=notes)
    words = f"{number_text(hours)} h claimed, at most {rule.hours_at_most} h"
    allowance = limited(allowance, times(claimed_rate, counted), "above_allowance", path, words, bearer)
    if registered is not None and registered < claimed_rate:
        words = f"{money_text(claimed_rate)} per hour claimed, {money_text(registered)} is the rate ({row()})"
        allowance = limited(allowance, times(registered, counted), "rate_above_registered", path, words, bearer)
    return replace(allowance, words=lambda: f"{number_text(hours)} h × {money_text(claimed_rate)}")


def distance(line: ClaimLine, rule: Distance, path: str, desk: Desk, rate: Factor) -> Allowance:
    """Return distance at a sum per unit up to a number of units; a distance that is not stated is asked for."""
    currency, bearer, per_unit = desk.policy.terms.currency, rule.excess_borne_by, grains(rule.per_unit)
    limit = f"{sum_text(rule.per_unit)} a {rule.unit}"
    if rule.units_at_most is not None:
        limit += f", at most {distance_text(factor(rule.units_at_most), rule.unit)}"
    if line.units is None:
        allowance = Allowance(currency, times(typed_grains(line), rate))
        if rule.units_at_most is not None:
            most = times(per_unit, factor(rule.units_at_most))
            allowance = limited(allowance, most, "above_allowance", path, limit, bearer)
        fact = OpenFact(f"distance:{line.line}", "evidence", "dealer", f"the distance behind line {line.line}")
        return unless_given(allowance, fact, desk, "above_allowance", path, "no distance is stated", bearer)
    units, words = _in_unit(line, rule.unit)
    claimed = times(per_unit, units) if line.amount is None else times(grains(line.amount), rate)
    counted = units if rule.units_at_most is None else min(units, factor(rule.units_at_most))
    allowance = Allowance(currency, claimed, words=lambda: words)
    return limited(allowance, times(per_unit, counted), "above_allowance", path, f"{words} claimed, {limit}", bearer)


def _in_unit(line: ClaimLine, unit: DistanceUnit) -> tuple[Factor, str]:
    """Return a stated distance in the clause's unit, exactly, with its words; both where it was claimed in another."""
    assert line.units is not None
    assert line.unit is not None
    typed, by = factor(line.units), number_words(KM_IN_A_MILE)
    if line.unit == unit:
        return typed, distance_text(typed, unit)
    claimed = distance_text(typed, line.unit)
    if unit == "km":
        converted = typed * KM_IN_A_MILE
        return converted, f"{claimed} × {by} = {distance_text(converted, unit)}"
    converted = typed / KM_IN_A_MILE
    shown = Fraction(rounded_ratio(converted.numerator * 10_000, converted.denominator, "half_up"), 10_000)
    return converted, f"{claimed} ÷ {by} ≈ {distance_text(shown, unit)}"


def distance_text(units: Factor, unit: DistanceUnit) -> str:
    """Return a distance as a reader writes it: 120 km, 1 mile, 75 miles."""
    return f"{number_words(units)} {unit}{'s' if unit == 'mile' and units != 1 else ''}"
