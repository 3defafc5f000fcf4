"""Suspicious shares: examples that the rule contradicts, shares that rise, steps out of reach, rounding that shows."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from rules.measures.prorating import share_at
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.pay_words import MEASURES, example_words
from rules.policy_book.values import amount_words, number_words, share_words
from rules.policy_book.warning import PolicyWarning, longest, months_of, reached
from rules.rounding import as_money, minor_units, rounded_share
from schemas.conventions import RoundedShare
from schemas.policy.prorating import Axis, Decline, OwnerPrices, Points, Steps

SAMPLE = Fraction(1150)  # an amount to show a rounding difference with
SAMPLE_PLACES = 2
NEARLY_EVEN = Fraction(1, 4)  # widths that differ by less were meant to be even
LEAST_STEPS = 3  # with fewer, no width is the common one
DAYS_A_UNIT = 30
LOOKED_AT = 397  # values of a measure at which rounding is tried; a prime, so that they are not all round ones


def share_warnings(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    prorating = policy.terms.prorating
    if prorating is None:
        return
    yield from _examples(policy)
    for index, axis in enumerate(prorating.axes):
        path = f"prorating.axes[{index}]"
        yield from _rising(policy, axis, path)
        yield from _uneven(policy, axis, path)
        yield from _out_of_reach(policy, axis, path)
        yield from _thirty_days(policy, axis, path)
        yield from _rounded(policy, axis, path)


def _examples(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    prorating = policy.terms.prorating
    assert prorating is not None, "asked of a policy that prorates"
    for index, example in enumerate(prorating.examples):
        axes = [a for a in prorating.axes if a.by == example.by and not isinstance(a.share, OwnerPrices)]
        path = f"prorating.examples[{index}]"
        if not axes:
            yield PolicyWarning(
                policy.name,
                path,
                "example_of_nothing",
                f"the maker's example speaks of {MEASURES[example.by][0]}, by which no share is prorated here.",
                "Correct its measure, or leave the example out.",
            )
            continue
        given = share_at(axes[0].share, Fraction(example.at))[0]
        rounding = policy.conventions.share
        if isinstance(rounding, RoundedShare):
            given = rounded_share(given, rounding.places, rounding.round)
        if given != example.share:
            yield PolicyWarning(
                policy.name,
                path,
                "example_contradicts_rule",
                f"the maker's example says {example_words(example).removeprefix('for example, ')}; the rule gives"
                f" {share_words(given)}.",
                "Owners can hold the maker to either: correct the example, or the rule.",
            )


def _rising(policy: CompiledPolicy, axis: Axis, path: str) -> Iterator[PolicyWarning]:
    unit = MEASURES[axis.by][1]
    match axis.share:
        case Steps(steps=points) | Points(points=points):
            for left, right in pairwise(points):
                if right.value > left.value:
                    yield PolicyWarning(
                        policy.name,
                        f"{path}.share",
                        "share_rises",
                        f"the paid share rises from {share_words(left.value)} at {number_words(left.at)} {unit} to"
                        f" {share_words(right.value)} at {number_words(right.at)} {unit}: waiting would pay.",
                        "Let shares fall, or stay, from point to point.",
                    )
        case OwnerPrices(owner_prices=prices):
            for one, next_one in pairwise(prices):
                if next_one.value < one.value:
                    currency = policy.terms.currency
                    yield PolicyWarning(
                        policy.name,
                        f"{path}.share",
                        "share_rises",
                        f"the owner's price falls from {amount_words(one.value, currency)} to"
                        f" {amount_words(next_one.value, currency)} at {number_words(next_one.at)} {unit}: waiting"
                        " would pay.",
                        "Let the owner's prices rise, or stay, from step to step.",
                    )


def _thresholds(axis: Axis) -> list[Decimal]:
    match axis.share:
        case Steps(steps=points):
            return [point.at for point in points]
        case OwnerPrices(owner_prices=prices):
            return [price.at for price in prices]
        case _:
            return []


def _uneven(policy: CompiledPolicy, axis: Axis, path: str) -> Iterator[PolicyWarning]:
    at = [Fraction(one) for one in _thresholds(axis)]
    # Printed bands often begin with the next whole number (0-375, 376-750, …): then the first is wider by one.
    tables = [_off_even(at, first) for first in (0, 1)]
    if any(table is not None and not table[1] for table in tables):
        return
    found = next((table for table in tables if table is not None), None)
    if found is not None:
        widths, odd, common = found
        unit, start = MEASURES[axis.by][1], at[odd[0]]
        at_even = at[odd[0] + 1] - widths[odd[0]] + common
        yield PolicyWarning(
            policy.name,
            f"{path}.share",
            "uneven_steps",
            f"the step from {number_words(start)} {unit} is {number_words(widths[odd[0]])} wide, the others"
            f" {number_words(common)}: an even table would go on at {number_words(at_even)} {unit}.",
            "Correct the number, or leave it if the table is meant so.",
        )


def _off_even(at: list[Fraction], first: int) -> tuple[list[Fraction], list[int], Fraction] | None:
    """Return the widths of steps, which of them are odd, and the common one; None where no even table was meant.

    One width is odd where all later steps moved with it, two where a single boundary did.
    """
    widths = [right - left for left, right in pairwise(at)]
    if len(widths) < LEAST_STEPS:
        return None
    widths[0] -= first
    common = max(widths, key=widths.count)
    odd = [i for i, width in enumerate(widths) if width != common]
    nearly = all(abs(widths[i] - common) < common * NEARLY_EVEN for i in odd)
    one_boundary = len(odd) == 2 and odd[1] == odd[0] + 1 and widths[odd[0]] + widths[odd[1]] == 2 * common
    meant = widths.count(common) >= 2 and nearly and (len(odd) < 2 or one_boundary)
    return (widths, odd, common) if meant else None


def _out_of_reach(policy: CompiledPolicy, axis: Axis, path: str) -> Iterator[PolicyWarning]:
    furthest = _furthest(policy, axis)
    if furthest is None:
        return
    unit = MEASURES[axis.by][1]
    beyond = [at for at in _thresholds(axis) if at > furthest]
    match axis.share:
        case Points(points=points):
            beyond = [right.at for left, right in pairwise(points) if left.at >= furthest]
        case Decline(free_until=free_until) if free_until > furthest:
            beyond = [free_until]
    for at in beyond:
        yield PolicyWarning(
            policy.name,
            f"{path}.share",
            "step_beyond_term",
            f"what is said from {number_words(at)} {unit} on is never reached: the cover ends at"
            f" {number_words(furthest)}"
            f" {unit}.",
            "Take it off, or correct the term.",
        )


def _furthest(policy: CompiledPolicy, axis: Axis) -> Fraction | None:
    """Return the greatest value of an axis inside the longest cover, None where nothing bounds it."""
    match axis.by:
        case "machine_hours" | "component_hours":
            return reached(policy, axis.by)
        case "complete_months" | "begun_months":
            end = reached(policy, "months")
            if end is not None and axis.by == "complete_months" and _ends_before_the_anniversary(policy):
                return end - 1  # the last covered day lies in the month before the anniversary
            return end
        case "complete_30_day_units" | "begun_30_day_units":
            days = reached(policy, "days")
            begun = 1 if axis.by == "begun_30_day_units" else 0
            return None if days is None else Fraction(days // DAYS_A_UNIT + begun)
        case _:
            return None


def _ends_before_the_anniversary(policy: CompiledPolicy) -> bool:
    return policy.conventions.last_covered_day != "anniversary"


def _thirty_days(policy: CompiledPolicy, axis: Axis, path: str) -> Iterator[PolicyWarning]:
    if axis.by not in ("complete_30_day_units", "begun_30_day_units"):
        return
    months = longest(policy, months_of)
    if months is None:
        return
    days = months * 365 / 12
    yield PolicyWarning(
        policy.name,
        path,
        "thirty_day_units_beside_months",
        f"the share counts units of 30 days, the term calendar months: {number_words(months)} months are"
        f" {number_words(Fraction(int(days * 100 / 30), 100))} units or more, so that"
        f" {number_words(months)} units end about {int(days - months * 30)} days before the term.",
        "Prorate by complete_months or begun_months, or write the term in days.",
    )


def _rounded(policy: CompiledPolicy, axis: Axis, path: str) -> Iterator[PolicyWarning]:
    rounding, mode = policy.conventions.share, policy.conventions.money.round
    if not isinstance(rounding, RoundedShare) or isinstance(axis.share, OwnerPrices):
        return
    worst: tuple[int, Fraction, int, int] | None = None
    for at in _samples(axis):
        exact = share_at(axis.share, at)[0]
        short = rounded_share(exact, rounding.places, rounding.round)
        paid, meant = (minor_units(SAMPLE * share, SAMPLE_PLACES, mode) for share in (short, exact))
        if paid != meant and (worst is None or abs(paid - meant) > worst[0]):
            worst = (abs(paid - meant), at, meant, paid)
    if worst is not None:
        _, at, meant, paid = worst
        yield PolicyWarning(
            policy.name,
            path,
            "share_rounding_shows",
            f"the conventions round shares to {rounding.places} places: at {number_words(at)} {MEASURES[axis.by][1]},"
            f" {as_money(int(SAMPLE) * 100, SAMPLE_PLACES):,} at the exact share is"
            f" {as_money(meant, SAMPLE_PLACES):,}, at the"
            f" rounded one {as_money(paid, SAMPLE_PLACES):,}.",
            "Pin conventions with share: exact, unless the maker's terms round the share.",
        )


def _samples(axis: Axis) -> Iterator[Fraction]:
    """Yield values of the measure at which the share is looked at: every step, and evenly along a line."""
    match axis.share:
        case Steps(steps=steps):
            yield from (Fraction(step.at) for step in steps)
        case Points(points=points):
            yield from _whole_numbers_to(Fraction(points[-1].at))
        case Decline(zero_at=zero_at):
            yield from _whole_numbers_to(Fraction(zero_at))


def _whole_numbers_to(end: Fraction) -> Iterator[Fraction]:
    yield from (Fraction(int(end * number / LOOKED_AT)) for number in range(LOOKED_AT + 1))
