"""Which policies reach a machine and a line, and whether the period of a line is over."""

import re
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction

from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import FittedComponent
from schemas.policy.clause import DemoHours, Limit, Limits, StartAfter
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import CarveOut, LaterFitting, StartPoint, Starts
from tests.reference.dates import last_day, span_on
from tests.reference.duties import Asking
from tests.reference.machine_days import in_doubt, points_on_file, possible_days, possible_starts, whom
from tests.reference.meter import FAILURE
from tests.reference.unknown import Given

LAYERS = ("campaign", "contract", "emission", "drive", "retrofit", "part", "base")


@dataclass
class Term:
    """The period of a line: where it begins, what is tested, and the limits that are over, by number."""

    key: str
    path: str
    start: date
    tested: date
    hours: int | None
    component_hours: int | None
    schedule: tuple[date, int]
    begun_by: FittedComponent | None
    never: bool
    over: list[str] = field(default_factory=list)  # reason codes
    unmeasured: bool = False  # whether it is over, only hours could tell


def starts_on(starts: Starts, claim_file: ClaimFile, conventions: Conventions) -> date | None:
    """Return the earliest event on file, else the first fallback on file; None where neither is sure."""
    if in_doubt(claim_file.machine):
        days = possible_starts(starts, claim_file, conventions)
        return None if days is None or days[0] != days[1] else days[0]
    found = [d for p in starts.earliest_of if (d := _event(p, claim_file, conventions)) is not None]
    if found:
        return min(found)
    return next((d for p in starts.otherwise if (d := _event(p, claim_file, conventions)) is not None), None)


def _event(point: StartPoint, claim_file: ClaimFile, conventions: Conventions) -> date | None:
    machine = claim_file.machine
    if isinstance(point, DemoHours):
        return min((d.on for d in machine.demonstrations if d.hours >= point.demo_reaches), default=None)
    event = point.event if isinstance(point, StartAfter) else point
    on = machine.built_on if event == "built" else machine.events.get(event)
    if on is None or not isinstance(point, StartAfter):
        return on
    return span_on(on, point.plus, conventions)


def start_of(starts: Starts, claim_file: ClaimFile, conventions: Conventions, given: Given) -> date:
    """Return the start of term; with no event on file, any day from the building to the failure."""
    found = starts_on(starts, claim_file, conventions)
    if found is not None:
        return found
    names = []
    points = points_on_file(starts, claim_file, conventions) if in_doubt(claim_file.machine) else []
    for point in points or (*starts.earliest_of, *starts.otherwise):
        if isinstance(point, DemoHours):
            names.append(f"demo_{point.demo_reaches}")
        elif isinstance(point, StartAfter):
            names.append(f"{point.event}_{point.plus}".replace(" ", "_"))
        else:
            names.append(point)
    between, asks = possible_starts(starts, claim_file, conventions), whom(conventions)
    if between is None or not in_doubt(claim_file.machine):
        between, asks = (claim_file.machine.built_on, claim_file.claim.failed_on), "dealer"
    return date.fromordinal(
        given.ask(f"start:{'+'.join(sorted(names) if points else names)}", _every_day(between), asks)
    )


def _every_day(between: tuple[date, date]) -> tuple[int, ...]:
    low, high = between[0].toordinal(), between[1].toordinal()
    return tuple(range(low, high + 1)) if low < high else (high,)


def event_day(event: str, key: str, claim_file: ClaimFile, conventions: Conventions, given: Given) -> date:
    """Return the day of an event; one that is not on file or in doubt is any day that it may have been."""
    days = possible_days(event, claim_file)
    if days is not None and days[0] == days[1]:
        return days[0]
    asks = "dealer" if days is None else whom(conventions)
    between = days or (claim_file.machine.built_on, claim_file.claim.failed_on)
    return date.fromordinal(given.ask(key, _every_day(between), asks))


