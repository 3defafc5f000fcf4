"""Machine hours made concrete: one value a world, taken at the points where some policy would change its answer."""

from collections.abc import Iterable
from dataclasses import dataclass

from rules.history.timeline import HoursBounds, Timeline
from rules.measures.schedule import Schedule
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.quantities import centihours

MOST_POINTS = 60


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours at the failure and of each record (hundredths; None without an hour meter), in one world."""

    timeline: Timeline
    at_failure: int | None
    thresholds: tuple[int, ...]
    offset: int
    world: World

    def of_record(self, record: str) -> int | None:
        """Return the machine hours of a service record, an open one at a value that matters."""
        bounds = self.timeline.of_records.get(record)
        if bounds is None:
            return None
        if bounds.fact is None:
            return bounds.low
        if self.timeline.offset is not None and bounds.fact is self.timeline.offset.fact:
            return bounds.low + self.offset
        return self.world.pick(bounds.fact, candidates(bounds, self.thresholds))


def resolve_hours(timeline: Timeline, policies: Iterable[CompiledPolicy], claim_file: ClaimFile, world: World) -> Hours:
    """Return the hours of this world; with every reading certain nothing is looked for."""
    failure = timeline.at_failure
    if failure is None:
        return Hours(timeline, None, (), 0, world)
    uncertain = failure.fact is not None or any(b.fact is not None for b in timeline.of_records.values())
    if not uncertain:
        return Hours(timeline, failure.low, (), 0, world)
    thresholds = _thresholds(timeline, policies, claim_file)
    if timeline.offset is not None and timeline.offset.fact is not None:
        span = timeline.offset.high - timeline.offset.low
        shifted = sorted({t - failure.low for t in thresholds})
        offset = world.pick(timeline.offset.fact, candidates(HoursBounds(0, span, ()), shifted))
        if failure.fact is timeline.offset.fact or failure.fact is None:
            return Hours(timeline, failure.low + offset, thresholds, offset, world)
        at_failure = world.pick(failure.fact, candidates(failure, thresholds))
        return Hours(timeline, at_failure, thresholds, offset, world)
    at_failure = failure.low if failure.fact is None else world.pick(failure.fact, candidates(failure, thresholds))
    return Hours(timeline, at_failure, thresholds, 0, world)


def candidates(bounds: HoursBounds, thresholds: Iterable[int]) -> tuple[int, ...]:
    """Return the values worth trying: both ends, and each side of every threshold between them; lowest first."""
    values = {bounds.low, bounds.high}
    for threshold in thresholds:
        values.update(v for v in (threshold - 1, threshold, threshold + 1) if bounds.low < v < bounds.high)
    return tuple(sorted(values))


def _thresholds(timeline: Timeline, policies: Iterable[CompiledPolicy], claim_file: ClaimFile) -> tuple[int, ...]:
    failure = timeline.at_failure
    assert failure is not None
    machine = claim_file.machine
    begins = {0} | {centihours(f.fitted_at) for f in machine.components if f.fitted_at is not None}
    begins |= {centihours(d.hours) for d in machine.demonstrations}
    known = sorted({b.low for b in timeline.of_records.values() if b.fact is None})
    found: set[int] = set()
    for policy in policies:
        found.update(t + begin for t in policy.hour_thresholds for begin in begins)
        for duty in policy.terms.services.values():
            for begin in begins:
                schedule = Schedule(duty, policy.conventions, machine.built_on, begin)
                found.update(_window_bounds(schedule, failure.high, known))
    return tuple(sorted(t for t in found if t <= failure.high + 1))


def _window_bounds(schedule: Schedule, up_to: int, visits: list[int]) -> set[int]:
    """Return where windows open and close on the grid and counted from each known visit, in machine hours."""
    bounds: set[int] = set()
    first = schedule.first()
    begins = [first.hours] + [v - schedule.start_hours for v in visits if v > schedule.start_hours]
    for index, hours in enumerate(begins):
        point = first if index == 0 else schedule.next_from(first, hours, None)
        for _ in range(MOST_POINTS):
            if point is None or point.hours is None or point.low_hours is None or point.high_hours is None:
                break
            bounds.update((point.low_hours + schedule.start_hours, point.high_hours + schedule.start_hours))
            if point.low_hours + schedule.start_hours > up_to:
                break
            point = schedule.next_on_grid(point)
    return bounds
