"""Groups of lines that share one term: the machine's own, a carve-out's, or a later fitted component's."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Final, Literal

from rules.calendar import add_span
from rules.measures.hours import Hours
from rules.measures.starts import (
    day_of_event,
    days_that_matter,
    earliest_start,
    event_on,
    last_day_of,
    start_of_term,
)
from rules.measures.wear import Worn
from rules.open_facts import OpenFact, World
from rules.policy_book.compiled import CompiledPolicy, all_limits
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.frozen import quickly_made
from schemas.machine import FittedComponent, Machine, Position
from schemas.policy.clause import Limit, Limits
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import CarveOut, LaterFitting
from schemas.quantities import centihours

__all__ = ["Group", "LimitState", "build_group", "earliest_start", "fitted_component", "group_of", "limit_state"]

MACHINE: Final = "machine"


@quickly_made
@dataclass(frozen=True, slots=True)
class LimitState:
    """How one limit stands: ``value`` is what a rule tests: days past, hundredths used, of wear the sign alone."""

    path: str  # term.ends[0]
    limit: Limit
    value: int
    last_day: date | None  # of a calendar limit
    worn: Fraction | None = None  # of a limit by wear: the worn share

    def passed(self, conventions: Conventions) -> bool:
        """Return whether the limit is passed; the conventions say whether hours equal to a cap are inside it."""
        cap = self.limit.hours
        if cap is None:
            return self.value > 0
        return self.value > centihours(cap) if conventions.hours_at_cap == "covered" else self.value >= centihours(cap)


@quickly_made
@dataclass(frozen=True, slots=True)
class Group:
    """One term: its beginning, the tested day and hours, and how each limit stands."""

    number: int
    key: str  # machine, carve_outs[0], or the fitted component's record
    path: str  # clause path of the term or carve-out
    side: Position  # of the machine, whose services count; none: no side is known
    start: date
    start_words: str
    schedule_start: date
    schedule_hours: int  # machine hours at which the schedule begins
    fitted: FittedComponent | None
    tested_day: date
    hours_used: int | None  # hundredths counted against hour limits
    limits: tuple[LimitState, ...]
    span_last_day: date | None  # longer_of_machine_and_span: the last day of the span from fitting
    never: bool = False
    component_used: int | None = None  # hundredths since the component came onto the machine
    hours_tested: int | None = None  # machine hours (hundredths) on the tested day
    hours_begin: Literal["the start of term", "the fitting"] = "the start of term"  # what hours_used count from


def own_parts(fitted: FittedComponent) -> tuple[str, ...]:
    """Return the components that a fitting brought onto the machine: the kit's own parts, or the component itself."""
    return fitted.kit_parts or (fitted.component,)


def later_fitting(terms: CoveragePolicy, component: str | None, fitted: FittedComponent | None) -> LaterFitting | None:
    """Return the clause that gives a component fitted later its term, None where it keeps the machine's.

    Under ``kit_only`` that is the kit's own parts alone: the component a kit was added to keeps what it had.
    """
    if fitted is None or fitted.fitted_as == "factory":
        return None
    if fitted.fitted_as == "replacement":
        return terms.term.replacement
    clause = terms.term.retrofit_kit
    if clause is not None and clause.term == "kit_only" and component not in own_parts(fitted):
        return None
    return clause


def group_of(
    policy: CompiledPolicy, component: str | None, fitted: FittedComponent | None, side: Position
) -> tuple[str, CarveOut | None, str]:
    """Return the key, carve-out and clause path of the group a line belongs to.

    Lines share a group when they share a term and the services of one ``side`` of the machine.
    """
    key, told = MACHINE, side
    if fitted is not None and later_fitting(policy.terms, component, fitted) is not None:
        key, told = fitted.id, "none" if side == fitted.position else side
    key = key if told == "none" else f"{key}/{told}"
    for index, carve_out in enumerate(policy.terms.carve_outs):
        if component in carve_out.components:
            return f"{key}/carve_outs[{index}]", carve_out, f"carve_outs[{index}]"
    return key, None, "term"


@quickly_made
@dataclass(frozen=True, slots=True)
class _Clock:
    """What a group's term counts from: day and machine hours, and the beginning of its service schedules."""

    start: date
    words: str
    hours: int
    schedule_start: date
    schedule_hours: int
    span_last_day: date | None
    hours_begin: Literal["the start of term", "the fitting"] = "the start of term"


