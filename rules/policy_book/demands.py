"""What the terms demand of owners: the services that fall due within the term, by how much a machine is used.

The machine starts its term on the day from which the version is in force, with no hours on it, and runs evenly. Every
service is done when it falls due, by hours or by the calendar; the next one is then counted as the policy counts it: on
a fixed grid each of the two keeps a plan of its own. Limits that are counted from another event count from the start
here, and wear plays no part.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Final, Literal

from rules.measures.schedule import DuePoint, Schedule, Visit
from rules.plain import day_text
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.service_words import due_words
from rules.policy_book.term_words import ends_words
from rules.policy_book.use import FURTHEST_YEARS, Period, SteadyUse
from rules.policy_book.values import hours_words, listed, number_words, plain
from schemas.policy.clause import Limit, Limits
from schemas.policy.services import Due
from schemas.quantities import CENTIHOURS_PER_HOUR

YEARLY_HOURS: Final = (40, 80, 200, 400, 600, 1000)
LIFETIME_MONTHS: Final = 120  # a lifetime cover is looked at for ten years
MOST_SERVICES: Final = 2000  # of one duty; a term of 100 years at the shortest interval would list more


@dataclass(frozen=True, slots=True)
class DueService:
    """One service that falls due within the term: machine hours (h, exact) and day, and which of the two came first."""

    hours: Fraction
    due_on: date
    by: Literal["hours", "calendar"]


@dataclass(frozen=True, slots=True)
class DutyDemand:
    """The services of one duty at one amount of use, in order."""

    duty: str
    hours_a_year: int
    services: tuple[DueService, ...]


def demands_of(policy: CompiledPolicy, yearly_hours: Sequence[int] = YEARLY_HOURS) -> tuple[DutyDemand, ...]:
    """Return what falls due within the term, duty by duty, for each amount of use (h a year, above 0)."""
    found = []
    for name in policy.terms.services:
        for hours in yearly_hours:
            services = tuple(services_due(policy, name, Fraction(hours)))[:MOST_SERVICES]
            found.append(DutyDemand(name, hours, services))
    return tuple(found)


def services_due(
    policy: CompiledPolicy, duty: str, hours_a_year: Fraction, due: Due | None = None
) -> Iterator[DueService]:
    """Yield the services of a duty that fall due within the term at ``hours_a_year`` (h, above 0).

    ``due``: what would fall due in place of the duty's own.
    """
    asked = policy.terms.services[duty]
    asked = asked if due is None else asked.model_copy(update={"due": due})
    start = policy.terms.in_force.from_
    use = SteadyUse(start, hours_a_year, policy.conventions.month_end)
    period = Period(_term(policy), start, policy.conventions)
    schedule = Schedule(asked, policy.conventions, start, 0)
    point: DuePoint | None = schedule.first()
    furthest = start.replace(year=start.year + FURTHEST_YEARS, day=1).toordinal()
    for number in range(MOST_SERVICES):
        if point is None or (point.day is not None and point.day > furthest):
            return
        service = _due(point, use)
        if not period.holds(service.due_on, service.hours):
            return
        yield service
        centihours = service.hours * CENTIHOURS_PER_HOUR
        visit = Visit(f"S-{number + 1}", service.due_on.toordinal(), centihours.numerator // centihours.denominator)
        point = schedule.after_visit(point, visit, early=False)


def _term(policy: CompiledPolicy) -> Limits:
    ends = policy.terms.term.ends
    return ends if isinstance(ends, Limits) else Limits(first_of=(Limit(months=LIFETIME_MONTHS),))


def _due(point: DuePoint, use: SteadyUse) -> DueService:
    """Return when a point falls due: the earlier of its limbs, hours first on the same day."""
    by_hours = None if point.hours is None else use.day_of(Fraction(point.hours, CENTIHOURS_PER_HOUR))
    by_calendar = None if point.day is None else date.fromordinal(point.day)
    if by_hours is not None and point.hours is not None and (by_calendar is None or by_hours <= by_calendar):
        return DueService(Fraction(point.hours, CENTIHOURS_PER_HOUR), by_hours, "hours")
    assert by_calendar is not None, "a due point has at least one limb"
    return DueService(use.hours_on(by_calendar), by_calendar, "calendar")


def demands_text(policy: CompiledPolicy, yearly_hours: Sequence[int] = YEARLY_HOURS) -> str:
    """Return the demands as text: a paragraph a duty, a line an amount of use."""
    ends = policy.terms.term.ends
    term = ends_words(ends) if isinstance(ends, Limits) else "the first ten years"
    lines = [f"What {policy.terms.title} (version {policy.ref.version}) asks of owners within {term}"]
    demands = demands_of(policy, yearly_hours)
    for name, duty in policy.terms.services.items():
        called = "Service" if name == "service" else f"{plain(name).capitalize()} service"
        lines += ["", f"{called}, due {due_words(duty)} (clause {duty.clause})"]
        lines += [f"  {demand_words(demand)}" for demand in demands if demand.duty == name]
    if any(service.by == "calendar" for demand in demands for service in demand.services):
        start = day_text(policy.terms.in_force.from_)
        lines += ["", f"The days are those of a machine whose term starts on {start}, the first day in force."]
    if not policy.terms.services:
        lines += ["", "No service is asked for."]
    return "\n".join([*lines, ""])


def demand_words(demand: DutyDemand) -> str:
    """Return one line: at 600 h a year: 100, 500, 1,000 and 1,500 h.

    A service that falls due by the calendar stands with its day, as in 1 January 2027 (80 h).
    """
    services = demand.services
    at = f"at {number_words(demand.hours_a_year)} h a year"
    if not services:
        return f"{at}: none"
    count = "one service" if len(services) == 1 else f"{len(services)} services"
    if all(service.by == "hours" for service in services):
        listed_hours = listed(number_words(service.hours) for service in services)
        return f"{at}: {count}, {listed_hours} h"
    return f"{at}: {count}, {listed(_service_words(service) for service in services)}"


def _service_words(service: DueService) -> str:
    whole = service.hours.numerator // service.hours.denominator
    if service.by == "hours":
        return hours_words(service.hours)
    return f"{day_text(service.due_on)} ({number_words(whole)} h)"
