"""Groups of lines that share one term: the machine's own, a carve-out's, or a later fitted component's."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from rules.calendar import add_months, add_span, last_covered_day
from rules.history.timeline import REPAIR_READING, Timeline
from rules.open_facts import OpenFact, World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim import Claim, ClaimLine
from schemas.claim_file import ClaimFile
from schemas.machine import FittedComponent, Machine
from schemas.policy.clause import DemoHours, Limit, Limits, StartAfter
from schemas.policy.term import CarveOut, LaterFitting, StartPoint, Starts
from schemas.quantities import centihours


@dataclass(frozen=True, slots=True)
class LimitState:
    """How one limit stands: ``value`` is what a rule tests (days past, hundredths used, worn share past)."""

    path: str  # term.ends[0]
    limit: Limit
    value: int
    last_day: date | None  # of a calendar limit


@dataclass(frozen=True, slots=True)
class Group:
    """One term: its beginning, the tested day and hours, and how each limit stands."""

    number: int
    key: str  # machine, carve_outs[0], or the fitted component's record
    path: str  # clause path of the term or carve-out
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


def earliest_start(starts: Starts, claim_file: ClaimFile, month_end: str) -> tuple[date, str] | None:
    """Return the start of term and the event it came from, None when no event is on file."""
    known = [found for point in starts.earliest_of if (found := _point_on(point, claim_file.machine, month_end))]
    if known:
        return min(known)
    fallback = (found for point in starts.otherwise if (found := _point_on(point, claim_file.machine, month_end)))
    return next(fallback, None)


def _point_on(point: StartPoint, machine: Machine, month_end: str) -> tuple[date, str] | None:
    if isinstance(point, DemoHours):
        reached = [d.on for d in machine.demonstrations if d.hours >= point.demo_reaches]
        return (min(reached), f"{point.demo_reaches} h of demonstrations") if reached else None
    event, span = (point.event, point.plus) if isinstance(point, StartAfter) else (point, None)
    on = machine.built_on if event == "built" else machine.events.get(event)
    if on is None:
        return None
    name = event.replace("_", " ")
    return (on, name) if span is None else (add_span(on, span, month_end), f"{name} and {span}")


def start_of_term(policy: CompiledPolicy, starts: Starts, claim_file: ClaimFile, world: World) -> tuple[date, str]:
    """Return the start of term; with no event on file the latest or earliest day it can have been, as an open fact."""
    found = earliest_start(starts, claim_file, policy.conventions.month_end)
    if found is not None:
        return found
    fact = OpenFact("start:term", "start", "dealer", "the day on which the machine was delivered or first used")
    latest, earliest = claim_file.claim.failed_on.toordinal(), claim_file.machine.built_on.toordinal()
    candidates = (latest, earliest) if latest > earliest else (latest,)
    return date.fromordinal(world.pick(fact, candidates)), "start not on file"


def group_of(
    policy: CompiledPolicy, line: ClaimLine, component: str | None, fitted: FittedComponent | None
) -> tuple[str, CarveOut | None, str]:
    """Return the key, carve-out and clause path of the group a line belongs to."""
    key = "machine"
    if fitted is not None and fitted.fitted_as != "factory":
        key = fitted.id
    del line
    for index, carve_out in enumerate(policy.terms.carve_outs):
        if component in carve_out.components:
            return f"{key}/carve_outs[{index}]", carve_out, f"carve_outs[{index}]"
    return key, None, "term"


def build_group(
    number: int,
    policy: CompiledPolicy,
    group: tuple[str, CarveOut | None, str],
    fitted: FittedComponent | None,
    claim_file: ClaimFile,
    timeline: Timeline,
    hours: int | None,
    wear: Fraction | None,
    world: World,
) -> Group:
    """Return the group with its term calculated for this world (``hours``: machine hours at the failure)."""
    key, carve_out, path = group
    term, conventions = policy.terms.term, policy.conventions
    starts = carve_out.starts if carve_out is not None and carve_out.starts is not None else term.starts
    start, words = start_of_term(policy, starts, claim_file, world)
    later: LaterFitting | None = None
    if fitted is not None and fitted.fitted_as != "factory":
        later = term.retrofit_kit if fitted.fitted_as == "retrofit_kit" else term.replacement
    tested = _tested_day(policy, claim_file.claim, world)
    used = _hours_on_test(policy, claim_file, hours)
    base_hours = _demo_hours(claim_file.machine, start) if term.hours_count_from == "start_of_term" else 0
    schedule_start, schedule_hours, span_last = start, 0, None
    if later is not None and fitted is not None and fitted.fitted_on is not None:
        fitted_at = _fitted_hours(fitted, timeline)
        if later.term in ("new_from_fitting", "kit_only"):
            start, words, base_hours = fitted.fitted_on, f"fitting {fitted.id}", fitted_at
        if later.span is not None:
            span_last = add_span(fitted.fitted_on, later.span, conventions.month_end)
            if later.span.months and conventions.last_covered_day == "day_before_anniversary":
                span_last -= timedelta(days=1)
        if later.schedule == "from_fitting":
            schedule_start, schedule_hours = fitted.fitted_on, fitted_at
    ends = carve_out.ends if carve_out is not None else term.ends
    limits: tuple[LimitState, ...] = ()
    hours_used = None if used is None else used - base_hours
    if isinstance(ends, Limits):
        component_used = None if used is None else used - (_fitted_hours(fitted, timeline) if fitted is not None else 0)
        limits = tuple(
            state
            for i, limit in enumerate(ends.all)
            if (
                state := limit_state(
                    f"{path}.ends[{i}]",
                    limit,
                    start,
                    tested,
                    hours_used,
                    component_used,
                    wear,
                    policy,
                    claim_file,
                    world,
                )
            )
        )
    return Group(
        number,
        key,
        path,
        start,
        words,
        schedule_start,
        schedule_hours,
        fitted,
        tested,
        hours_used,
        limits,
        span_last,
        carve_out is not None and carve_out.never,
    )


def limit_state(
    path: str,
    limit: Limit,
    start: date,
    tested: date,
    hours_used: int | None,
    component_used: int | None,
    wear: Fraction | None,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    world: World,
) -> LimitState | None:
    """Return how a limit stands on the tested day; None where it cannot apply (no hour meter, no wear measured)."""
    conventions = policy.conventions
    if limit.months is not None or limit.days is not None:
        begins = start
        if limit.from_ is not None:
            found = _point_on(limit.from_, claim_file.machine, conventions.month_end)
            if found is None:
                return None
            begins = found[0]
        if limit.months is not None:
            last = last_covered_day(begins, limit.months, conventions.month_end, conventions.last_covered_day)
        else:
            assert limit.days is not None
            last = begins + timedelta(days=limit.days)
        return LimitState(path, limit, (tested - last).days, last)
    if limit.wear is not None:
        if wear is None:
            fact = OpenFact("wear", "wear", "dealer", "the wear measured on the failed part (new and left)")
            wear = Fraction(world.pick(fact, (0, 1)))
        past = wear - limit.wear
        return LimitState(path, limit, past.numerator, None)
    used = hours_used if limit.machine_hours is not None else component_used
    return None if used is None else LimitState(path, limit, used, None)


def _tested_day(policy: CompiledPolicy, claim: Claim, world: World) -> date:
    tested_on = policy.terms.term.tested_on
    day: date | None = getattr(claim, tested_on)
    if day is not None:
        return day
    what = "reported" if tested_on == "reported_on" else "received at a service outlet"
    fact = OpenFact(f"date:{tested_on}", "start", "dealer", f"the day on which the failure was {what}")
    latest = (claim.submitted_on or claim.failed_on).toordinal()
    return date.fromordinal(world.pick(fact, tuple(sorted({claim.failed_on.toordinal(), latest}))))


def _hours_on_test(policy: CompiledPolicy, claim_file: ClaimFile, hours: int | None) -> int | None:
    """Return the machine hours on the tested day: the repair's reading when the report, not the failure, counts."""
    claim = claim_file.claim
    if policy.terms.term.tested_on == "failed_on" or claim.repair_reading is None or hours is None:
        return hours
    return max(hours, centihours(claim.repair_reading))


