"""The visits of a service duty among the records on file, and the records that are none.

A record is a visit of a duty when it lies on or before the failure (on its day at no higher reading, as the conventions
say), carries all the duty's tasks, is about the same side, was done by accepted hands, is proven and used an approved
fluid. One that is merely unproven, or whose fluid or performer is not on file, asks; one in wrong hands or with a wrong
fluid does not count and moves nothing, unless a dealer of the maker did it wrongly and the owner is kept whole. A
repair counts where the duty says so. A schedule that a fitting began takes only later days: what was done at the
fitting belongs to the fitting.

Records of one day that carry the tasks together are one visit, where no two of them differ in reading or side.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from rules.measures.groups import Group
from rules.measures.schedule import Visit
from rules.measures.service_proof import Refusal, lacks_tasks, refusal_of, with_fluids
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.policy.services import ServiceDuty
from schemas.service_record import ServiceRecord

HoursOf = Callable[[str], int | None]


@dataclass(frozen=True, slots=True)
class Rejected:
    """A record that carries the tasks, or part of them, but does not meet the duty, and why.

    ``lacks`` is the key of the fact that would let it count, empty where nothing would. ``is_told``: the record itself
    tells what is wrong; otherwise it does not tell what was done.
    """

    visit: Visit
    why: Literal["wrong_fluid", "wrong_hands", "unproven"]
    words: str
    dealer: str | None
    lacks: str = ""
    is_told: bool = True


@dataclass(slots=True)
class VisitsFound:
    """The visits of one duty in one world; ``incomplete`` are records of part of the tasks, not yet asked about."""

    name: str
    duty: ServiceDuty
    policy: CompiledPolicy
    claim_file: ClaimFile
    begins: int  # hundredths of an hour at which the schedule begins
    hours_of: HoursOf
    hours_at_failure: int | None
    world: World
    visits: list[Visit] = field(default_factory=list)
    rejected: list[Rejected] = field(default_factory=list)
    recover: list[Rejected] = field(default_factory=list)
    incomplete: list[ServiceRecord] = field(default_factory=list)

    def in_order(self) -> tuple[Visit, ...]:
        return tuple(sorted(self.visits, key=lambda v: (v.day, v.hours or 0, v.record)))

    def visit_of(self, parts: Sequence[ServiceRecord]) -> Visit | None:
        """Return the visit of one or several records of a day, None where it came too late on the day of failure."""
        record = next((part for part in parts if part.reading is not None), parts[0])
        hours = self.hours_of(record.record)
        if record.on == self.claim_file.claim.failed_on and (
            self.policy.conventions.same_day_service == "does_not_count"
            or (hours is not None and self.hours_at_failure is not None and hours > self.hours_at_failure)
        ):
            return None
        return Visit(record.record, record.on.toordinal(), None if hours is None else hours - self.begins)

    def take(self, parts: Sequence[ServiceRecord], visit: Visit) -> None:
        """Put a visit that carries all the tasks where it belongs."""
        conventions = self.policy.conventions
        refusal = refusal_of(self.name, self.duty, parts, self.claim_file, conventions, self.world)
        if refusal is None or refusal.between_dealers:
            self.visits.append(visit)
        if refusal is not None:
            self._put(refusal, visit, with_fluids(parts).dealer)

    def take_incomplete(self, record: ServiceRecord, visit: Visit, in_window: bool) -> None:
        """Ask whether the rest of the tasks was done in the visit of a record, and put it where it then belongs."""
        self.incomplete.remove(record)
        conventions, whole = self.policy.conventions, in_window and self._is_whole_service(record)
        lacking = lacks_tasks(self.name, self.duty, record, self.claim_file, conventions, self.world, whole)
        if lacking is None or lacking.between_dealers:
            self.take((record,), visit)
        if lacking is not None and (not lacking.between_dealers or visit in self.visits):
            self._put(lacking, visit, record.dealer)

    def _put(self, refusal: Refusal, visit: Visit, dealer: str | None) -> None:
        """Put what is wrong with a visit to what the owner, or else a dealer of the maker, answers for."""
        is_told = refusal.between_dealers != "not_told"
        rejected = Rejected(visit, refusal.why, refusal.words, dealer, refusal.lacks, is_told)
        (self.recover if refusal.between_dealers else self.rejected).append(rejected)

    def _is_whole_service(self, record: ServiceRecord) -> bool:
        """Return whether nothing on file says that only part of the service was ordered.

        A repair may replace a filter alone, and a smaller service of the policy is part of a larger one.
        """
        done = set(record.tasks).intersection(self.duty.tasks)
        duties = self.policy.terms.services
        others = (set(duty.tasks) for name, duty in duties.items() if name != self.name)
        return not record.is_repair and not any(done <= other <= set(record.tasks) for other in others)


def visits_of(
    name: str,
    duty: ServiceDuty,
    group: Group,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    hours_of: HoursOf,
    hours_at_failure: int | None,
    world: World,
) -> VisitsFound:
    """Return the visits of a duty for the components of a group, up to the failure."""
    failed = claim_file.claim.failed_on
    by_fitting = begun_by_fitting(duty, group)
    begins = group.schedule_hours if by_fitting else 0
    found = VisitsFound(name, duty, policy, claim_file, begins, hours_of, hours_at_failure, world)
    tasks = set(duty.tasks)
    for record in claim_file.services:
        if record.on > failed or tasks.isdisjoint(record.tasks) or (record.is_repair and not duty.repairs_count):
            continue
        if record.position != "none" and group.side not in ("none", record.position):
            continue
        if by_fitting and record.on <= group.schedule_start:
            continue
        if not tasks.issubset(record.tasks):
            found.incomplete.append(record)
            continue
        visit = found.visit_of((record,))
        if visit is not None:
            found.take((record,), visit)
    if len(found.incomplete) > 1:
        _join(found)
    return found


def _join(found: VisitsFound) -> None:
    """Make one visit of records of a day that carry the tasks together."""
    for day in sorted({record.on for record in found.incomplete}):
        readings = {r.reading for r in found.incomplete if r.on == day}
        for reading in sorted(readings - {None}, key=lambda hours: hours or 0) or [None]:
            same = [r for r in found.incomplete if r.on == day and r.reading in (reading, None)]
            parts = _together(set(found.duty.tasks), same)
            visit = found.visit_of(parts) if parts else None
            if visit is not None:
                found.incomplete = [record for record in found.incomplete if record not in parts]
                found.take(parts, visit)


def _together(tasks: set[str], records: Sequence[ServiceRecord]) -> list[ServiceRecord]:
    """Return records that carry the tasks together, each something that the ones before it lack; empty: they do not."""
    if len({record.position for record in records} - {"none"}) > 1:
        return []
    parts: list[ServiceRecord] = []
    open_tasks = set(tasks)
    for record in sorted(records, key=lambda r: (r.reading is None, r.record)):
        if open_tasks.intersection(record.tasks):
            parts.append(record)
            open_tasks -= set(record.tasks)
    return [] if open_tasks else parts


def begun_by_fitting(duty: ServiceDuty, group: Group) -> bool:
    """Return whether the duty's schedule began when the group's component was fitted to the machine."""
    fitted = group.fitted
    return (
        duty.new_component == "own_schedule"
        and fitted is not None
        and fitted.fitted_as != "factory"
        and fitted.fitted_on == group.schedule_start
    )
