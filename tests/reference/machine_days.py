"""Days of a machine that lie before it was built, worked again: when each may have been instead."""

from datetime import date

from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import DemoEntry, FittedComponent, Machine
from schemas.policy.clause import DemoHours, StartAfter
from schemas.policy.term import StartPoint, Starts
from tests.reference.dates import span_on
from tests.reference.unknown import Given

Days = tuple[date, date]


def odd_demonstrations(machine: Machine) -> list[DemoEntry]:
    """Return the demonstrations before the building, and those above what the same meter showed later."""
    odd = []
    for demo in machine.demonstrations:
        later = [(r.on, r.hours) for r in (*machine.readings, *machine.demonstrations) if r.on > demo.on]
        fell = [on for on, hours in later if hours < demo.hours]
        if demo.on < machine.built_on or any(not _changed(machine, demo.on, on) for on in fell):
            odd.append(demo)
    return odd


def _changed(machine: Machine, since: date, until: date) -> bool:
    return any(since <= change.on <= until for change in machine.meter_changes)


def in_doubt(machine: Machine) -> bool:
    return any(on < machine.built_on for on in machine.events.values()) or bool(odd_demonstrations(machine))


def possible_days(event: str, claim_file: ClaimFile) -> Days | None:
    """Return the first and last day that an event may have been, None where it is not on file."""
    machine = claim_file.machine
    if event == "built":
        return min([machine.built_on, *machine.events.values()]), machine.built_on
    on = machine.events.get(event)  # type: ignore[call-overload]
    if on is None or on >= machine.built_on:
        return None if on is None else (on, on)
    return on, max(on, claim_file.claim.failed_on)


def possible_starts(starts: Starts, claim_file: ClaimFile, conventions: Conventions) -> Days | None:
    """Return the first and last day on which a term may have begun, None where no event is on file."""
    every = [_of(point, claim_file, conventions) for point in starts.earliest_of]
    found = [days for days in every if days is not None]
    if found:
        return min(days[0] for days in found), min(days[1] for days in found)
    others = [_of(point, claim_file, conventions) for point in starts.otherwise]
    return next((days for days in others if days is not None), None)


def points_on_file(starts: Starts, claim_file: ClaimFile, conventions: Conventions) -> list[StartPoint]:
    """Return the points that a term begins with, of those on file: two clauses that share them begin on one day."""
    found = [point for point in starts.earliest_of if _of(point, claim_file, conventions) is not None]
    return found or [point for point in starts.otherwise if _of(point, claim_file, conventions) is not None][:1]


def _of(point: StartPoint, claim_file: ClaimFile, conventions: Conventions) -> Days | None:
    if isinstance(point, DemoHours):
        machine = claim_file.machine
        reached = sorted(d.on for d in machine.demonstrations if d.hours >= point.demo_reaches)
        odd = odd_demonstrations(machine)
        sure = [d.on for d in machine.demonstrations if d.hours >= point.demo_reaches and d not in odd]
        latest = max([claim_file.claim.failed_on, *reached])
        return (reached[0], min(sure, default=latest)) if reached else None
    if isinstance(point, StartAfter):
        days = possible_days(point.event, claim_file)
        return (
            None
            if days is None
            else (span_on(days[0], point.plus, conventions), span_on(days[1], point.plus, conventions))
        )
    return possible_days(point, claim_file)


def whom(conventions: Conventions) -> str:
    return "person" if conventions.facts.contradicts_other_record == "refer" else "dealer"


def day_fitted(fitted: FittedComponent | None, claim_file: ClaimFile, given: Given) -> FittedComponent | None:
    """Return a later fitting with its day; before the machine was built it was not fitted."""
    built, failed = claim_file.machine.built_on, claim_file.claim.failed_on
    if fitted is None or fitted.fitted_on is None or fitted.fitted_as == "factory" or fitted.fitted_on >= built:
        return fitted
    days = [day.toordinal() for day in (fitted.fitted_on, built, failed) if day <= failed]
    on = date.fromordinal(given.ask(f"fitted on:{fitted.id}", days, "person"))
    return fitted.model_copy(update={"fitted_on": on})
