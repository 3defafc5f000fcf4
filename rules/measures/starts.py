"""The start of term and other days that a period counts from; one that is not on file is taken where it matters."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from math import ceil, floor
from typing import get_args

from rules.calendar import add_months, add_span, last_covered_day
from rules.history.machine_dates import Span, demonstrations_in_doubt, doubt_words, event_span, has_days_in_doubt
from rules.measures.schedule import Schedule
from rules.open_facts import OpenFact, World, asked_where
from rules.policy_book.compiled import CompiledPolicy, all_limits
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import Machine
from schemas.policy.clause import ClaimDate, DemoHours, Event, Limit, StartAfter
from schemas.policy.prorating import Axis, Decline, OwnerPrices, Points, Steps
from schemas.policy.services import ServiceDuty
from schemas.policy.term import StartPoint, Starts

MOST_TURNS = 100
DAYS_OF_MACHINE = "start:days_of_machine"  # the one question about days of the machine that contradict one another
CLAIM_DATES = get_args(ClaimDate)


def earliest_start(starts: Starts, claim_file: ClaimFile, month_end: str) -> tuple[date, str] | None:
    """Return the start of term and the event it came from, None when no event is on file or its day is in doubt."""
    machine = claim_file.machine
    if has_days_in_doubt(machine):
        span = start_span(starts, claim_file, month_end)
        if span is None or span[0] != span[1]:
            return None
    earliest: date | None = None
    came_from: list[StartPoint] = []
    for point in starts.earliest_of:
        on = _day_of(point, machine, month_end)
        if on is None or (earliest is not None and on > earliest):
            continue
        came_from = [*came_from, point] if on == earliest else [point]
        earliest = on
    if earliest is not None:
        return earliest, min(map(_event_words, came_from))
    for point in starts.otherwise:
        on = _day_of(point, machine, month_end)
        if on is not None:
            return on, _event_words(point)
    return None


def start_span(starts: Starts, claim_file: ClaimFile, month_end: str) -> Span | None:
    """Return the days between which the start of term lies where days of the machine are in doubt.

    None: no event is on file.
    """

    spans = [span for _, span in _points_on_file(starts, claim_file, month_end)]
    return (min(first for first, _ in spans), min(last for _, last in spans)) if spans else None


def _points_on_file(starts: Starts, claim_file: ClaimFile, month_end: str) -> list[tuple[StartPoint, Span]]:
    """Return the points that the start follows from, those on file alone, each with the days that it may have been."""

    def span_of(point: StartPoint) -> Span | None:
        if isinstance(point, DemoHours):
            return _demonstrated(point, claim_file)
        if not isinstance(point, StartAfter):
            return event_span(point, machine, failed_on)
        span = event_span(point.event, machine, failed_on)
        return (
            None
            if span is None
            else (add_span(span[0], point.plus, month_end), add_span(span[1], point.plus, month_end))
        )

    machine, failed_on = claim_file.machine, claim_file.claim.failed_on
    found = [(point, span) for point in starts.earliest_of if (span := span_of(point)) is not None]
    if found:
        return found
    return next(([(point, span)] for point in starts.otherwise if (span := span_of(point)) is not None), [])


def _demonstrated(point: DemoHours, claim_file: ClaimFile) -> Span | None:
    """Return when demonstrations reached the hours; one in doubt may have come later, or not have reached them."""
    machine, failed_on = claim_file.machine, claim_file.claim.failed_on
    doubtful = demonstrations_in_doubt(machine)
    reached = [d for d in machine.demonstrations if d.hours >= point.demo_reaches]
    if not reached:
        return None
    sure = min((d.on for d in reached if d not in doubtful), default=max(failed_on, *(d.on for d in reached)))
    return min(d.on for d in reached), sure


def start_on_file(starts: Starts, claim_file: ClaimFile, month_end: str, world: World) -> tuple[date, str] | None:
    """Return ``earliest_start``, found once a claim."""
    key = ("start", id(starts), month_end)  # a clause lives as long as its policy's book
    return world.once(key, lambda: earliest_start(starts, claim_file, month_end))


def event_on(event: Event, machine: Machine) -> date | None:
    """Return the day of an event, None when it is not on file."""
    return machine.built_on if event == "built" else machine.events.get(event)


def _day_of(point: StartPoint, machine: Machine, month_end: str) -> date | None:
    if isinstance(point, DemoHours):
        return min((d.on for d in machine.demonstrations if d.hours >= point.demo_reaches), default=None)
    if isinstance(point, StartAfter):
        on = event_on(point.event, machine)
        return None if on is None else add_span(on, point.plus, month_end)
    return event_on(point, machine)


def _event_words(point: StartPoint) -> str:
    if isinstance(point, DemoHours):
        return f"{point.demo_reaches} h of demonstrations"
    if isinstance(point, StartAfter):
        return f"{point.event.replace('_', ' ')} and {point.plus}"
    return point.replace("_", " ")


def start_key(starts: Starts, claim_file: ClaimFile, month_end: str) -> str:
    """Return the key of the open fact: one for all clauses that count from the same events.

    Where days are in doubt, the events that are not on file tell no clause from another.
    """
    points: Sequence[StartPoint] = (*starts.earliest_of, *starts.otherwise)
    names = list(map(_point_name, points))
    if has_days_in_doubt(claim_file.machine):
        on_file = [_point_name(point) for point, _ in _points_on_file(starts, claim_file, month_end)]
        names = sorted(on_file) or names
    return f"start:{'+'.join(names)}"


def _point_name(point: StartPoint) -> str:
    if isinstance(point, DemoHours):
        return f"demo_{point.demo_reaches}"
    return f"{point.event}_{point.plus}".replace(" ", "_") if isinstance(point, StartAfter) else point


def start_of_term(
    policy: CompiledPolicy,
    starts: Starts,
    claim_file: ClaimFile,
    world: World,
    others: Iterable[CompiledPolicy] = (),
) -> tuple[date, str]:
    """Return the start of term; with no event on file a day between building and failure, as an open fact.

    ``others`` are the versions that count from the same events: the day is taken on each side of every point at which
    one of them changes its answer.
    """
    found = start_on_file(starts, claim_file, policy.conventions.month_end, world)
    if found is not None:
        return found
    key = start_key(starts, claim_file, policy.conventions.month_end)
    words = "the day on which the machine was delivered or first used"
    built, failed = claim_file.machine.built_on, claim_file.claim.failed_on
    fact, told, span = OpenFact(key, "start", "dealer", words), "start not on file", (built, failed)
    if has_days_in_doubt(claim_file.machine):
        found_span = start_span(starts, claim_file, policy.conventions.month_end)
        if found_span is not None:
            fact, told, span = _doubted(fact, policy, claim_file.machine), "start in doubt", found_span
    if key in world.values or key in world.assumed:
        return date.fromordinal(world.pick(fact, ())), told
    policies = tuple({p: None for p in (policy, *others) if _counts_from(p, key, claim_file)})
    candidates = world.once(("start days", frozenset(policies), span), lambda: _start_days(policies, claim_file, span))
    return date.fromordinal(world.pick(fact, candidates)), told


def _doubted(fact: OpenFact, policy: CompiledPolicy, machine: Machine) -> OpenFact:
    """Return a fact as it is asked for where records of the machine contradict one another: all in one question."""
    asks = asked_where(policy.conventions.facts.contradicts_other_record)
    return replace(fact, asks=asks, words=f"{fact.words}: {doubt_words(machine)}", asked_with=DAYS_OF_MACHINE)


def _counts_from(policy: CompiledPolicy, key: str, claim_file: ClaimFile) -> bool:
    own = [c.starts for c in policy.terms.carve_outs if c.starts is not None]
    month_end = policy.conventions.month_end
    return any(start_key(starts, claim_file, month_end) == key for starts in (policy.terms.term.starts, *own))


def _start_days(policies: Iterable[CompiledPolicy], claim_file: ClaimFile, span: Span) -> tuple[int, ...]:
    tests = (test for policy in policies for test in _start_tests(policy, claim_file, span[0]))
    return days_that_matter(span[0].toordinal(), span[1].toordinal(), tests)


def days_that_matter(low: int, high: int, tests: Iterable[Callable[[int], bool]]) -> tuple[int, ...]:
    """Return days, latest first: both ends, and each side of where a test turns true.

    Each test is false on early days and true from some day on.
    """
    if low >= high:
        return (high,)
    days = {low, high}
    for test in tests:
        if test(low) or not test(high):
            continue
        first, last = low, high
        while first < last:
            middle = (first + last) // 2
            first, last = (first, middle) if test(middle) else (middle + 1, last)
        days.update((first - 1, first))
    return tuple(sorted(days, reverse=True))


def _start_tests(policy: CompiledPolicy, claim_file: ClaimFile, earliest: date) -> Iterator[Callable[[int], bool]]:
    """Yield what a policy asks of its start of term, each as a test that turns true once as the start grows later."""
    terms, claim, machine = policy.terms, claim_file.claim, claim_file.machine
    turning = [terms.in_force.from_, *(d.on for d in machine.demonstrations), *(r.on for r in machine.readings)]
    if terms.term.hours_count_from == "start_of_term":
        turning += [s.on for s in claim_file.services if s.reading is not None]
        turning += [change.on for change in machine.meter_changes]
    if terms.in_force.until is not None:
        turning.append(terms.in_force.until + timedelta(days=1))
    if terms.extends_earlier is not None:
        turning.append(terms.extends_earlier.started_from)
    turning += [duty.advised_on for duty in terms.services.values() if duty.advised_on is not None]
    if machine.records_complete_from is not None:
        turning.append(machine.records_complete_from)
    for day in turning:
        yield lambda s, day=day: s >= day.toordinal()  # type: ignore[misc]
    tested = {d for d in (claim.failed_on, claim.reported_on, claim.part_received_on) if d is not None}
    limits = [limit for _, found in all_limits(terms) for limit in found.all if limit.from_ is None]
    if terms.pays.either_or is not None:
        limits.append(terms.pays.either_or.after)
    for limit in limits:
        if limit.months is not None or limit.days is not None:
            for day in tested:
                yield lambda s, limit=limit, day=day: (  # type: ignore[misc]
                    last_day_of(limit, date.fromordinal(s), policy.conventions) >= day
                )
    for axis in terms.prorating.axes if terms.prorating is not None else ():
        yield from _axis_tests(axis, claim.failed_on, policy.conventions.month_end)
    yield from _window_tests(policy, claim_file, earliest)


def _axis_tests(axis: Axis, failed_on: date, month_end: str) -> Iterator[Callable[[int], bool]]:
    if axis.by not in ("complete_months", "begun_months", "complete_30_day_units", "begun_30_day_units"):
        return
    match axis.share:
        case Steps(steps=points) | Points(points=points):
            at = [point.at for point in points]
        case OwnerPrices(owner_prices=prices):
            at = [price.at for price in prices]
        case Decline(zero_at=zero_at, free_until=free_until):
            at = [free_until, zero_at]
    for number in {n for a in at for n in (floor(a), ceil(a))}:
        for days in (0, 1):  # a unit is complete on its last day and begun on the next one
            if axis.by.endswith("months"):
                yield lambda s, number=number, days=days: (  # type: ignore[misc]
                    add_months(date.fromordinal(s), number, month_end) > failed_on - timedelta(days=days)
                )
            else:
                yield lambda s, number=number, days=days: s + 30 * number > failed_on.toordinal() - days  # type: ignore[misc]


def _window_tests(policy: CompiledPolicy, claim_file: ClaimFile, earliest: date) -> Iterator[Callable[[int], bool]]:
    """The calendar windows that count from the start, against the failure and each service."""
    failed = claim_file.claim.failed_on.toordinal()
    days = sorted({failed, *(s.on.toordinal() for s in claim_file.services if s.on.toordinal() <= failed)})
    storage = tuple(sorted((s.since.toordinal(), s.until.toordinal()) for s in claim_file.machine.storage))
    for duty in policy.terms.services.values():
        if duty.due.calendar is None or duty.due.calendar.holds_from != "start_of_term":
            continue
        known: dict[int, list[int]] = {}

        def edges(s: int, duty: ServiceDuty = duty, known: dict[int, list[int]] = known) -> list[int]:
            if s not in known:
                schedule = Schedule(duty, policy.conventions, date.fromordinal(s), 0, storage)
                known[s] = list(_window_days(schedule, failed))
            return known[s]

        for place in range(len(edges(earliest.toordinal()))):
            for day in days:
                for at_least in (day, day + 1):
                    yield lambda s, place=place, at_least=at_least, edges=edges: (  # type: ignore[misc]
                        place >= len(edges(s)) or edges(s)[place] >= at_least
                    )


def _window_days(schedule: Schedule, up_to: int) -> Iterator[int]:
    point = schedule.first()
    for _ in range(MOST_TURNS):
        if point.day is None or point.low_day is None or point.high_day is None:
            return
        yield point.low_day
        yield point.high_day
        if point.low_day > up_to:
            return
        following = schedule.next_on_grid(point)
        if following is None:
            return
        point = following


def last_day_of(limit: Limit, begins: date, conventions: Conventions) -> date:
    """Return the last day inside a limit of months or days that begins on a day."""
    if limit.months is not None:
        return last_covered_day(begins, limit.months, conventions.month_end, conventions.last_covered_day)
    assert limit.days is not None, "only a limit of months or days has a last day"
    return begins + timedelta(days=limit.days)


def day_of_event(event: Event, policy: CompiledPolicy, claim_file: ClaimFile, tested: date, world: World) -> date:
    """Return the day of an event that limits count ``from``; not on file, it is open where they change their answer."""
    span = event_span(event, claim_file.machine, claim_file.claim.failed_on)
    if span is not None and span[0] == span[1]:
        return span[0]
    tests = [
        lambda s, limit=limit: last_day_of(limit, date.fromordinal(s), policy.conventions) >= tested
        for _, found in all_limits(policy.terms)
        for limit in found.all
        if limit.from_ == event
    ]
    fact = _event_fact(event, policy.name)
    if span is not None:
        fact = _doubted(fact, policy, claim_file.machine)
    return date.fromordinal(world.pick(fact, _between(span or _built_to_failed(claim_file), tests)))


def day_that_selects(
    which: Event | ClaimDate, versions: Sequence[CompiledPolicy], claim_file: ClaimFile, world: World
) -> date:
    """Return the event or date of the claim that selects a version; not on file, it is open where versions change."""
    turning = {p.terms.in_force.from_.toordinal() for p in versions}
    turning |= {p.terms.in_force.until.toordinal() + 1 for p in versions if p.terms.in_force.until is not None}
    tests = [lambda s, turn=turn: s >= turn for turn in sorted(turning)]
    if which in CLAIM_DATES:
        day: date | None = getattr(claim_file.claim, which)
        if day is not None:
            return day
        words = f"the date {which.replace('_on', '').replace('_', ' ')}"
        fact = OpenFact(f"date:{which}", "start", "dealer", words)
        latest = claim_file.claim.submitted_on or claim_file.decided_on
        low, high = claim_file.claim.failed_on.toordinal(), latest.toordinal()
        return date.fromordinal(world.pick(fact, days_that_matter(low, high, tests)))
    span = event_span(which, claim_file.machine, claim_file.claim.failed_on)  # type: ignore[arg-type]
    if span is not None and span[0] == span[1]:
        return span[0]
    fact = _event_fact(which, versions[0].ref.name)
    if span is not None:
        fact = _doubted(fact, versions[0], claim_file.machine)
    return date.fromordinal(world.pick(fact, _between(span or _built_to_failed(claim_file), tests)))


def _event_fact(event: str, asked_by: str) -> OpenFact:
    words = f"the day of the event: {event.replace('_', ' ')}"
    return OpenFact(f"event:{event}:{asked_by}", "start", "dealer", words)


def _built_to_failed(claim_file: ClaimFile) -> Span:
    return claim_file.machine.built_on, claim_file.claim.failed_on


def _between(span: Span, tests: Iterable[Callable[[int], bool]]) -> tuple[int, ...]:
    low, high = span[0].toordinal(), span[1].toordinal()
    turning = [test for test in tests if not test(low) and test(high)]
    return days_that_matter(low, high, turning) if turning else (high,)  # nothing turns in between: any day does