def build_group(
    number: int,
    policy: CompiledPolicy,
    group: tuple[str, CarveOut | None, str],
    fitted: FittedComponent | None,
    side: Position,
    claim_file: ClaimFile,
    hours: Hours,
    worn: Worn,
    world: World,
) -> Group:
    """Return the group with its term calculated for this world."""
    key, carve_out, path = group
    fitted_later = fitted if fitted is not None and key.split("/")[0] == fitted.id else None
    clock = _clock(policy, carve_out, fitted_later, claim_file, hours, world)
    tested = _tested_day(policy, clock, claim_file, world)
    used = _hours_on_test(policy, hours)
    hours_used = None if used is None else used - clock.hours
    component_used = used
    if used is not None and policy.counts_component_hours:
        came = fitted if fitted is None or fitted_later is not None or fitted.fitted_as == "factory" else None
        component_used = used - (_fitted_hours(came, hours) if came is not None else 0)
    ends = carve_out.ends if carve_out is not None else policy.terms.term.ends
    limits: list[LimitState] = []
    for i, limit in enumerate(ends.all if isinstance(ends, Limits) else ()):
        limit_path = f"{path}.ends[{i}]"
        state = limit_state(
            limit_path, limit, clock.start, tested, hours_used, component_used, worn, policy, claim_file, world
        )
        if state is not None:
            limits.append(state)
    return Group(
        number,
        key,
        path,
        side,
        clock.start,
        clock.words,
        clock.schedule_start,
        clock.schedule_hours,
        fitted,
        tested,
        hours_used,
        tuple(limits),
        clock.span_last_day,
        carve_out is not None and carve_out.never,
        component_used,
        used,
        clock.hours_begin,
    )


def _clock(
    policy: CompiledPolicy,
    carve_out: CarveOut | None,
    fitted: FittedComponent | None,
    claim_file: ClaimFile,
    hours: Hours,
    world: World,
) -> _Clock:
    """Return what the term counts from; ``fitted`` is None unless a later fitting gives the group its term."""
    term, conventions = policy.terms.term, policy.conventions
    starts = carve_out.starts if carve_out is not None and carve_out.starts is not None else term.starts
    later = None
    if fitted is not None and fitted.fitted_on is not None:
        later = term.retrofit_kit if fitted.fitted_as == "retrofit_kit" else term.replacement
    if later is None or fitted is None or fitted.fitted_on is None:
        start, words = start_of_term(policy, starts, claim_file, world)
        base = hours.at_start(start) if term.hours_count_from == "start_of_term" else 0
        return _Clock(start, words, base, start, 0, None)
    fitted_at = _fitted_hours(fitted, hours)
    if later.term in ("new_from_fitting", "kit_only"):
        start, words, base = fitted.fitted_on, f"fitting {fitted.id}", fitted_at
    else:
        start, words = start_of_term(policy, starts, claim_file, world)
        base = hours.at_start(start) if term.hours_count_from == "start_of_term" else 0
    span_last = None
    if later.span is not None:
        span_last = add_span(fitted.fitted_on, later.span, conventions.month_end)
        if later.span.months and conventions.last_covered_day == "day_before_anniversary":
            span_last -= timedelta(days=1)
    begin: Literal["the start of term", "the fitting"] = "the start of term"
    if later.term in ("new_from_fitting", "kit_only"):
        begin = "the fitting"
    if later.schedule == "from_fitting":
        return _Clock(start, words, base, fitted.fitted_on, fitted_at, span_last, begin)
    if later.term in ("new_from_fitting", "kit_only"):
        machine_start = start_of_term(policy, term.starts, claim_file, world)[0]
        return _Clock(start, words, base, machine_start, 0, span_last, begin)
    return _Clock(start, words, base, start, 0, span_last)


def limit_state(
    path: str,
    limit: Limit,
    start: date,
    tested: date,
    hours_used: int | None,
    component_used: int | None,
    worn: Worn,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    world: World,
) -> LimitState | None:
    """Return how a limit stands on the tested day; None where it cannot apply (no hour meter)."""
    if limit.months is not None or limit.days is not None:
        begins = start if limit.from_ is None else day_of_event(limit.from_, policy, claim_file, tested, world)
        last = last_day_of(limit, begins, policy.conventions)
        return LimitState(path, limit, (tested - last).days, last)
    if limit.wear is not None:
        share = worn.share()
        return LimitState(path, limit, (share - limit.wear).numerator, None, share)
    used = hours_used if limit.machine_hours is not None else component_used
    return None if used is None else LimitState(path, limit, used, None)


def only_hours_tell(limits: Limits, passed: Sequence[bool | None]) -> bool:
    """Return whether only hours that nobody measures could tell if a period is over: no other limit decides it."""
    told = [one for one in passed if one is not None]
    return len(told) < len(passed) and (not told if limits.first_of is not None else all(told))


