"""The state of each service duty at the failure: which records meet which due points, and what is in doubt."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from rules.calendar import add_span
from rules.history.timeline import Timeline, hours_text
from rules.measures.groups import Group
from rules.measures.schedule import DuePoint, Schedule, Visit, judge
from rules.open_facts import OpenFact, World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.policy.services import ServiceDuty
from schemas.reference_tables import FluidTable
from schemas.service_record import ServiceRecord

Breach = Literal["missed", "late", "wrong_fluid", "wrong_hands", "not_activated"]
HoursOf = Callable[[str], int | None]


@dataclass(frozen=True, slots=True)
class Rejected:
    """A record that carries the tasks but does not meet the duty, and why."""

    visit: Visit
    why: Literal["wrong_fluid", "wrong_hands"]
    words: str
    dealer: str | None


@dataclass(frozen=True, slots=True)
class DutyState:
    """All due points of one duty in one group, the breaches that remain, and notes for the desk."""

    duty: str
    group: int
    points: tuple[DuePoint, ...]
    breaches: tuple[tuple[Breach, DuePoint], ...]
    cured: tuple[DuePoint, ...]
    rejected: tuple[Rejected, ...]
    symptom_first: DuePoint | None
    recover_from: tuple[Rejected, ...]
    late_papers: tuple[str, ...]


def duty_state(
    name: str,
    duty: ServiceDuty,
    group: Group,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    timeline: Timeline,
    hours_at_failure: int | None,
    hours_of: HoursOf,
    world: World,
) -> DutyState | None:
    """Return the duty's state at the failure; None when it never became a duty of this machine."""
    if duty.advised_on is not None and duty.advised_on > group.start:
        return None
    schedule = schedule_for(duty, group, policy, claim_file)
    visits, rejected, recover = _visits(name, duty, group, policy, claim_file, hours_of, hours_at_failure, world)
    relative = None if hours_at_failure is None else hours_at_failure - schedule.start_hours
    failed = claim_file.claim.failed_on
    absent = _Absence(name, duty, group, schedule, policy, claim_file, timeline, world)
    points = judge(schedule, visits, failed.toordinal(), relative, absent.answer)
    breaches, cured = _breaches(name, duty, points, visits, rejected, claim_file, world)
    symptom_first = _symptom_first(points, visits, claim_file)
    late = tuple(
        r.record
        for r in claim_file.services
        if r.provided_on is not None and r.provided_on > r.on and any(p.record == r.record for p in points)
    )
    return DutyState(name, group.number, points, breaches, cured, rejected, symptom_first, recover, late)


def schedule_for(duty: ServiceDuty, group: Group, policy: CompiledPolicy, claim_file: ClaimFile) -> Schedule:
    """Return the schedule of a duty for a group: a later fitted component may start its own."""
    own = duty.new_component == "own_schedule"
    start, hours = (group.schedule_start, group.schedule_hours) if own else (group.start, 0)
    storage = tuple(sorted((s.since.toordinal(), s.until.toordinal()) for s in claim_file.machine.storage))
    return Schedule(duty, policy.conventions, start, hours, storage)


def _visits(
    name: str,
    duty: ServiceDuty,
    group: Group,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    hours_of: HoursOf,
    hours_at_failure: int | None,
    world: World,
) -> tuple[tuple[Visit, ...], tuple[Rejected, ...], tuple[Rejected, ...]]:
    failed = claim_file.claim.failed_on
    begins = group.schedule_hours if duty.new_component == "own_schedule" else 0
    position = group.fitted.position if group.fitted is not None else "none"
    visits: list[Visit] = []
    rejected: list[Rejected] = []
    recover: list[Rejected] = []
    tasks = set(duty.tasks)
    for record in claim_file.services:
        if record.on > failed or not tasks.issubset(record.tasks) or (record.is_repair and not duty.repairs_count):
            continue
        if record.position != "none" and position != "none" and record.position != position:
            continue
        if duty.new_component == "own_schedule" and record.on < group.schedule_start:
            continue
        hours = hours_of(record.record)
        if record.on == failed and (
            policy.conventions.same_day_service == "does_not_count"
            or (hours is not None and hours_at_failure is not None and hours > hours_at_failure)
        ):
            continue
        visit = Visit(record.record, record.on.toordinal(), None if hours is None else hours - begins)
        refusal = _refusal(name, duty, record, visit, claim_file, world)
        if refusal is None:
            visits.append(visit)
        elif refusal.why == "unproven":
            continue
        elif (
            refusal.why == "wrong_fluid"
            and record.by in ("selling_dealer", "authorised_dealer")
            and (duty.done_wrong_by_dealer == "owner_kept_whole")
        ):
            visits.append(visit)
            recover.append(Rejected(visit, "wrong_fluid", refusal.words, record.dealer))
        else:
            rejected.append(Rejected(visit, refusal.why, refusal.words, record.dealer))
    visits.sort(key=lambda v: (v.day, v.hours or 0, v.record))
    return tuple(visits), tuple(rejected), tuple(recover)


