"""Machine hours made concrete: one value a world, on each side of every point where some policy changes its answer.

An open quantity (the hours at the failure, at a record or a fitting, or hours no meter showed) meets fixed numbers and
other quantities: caps counted from 0, from a fitting or from the start of term; service windows on the grid, counted
from any visit, or from a fitting. Where the other quantity is open too, its bounds stand for it, so that every pattern
that two open quantities can form has a world of its own.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache

from rules.history.timeline import HoursBounds, Timeline, fitting_key
from rules.measures.schedule import Schedule
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.quantities import centihours

FAILURE = "failure"


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours at the failure, at each record and fitting (hundredths; None without an hour meter), in one world."""

    timeline: Timeline
    at_failure: int | None
    breaks: "Breakpoints | None"  # None: every reading is certain
    world: World

    def of_record(self, record: str) -> int | None:
        """Return the machine hours of a service record, an open one at a value that matters."""
        bounds = self.timeline.of_records.get(record)
        if bounds is None:
            return None
        if self.breaks is None:
            return bounds.low
        return self.breaks.value_of(record, bounds, self.world)

    def of_fitting(self, component_record: str) -> int | None:
        """Return the machine hours at a fitting that nobody noted; None where they are on file or there is no meter."""
        return self.of_record(fitting_key(component_record))

    def at_repair(self) -> int | None:
        """Return the machine hours that the repair's reading shows, None where it shows none."""
        bounds = self.timeline.at_repair
        if bounds is None or self.breaks is None:
            return None if bounds is None else bounds.low
        return self.breaks.value_of("repair", bounds, self.world)


def resolve_hours(timeline: Timeline, policies: Iterable[CompiledPolicy], claim_file: ClaimFile, world: World) -> Hours:
    """Return the hours of this world; with every reading certain nothing is looked for."""
    failure = timeline.at_failure
    if failure is None:
        return Hours(timeline, None, None, world)
    if failure.certain and all(b.certain for b in timeline.of_records.values()):
        return Hours(timeline, failure.low, None, world)
    breaks = Breakpoints(timeline, tuple(policies), claim_file)
    return Hours(timeline, breaks.value_of(FAILURE, failure, world), breaks, world)


def candidates(low: int, high: int, breakpoints: Iterable[int], *, both_ends: bool = True) -> tuple[int, ...]:
    """Return the values worth trying: from each breakpoint on, the first value and (``both_ends``) the last one."""
    firsts = sorted({low, *(b for b in breakpoints if low < b <= high)})
    if not both_ends:
        return tuple(firsts)
    return tuple(sorted({*firsts, *(first - 1 for first in firsts[1:]), high}))