def _demo_hours(machine: Machine, start: date) -> int:
    before = [d.hours for d in machine.demonstrations if d.on <= start]
    return centihours(max(before)) if before else 0


def _fitted_hours(fitted: FittedComponent | None, timeline: Timeline) -> int:
    if fitted is None or fitted.fitted_on is None:
        return 0
    if fitted.fitted_at is not None:
        return centihours(fitted.fitted_at)
    before = [s.hours for s in timeline.sightings if s.day <= fitted.fitted_on]
    return before[-1] if before else 0


def fitted_component(machine: Machine, component: str | None, position: str, failed_on: date) -> FittedComponent | None:
    """Return the component that was on the machine on the day of the failure."""
    there = [
        f
        for f in machine.components
        if f.component == component
        and (position in ("none", f.position) or f.position == "none")
        and (f.fitted_on is None or f.fitted_on <= failed_on)
        and (f.removed_on is None or f.removed_on >= failed_on)
    ]
    return max(there, key=lambda f: (f.fitted_on or date.min, f.id)) if there else None


def months_after(start: date, months: int, policy: CompiledPolicy) -> date:
    return add_months(start, months, policy.conventions.month_end)


def record_words(records: Sequence[str]) -> tuple[str, ...]:
    """Return record ids as a reader sees them; the claim's own readings are named so."""
    return tuple("the claim" if r.startswith("claim:") or r == REPAIR_READING else r for r in records)
