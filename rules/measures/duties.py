"""The state of each service duty at the failure: which records meet which due points, and what is in doubt.

Which records are its visits ``visits_on_file`` tells. A record of part of the tasks that was meant for a missed point
is asked about: the rest may have been done in the same visit.

All points of a duty whose records are not known to be complete are one open fact: they were all done, or none was.
A remedy may also suppose single services that are not on file, as visits.
Where too much is open, a world in outline asks of a duty only what may come of it.
"""

from collections.abc import Set
from dataclasses import dataclass, field
from typing import Literal

from rules.history.timeline import Timeline, fitting_key
from rules.measures.bookings import asked_in_vain_for, holds_open
from rules.measures.due_points import PassedPoint, supposed_visits
from rules.measures.groups import Group
from rules.measures.schedule import Absence, DuePoint, Schedule, Visit, judge
from rules.measures.starts import start_on_file
from rules.measures.unanswered import asked_in_vain
from rules.measures.visits_on_file import HoursOf, Rejected, VisitsFound, begun_by_fitting, visits_of
from rules.open_facts import OUTLINE, OpenFact, World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.frozen import quickly_made
from schemas.policy.services import ServiceDuty

Breach = Literal["missed", "late", "wrong_fluid", "wrong_hands", "not_activated"]
Ground = Literal["records_complete", "dealer_declared_complete", "answer_overdue", "not_done"]
OTHER_TROUBLE = "symptom:other"  # assumed by a remedy: the trouble noted first was not the one that failed


@quickly_made
@dataclass(frozen=True, slots=True)
class DutyState:
    """All due points of one duty in one group, the breaches that remain, and notes for the desk."""

    duty: str
    group: int
    schedule: Schedule
    points: tuple[DuePoint, ...]
    visits: tuple[Visit, ...]
    breaches: tuple[tuple[Breach, DuePoint], ...]
    cured: tuple[DuePoint, ...]
    rejected: tuple[Rejected, ...]
    symptom_first: DuePoint | None
    recover_from: tuple[Rejected, ...]
    late_papers: tuple[str, ...]
    unanswered: frozenset[int]  # numbers of points that are not done only until the dealer has answered
    grounds: tuple[tuple[int, Ground], ...] = ()  # why no record counts as not done, by number of the point
    unproven: tuple[tuple[int, str], ...] = ()  # bookings that do not count, as their proof was asked for in vain


def duty_state(
    name: str,
    duty: ServiceDuty,
    group: Group,
    schedule: Schedule,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    timeline: Timeline,
    hours_at_failure: int | None,
    hours_of: HoursOf,
    world: World,
) -> DutyState | None:
    """Return the duty's state at the failure; None when it never became a duty of this machine."""
    if duty.advised_on is not None and duty.advised_on > schedule.start:
        return None
    if world.outline:
        return _in_outline(name, duty, group, schedule, policy, claim_file, world)
    found = visits_of(name, duty, group, policy, claim_file, hours_of, hours_at_failure, world)
    if world.assumed:
        found.visits += supposed_visits(world.assumed, services_key(policy, name, group), schedule)
    relative = None if hours_at_failure is None else hours_at_failure - schedule.start_hours
    failed = claim_file.claim.failed_on
    while True:
        visits = found.in_order()
        absent = _Absence(name, duty, group, schedule, policy, claim_file, timeline, found, visits, world)
        points = judge(schedule, visits, failed.toordinal(), relative, absent.answer)
        if not found.incomplete or not _take_incomplete(duty, points, found):
            break
    rejected, recover = tuple(found.rejected), tuple(found.recover)
    breaches, cured = _breaches(duty, points, visits, rejected, claim_file, world)
    symptom_first = None if world.known(OTHER_TROUBLE, False) else _symptom_first(cured, visits, claim_file)
    answered = {p.record for p in points}
    recover = tuple(r for r in recover if r.visit.record in answered)
    return DutyState(
        name,
        group.number,
        schedule,
        points,
        visits,
        breaches,
        cured,
        rejected,
        symptom_first,
        recover,
        _late_papers(claim_file, answered),
        frozenset(absent.unanswered),
        tuple(absent.grounds.items()),
        tuple(absent.unproven),
    )


