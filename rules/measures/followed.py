"""The windows that visits with settled hours leave open: all that later hours of the machine can still meet.

Without this, a window counted from any earlier visit would have to be taken for one that may be open later. Most are
not: the next visit that counts closes its point, and what is due then counts from there. The visits are followed here
as ``schedule.judge`` takes them, in every way that what is not yet known allows: a record that may not count is taken
and left out; a point without a record was done, was not done, or was held open by a dealer's backlog.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from rules.measures.schedule import Absence, DuePoint, Schedule, Visit, Walk
from rules.measures.window_edges import Edges, edges_from

MOST_WAYS = 64  # ways to come to a visit; above it nothing is left out


@dataclass(frozen=True, slots=True)
class Passed:
    """A visit that lies before what is looked at, and whether it certainly counts."""

    visit: Visit
    counts: bool  # False: it may count or not


@dataclass(frozen=True, slots=True)
class _Stand:
    """Where a schedule stands after a visit: the point that it met, which can still hold another, and the open one.

    ``passed``: ``last`` was passed on the way to the visit that is being taken.
    """

    last: DuePoint | None
    point: DuePoint | None
    passed: bool = False


def edges_left_open(schedule: Schedule, visits: Iterable[Passed], up_to: int) -> Edges | None:
    """Return the edges that hours after the visits can meet, up to machine hours ``up_to``; None: too many ways.

    ``visits`` come in the order of their days, no two that count on one day. The point met last still tells whether
    another visit in its window is spare; every later comparison is with the open point or one that follows it.
    """
    stands: set[_Stand] | None = {_stand(None, schedule.first())}
    for each in visits:
        found = _taken(schedule, stands, each.visit) if stands is not None else None
        if found is None or stands is None:
            return None
        stands = found if each.counts else found | stands
    edges: set[int] = set()
    for stand in stands or ():
        begin, last = schedule.start_hours, stand.last
        if stand.point is not None:
            edges.update(edges_from(schedule, stand.point, begin, up_to))
        if last is not None and last.low_hours is not None and last.high_hours is not None:
            edges.update((last.low_hours + begin, last.high_hours + begin + 1))
    return tuple(edges)


def _taken(schedule: Schedule, before: set[_Stand], visit: Visit) -> set[_Stand] | None:
    """Return where the schedule may stand after a visit; None: in too many ways."""
    after: set[_Stand] = set()
    waiting = set(before)
    while waiting:
        stand = waiting.pop()
        point = stand.point
        if point is None or not point.closed_at(visit.day, visit.hours):
            after.add(_met(schedule, stand, visit))
        else:
            waiting.add(_stand(point.settled("missed"), schedule.after_missed(point, visit.day, visit.hours), True))
            waiting.add(_stand(point.settled("assumed"), schedule.next_on_grid(point), True))
            if schedule.duty.bookings_count:
                following = schedule.after_visit(point, visit, early=False)
                after.add(_stand(point.settled("booked"), following))
        if len(after) + len(waiting) > MOST_WAYS:
            return None
    return after


def _met(schedule: Schedule, stand: _Stand, visit: Visit) -> _Stand:
    """Return where the schedule stands after a visit that lies behind no more closed windows."""
    walk = Walk(schedule, _never_asked)
    walk.points, walk.point = [] if stand.last is None else [stand.last], stand.point
    walk.meet(visit, stand.last if stand.passed else None)
    return _stand(walk.points[-1] if walk.points else None, walk.point)


def _never_asked(point: DuePoint, day: int, hours: int | None) -> Absence:
    raise AssertionError(f"the point {point} had closed by day {day}, {hours}, and was not passed")


def _stand(last: DuePoint | None, point: DuePoint | None, passed: bool = False) -> _Stand:
    """Return a stand without what makes no difference to later visits: the place in the count, and whose record."""
    last = last if last is not None and (passed or last.state == "met") else None
    return _Stand(
        None if last is None else replace(last, number=0, record=None, cured=False),
        None if point is None else replace(point, number=0),
        passed,
    )
