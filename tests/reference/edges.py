"""Values worth trying for hours that are not on file: round every threshold of every policy, and some in between."""

import random
from collections.abc import Iterable, Mapping

from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.policy.prorating import Decline, OwnerPrices, Points, Steps
from tests.reference.meter import FAILURE, History
from tests.reference.schedule import Plan, hour_window
from tests.reference.terms import every_limits, starts_on
from tests.reference.unknown import Given

MOST_WINDOWS = 200
BETWEEN = 3  # drawn values beside the thresholds


class Edges:
    """The thresholds of some policies for one claim."""

    def __init__(self, policies: Mapping[str, tuple[CoveragePolicy, Conventions]], history: History) -> None:
        self.history = history
        machine = history.claim_file.machine
        self.begins = {0} | {int(f.fitted_at * 100) for f in machine.components if f.fitted_at is not None}
        self.begins |= {int(d.hours * 100) for d in machine.demonstrations}
        self.caps = {cap for policy, _ in policies.values() for cap in _caps(policy)}
        self.plans = [
            Plan(duty, conventions, machine.built_on, 0)
            for policy, conventions in policies.values()
            for duty in policy.services.values()
        ]
        for policy, conventions in policies.values():
            if policy.term.hours_count_from == "start_of_term":
                self.begins |= self._at_starts(policy, conventions)

    def _at_starts(self, policy: CoveragePolicy, conventions: Conventions) -> set[int]:
        """Return the hours at every start on file, both ends where they are open, and at all that showed the hours."""
        found = {seen.hours for seen in self.history.seen}
        starts = [policy.term.starts, *(c.starts for c in policy.carve_outs if c.starts is not None)]
        for each in starts:
            start = starts_on(each, self.history.claim_file, conventions)
            if start is None or self.history.no_meter:
                continue
            for old in (dict.fromkeys(dict(self.history.old_meters), 0), dict(self.history.old_meters)):
                found |= set(self.history.range_of(f"start_hours:{start.isoformat()}", old))
        return found

    def between(self, name: str, low: int, high: int, given: Given) -> tuple[int, ...]:
        """Return values from ``low`` to ``high`` for the hours of ``name``."""
        known = self._known(name, given)
        begins = self.begins | {h for n, h in known.items() if n.startswith("fitting:")}
        marks = {cap + begin for cap in self.caps for begin in begins} | set(known.values())
        for plan in self.plans:
            for begin in begins:
                marks |= _grid(plan, begin, None, high)
            for hours in known.values():
                if name == FAILURE or hours < high:
                    marks |= {m for step in range(_steps(plan)) for m in _grid(plan, hours, step, high)}
                if name != FAILURE:
                    marks |= _reaching(plan, hours)
        if name.startswith(("fitting:", "start_hours:")):
            marks |= {hours - cap for cap in self.caps for hours in known.values()}
        values = {low, high} | {m + d for m in marks for d in (-1, 0, 1) if low < m + d < high}
        rng = random.Random(f"{name} {low} {high}")
        values |= {rng.randint(low, high) for _ in range(BETWEEN)}
        return tuple(sorted(values))

    def of_old_meter(self, key: str, most: int, old: dict[str, int]) -> tuple[int, ...]:
        """Return values for what an old meter showed at the last, so that each later reading meets every threshold."""
        place = [k for k, _ in self.history.old_meters].index(key)
        marks: set[int] = set()
        for seen in self.history.seen:
            if seen.unknown > place:
                high = seen.hours + most + sum(m for _, m in self.history.old_meters)
                reach = {cap + begin for cap in self.caps for begin in self.begins}
                for plan in self.plans:
                    reach |= {m for begin in self.begins for m in _grid(plan, begin, None, high)}
                marks |= {m - seen.hours - sum(old.values()) for m in reach}
        values = {0, most} | {m + d for m in marks for d in (-1, 0, 1) if 0 < m + d < most}
        return tuple(sorted(values))

    def _known(self, name: str, given: Given) -> dict[str, int]:
        """Return the hours already fixed in this world, by record."""
        found: dict[str, int] = {}
        claim_file = self.history.claim_file
        names = [FAILURE, *(s.record for s in claim_file.services if s.on <= claim_file.claim.failed_on)]
        names += [f"fitting:{name}" for name in self.history.fittings_to_ask()]
        old = {key: given.values.get(key, 0) for key, _ in self.history.old_meters}
        for other in names:
            key = (
                "reading:failure" if other == FAILURE else other if other.startswith("fitting:") else f"reading:{other}"
            )
            low, high = self.history.range_of(other, old)
            if other != name and (low == high or key in given.values):
                found[other] = given.values.get(key, low)
        return found


def _caps(policy: CoveragePolicy) -> Iterable[int]:
    limits = [limit for found in every_limits(policy) for limit in found.all]
    if policy.pays.either_or is not None:
        limits.append(policy.pays.either_or.after)
    for limit in limits:
        for hours in (limit.machine_hours, limit.component_hours):
            if hours is not None:
                yield int(hours * 100)
    for axis in policy.prorating.axes if policy.prorating is not None else ():
        if axis.by in ("machine_hours", "component_hours"):
            yield from (int(at * 100) for at in _points(axis.share))


def _points(curve: Steps | Points | Decline | OwnerPrices) -> list[object]:
    match curve:
        case Steps(steps=points) | Points(points=points):
            return [p.at for p in points]
        case OwnerPrices(owner_prices=prices):
            return [p.at for p in prices]
        case Decline():
            return [curve.free_until, curve.zero_at]


def _steps(plan: Plan) -> int:
    return len(plan.duty.due.at_hours) + 1


def _grid(plan: Plan, begin: int, answered: int | None, up_to: int) -> set[int]:
    """Return the edges of the windows from ``begin`` on: the schedule's, or after a visit for point ``answered``."""
    step, due, found = (0 if answered is None else answered + 1), 0, set[int]()
    for _ in range(MOST_WINDOWS):
        gap = plan.gap(step)
        if gap is None or begin + due > up_to:
            break
        due += gap
        low, high = hour_window(plan, step, due)
        found |= {begin + low, begin + high}
        step += 1
    return found


def _reaching(plan: Plan, hours: int) -> set[int]:
    """Return the hours of a visit from which a window counted from it begins or ends at ``hours``."""
    found: set[int] = set()
    for answered in range(_steps(plan)):
        step, due = answered + 1, 0
        for _ in range(MOST_WINDOWS):
            gap = plan.gap(step)
            if gap is None or due > hours:
                break
            due += gap
            found |= {hours - edge for edge in hour_window(plan, step, due)}
            step += 1
    return found