@dataclass(frozen=True, slots=True)
class _Refusal:
    why: Literal["wrong_fluid", "wrong_hands", "unproven"]
    words: str


def _refusal(
    name: str, duty: ServiceDuty, record: ServiceRecord, visit: Visit, claim_file: ClaimFile, world: World
) -> _Refusal | None:
    del visit
    by = record.by
    if by is None:
        fact = OpenFact(
            f"performer:{record.record}",
            "evidence",
            "dealer",
            f"who did service {record.record} of {record.on:%d %B %Y}",
        )
        if not world.pick(fact, (1, 0)):
            return _Refusal("wrong_hands", f"nobody is named for {record.record}")
    elif by not in duty.performed_by and not (by == "selling_dealer" and "authorised_dealer" in duty.performed_by):
        return _Refusal("wrong_hands", f"{record.record} was done by {by.replace('_', ' ')}")
    given = set(record.evidence)
    if not any(given.issuperset(proof.all) for proof in duty.proof):
        lacking = min((sorted(set(p.all) - given) for p in duty.proof), key=lambda lack: (len(lack), lack))
        fact = OpenFact(
            f"evidence:{record.record}:{name}",
            "evidence",
            "dealer",
            f"proof of service {record.record} of {record.on:%d %B %Y}: {', '.join(w.replace('_', ' ') for w in lacking)}",
        )
        if not world.pick(fact, (1, 0)):
            return _Refusal("unproven", f"{record.record} lacks {', '.join(lacking)}")
    if duty.fluid is not None:
        return _fluid_refusal(duty, record, claim_file, world)
    return None


def _fluid_refusal(duty: ServiceDuty, record: ServiceRecord, claim_file: ClaimFile, world: World) -> _Refusal | None:
    assert duty.fluid is not None
    if not record.fluids:
        fact = OpenFact(
            f"fluid:{record.record}",
            "evidence",
            "dealer",
            f"the fluid used in service {record.record} of {record.on:%d %B %Y}",
        )
        return None if world.pick(fact, (1, 0)) else _Refusal("wrong_fluid", f"no fluid is named for {record.record}")
    rows = [r for t in claim_file.tables if isinstance(t, FluidTable) for r in t.rows if r.on_list == duty.fluid.fluids]
    for used in record.fluids:
        for row in rows:
            until = row.until
            if until is not None and duty.fluid.grace is not None:
                until = add_span(until, duty.fluid.grace, "clamp_from_start")
            if row.fluid == used.fluid and row.from_ <= record.on and (until is None or record.on <= until):
                break
        else:
            return _Refusal(
                "wrong_fluid",
                f"{used.fluid} is not on the list {duty.fluid.fluids} on {record.on:%d %B %Y} ({record.record})",
            )
    return None