def _late_papers(claim_file: ClaimFile, answered: Set[str | None]) -> tuple[str, ...]:
    """Return the records that answer a due point and whose papers came after the service."""
    return tuple(
        r.record
        for r in claim_file.services
        if r.provided_on is not None and r.provided_on > r.on and r.record in answered
    )


def _in_outline(
    name: str,
    duty: ServiceDuty,
    group: Group,
    schedule: Schedule,
    policy: CompiledPolicy,
    claim_file: ClaimFile,
    world: World,
) -> DutyState:
    """Return the duty in one of the states that may come of it, whatever its records say.

    Of several breaches of a line the worst alone counts, so one of each kind stands for all of them. No breach is also
    what a duty comes to whose windows have not closed.
    """
    kinds: list[Breach | None] = [None, "missed"]
    if duty.fluid is not None:
        kinds.append("wrong_fluid")
    if duty.activates:
        kinds.append("not_activated")
    point = schedule.first()
    may_follow_symptom = claim_file.claim.symptom is not None and duty.late != "never_cures"
    fact = OpenFact(
        f"{OUTLINE}{policy.name}:{services_key(policy, name, group)}", "services", "dealer", services_words(name, group)
    )
    choice = world.pick(fact, tuple(range(len(kinds) + may_follow_symptom)))
    breach = kinds[choice] if choice < len(kinds) else None
    breaches = () if breach is None else ((breach, point),)
    symptom_first = point if choice == len(kinds) else None
    return DutyState(name, group.number, schedule, (), (), breaches, (), (), symptom_first, (), (), frozenset())


def schedule_for(
    duty: ServiceDuty, group: Group, policy: CompiledPolicy, claim_file: ClaimFile, timeline: Timeline, world: World
) -> Schedule:
    """Return the schedule of a duty for a group: the machine's own, unless a later fitting began another."""
    start, hours, begins = group.start, 0, None
    if begun_by_fitting(duty, group):
        start, hours = group.schedule_start, group.schedule_hours
        begins = None if group.fitted is None else timeline.of_records.get(fitting_key(group.fitted.id))
    else:
        # The group may have a clock of its own (a battery's from its build date): services follow the machine's.
        found = start_on_file(policy.terms.term.starts, claim_file, policy.conventions.month_end, world)
        start = found[0] if found is not None else start
    stored = claim_file.machine.storage
    storage = tuple(sorted((s.since.toordinal(), s.until.toordinal()) for s in stored)) if stored else ()
    begins_open = None if begins is None or begins.certain else begins
    return Schedule(duty, policy.conventions, start, hours, storage, begins_open)


def services_key(policy: CompiledPolicy, name: str, group: Group) -> str:
    """Return the key of the open fact whether a duty's services were done; carve-outs share the machine's services.

    The versions of a policy mean one service by one name, another policy may mean another.
    """
    return f"services:{policy.ref.name}:{name}:{group.key.split('/carve_outs[')[0]}"


def services_words(name: str, group: Group) -> str:
    """Return what the services of a duty are called, with the side of the machine where they are one side's."""
    whose = "" if group.side == "none" else f" of the {group.side} side"
    return f"the {name.replace('_', ' ')} services{whose}"


