"""Machine hours made concrete: at the failure, at each record, fitting and start of term, one value in each world."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from rules.history.at_start import hours_at_start, start_hours_key
from rules.history.timeline import Timeline, fitting_key
from rules.measures.breakpoints import FAILURE, REPAIR, Breakpoints
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours at the failure, at each record and fitting (hundredths; None without an hour meter), in one world."""

    timeline: Timeline
    at_failure: int | None
    breaks: "Breakpoints | None"  # None: every reading is certain
    world: World
    policies: tuple[CompiledPolicy, ...]
    claim_file: ClaimFile

    def of_record(self, record: str) -> int | None:
        """Return the machine hours of a service record, an open one at a value that matters."""
        bounds = self.timeline.of_records.get(record)
        if bounds is None or self.breaks is None:
            return None if bounds is None else bounds.low
        return self.breaks.value_of(record, bounds, self.world)

    def of_fitting(self, component_record: str) -> int | None:
        """Return the machine hours at a fitting, open ones in this world; None: as its record says, or no meter."""
        return self.of_record(fitting_key(component_record))

    def at_start(self, day: date) -> int:
        """Return the machine hours at a term that starts on ``day``, open ones at a value that matters; 0 unmetered."""
        if self.at_failure is None:
            return 0
        timeline, claim_file = self.timeline, self.claim_file
        key = (start_hours_key(day), id(timeline))
        bounds = self.world.once(key, lambda: hours_at_start(timeline, claim_file, day))
        if bounds.certain:
            return bounds.low
        breaks = self.breaks or _breakpoints_of(timeline, self.policies, claim_file, self.world)
        return breaks.value_of(start_hours_key(day), bounds, self.world)

    def at_repair(self) -> int | None:
        """Return the machine hours that the repair's reading shows, None where it shows none."""
        bounds = self.timeline.at_repair
        if bounds is None or self.breaks is None:
            return None if bounds is None else bounds.low
        return self.breaks.value_of(REPAIR, bounds, self.world)


def resolve_hours(timeline: Timeline, policies: Iterable[CompiledPolicy], claim_file: ClaimFile, world: World) -> Hours:
    """Return the hours of this world; with every reading certain nothing is looked for."""
    failure, governing = timeline.at_failure, tuple(policies)
    if failure is None:
        return Hours(timeline, None, None, world, governing, claim_file)
    if all(b.certain for b in (failure, timeline.at_repair or failure, *timeline.of_records.values())):
        return Hours(timeline, failure.low, None, world, governing, claim_file)
    breaks = _breakpoints_of(timeline, governing, claim_file, world)
    return Hours(timeline, breaks.value_of(FAILURE, failure, world), breaks, world, governing, claim_file)


def _breakpoints_of(
    timeline: Timeline, policies: tuple[CompiledPolicy, ...], claim_file: ClaimFile, world: World
) -> "Breakpoints":
    key = ("breakpoints", id(timeline), tuple([policy.digest for policy in policies]), world.outline)
    return world.once(key, lambda: Breakpoints(timeline, policies, claim_file, () if world.outline else policies))
