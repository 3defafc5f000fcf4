"""Where open hours change an answer: one value a world on each side of each point at which a policy changes its answer.


An open quantity (the hours at the failure, at a record or a fitting, or hours no meter showed) meets fixed numbers and
other quantities: caps counted from 0, from a fitting or from the start of term; service windows on the grid, counted
from any visit, or from a fitting. Where the other quantity is open too, its bounds stand for it, so that every pattern
that two open quantities can form has a world of its own.

Every value tried is a world, so a breakpoint is left out where it can change no outcome:

- what no duty looks at, and a cap or a grid from a fitting that no clause counts from, is compared with nothing;
- hours never fall: of two settled quantities of different days the later is the higher one in every world;
- hours no meter showed move everything after them alike: what stands between two quantities that both move stays;
- windows that visits certainly closed are gone (``followed``), and on the grid nothing counts from a visit.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from rules.history.at_start import hours_at_start, start_hours_key
from rules.history.timeline import HoursBounds, Timeline, fitting_key
from rules.measures.followed import Passed, edges_left_open
from rules.measures.hour_caps import candidates, caps_of, term_starts
from rules.measures.schedule import Schedule, Visit
from rules.measures.service_proof import refusal_of
from rules.measures.starts import start_on_file
from rules.measures.window_edges import WindowEdges
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.policy.services import ServiceDuty
from schemas.quantities import centihours

FAILURE = "failure"
REPAIR = "repair"

Policies = tuple[CompiledPolicy, ...]


def is_start(key: str) -> bool:
    return key.startswith("start_hours:")


@dataclass(frozen=True, slots=True)
class _Duty:
    """A duty with its windows and the visits that can answer it, in the order of their days."""

    policy: CompiledPolicy
    name: str
    terms: ServiceDuty
    windows: WindowEdges
    visits: tuple[str, ...]
    from_fittings: bool  # a later fitting may begin a schedule of its own; else all begin at 0 h


class Breakpoints:
    """Where the policies of one claim change their answer (the first value beyond), the same in every world.

    The services of ``serving`` are looked at.
    """

    def __init__(self, timeline: Timeline, policies: Policies, claim_file: ClaimFile, serving: Policies) -> None:
        self.timeline = timeline
        self.claim_file = claim_file
        machine = claim_file.machine
        self.prorated = any(
            axis.by in ("machine_hours", "component_hours")
            for policy in policies
            if policy.terms.prorating is not None
            for axis in policy.terms.prorating.axes
        )
        self.fittings = frozenset(key for key in timeline.of_records if key.startswith(fitting_key("")))
        self.fitted_at = {centihours(f.fitted_at) for f in machine.components if f.fitted_at is not None}
        self.caps = tuple(caps_of(policy, timeline, claim_file, self.fitted_at) for policy in policies)
        starts = {day for policy in policies for day in term_starts(policy, claim_file)}
        self.starts = {start_hours_key(day): hours_at_start(timeline, claim_file, day) for day in sorted(starts)}
        self.services = {s.record: s for s in claim_file.services}
        self.days: dict[str, date] = {s.record: s.on for s in claim_file.services}
        self.days |= {fitting_key(f.id): f.fitted_on for f in machine.components if f.fitted_on is not None}
        self.days |= {start_hours_key(day): day for day in starts}
        self.days[FAILURE] = claim_file.claim.failed_on
        self.duties = tuple(self._duty(p, name, duty) for p in serving for name, duty in p.terms.services.items())
        self.looked_at = {FAILURE, *self.fittings, *(visit for duty in self.duties for visit in duty.visits)}

    def _duty(self, policy: CompiledPolicy, name: str, duty: ServiceDuty) -> _Duty:
        machine, tasks = self.claim_file.machine, set(duty.tasks)
        visits = tuple(
            s.record
            for s in sorted(self.claim_file.services, key=lambda s: (s.on, s.record))
            if s.record in self.timeline.of_records
            and not tasks.isdisjoint(s.tasks)  # of part of the tasks, the rest may have been done as well
            and (duty.repairs_count or not s.is_repair)
        )
        fitted_later = any(f.fitted_as != "factory" for f in machine.components)
        windows = WindowEdges(Schedule(duty, policy.conventions, machine.built_on, 0))
        return _Duty(policy, name, duty, windows, visits, fitted_later and duty.new_component == "own_schedule")

    def value_of(self, key: str, bounds: HoursBounds, world: World) -> int:
        """Return the value of a quantity in this world, picked where it is open."""
        low, high = bounds.low, bounds.high
        if bounds.low_shifts or bounds.high_shifts:
            shifts = [self._shift(i, world) for i in range(max(bounds.low_shifts, bounds.high_shifts))]
            low += sum(shifts[: bounds.low_shifts])
            high += sum(shifts[: bounds.high_shifts]) - sum(s.most for s in self.timeline.shifts[: bounds.high_shifts])
        if bounds.fact is None:
            return low
        if bounds.right_from is not None and (known := self._taken(bounds, world)) is not None:
            return known
        return world.pick(bounds.fact, lambda: self._candidates(key, low, high, world))

    def _candidates(self, key: str, low: int, high: int, world: World) -> tuple[int, ...]:
        low, high = self._narrowed(key, low, max(high, low), world)
        # One value stands for all up to the next breakpoint, unless a share falls in between, or another open quantity
        # is still to be taken, which the two ends of the stretch may leave different room.
        counts_hours = key in (FAILURE, REPAIR) or key in self.fittings or is_start(key)
        both_ends = (self.prorated and counts_hours) or self._others_open(key, world)
        return candidates(low, high, self._breakpoints(key, low, high, world), both_ends=both_ends)

    def _others_open(self, key: str, world: World) -> bool:
        return any(other != key and self._taken(b, world) is None for other, b in self._compared())

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
        return (max(lows), min(highs)) if max(lows) <= min(highs) else (low, high)

    def _quantities(self) -> Iterator[tuple[str, HoursBounds]]:
        yield from self.timeline.of_records.items()
        yield from self.starts.items()
        yield FAILURE, self._bounds(FAILURE)

    def _compared(self) -> Iterator[tuple[str, HoursBounds]]:
        """Yield the quantities that some clause looks at: no other is ever asked for or compared with."""
        return ((key, bounds) for key, bounds in self._quantities() if key in self.looked_at)

    def _bounds(self, key: str) -> HoursBounds:
        own = {FAILURE: self.timeline.at_failure, REPAIR: self.timeline.at_repair}
        bounds = own[key] if key in own else self.timeline.of_records.get(key) or self.starts[key]
        assert bounds is not None
        return bounds

    def _taken(self, bounds: HoursBounds, world: World) -> int | None:
        """Return the value of a quantity that is certain or already picked in this world."""
        if bounds.certain:
            return bounds.low
        if bounds.right_from is not None and (self._taken(self._bounds(FAILURE), world) or 0) >= bounds.right_from:
            return bounds.high  # this world takes the claim's reading for wrong, and so the record for right
        if bounds.fact is not None:
            return world.assumed.get(bounds.fact.key, world.values.get(bounds.fact.key))
        taken = [self._taken_shift(number, world) for number in range(bounds.low_shifts)]
        return None if None in taken else bounds.low + sum(t for t in taken if t is not None)

    def _taken_shift(self, number: int, world: World) -> int | None:
        shift = self.timeline.shifts[number]
        if shift.most == 0:
            return 0
        return world.assumed.get(shift.fact.key, world.values.get(shift.fact.key))

    def _points(self, key: str, world: World) -> tuple[int, ...]:
        """Return where a quantity can lie, as far as its bounds tell: its value, or both ends."""
        bounds = self._bounds(key)
        value = self._taken(bounds, world)
        return (bounds.low, bounds.high) if value is None else (value,)

    def _shift(self, number: int, world: World) -> int:
        """Return the hours of a shift: it moves every quantity after it past the breakpoints of those quantities."""
        return world.pick(self.timeline.shifts[number].fact, lambda: self._shift_candidates(number, world))

    def _shift_candidates(self, number: int, world: World) -> tuple[int, ...]:
        shift = self.timeline.shifts[number]
        before = sum(self._shift(i, world) for i in range(number))
        found: set[int] = set()
        repair = self.timeline.at_repair
        for key, bounds in (*self._compared(), *(((REPAIR, repair),) if repair is not None else ())):
            most = sum(s.most for s in self.timeline.shifts[: bounds.high_shifts])
            for end, shifts in {(bounds.low, bounds.low_shifts), (bounds.high - most, bounds.high_shifts)}:
                if shifts <= number:
                    continue
                later = sum(s.most for s in self.timeline.shifts[number + 1 : shifts])
                start = end + before
                reach = self._breakpoints(key, start, start + shift.most + later, world, moved=number)
                found.update(b - start - moved for b in reach for moved in {0, later})
        return candidates(0, shift.most, found, both_ends=self.prorated or self._more_open(number, world))

    def _more_open(self, number: int, world: World) -> bool:
        """Return whether anything is open beside shift ``number`` and what it moves."""
        repair = self.timeline.at_repair
        bounds = [b for _, b in self._compared()] + ([repair] if repair is not None else [])
        shifts = (self._taken_shift(other, world) for other in range(len(self.timeline.shifts)) if other != number)
        return any(b.fact is not None and self._taken(b, world) is None for b in bounds) or None in shifts

    def _moves(self, key: str, moved: int | None) -> bool:
        """Return whether shift number ``moved`` moves a quantity as a whole, so that it stays where it is to others."""
        if moved is None:
            return False
        bounds = self._bounds(key)
        return min(bounds.low_shifts, bounds.high_shifts) > moved

    def _breakpoints(self, key: str, low: int, high: int, world: World, *, moved: int | None = None) -> set[int]:
        """Return the breakpoints of a quantity between ``low`` and ``high``; ``moved``: as that shift moves it."""
        found = self._caps_met(key, world, moved)
        for duty in self.duties:
            if key in duty.visits or key == FAILURE:
                found |= self._windows_before(key, duty, high, world, moved)
            if moved is None:  # whatever comes later is moved as well
                if key in duty.visits:
                    found |= self._windows_after(key, duty, low, high, world)
                elif key in self.fittings and duty.from_fittings:
                    found |= self._grids_after(key, duty, low, high, world)
        for other, bounds in self._compared():
            if other == key or self._moves(other, moved):
                continue
            if self.days.get(other) == self.days.get(key) or self._taken(bounds, world) is None:
                found.update(end + step for end in self._points(other, world) for step in (0, 1))
        return {f for f in found if low < f <= high}

    def _caps_met(self, key: str, world: World, moved: int | None) -> set[int]:
        found: set[int] = set()
        for caps in self.caps:
            if key in (FAILURE, REPAIR):
                begins = set(caps.begins)
                if caps.from_fittings:
                    fittings = (fitting for fitting in self.fittings if not self._moves(fitting, moved))
                    begins.update(at for fitting in fittings for at in self._points(fitting, world))
                if caps.from_starts:
                    starts = (start for start in self.starts if not self._moves(start, moved))
                    begins.update(at for start in starts for at in self._points(start, world))
                found.update(cap + begin + step for cap in caps.thresholds for begin in begins for step in (0, 1))
            elif is_start(key) and caps.from_starts:
                tested = (FAILURE,) if self.timeline.at_repair is None else (FAILURE, REPAIR)
                ends = tuple({at for name in tested for at in self._points(name, world)})
                found.update(at - cap + step for cap in caps.thresholds for at in ends for step in (0, 1))
            elif key in self.fittings and caps.from_fittings and not self._moves(FAILURE, moved):
                ends = self._points(FAILURE, world)
                found.update(at - cap + step for cap in caps.thresholds for at in ends for step in (0, 1))
        return found

    def _windows_before(self, key: str, duty: _Duty, high: int, world: World, moved: int | None) -> set[int]:
        """Windows that visits before ``key`` leave open; where that is not settled, all that any visit could open."""
        followed = self._left_open(key, duty, high, world, moved)
        if followed is not None:
            return followed
        found: set[int] = set()
        begins = {0}
        if duty.from_fittings:
            begins |= self.fitted_at
            fittings = (fitting for fitting in self.fittings if fitting != key and not self._moves(fitting, moved))
            begins.update(at for fitting in fittings for at in self._points(fitting, world))
        windows = duty.windows
        for begin in begins:
            found.update(windows.on_grid(begin, high))
        for visit in duty.visits:
            if visit == key or self.days[visit] > self.days[key] or (windows.moves_along and self._moves(visit, moved)):
                continue
            for at in self._points(visit, world):
                for begin in {0} if windows.moves_along else begins:
                    if begin < at <= high:
                        for number in windows.answers:
                            found.update(windows.counted_from(at, number, begin, high))
        return found

    def _left_open(self, key: str, duty: _Duty, high: int, world: World, moved: int | None) -> set[int] | None:
        """Return the edges that the visits before ``key`` leave open; None where one of them is not settled.

        Visits that ``moved`` moves along with ``key`` come after all others: what counts from them moves as well, and
        what does not is still counted from where the others left it.
        """
        terms, day = duty.policy.terms.term, self.days[key]
        start = start_on_file(terms.starts, self.claim_file, duty.policy.conventions.month_end, world)
        if start is None or duty.from_fittings or (key != FAILURE and self._counts(duty, key, world) is not True):
            return None
        passed: list[Passed] = []
        first_moved: date | None = None
        for record in duty.visits:
            on = self.days[record]
            if record == key or on > day:
                continue
            if self._moves(record, moved):
                if not duty.windows.moves_along:
                    return None
                first_moved = first_moved or on
                continue
            hours = self._taken(self._bounds(record), world)
            if hours is None or (on == day and key != FAILURE):
                return None
            counts = self._counts(duty, record, world)
            if counts is not None:
                # On the day of the failure a visit counts at no higher hours alone, if at all.
                passed.append(Passed(Visit(record, on.toordinal(), hours), counts and on < self.days[FAILURE]))
        passed.sort(key=lambda p: (p.visit.day, p.visit.hours or 0, p.visit.record))
        if first_moved is not None and passed and passed[-1].visit.day >= first_moved.toordinal():
            return None
        storage = tuple(sorted((s.since.toordinal(), s.until.toordinal()) for s in self.claim_file.machine.storage))
        schedule = replace(duty.windows.schedule, start=start[0], storage=storage)
        edges = edges_left_open(schedule, passed, high)
        return None if edges is None else set(edges)

    def _counts(self, duty: _Duty, record: str, world: World) -> bool | None:
        """Return whether a record counts as a visit of the duty; None: certainly not, False: it may or may not."""
        service = self.services[record]
        if not set(duty.terms.tasks) <= set(service.tasks):
            return False
        probe = World({**world.values, **world.assumed}, shared=world.shared)
        refusal = refusal_of(duty.name, duty.terms, (service,), self.claim_file, duty.policy.conventions, probe)
        if probe.taken or service.position != "none":
            return False
        return True if refusal is None or refusal.between_dealers else None

    def _later(self, key: str, duty: _Duty, world: World) -> set[int]:
        """Return where the failure and the visits of the duty can lie that come after ``key``, or on its day."""
        later = [visit for visit in duty.visits if visit != key and self.days[visit] >= self.days[key]]
        return {at for name in (*later, FAILURE) for at in self._points(name, world)}

    def _windows_after(self, key: str, duty: _Duty, low: int, high: int, world: World) -> set[int]:
        """Values of a visit from which a later visit or the failure leaves a window counted from it."""
        return {
            value
            for at in self._later(key, duty, world)
            if at > low
            for number in duty.windows.answers
            for value in duty.windows.visits_reaching(at, number, low, high)
        }

    def _grids_after(self, key: str, duty: _Duty, low: int, high: int, world: World) -> set[int]:
        """Values of a fitting from which a visit or the failure leaves a window of the schedule that it begins."""
        return {
            value
            for at in self._later(key, duty, world)
            if at > low
            for value in duty.windows.fittings_reaching(at, low, high)
        }