@quickly_made
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
    found: VisitsFound
    visits: tuple[Visit, ...]
    world: World
    unanswered: set[int] = field(default_factory=set)
    grounds: dict[int, Ground] = field(default_factory=dict)
    unproven: list[tuple[int, str]] = field(default_factory=list)

    def answer(self, point: DuePoint, day: int, hours: int | None) -> Absence:
        """Return what an absent record of ``point`` means at the next visit, or at the failure (``day``, ``hours``)."""
        key = services_key(self.policy, self.name, self.group)
        for booking in self.claim_file.machine.bookings if self.duty.bookings_count else ():
            if holds_open(booking, self.duty, self.schedule, point, day, self.timeline, self.claim_file, self.world):
                return "booked"
            if asked_in_vain_for(booking, self.duty, self.schedule, point, day, self.claim_file) is not None:
                self.unproven.append((point.number, booking.id))
        if any(refused.lacks and point.holds(refused.visit) for refused in self.found.rejected):
            return "not_done"  # there is a record: what it lacks is asked for, not another one
        self.world.details.setdefault(key, []).append(PassedPoint(point, self.schedule, day, hours))
        ground = self._ground(point)
        if ground is not None:
            self.grounds[point.number] = ground
            return "done" if self.world.known(key, False) else "not_done"
        words = f"records of {services_words(self.name, self.group)}"
        own = self._own_key(key, point, day, hours)
        fact = OpenFact(own or key, "services", "dealer", words, key if own else None)
        if self.world.pick(fact, (1, 0)):
            return "done"
        self.unanswered.add(point.number)
        return "not_done"

    def _own_key(self, key: str, point: DuePoint, day: int, hours: int | None) -> str | None:
        """Return a key for this point alone, or for all earlier ones, where "all done or none" would not do.

        Of points that no later visit can cure, one missed is as bad as all: they share the joint fact. A point before a
        later visit may be missed and cured, and then moves the points after it, so it is done or not on its own. Its
        hours alone do not name it: one missed by the calendar leaves the next one due at the same hours.
        """
        may_pass = self.duty.late != "never_cures" or self.duty.judged == "last_closed_window"
        if not may_pass or not any(point.closed_at(v.day, v.hours) for v in self.visits):
            return None
        missed, done = self.schedule.after_missed(point, day, hours), self.schedule.next_on_grid(point)
        last = missed is None or not missed.closed_at(day, hours)
        return f"{key}:earlier" if missed == done and not last else f"{key}:{point.hours}:{point.day}"

    def _ground(self, point: DuePoint) -> Ground | None:
        """Return why an absent record counts as not done, what is known before what was asked; None: it does not."""
        rule = self.policy.conventions.absent_service_record
        in_vain = asked_in_vain("services", self.claim_file, self.policy.conventions) is not None
        if self.duty.activates:
            # Proof activates the coverage: the question stands until the answer is overdue.
            return "answer_overdue" if in_vain else None
        if "records_complete" in rule.not_done_when and self._window_in_complete_records(point):
            return "records_complete"
        if "dealer_declared_complete" in rule.not_done_when and self.claim_file.claim.services_declared_complete:
            return "dealer_declared_complete"
        if in_vain:
            return "answer_overdue"
        return "not_done" if rule.counts_as == "not_done" else None

    def _window_in_complete_records(self, point: DuePoint) -> bool:
        machine, dealer = self.claim_file.machine, self.claim_file.dealer
        since = machine.records_complete_from
        if since is None and machine.selling_dealer == dealer.dealer and self.duty.done_by_selling_dealer_alone:
            since = dealer.records_complete_from  # of what other hands may have done, a dealer's records say nothing
        if since is None:
            return False
        if since <= self.schedule.start:
            return True
        most = self.timeline.most_on(since)
        most_hours = None if most is None else most - self.schedule.start_hours
        return not point.opened_at(since.toordinal() - 1, most_hours)


def _take_incomplete(duty: ServiceDuty, points: tuple[DuePoint, ...], found: VisitsFound) -> bool:
    """Ask about a record of part of the tasks that was meant for a point that is missed; False: there is none."""
    missed = [point for point in points if point.state in ("missed", "late")]
    for each in found.incomplete if missed else ():
        visit = found.visit_of((each,))
        if visit is not None and any(_is_meant_for(point, points, visit, duty) for point in missed):
            found.take_incomplete(each, visit, any(point.holds(visit) for point in missed))
            return True
    return False