class Breakpoints:
    """Where the policies of one claim change their answer; a breakpoint is the first value beyond."""

    def __init__(self, timeline: Timeline, policies: tuple[CompiledPolicy, ...], claim_file: ClaimFile) -> None:
        self.timeline = timeline
        self.policies = policies
        machine = claim_file.machine
        self.prorated = any(
            axis.by in ("machine_hours", "component_hours")
            for policy in policies
            if policy.terms.prorating is not None
            for axis in policy.terms.prorating.axes
        )
        self.known_begins = {0} | {centihours(f.fitted_at) for f in machine.components if f.fitted_at is not None}
        self.at_start = {centihours(d.hours) for d in machine.demonstrations}
        self.at_start |= {centihours(r.hours) for r in machine.readings}
        self.fittings = [key for key in timeline.of_records if key.startswith(fitting_key(""))]
        self.days: dict[str, date] = {s.record: s.on for s in claim_file.services}
        self.days |= {fitting_key(f.id): f.fitted_on for f in machine.components if f.fitted_on is not None}
        self.days[FAILURE] = claim_file.claim.failed_on
        # The visits that can answer each duty, in the order of their days.
        visits = sorted(claim_file.services, key=lambda s: (s.on, s.record))
        self.duties = [
            (
                _Duty(policy.digest, name, 0, Schedule(duty, policy.conventions, machine.built_on, 0)),
                [v.record for v in visits if v.record in timeline.of_records and set(duty.tasks) <= set(v.tasks)],
            )
            for policy in policies
            for name, duty in policy.terms.services.items()
        ]

    def value_of(self, key: str, bounds: HoursBounds, world: World) -> int:
        """Return the value of a quantity in this world, picked where it is open."""
        shifts = [self._shift(i, world) for i in range(max(bounds.low_shifts, bounds.high_shifts))]
        low = bounds.low + sum(shifts[: bounds.low_shifts])
        most = sum(s.most for s in self.timeline.shifts[: bounds.high_shifts])
        high = bounds.high - most + sum(shifts[: bounds.high_shifts])
        if bounds.fact is None:
            return low
        low, high = self._narrowed(key, low, max(high, low), world)
        if bounds.fact.key in world.values or bounds.fact.key in world.assumed:
            return world.pick(bounds.fact, ())
        # One value stands for all up to the next breakpoint, unless a share falls in between, or another open quantity
        # is still to be taken, which the two ends of the stretch may leave different room.
        both_ends = (key == FAILURE and self.prorated) or self._others_open(key, world)
        breaks = self._breakpoints(key, low, high, world)
        return world.pick(bounds.fact, candidates(low, high, breaks, both_ends=both_ends))

    def _others_open(self, key: str, world: World) -> bool:
        return any(other != key and self._taken(b, world) is None for other, b in self._quantities())

    def _narrowed(self, key: str, low: int, high: int, world: World) -> tuple[int, int]:
        """Hours never fall: what is already taken for an earlier or later day bounds this one."""
        day = self.days.get(key)
        if day is None:
            return low, high
        lows, highs = [low], [high]
        for other, bounds in self._quantities():
            value = self._taken(bounds, world)
            other_day = self.days.get(other)
            if other == key or value is None or other_day is None:
                continue
            if other_day < day:
                lows.append(value)
            elif other_day > day:
                highs.append(value)
        narrow_low, narrow_high = max(lows), min(highs)
        return (narrow_low, narrow_high) if narrow_low <= narrow_high else (low, high)

    def _quantities(self) -> Iterator[tuple[str, HoursBounds]]:
        yield from self.timeline.of_records.items()
        assert self.timeline.at_failure is not None
        yield FAILURE, self.timeline.at_failure

    def _taken(self, bounds: HoursBounds, world: World) -> int | None:
        """Return the value of a quantity that is certain or already picked in this world."""
        if bounds.certain:
            return bounds.low
        if bounds.fact is not None:
            return world.assumed.get(bounds.fact.key, world.values.get(bounds.fact.key))
        taken = [world.values.get(s.fact.key) for s in self.timeline.shifts[: bounds.low_shifts]]
        return None if None in taken else bounds.low + sum(t for t in taken if t is not None)

    def _points(self, key: str, world: World) -> tuple[int, ...]:
        """Return where a quantity can lie, as far as its bounds tell: its value, or both ends."""
        bounds = self.timeline.at_failure if key == FAILURE else self.timeline.of_records[key]
        assert bounds is not None
        value = self._taken(bounds, world)
        return (bounds.low, bounds.high) if value is None else (value,)

    def _shift(self, number: int, world: World) -> int:
        """Return the hours of a shift: it moves every quantity after it past the breakpoints of those quantities."""
        shift = self.timeline.shifts[number]
        if shift.fact.key in world.values:
            return world.values[shift.fact.key]
        before = sum(self._shift(i, world) for i in range(number))
        found: set[int] = set()
        for key, bounds in self._quantities():
            most = sum(s.most for s in self.timeline.shifts[: bounds.high_shifts])
            for end, shifts in ((bounds.low, bounds.low_shifts), (bounds.high - most, bounds.high_shifts)):
                if shifts <= number:
                    continue
                later = sum(s.most for s in self.timeline.shifts[number + 1 : shifts])
                start = end + before
                reach = self._breakpoints(key, start, start + shift.most + later, world, fixed_only=True)
                found.update(b - start - moved for b in reach for moved in {0, later})
        return world.pick(shift.fact, candidates(0, shift.most, found))

    def _breakpoints(self, key: str, low: int, high: int, world: World, *, fixed_only: bool = False) -> set[int]:
        """Return the breakpoints of a quantity between ``low`` and ``high``."""
        begins = set(self.known_begins)
        for fitting in self.fittings:
            if fitting != key:
                begins.update(self._points(fitting, world))
        found: set[int] = set()
        if key in (FAILURE, "repair"):
            for cap in {t for policy in self.policies for t in policy.hour_thresholds}:
                for begin in begins | self.at_start:
                    found.update((cap + begin, cap + begin + 1))
        for duty, visits in self.duties:
            if key in visits or key == FAILURE:
                found |= self._windows_before(key, duty, visits, begins, high, world)
            if not fixed_only and (key in visits or key in self.fittings):
                found |= self._windows_after(key, duty, visits, low, high, world)
        if key in self.fittings:
            for at in self._points(FAILURE, world):
                for cap in {t for policy in self.policies for t in policy.hour_thresholds}:
                    found.update((at - cap, at - cap + 1))
        for other, _ in self._quantities():
            if other != key:
                found.update(end + step for end in self._points(other, world) for step in (0, 1))
        return {f for f in found if low < f <= high}

    def _windows_before(
        self, key: str, duty: "_Duty", visits: list[str], begins: set[int], high: int, world: World
    ) -> set[int]:
        """Windows on the grid from each beginning, and counted from each visit that can come before."""
        found: set[int] = set()
        for begin in begins:
            own = duty.begun_at(begin)
            found.update(_window_breaks(own, None, 0, high))
            for visit in visits:
                if visit == key or self.days[visit] > self.days[key]:
                    continue
                for at in self._points(visit, world):
                    if begin < at <= high:
                        for number in range(duty.answers):
                            found.update(_window_breaks(own, at - begin, number, high))
        return found

    def _windows_after(self, key: str, duty: "_Duty", visits: list[str], low: int, high: int, world: World) -> set[int]:
        """Values of a visit (or fitting) from which a later visit or the failure leaves a window counted from it."""
        found: set[int] = set()
        later = [v for v in visits if v != key and self.days[v] >= self.days[key]]
        for at in {p for name in [*later, FAILURE] for p in self._points(name, world)}:
            if at <= low:
                continue
            if key in self.fittings:
                found.update(_first_reaching(duty, None, 0, low, high, at))
            else:
                for number in range(duty.answers):
                    found.update(_first_reaching(duty, 0, number, low, high, at))
        return found