def claim_day(which: str, claim_file: ClaimFile, given: Given) -> date:
    """Return a day of the claim; one that is not on file lies between the days round it."""
    claim = claim_file.claim
    day: date | None = getattr(claim, which)
    if day is not None:
        return day
    order = ("failed_on", "repair_began_on", "repair_ended_on", "submitted_on")
    place = order.index(which) if which in order else 1
    before = [getattr(claim, n) for n in ("failed_on", *order[:place])]
    after = [getattr(claim, n) for n in (order[place + 1 :] if which in order else ("submitted_on",))]
    low = max(d for d in before if d is not None)
    high = min([claim_file.decided_on, *(d for d in after if d is not None)])
    rows = {r.from_ for t in claim_file.tables for r in t.rows if low < r.from_ <= high}
    return date.fromordinal(given.ask(f"date:{which}", [d.toordinal() for d in sorted({low, high, *rows})]))


def brought(fitted: FittedComponent) -> tuple[str, ...]:
    return fitted.kit_parts or (fitted.component,)


def later_clause(policy: CoveragePolicy, component: str | None, fitted: FittedComponent | None) -> LaterFitting | None:
    """Return the clause that gives a later fitted component a term; kit_only is for the kit's own parts alone."""
    if fitted is None or fitted.fitted_as == "factory":
        return None
    if fitted.fitted_as == "replacement":
        return policy.term.replacement
    kit = policy.term.retrofit_kit
    return None if kit is not None and kit.term == "kit_only" and component not in brought(fitted) else kit


def component_reached(policy: CoveragePolicy, component: str | None, fitted: FittedComponent | None) -> str:
    applies = policy.applies_to
    if component in applies.except_components:
        return "component_not_named"
    if applies.components != "whole_machine" and component not in applies.components:
        return "component_not_named"
    ways = {"factory"} if fitted is None else {fitted.fitted_as}
    if fitted is not None and fitted.fitted_as == "retrofit_kit" and component not in brought(fitted):
        ways = {"factory"}
        if later_clause(policy, component, fitted) is not None:
            ways.add("retrofit_kit")
    return "" if ways & set(applies.fitted) else "fitting_not_covered"


def sides_possible(claim_file: ClaimFile, component: str | None, removed: str | None) -> list[str]:
    """Return the sides that may have failed where none is typed: those that bear the removed serial, else all."""
    failed = claim_file.claim.failed_on
    found: set[str] = set()
    for f in claim_file.machine.components:
        here = (f.fitted_on or failed) <= failed <= (f.removed_on or failed)
        if component is not None and component in (f.component, *f.kit_parts) and here:
            if removed is not None and f.serial == removed:
                found.add(f"={f.position}")
            found.add(f.position)
    serials = sorted(side[1:] for side in found if side.startswith("="))
    return serials or sorted(found - {"none"}) or ["none"]


def fitted_on_machine(
    claim_file: ClaimFile, component: str | None, side: str, removed: str | None
) -> FittedComponent | None:
    """Return the component on file that failed; a kit added to it stands for it, with the component's own serial."""
    failed = claim_file.claim.failed_on
    there = [
        f
        for f in claim_file.machine.components
        if component is not None
        and (f.component == component or component in f.kit_parts)
        and (side == "none" or f.position in ("none", side))
        and (f.fitted_on is None or f.fitted_on <= failed)
        and (f.removed_on is None or f.removed_on >= failed)
    ]

    def rank(f: FittedComponent, serial: str | None) -> tuple[bool, bool, date, str]:
        on = f.fitted_on or date.min
        return serial is not None and f.serial == serial, on < failed, on, f.id

    own = sorted((f for f in there if component in brought(f)), key=lambda f: rank(f, removed))
    kits = sorted((f for f in there if component not in brought(f)), key=lambda f: rank(f, None))
    if not kits:
        return own[-1] if own else None
    if own and (own[-1].fitted_on or date.min) > (kits[-1].fitted_on or date.min):
        return own[-1]
    return kits[-1].model_copy(update={"serial": own[-1].serial if own else None})


def worn(line: ClaimLine, policy: CoveragePolicy) -> Fraction | None:
    """Return the worn share of the usable measure, None where it was not measured or cannot be so."""
    floor = policy.prorating.wear_floor if policy.prorating is not None else None
    if line.wear is None or floor is None:
        return None
    usable, gone = line.wear.new - floor, line.wear.new - line.wear.left
    if usable <= 0 or gone < 0:
        return None
    return min(Fraction(gone) / Fraction(usable), Fraction(1))