@dataclass(frozen=True, slots=True)
class _Absence:
    """Answers for a due point without a record: whether its absence counts as not done, is unknown, or was booked."""

    name: str
    duty: ServiceDuty
    group: Group
    schedule: Schedule
    policy: CompiledPolicy
    claim_file: ClaimFile
    timeline: Timeline
    world: World

    def answer(self, point: DuePoint) -> Literal["done", "not_done", "booked"]:
        key = f"services:{self.name}:{self.group.key}"
        if self.duty.bookings_count and self._booked(point):
            return "booked"
        self.world.details.setdefault(key, []).append(point_words(point, self.schedule))
        if self._counts_as_not_done(point):
            return "done" if self.world.known(key, False) else "not_done"
        fact = OpenFact(key, "services", "dealer", f"records of the {self.name.replace('_', ' ')} services")
        return "done" if self.world.pick(fact, (1, 0)) else "not_done"

    def _booked(self, point: DuePoint) -> bool:
        for booking in self.claim_file.machine.bookings:
            if not booking.proven or not set(self.duty.tasks).issubset(booking.tasks):
                continue
            hours = None if booking.asked_at is None else int(booking.asked_at * 100) - self.schedule.start_hours
            asked = Visit(booking.id, booking.asked_on.toordinal(), hours)
            if not point.closed_at(asked.day, asked.hours):
                return True
        return False

    def _counts_as_not_done(self, point: DuePoint) -> bool:
        rule = self.policy.conventions.absent_service_record
        claim = self.claim_file.claim
        overdue = any(
            q.about == "services"
            and not q.answered
            and q.asked_on + timedelta(days=rule.answer_within.days) < self.claim_file.decided_on
            for q in claim.questions
        )
        if "answer_overdue" in rule.not_done_when and overdue:
            return True
        if self.duty.activates:
            return False  # proof activates the coverage: the question stands until the answer is overdue
        if rule.counts_as == "not_done":
            return True
        if "dealer_declared_complete" in rule.not_done_when and claim.services_declared_complete:
            return True
        return "records_complete" in rule.not_done_when and self._window_in_complete_records(point)

    def _window_in_complete_records(self, point: DuePoint) -> bool:
        machine, dealer = self.claim_file.machine, self.claim_file.dealer
        since = machine.records_complete_from
        if since is None and machine.selling_dealer == dealer.dealer:
            since = dealer.records_complete_from
        if since is None:
            return False
        if since <= self.schedule.start:
            return True
        most = self.timeline.most_on(since)
        most_hours = None if most is None else most - self.schedule.start_hours
        return not point.opened_at(since.toordinal() - 1, most_hours)


def _breaches(
    name: str,
    duty: ServiceDuty,
    points: tuple[DuePoint, ...],
    visits: tuple[Visit, ...],
    rejected: tuple[Rejected, ...],
    claim_file: ClaimFile,
    world: World,
) -> tuple[tuple[tuple[Breach, DuePoint], ...], tuple[DuePoint, ...]]:
    del visits
    breaches: list[tuple[Breach, DuePoint]] = []
    cured: list[DuePoint] = []
    inspected = {r.record: r.inspected for r in claim_file.services}
    closed = [p for p in points if p.state != "open"]
    judged = closed[-1:] if duty.judged == "last_closed_window" else closed
    for point in judged:
        if duty.activates and point.state == "missed":
            breaches.append(("not_activated", point))
            continue
        if point.state not in ("missed", "late"):
            continue
        if point.state == "late" or point.cured:
            if _cure_counts(duty, point, inspected, world):
                cured.append(point)
                continue
            breaches.append(("late" if point.state == "late" else "missed", point))
            continue
        wrong = next((r for r in rejected if point.holds(r.visit)), None)
        breaches.append((wrong.why if wrong is not None else "missed", point))
    del name
    return tuple(breaches), tuple(cured)


def _cure_counts(duty: ServiceDuty, point: DuePoint, inspected: dict[str, bool | None], world: World) -> bool:
    if duty.late == "cures_from_its_date":
        return True
    if duty.late == "never_cures" or point.record is None:
        return False
    found_sound = inspected.get(point.record)
    key = f"inspection:{point.record}"
    if found_sound is not None:
        return world.known(key, found_sound)
    fact = OpenFact(key, "inspection", "dealer", f"the result of the inspection at the late service {point.record}")
    return bool(world.pick(fact, (1, 0)))


def _symptom_first(points: tuple[DuePoint, ...], visits: tuple[Visit, ...], claim_file: ClaimFile) -> DuePoint | None:
    """Return a due point served only after the trouble had been noted: a person must look at the order of events."""
    symptom = claim_file.claim.symptom
    if symptom is None:
        return None
    days = {v.record: v.day for v in visits}
    for point in points:
        late = point.state == "late" or (point.state == "missed" and point.cured)
        if late and point.record is not None and days.get(point.record, 0) >= symptom.on.toordinal():
            return point
    return None


def point_words(point: DuePoint, schedule: Schedule) -> str:
    """Return a due point with its window in machine hours and days, as a reader writes it."""

    base = schedule.start_hours
    parts = []
    if point.hours is not None and point.low_hours is not None and point.high_hours is not None:
        low, high = hours_text(point.low_hours + base), hours_text(point.high_hours + base)
        parts.append(f"{hours_text(point.hours + base)} ({low[:-2]}–{high})")
    if point.day is not None and point.low_day is not None and point.high_day is not None:
        low_day, high_day = date.fromordinal(point.low_day), date.fromordinal(point.high_day)
        parts.append(f"{date.fromordinal(point.day):%d %B %Y} ({low_day:%d %B %Y} to {high_day:%d %B %Y})")
    return " or ".join(parts)