@dataclass(frozen=True, slots=True)
class _Duty:
    """A duty's schedule; digest and name stand for it, so that its windows are found once and not once a world."""

    policy_digest: str
    name: str
    start_hours: int
    schedule: Schedule = field(compare=False)

    def begun_at(self, hours: int) -> "_Duty":
        return replace(self, start_hours=hours, schedule=replace(self.schedule, start_hours=hours))

    @property
    def answers(self) -> int:
        """The numbers of points after which counting from a visit differs: each one-off, and any recurring one."""
        return len(self.schedule.duty.due.at_hours) + 1


@lru_cache(maxsize=65536)
def _window_breaks(duty: _Duty, counted_from: int | None, number: int, up_to: int) -> tuple[int, ...]:
    """Return where windows open, and where they have closed, up to machine hours ``up_to``.

    On the grid (``counted_from`` None), or counted from a visit at these hours that answered point ``number``.
    """
    schedule = duty.schedule
    point = schedule.first()
    if counted_from is not None:
        following = schedule.next_from(replace(point, step=number), counted_from, None)
        if following is None:
            return ()
        point = following
    breaks: list[int] = []
    while point.low_hours is not None and point.high_hours is not None:
        breaks += [point.low_hours + schedule.start_hours, point.high_hours + schedule.start_hours + 1]
        if point.low_hours + schedule.start_hours > up_to:
            break
        following = schedule.next_from(point, point.hours, None)
        if following is None:
            break
        # A window as early as its whole due value opens no later from point to point: past the hours it is enough.
        stands = following.low_hours is None or following.low_hours <= point.low_hours
        if stands and point.hours is not None and point.hours + schedule.start_hours > up_to:
            break
        point = following
    return tuple(breaks)


@lru_cache(maxsize=65536)
def _first_reaching(duty: _Duty, base: int | None, number: int, low: int, high: int, at: int) -> frozenset[int]:
    """Return the first values in ``low`` to ``high`` from which a window counted from the value lies beyond ``at``.

    ``base`` 0: windows counted from a visit at the value; None: the grid of a component fitted at the value.
    """

    def breaks(value: int) -> tuple[int, ...]:
        if base is None:
            return _window_breaks(duty.begun_at(value), None, 0, at)
        return _window_breaks(duty, value, number, at)

    found: set[int] = set()
    for place in range(len(breaks(low))):
        first, last = low, high
        edges = breaks(last)
        if place < len(edges) and edges[place] <= at:
            continue
        while first < last:  # edges rise with the value, so the first one beyond is found by halving
            middle = (first + last) // 2
            edges = breaks(middle)
            if place >= len(edges) or edges[place] > at:
                last = middle
            else:
                first = middle + 1
        found.add(first)
    return frozenset(found)