def term_of(asking: Asking, line: ClaimLine, component: str | None, fitted: FittedComponent | None, side: str) -> Term:
    """Return the term of a line: the policy's, that of a carve-out, or that of a later fitting."""
    policy, conventions, claim_file = asking.policy, asking.conventions, asking.claim_file
    later = later_clause(policy, component, fitted)
    key = f"{fitted.id}/{side}" if later is not None and fitted is not None else f"machine/{side}"
    carve: CarveOut | None = None
    path = "term"
    for number, each in enumerate(policy.carve_outs):
        if component in each.components and carve is None:
            carve, path = each, f"carve_outs[{number}]"
            key += f"/{path}"
    starts = carve.starts if carve is not None and carve.starts is not None else policy.term.starts
    start, from_hours, schedule, span_end = _clock(asking, starts, later, fitted)
    tested = _tested(asking, start, span_end)
    used = _hours_tested(asking)
    component_used = used
    if used is not None and fitted is not None and _asks_component_hours(policy):
        own_clock = later is not None or fitted.fitted_as == "factory"
        component_used = used - (_fitted_at(asking, fitted) if own_clock else 0)
    hours = None if used is None else used - from_hours
    # The services follow the machine's clock, unless a later fitting began a schedule of its own.
    machine_start = starts_on(policy.term.starts, claim_file, conventions) or start
    term = Term(
        key, path, start, tested, hours, component_used, schedule or (machine_start, 0),
        fitted if schedule is not None else None, carve is not None and carve.never,
    )  # fmt: skip
    ends = carve.ends if carve is not None else policy.term.ends
    spared = span_end is not None and tested <= span_end
    if isinstance(ends, Limits) and not spared:
        term.over = _codes_over(asking, ends, term, worn(line, policy))
        term.unmeasured = untold(ends, [is_over(asking, x, term, worn(line, policy), tested) for x in ends.all])
    return term


def _clock(
    asking: Asking, starts: Starts, later: LaterFitting | None, fitted: FittedComponent | None
) -> tuple[date, int, tuple[date, int] | None, date | None]:
    """Return start, hours not counted, the schedule a fitting began (else None), and the last day of its span."""
    claim_file, conventions = asking.claim_file, asking.conventions
    if later is None or fitted is None or fitted.fitted_on is None:
        start = start_of(starts, claim_file, conventions, asking.given)
        return start, _hours_before(asking, start), None, None
    at = _fitted_at(asking, fitted)
    if later.term in ("new_from_fitting", "kit_only"):
        start, before = fitted.fitted_on, at
    else:
        start = start_of(starts, claim_file, conventions, asking.given)
        before = _hours_before(asking, start)
    end = None
    if later.span is not None:
        end = span_on(fitted.fitted_on, later.span, conventions)
        if later.span.months and conventions.last_covered_day == "day_before_anniversary":
            end -= timedelta(days=1)
    return start, before, ((fitted.fitted_on, at) if later.schedule == "from_fitting" else None), end


def _hours_before(asking: Asking, start: date) -> int:
    """Return the machine hours at the start of term, where they do not count."""
    if asking.policy.term.hours_count_from == "zero":
        return 0
    asking.hours(FAILURE)  # asked first, so that the hours tried for the start can lie on each side of every cap
    return asking.hours(f"start_hours:{start.isoformat()}") or 0


def _fitted_at(asking: Asking, fitted: FittedComponent) -> int:
    if fitted.id in asking.history.fittings_to_ask():
        return asking.hours(f"fitting:{fitted.id}") or 0
    return 0 if fitted.fitted_at is None else int(fitted.fitted_at * 100)


def _hours_tested(asking: Asking) -> int | None:
    at_failure = asking.hours(FAILURE)
    if asking.policy.term.tested_on == "failed_on" or at_failure is None:
        return at_failure
    seen = [s for s in asking.history.seen if s.record == "repair"]
    return max(at_failure, seen[0].hours) if seen else at_failure


def _asks_component_hours(policy: CoveragePolicy) -> bool:
    limits = [limit for found in every_limits(policy) for limit in found.all]
    if policy.pays.either_or is not None:
        limits.append(policy.pays.either_or.after)
    axes = policy.prorating.axes if policy.prorating is not None else ()
    return any(axis.by == "component_hours" for axis in axes) or any(x.component_hours is not None for x in limits)