def _breaches(
    duty: ServiceDuty,
    points: tuple[DuePoint, ...],
    visits: tuple[Visit, ...],
    rejected: tuple[Rejected, ...],
    claim_file: ClaimFile,
    world: World,
) -> tuple[tuple[tuple[Breach, DuePoint], ...], tuple[DuePoint, ...]]:
    """Return the breaches that remain and the points whose late service counts again.

    Under ``last_closed_window`` only the last point that is settled is judged: its window had closed, or a visit
    had already met it.
    """
    breaches: list[tuple[Breach, DuePoint]] = []
    cured: list[DuePoint] = []
    closed = [p for p in points if p.state != "open"]
    judged = closed[-1:] if duty.judged == "last_closed_window" else closed
    for point in judged:
        if point.state not in ("missed", "late"):
            continue
        served_after = point.state == "late" or point.cured
        if served_after and _cure_counts(duty, point, visits, claim_file, world):
            cured.append(point)
        elif duty.activates and not served_after:
            breaches.append(("not_activated", point))
        else:
            breach: Breach = "late" if point.state == "late" else "missed"
            for refused in _meant_for(point, points, rejected, duty):
                if refused.why != "unproven":
                    breach = refused.why
                    break
            breaches.append((breach, point))
    return tuple(breaches), tuple(cured)


def _meant_for(
    point: DuePoint, points: tuple[DuePoint, ...], rejected: tuple[Rejected, ...], duty: ServiceDuty
) -> tuple[Rejected, ...]:
    """Return the records that do not count but were meant for the point: in its window, or early where that counts."""
    return tuple(refused for refused in rejected if _is_meant_for(point, points, refused.visit, duty))


def _is_meant_for(point: DuePoint, points: tuple[DuePoint, ...], visit: Visit, duty: ServiceDuty) -> bool:
    if point.holds(visit):
        return True
    before = points[point.number - 1] if point.number else None
    early = duty.early == "counts" and not point.closed_at(visit.day, visit.hours)
    return early and (before is None or before.closed_at(visit.day, visit.hours))


def rejected_for(state: DutyState, point: DuePoint, duty: ServiceDuty) -> tuple[Rejected, ...]:
    """Return the records that were meant for a due point of this state and do not count."""
    return _meant_for(point, state.points, state.rejected, duty)


def nearest_visit(state: DutyState, point: DuePoint) -> Visit | None:
    """Return the visit, counting or not, nearest to a due point: by hours where they are known, else by days."""
    visits = [*state.visits, *(refused.visit for refused in state.rejected)]
    if point.hours is not None and all(v.hours is not None for v in visits):
        due = point.hours
        return min(visits, key=lambda v: (abs((v.hours or 0) - due), v.day, v.record), default=None)
    day = point.day if point.day is not None else 0
    return min(visits, key=lambda v: (abs(v.day - day), v.record), default=None)


def _cure_counts(
    duty: ServiceDuty, point: DuePoint, visits: tuple[Visit, ...], claim_file: ClaimFile, world: World
) -> bool:
    """Return whether a service after the window restores the cover; an inspection at any such visit may prove it."""
    if duty.late == "cures_from_its_date":
        return True
    if duty.late == "never_cures":
        return False
    after = {v.record for v in visits if point.closed_at(v.day, v.hours)}
    found = {r.record: r.inspected for r in claim_file.services if r.record in after}
    if any(world.known(f"inspection:{record}", bool(sound)) for record, sound in found.items()):
        return True
    unknown = sorted(record for record, sound in found.items() if sound is None)
    return any(
        world.pick(OpenFact(f"inspection:{record}", "inspection", "dealer", _inspection_words(record)), (1, 0))
        for record in unknown
    )


def _inspection_words(record: str) -> str:
    return f"the result of the inspection at service {record}, which was done after the window had closed"


def _symptom_first(cured: tuple[DuePoint, ...], visits: tuple[Visit, ...], claim_file: ClaimFile) -> DuePoint | None:
    """Return a due point whose late service counts, but came after the trouble: a person must look at the order."""
    symptom = claim_file.claim.symptom
    if symptom is None:
        return None
    days = {v.record: v.day for v in visits}
    for point in cured:
        if point.record is not None and days.get(point.record, 0) >= symptom.on.toordinal():
            return point
    return None
