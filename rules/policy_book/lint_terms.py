"""Suspicious periods: two clocks, two units, limits that never decide, tests that a late failure cannot meet."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import combinations

from rules.calendar import last_covered_day
from rules.plain import day_text
from rules.policy_book.compiled import CompiledPolicy, all_limits
from rules.policy_book.term_words import ends_words, limit_words, start_point_words
from rules.policy_book.values import listed, plain
from rules.policy_book.warning import HOURS_A_DAY, PolicyWarning, Unit, bound, days_of, hours_of, months_of, reached
from schemas.policy.clause import Limit, Limits, StartAfter
from schemas.policy.term import Starts

BEFORE_THE_SALE = ("built", "shipped", "dispatched", "dealer_invoice")
LONG_TERM_MONTHS = 36
LONG_TERM_DAYS = 1095  # three years
LONG_TERM_HOURS = 1500  # where hours alone end it: 500 a year for three years
ALIKE_DAYS = 5  # months and days this close are meant as one limit
SHORTEST_MONTHS_DAYS, LONGEST_MONTHS_DAYS = 28, 31


def term_warnings(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    yield from _days_beside_months(policy)
    yield from _never_first(policy)
    yield from _beyond_the_term(policy)
    yield from _clock_before_the_sale(policy)
    yield from _tests(policy)
    yield from _lower_of_two(policy)


def _days_beside_months(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    limits = [(path, limit) for path, found in all_limits(policy.terms) for limit in found.all]
    conventions, start = policy.conventions, policy.terms.in_force.from_
    for path, in_months in limits:
        for other, in_days in limits:
            months, days = in_months.months, in_days.days
            if months is None or days is None or abs(12 * days - 365 * months) > 12 * ALIKE_DAYS:
                continue
            last = last_covered_day(start, months, conventions.month_end, conventions.last_covered_day)
            last_by_days = start + timedelta(days=days)
            yield PolicyWarning(
                policy.name,
                other,
                "days_beside_months",
                f"{days} days here and {months} months at {path} are nearly, but not, the same: from"
                f" {day_text(start)} the"
                f" days end on {day_text(last_by_days)}, the months on {day_text(last)}.",
                "Write both in one unit if they are meant as one limit.",
            )


def _never_first(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    for path, limits in all_limits(policy.terms):
        for one, other in combinations(limits.all, 2):
            for late, early in ((one, other), (other, one)):
                if not _never_before(late, early):
                    continue
                said = f"{limit_words(late)} can never come before {limit_words(early)}"
                if limits.last_of is not None:
                    said = f"{limit_words(early)} can never come after {limit_words(late)}"
                yield PolicyWarning(
                    policy.name,
                    path,
                    "limit_never_first" if limits.last_of is None else "limit_never_last",
                    f"{said}, so it decides nothing.",
                    "Take it off, or correct one of the two numbers.",
                )
                break


def _never_before(late: Limit, early: Limit) -> bool:
    """Return whether ``late`` is never reached before ``early``, both counted from the same start."""
    if late.from_ != early.from_:
        return False
    for unit in ("months", "days", "machine_hours", "component_hours", "wear"):
        ours, theirs = getattr(late, unit), getattr(early, unit)
        if ours is not None and theirs is not None:
            return bool(ours >= theirs)
    if late.component_hours is not None and early.machine_hours is not None:
        return late.component_hours >= early.machine_hours  # a component runs no longer than its machine
    latest = _days(early, LONGEST_MONTHS_DAYS)
    if latest is not None and late.hours is not None:
        return late.hours > HOURS_A_DAY * (latest + 1)
    soonest = _days(late, SHORTEST_MONTHS_DAYS)
    return latest is not None and soonest is not None and soonest > latest


def _days(limit: Limit, a_month: int) -> int | None:
    return limit.days if limit.days is not None else limit.months * a_month if limit.months is not None else None


def _beyond_the_term(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    """A shorter period inside the term that is no shorter than the longest cover."""
    periods = [(path, found) for path, found in all_limits(policy.terms) if path.startswith(("pays.", "prorating."))]
    either_or = policy.terms.pays.either_or
    if either_or is not None:
        periods.append(("pays.either_or", Limits(first_of=(either_or.after,))))
    ends = policy.terms.term.ends
    for path, limits in periods:
        outlasts = [_outlasts(limit, policy) for limit in limits.all]
        if any(outlasts) if limits.last_of is not None else all(outlasts):
            yield PolicyWarning(
                policy.name,
                path,
                "period_beyond_term",
                f"its period of {ends_words(limits)} is no shorter than the cover ({ends_words(ends)}), so it never"
                " ends first.",
                "Leave it out, or write the shorter period that is meant.",
            )


def _outlasts(limit: Limit, policy: CompiledPolicy) -> bool:
    """Return whether the longest cover is over, whatever its units, before the limit is reached."""
    units: tuple[Unit, ...] = ("months", "days", "machine_hours", "component_hours")
    for unit in units:
        inner = getattr(limit, unit)
        if inner is not None and limit.from_ is None:
            outer = reached(policy, unit)
            return outer is not None and inner >= outer
    return False


def _clock_before_the_sale(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    terms = policy.terms
    if _begins_before_the_sale(terms.term.starts):
        return
    for index, carve_out in enumerate(terms.carve_outs):
        early = _begins_before_the_sale(carve_out.starts) if carve_out.starts is not None else []
        if isinstance(carve_out.ends, Limits):
            early += [limit_words(limit) for limit in carve_out.ends.all if limit.from_ in BEFORE_THE_SALE]
        if early and not carve_out.never:
            yield PolicyWarning(
                policy.name,
                f"carve_outs[{index}]",
                "clock_from_build",
                f"the period of the {listed(map(plain, carve_out.components))} runs from {listed(early)}, the"
                " machine's from"
                " its sale: months on the dealer's floor use it up before the owner has the machine.",
                "Start it with the term, or say it in the maker's words so that the owner can read it.",
            )


def _begins_before_the_sale(starts: Starts) -> list[str]:
    events = [(point.event if isinstance(point, StartAfter) else point, point) for point in starts.earliest_of]
    return [
        start_point_words(point)
        for event, point in events
        if event in BEFORE_THE_SALE and not isinstance(point, StartAfter)
    ]


def _tests(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    terms = policy.terms
    if terms.term.tested_on == "part_received_on":
        yield PolicyWarning(
            policy.name,
            "term.tested_on",
            "part_must_arrive",
            "the failed part must be received within the term: a failure on the last day is covered only if the part is"
            " handed in that same day.",
            "Test failed_on, and give the part a time of its own to arrive.",
        )
    retrofit = terms.term.retrofit_kit
    if retrofit is not None and retrofit.term == "new_from_fitting":
        yield PolicyWarning(
            policy.name,
            "term.retrofit_kit.term",
            "retrofit_renews_term",
            f"a retrofit kit gives the whole component a full new term ({ends_words(terms.term.ends)}), however worn"
            " it is.",
            "Write kit_only for the kit's own parts, or of_the_machine.",
        )
    if _is_long(terms.term.ends) and terms.applies_to.owner == "any" and terms.applies_to.use is not None:
        yield PolicyWarning(
            policy.name,
            "applies_to.use",
            "use_switches_off_long_term",
            f"the cover of {ends_words(terms.term.ends)} passes on to later owners, yet holds in"
            f" {listed(map(plain, terms.applies_to.use), 'or')} use only: one owner's use can end it for the next.",
            "Say in a policy of its own what holds in other use, or shorten the term there.",
        )


def _is_long(ends: Limits | str) -> bool:
    """Return whether a period lasts for years: by its time, or by its hours where nothing else ends it."""
    if ends == "lifetime":
        return True
    months, days, hours = (bound(ends, value) for value in (months_of, days_of, hours_of))
    if months is None and days is None:
        return hours is not None and hours >= LONG_TERM_HOURS
    return (months is None or months >= LONG_TERM_MONTHS) and (days is None or days >= LONG_TERM_DAYS)


def _lower_of_two(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    rule = policy.terms.pays.either_or
    if rule is not None and rule.picks == "lower":
        yield PolicyWarning(
            policy.name,
            "pays.either_or.picks",
            "payer_picks",
            f'"{rule.items[0]} or {rule.items[1]}" is read in favour of the payer: the lower sum is paid, which'
            " owners do"
            " not expect of an or.",
            "Write picks: higher, or pay one kind of items alone.",
        )