def every_limits(policy: CoveragePolicy) -> list[Limits]:
    rules = [
        getattr(policy.pays, i)
        for i in ("parts", "labour", "travel", "freight", "sublet", "diagnosis", "fluids", "supplies")
    ]
    found = [policy.term.ends, *(c.ends for c in policy.carve_outs), *(getattr(r, "until", None) for r in rules)]
    found.append(policy.prorating.free_while if policy.prorating is not None else None)
    return [limits for limits in found if isinstance(limits, Limits)]


def _tested(asking: Asking, start: date, span_end: date | None) -> date:
    claim, which = asking.claim_file.claim, asking.policy.term.tested_on
    day: date | None = getattr(claim, which)
    if day is not None:
        return day
    latest = claim.submitted_on or asking.claim_file.decided_on
    del start, span_end
    days = range(claim.failed_on.toordinal(), latest.toordinal() + 1) or [latest.toordinal()]
    return date.fromordinal(asking.given.ask(f"date:{which}", tuple(reversed(days))))


def unmeasured(asking: Asking) -> Fraction:
    """Return a worn share that nobody measured: a hair before, at, or a hair after every number of the terms."""
    hair = Fraction(1, 10**9)
    numbers = {Fraction(0), Fraction(1)}
    for text in re.findall(r"\d+(?:[./]\d+)?", asking.policy.model_dump_json()):
        number = Fraction(0) if text.endswith("/0") else Fraction(text)
        numbers |= {n for n in (number - hair, number, number + hair) if 0 <= n <= 1}
    doubtful = any(x.wear is not None and worn(x, asking.policy) is None for x in asking.claim_file.claim.lines)
    asks = "person" if doubtful and asking.conventions.facts.contradicts_itself == "refer" else "dealer"
    return sorted(numbers)[asking.given.ask(f"wear:{asking.policy.policy}", tuple(range(len(numbers))), asks)]


def is_over(asking: Asking, limit: Limit, term: Term, wear: Fraction | None, day: date) -> bool | None:
    """Return whether a limit is over on ``day``; None where it cannot apply."""
    if limit.months is not None or limit.days is not None:
        begins = term.start
        if limit.from_ is not None:
            key = f"event:{limit.from_}:{asking.policy.ref}"
            begins = event_day(limit.from_, key, asking.claim_file, asking.conventions, asking.given)
        return day > last_day(limit, begins, asking.conventions)
    if limit.wear is not None:
        return (unmeasured(asking) if wear is None else wear) > limit.wear
    hours = term.hours if limit.machine_hours is not None else term.component_hours
    cap = limit.machine_hours if limit.machine_hours is not None else limit.component_hours
    assert cap is not None
    if hours is None:
        return None
    return hours > cap * 100 if asking.conventions.hours_at_cap == "covered" else hours >= cap * 100


def period_over(asking: Asking, limits: Limits, term: Term, wear: Fraction | None) -> bool:
    """Return whether a shorter period inside the term is over: at the first of its limits, or at the last."""
    found = [is_over(asking, limit, term, wear, term.tested) for limit in limits.all]
    return any(found) if limits.first_of is not None else all(found)


def untold(limits: Limits, over: list[bool | None]) -> bool:
    """Return whether only hours that nobody measures could tell if a period is over."""
    told = [passed for passed in over if passed is not None]
    return len(told) < len(over) and (not told if limits.first_of is not None else all(told))


def _codes_over(asking: Asking, ends: Limits, term: Term, wear: Fraction | None) -> list[str]:
    over = [(limit, is_over(asking, limit, term, wear, term.tested)) for limit in ends.all]
    if ends.last_of is not None:
        return ["every_limit_passed"] if all(passed is True for _, passed in over) else []
    codes = []
    for limit, passed in over:
        if passed:
            if limit.wear is not None:
                codes.append("worn_out")
            elif limit.machine_hours is not None or limit.component_hours is not None:
                codes.append("hour_limit_passed")
            else:
                codes.append("outer_limit_passed" if limit.from_ is not None else "term_elapsed")
    return codes
