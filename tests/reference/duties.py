"""What the owner did for the services: which records count, what is missing, and what that is called as a reason."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import Booking, FittedComponent
from schemas.policy.document import CoveragePolicy
from schemas.policy.services import FluidList, ServiceDuty
from schemas.reference_tables import FluidTable
from schemas.service_record import ServiceRecord
from tests.reference.dates import span_on
from tests.reference.meter import FAILURE, History, ValuesToTry, hours_of
from tests.reference.schedule import Plan, Point, Visit, walk
from tests.reference.unknown import Given, time_is_over

ALL_HANDS = ("selling_dealer", "authorised_dealer", "independent", "owner")
DEALERS = ("selling_dealer", "authorised_dealer")
CODES = {
    "missed": "service_missed",
    "late": "service_late",
    "wrong_fluid": "service_fluid_not_approved",
    "wrong_hands": "service_by_other_hands",
    "not_activated": "coverage_not_activated",
}


@dataclass
class Serviced:
    """What one duty comes to for the components of one schedule."""

    duty: str
    codes: list[str] = field(default_factory=list)  # of the breaches that remain
    symptom_first: bool = False


@dataclass
class Asking:
    """What every judgement of a duty needs: the claim, the terms, the hours and the facts given so far."""

    claim_file: ClaimFile
    policy: CoveragePolicy
    conventions: Conventions
    history: History
    edges: ValuesToTry
    given: Given

    def hours(self, name: str) -> int | None:
        return hours_of(name, self.history, self.given, self.edges)


def judge_duty(
    asking: Asking, name: str, schedule: tuple[date, int], begun_by: FittedComponent | None, side: str, key: str
) -> Serviced:
    """Return what became of a duty; ``begun_by`` is the later fitting its schedule counts from, where one does."""
    duty, claim_file = asking.policy.services[name], asking.claim_file
    stored = [(s.since.toordinal(), s.until.toordinal()) for s in claim_file.machine.storage]
    plan = Plan(duty, asking.conventions, schedule[0], schedule[1], stored)
    failed = claim_file.claim.failed_on
    at_failure = asking.hours(FAILURE)
    visits: list[Visit] = []
    refused: list[tuple[Visit, str]] = []

    def visit_of(records: list[ServiceRecord]) -> Visit | None:
        """Return the visit, unless it came too late on the day of the failure."""
        record = next((r for r in records if r.reading is not None), records[0])
        hours = asking.hours(record.record)
        if record.on == failed and (
            asking.conventions.same_day_service == "does_not_count"
            or (hours is not None and at_failure is not None and hours > at_failure)
        ):
            return None
        off = schedule[1] if begun_by is not None else 0
        return Visit(record.record, record.on.toordinal(), None if hours is None else hours - off)

    def take(records: list[ServiceRecord], visit: Visit) -> None:
        why = refusal(asking, name, duty, records)
        if not why:
            visits.append(visit)
        elif why != "unproven":
            refused.append((visit, why))

    near = [r for r in claim_file.services if _concerns(r, duty, failed, side)]
    near = [r for r in near if begun_by is None or r.on > schedule[0]]
    whole = [[r] for r in near if set(duty.tasks) <= set(r.tasks)]
    partly = [r for r in near if not set(duty.tasks) <= set(r.tasks)]
    for records in [*whole, *_of_one_visit(partly, duty)]:
        visit = visit_of(records)
        if visit is not None:
            partly = [r for r in partly if r not in records]
            take(records, visit)
    relative = None if at_failure is None else at_failure - schedule[1]

    def absent(point: Point, day: int) -> str:
        return _absent(asking, name, plan, key, point, day)

    points = walk(plan, visits, failed.toordinal(), relative, absent)
    while found := _meant_in_part(partly, points, duty, visit_of):
        record, visit = found
        partly.remove(record)
        if _has(asking, f"tasks:{record.record}:{name}", record) or _left_out(asking, name, record, visit, points):
            take([record], visit)
            points = walk(plan, visits, failed.toordinal(), relative, absent)
    result = Serviced(name, _breaches(asking, duty, points, visits, refused))
    symptom = claim_file.claim.symptom
    days = {v.record: v.day for v in visits}
    result.symptom_first = symptom is not None and any(
        (p.state == "late" or (p.state == "missed" and p.cured))
        and p.record is not None
        and days.get(p.record, 0) >= symptom.on.toordinal()
        and _cures(asking, duty, p, visits)
        for p in _judged(duty, points)
    )
    return result


def _meant_in_part(
    partly: list[ServiceRecord],
    points: list[Point],
    duty: ServiceDuty,
    visit_of: Callable[[list[ServiceRecord]], Visit | None],
) -> tuple[ServiceRecord, Visit] | None:
    """Return the first record of part of the tasks that was meant for a service that is missing."""
    lost = [(p, points[n - 1] if n else None) for n, p in enumerate(points) if p.state in ("missed", "late")]
    for record in partly if lost else []:
        visit = visit_of([record])
        if visit is not None and any(_meant_for(duty, point, before, visit) for point, before in lost):
            return record, visit
    return None


def _left_out(asking: Asking, name: str, record: ServiceRecord, visit: Visit, points: list[Point]) -> bool:
    """Return whether a dealer of the maker is taken to have left out the rest of the service that was due."""
    duties, tasks = asking.policy.services, set(record.tasks)
    if record.is_repair or not any(p.state in ("missed", "late") and p.holds(visit) for p in points):
        return False
    here = tasks & set(duties[name].tasks)
    if any(here <= set(other.tasks) <= tasks for each, other in duties.items() if each != name):
        return False  # that service was ordered
    known_from = record.provided_on or record.on
    over = time_is_over(asking.conventions, asking.claim_file, "evidence", known_from)
    return over and _between_dealers(asking, duties[name], record)


def _of_one_visit(partly: list[ServiceRecord], duty: ServiceDuty) -> list[list[ServiceRecord]]:
    """Return records of one day, with one reading or none, that hold all the tasks between them."""
    result: list[list[ServiceRecord]] = []
    for day in sorted({r.on for r in partly}):
        left = [r for r in partly if r.on == day]
        noted = sorted({r.reading for r in left if r.reading is not None})
        for reading in noted or [Decimal(-1)]:
            alike = [r for r in left if r.reading in (None, reading)]
            missing, used = set(duty.tasks), []
            for record in sorted(alike, key=lambda r: (r.reading is None, r.record)):
                if missing & set(record.tasks):
                    missing -= set(record.tasks)
                    used.append(record)
            if not missing and len({r.position for r in alike} - {"none"}) < 2:
                result.append(used)
                left = [r for r in left if r not in used]
    return result


def _concerns(record: ServiceRecord, duty: ServiceDuty, failed: date, side: str) -> bool:
    if record.on > failed or not set(duty.tasks) & set(record.tasks):
        return False
    if record.is_repair and not duty.repairs_count:
        return False
    return "none" in (record.position, side) or record.position == side


def _accepted(duty: ServiceDuty, by: str) -> bool:
    return by in duty.performed_by or (by == "selling_dealer" and "authorised_dealer" in duty.performed_by)


def _has(asking: Asking, key: str, record: ServiceRecord) -> bool:
    known_from = record.provided_on or record.on
    return not time_is_over(asking.conventions, asking.claim_file, "evidence", known_from) and asking.given.yes(key)


def _who(record: ServiceRecord, claim_file: ClaimFile) -> set[str]:
    """Return everyone who may have done a service; the ids of the dealers count for more than the word for them."""
    seller = claim_file.machine.selling_dealer
    both_known = record.dealer is not None and seller is not None
    if both_known and record.dealer == seller:
        return {"selling_dealer"} | ({record.by} & {"independent", "owner"} if record.by else set())
    if record.by is None:
        return set(ALL_HANDS)
    return set(DEALERS) if both_known and record.by == "selling_dealer" else {record.by}


def _by_a_dealer(asking: Asking, duty: ServiceDuty, record: ServiceRecord) -> bool:
    kinds = {by in DEALERS for by in _who(record, asking.claim_file) if _accepted(duty, by)}
    return _has(asking, f"performer:{record.record}:dealer", record) if len(kinds) == 2 else kinds == {True}


def _between_dealers(asking: Asking, duty: ServiceDuty, record: ServiceRecord) -> bool:
    """Return whether what is wrong with the work is for the maker and its dealer to settle."""
    return duty.done_wrong_by_dealer == "owner_kept_whole" and _by_a_dealer(asking, duty, record)


def refusal(asking: Asking, name: str, duty: ServiceDuty, records: list[ServiceRecord]) -> str:
    """Return why the records of a visit do not count (empty: they do), asking for what is not on file."""
    for record in records:
        good = [_accepted(duty, by) for by in _who(record, asking.claim_file)]
        if not any(good) or (not all(good) and not _has(asking, f"performer:{record.record}", record)):
            return "wrong_hands"
        proven = any(set(proof.all) <= set(record.evidence) for proof in duty.proof)
        if not proven and not _has(asking, f"evidence:{record.record}:{name}", record):
            return "unproven"
    if duty.fluid is None:
        return ""
    oiled = next((r for r in records if r.fluids), records[0])
    why, question = _fluid_fault(asking, duty.fluid, records, oiled)
    if not why or _between_dealers(asking, duty, oiled):
        return ""
    return "" if question and _has(asking, f"{question}:{oiled.record}", oiled) else why


def _fluid_fault(
    asking: Asking, rule: FluidList, records: list[ServiceRecord], first: ServiceRecord
) -> tuple[str, str]:
    """Return what is wrong with the fluids of a visit and what to ask about it; empty: nothing."""
    used = [fluid for record in records for fluid in record.fluids]
    if not used:
        return "wrong_fluid", "fluid"
    lists = {u.fluid: _lists_of(u.fluid, rule, first, asking) for u in used}
    ours = [fluid for fluid in lists if rule.fluids in lists[fluid]]
    if not any(isinstance(table, FluidTable) for table in asking.claim_file.tables):
        ours = list(lists)  # no list to hold a fluid against
    elif not ours or not all(lists.values()):
        return "wrong_fluid", ""
    litres = sum((u.litres for u in used if u.litres is not None and u.fluid in ours), Decimal(0))
    if rule.at_least_litres is not None and litres < rule.at_least_litres:
        return "unproven", "litres"
    return "", ""


def _lists_of(fluid: str, rule: FluidList, record: ServiceRecord, asking: Asking) -> set[str]:
    """Return the lists a fluid stood on when it was used, the grace of ``rule`` included."""
    found: set[str] = set()
    for table in asking.claim_file.tables:
        for row in table.rows if isinstance(table, FluidTable) else ():
            if row.fluid != fluid or record.on < row.from_:
                continue
            clamped = asking.conventions.model_copy(update={"month_end": "clamp_from_start"})
            until = row.until
            if until is not None and rule.grace is not None:
                until = span_on(until, rule.grace, clamped)
            if until is None or record.on <= until:
                found.add(row.on_list)
    return found


def _absent(asking: Asking, name: str, plan: Plan, key: str, point: Point, day: int) -> str:
    """Return what a due point without a record means on ``day``: done, not_done or booked."""
    if plan.duty.bookings_count and any(
        _held_open(asking, plan, b, point, day) for b in asking.claim_file.machine.bookings
    ):
        return "booked"
    if _not_done(asking, plan, point):
        return "not_done"
    # Every service that may have been done is done or not on its own; the same one is meant wherever it falls due.
    # Missed by the calendar, the next one may be due at the same hours: that is another service.
    due = f"{point.hours}:{point.day}"
    asked = f"services:{asking.policy.policy}:{name}:{key.split('/carve_outs[')[0]}:{due}"
    return "done" if asking.given.yes(asked) else "not_done"


def _held_open(asking: Asking, plan: Plan, booking: Booking, point: Point, day: int) -> bool:
    asked = booking.asked_on.toordinal()
    if not set(plan.duty.tasks) <= set(booking.tasks):
        return False
    if not asked <= day <= booking.earliest_slot_on.toordinal() or point.day_over(asked):
        return False
    if booking.asked_at is not None and point.hours_over(int(booking.asked_at * 100) - plan.start_hours):
        return False
    if not booking.proven:
        over = time_is_over(asking.conventions, asking.claim_file, "evidence", booking.asked_on)
        if over or not asking.given.yes(f"booking:{booking.id}:proof"):
            return False
    if booking.asked_at is not None:
        return True
    most = asking.history.most_before(booking.asked_on)
    if most is None or not point.hours_over(most - plan.start_hours):
        return True
    return asking.given.yes(f"booking:{booking.id}")


def _not_done(asking: Asking, plan: Plan, point: Point) -> bool:
    rule, claim_file = asking.conventions.absent_service_record, asking.claim_file
    claim, machine, dealer = claim_file.claim, claim_file.machine, claim_file.dealer
    if time_is_over(asking.conventions, claim_file, "services"):
        return True
    if plan.duty.activates:
        return False
    if rule.counts_as == "not_done":
        return True
    if claim.services_declared_complete and "dealer_declared_complete" in rule.not_done_when:
        return True
    since = machine.records_complete_from
    if (
        since is None
        and machine.selling_dealer == dealer.dealer
        and all(by == "selling_dealer" for by in plan.duty.performed_by)
    ):
        since = dealer.records_complete_from
    if since is None or "records_complete" not in rule.not_done_when:
        return False
    if since <= plan.start:
        return True
    most = asking.history.most_before(since)
    return not point.begun(since.toordinal() - 1, None if most is None else most - plan.start_hours)


def _breaches(
    asking: Asking, duty: ServiceDuty, points: list[Point], visits: list[Visit], refused: list[tuple[Visit, str]]
) -> list[str]:
    codes: list[str] = []
    for point in _judged(duty, points):
        n = points.index(point)
        if point.state not in ("missed", "late"):
            continue
        served = point.state == "late" or point.cured
        if served and _cures(asking, duty, point, visits):
            continue
        if duty.activates and not served:
            codes.append("not_activated")
            continue
        before = points[n - 1] if n else None
        meant = [why for visit, why in refused if _meant_for(duty, point, before, visit)]
        codes.append(meant[0] if meant else point.state)
    return sorted(set(codes))


def _judged(duty: ServiceDuty, points: list[Point]) -> list[Point]:
    settled = [p for p in points if p.state != "open"]
    return settled[-1:] if duty.judged == "last_closed_window" else settled


def _meant_for(duty: ServiceDuty, point: Point, before: Point | None, visit: Visit) -> bool:
    if point.holds(visit):
        return True
    if duty.early != "counts" or point.over(visit.day, visit.hours):
        return False
    return before is None or before.over(visit.day, visit.hours)


def _cures(asking: Asking, duty: ServiceDuty, point: Point, visits: list[Visit]) -> bool:
    if duty.late != "cures_if_inspected":
        return duty.late == "cures_from_its_date"
    after = {v.record for v in visits if point.over(v.day, v.hours)}
    records = [r for r in asking.claim_file.services if r.record in after]
    if any(r.inspected is True for r in records):
        return True
    return any(asking.given.yes(f"inspection:{r}") for r in sorted(x.record for x in records if x.inspected is None))