def _tested_day(policy: CompiledPolicy, clock: _Clock, claim_file: ClaimFile, world: World) -> date:
    """Return the day that must lie inside the term; not on file, a day on each side of every limit's last one."""
    claim, tested_on = claim_file.claim, policy.terms.term.tested_on
    day: date | None = getattr(claim, tested_on)
    if day is not None:
        return day
    what = "reported" if tested_on == "reported_on" else "received at a service outlet"
    fact = OpenFact(f"date:{tested_on}", "start", "dealer", f"the day on which the failure was {what}")
    lasts = {clock.span_last_day} if clock.span_last_day is not None else set()
    for _, found in all_limits(policy.terms):
        for limit in found.all:
            begins = clock.start if limit.from_ is None else event_on(limit.from_, claim_file.machine)
            if begins is not None and (limit.months is not None or limit.days is not None):
                lasts.add(last_day_of(limit, begins, policy.conventions))
    latest = claim.submitted_on or claim_file.decided_on
    tests = [lambda d, last=last: d > last.toordinal() for last in sorted(lasts)]
    days = days_that_matter(claim.failed_on.toordinal(), latest.toordinal(), tests)
    return date.fromordinal(world.pick(fact, tuple(reversed(days))))


def _hours_on_test(policy: CompiledPolicy, hours: Hours) -> int | None:
    """Return the machine hours on the tested day: the repair's reading when the report, not the failure, counts."""
    if policy.terms.term.tested_on == "failed_on" or hours.at_failure is None:
        return hours.at_failure
    at_repair = hours.at_repair()
    return hours.at_failure if at_repair is None else max(hours.at_failure, at_repair)


def _fitted_hours(fitted: FittedComponent, hours: Hours) -> int:
    """Return the machine hours at a fitting; 0 for a component of the new machine, and without an hour meter.

    What its record states counts where no reading contradicts it.
    """
    found = hours.of_fitting(fitted.id) if fitted.fitted_on is not None else None
    if found is None:
        return 0 if fitted.fitted_at is None else centihours(fitted.fitted_at)
    return found


def _on_machine(machine: Machine, component: str | None, failed_on: date) -> list[FittedComponent]:
    if not machine.components:
        return []
    return [
        f
        for f in machine.components
        if component is not None
        and (f.component == component or component in f.kit_parts)
        and (f.fitted_on is None or f.fitted_on <= failed_on)
        and (f.removed_on is None or f.removed_on >= failed_on)
    ]


def failed_position(
    machine: Machine, component: str | None, failed_on: date, removed_serial: str | None, world: World
) -> Position:
    """Return the side that failed where none is typed: the one whose serial was removed, else an open fact.

    ``none`` where the machine has the component on one side, or its sides are not on file.
    """
    there = _on_machine(machine, component, failed_on)
    removed = {f.position for f in there if removed_serial is not None and f.serial == removed_serial}
    sides = sorted(removed or {f.position for f in there if f.position != "none"})
    if len(sides) < 2:
        return sides[0] if removed else "none"
    serial = f":{removed_serial}" if removed_serial is not None else ""
    words = f"which {str(component).replace('_', ' ')} failed: {' or '.join(sides)}"
    fact = OpenFact(f"position:{component}{serial}", "position", "dealer", words)
    return sides[world.pick(fact, tuple(range(len(sides))))]


def fitted_component(
    machine: Machine, component: str | None, position: str, failed_on: date, removed_serial: str | None = None
) -> FittedComponent | None:
    """Return the component that was on the machine when it failed.

    Where several fit (two sides, no position typed), the one whose serial was removed. A component fitted on the day of
    the failure is the one that replaced the failed one, where there was one before. A kit that was added to the
    component stands for it, with the component's own serial.
    """
    found = component_itself(machine, component, position, failed_on, removed_serial)
    added = [f for f in _on_side(machine, component, position, failed_on) if component not in own_parts(f)]
    if not added:
        return found
    kit = max(added, key=lambda f: _fits(f, failed_on, None))
    if found is not None and (found.fitted_on or date.min) > (kit.fitted_on or date.min):
        return found
    return kit.model_copy(update={"serial": None if found is None else found.serial})


def component_itself(
    machine: Machine, component: str | None, position: str, failed_on: date, removed_serial: str | None
) -> FittedComponent | None:
    """Return the component itself as it was on the machine when it failed, whatever kit was added to it."""
    there = [f for f in _on_side(machine, component, position, failed_on) if component in own_parts(f)]
    return max(there, key=lambda f: _fits(f, failed_on, removed_serial), default=None)


def _on_side(machine: Machine, component: str | None, position: str, failed_on: date) -> list[FittedComponent]:
    there = _on_machine(machine, component, failed_on)
    return [f for f in there if position in ("none", f.position) or f.position == "none"]


def _fits(fitted: FittedComponent, failed_on: date, removed_serial: str | None) -> tuple[bool, bool, date, str]:
    on = fitted.fitted_on or date.min
    return removed_serial is not None and fitted.serial == removed_serial, on < failed_on, on, fitted.id
