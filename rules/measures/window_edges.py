"""Machine hours at which the windows of a service duty open, and from which they have closed.

An edge is the first value on its other side: where a window opens, and one hundredth after its last hour. Windows stand
on the grid of a schedule, or are counted from a visit. All hours are hundredths.
"""

from collections.abc import Iterator
from dataclasses import replace

from rules.measures.schedule import DuePoint, Schedule

Edges = tuple[int, ...]


class WindowEdges:
    """The windows of one duty under one policy, whichever visits answered it; kept as long as a claim is looked at.

    ``schedule`` begins at 0 h; a schedule that a fitting began has the same grid, moved to the hours of the fitting.
    """

    def __init__(self, schedule: Schedule) -> None:
        self.schedule = schedule
        # The points after which counting from a visit differs: each one-off, and any recurring one. On the grid nothing
        # is ever counted from a visit.
        self.answers = range(0 if schedule.on_grid else len(schedule.duty.due.at_hours) + 1)
        self.moves_along = _moves_along(schedule)
        self._kept: dict[tuple[int, int | None, int, int], Edges] = {}

    def on_grid(self, begin: int, up_to: int) -> Edges:
        """Return the edges of the windows of a schedule begun at machine hours ``begin``, up to ``up_to``."""
        return self._edges(begin, None, 0, up_to)

    def counted_from(self, visit: int, number: int, begin: int, up_to: int) -> Edges:
        """Return the edges of the windows counted from a visit at ``visit`` that answered point ``number``."""
        return self._edges(0 if self.moves_along else begin, visit, number, up_to)

    def fittings_reaching(self, at: int, low: int, high: int) -> Iterator[int]:
        """Yield the first values of a fitting, above ``low`` up to ``high``, whose windows lie beyond ``at``."""
        for edge in self.on_grid(0, at - low):  # the whole grid moves with the fitting
            if low < at - edge + 1 <= high:
                yield at - edge + 1

    def visits_reaching(self, at: int, number: int, low: int, high: int) -> Iterator[int]:
        """Yield the first values of a visit, above ``low`` up to ``high``, whose counted windows lie beyond ``at``."""
        for place, edge in enumerate(self.counted_from(low, number, 0, at)):
            first = low + at - edge + 1 if self.moves_along else self._first_beyond(at, number, place, low, high)
            if low < first <= high:
                yield first

    def _first_beyond(self, at: int, number: int, place: int, low: int, high: int) -> int:
        """Return the first visit whose edge number ``place`` lies beyond ``at``: edges rise with the visit."""

        def beyond(visit: int) -> bool:
            edges = self.counted_from(visit, number, 0, at)
            return place >= len(edges) or edges[place] > at

        if not beyond(high):
            return high + 1
        while low < high:
            middle = (low + high) // 2
            if beyond(middle):
                high = middle
            else:
                low = middle + 1
        return low

    def _edges(self, begin: int, visit: int | None, number: int, up_to: int) -> Edges:
        key = (begin, visit, number, up_to)
        if key not in self._kept:
            point: DuePoint | None = self.schedule.first()
            if visit is not None and point is not None:
                point = self.schedule.next_from(replace(point, step=number), visit - begin, None)
            self._kept[key] = () if point is None else edges_from(self.schedule, point, begin, up_to)
        return self._kept[key]


def _moves_along(schedule: Schedule) -> bool:
    """Return whether windows counted from a visit lie as far behind it wherever the visit lies.

    They do not where a tolerance is a share of the due value: it grows with the hours.
    """
    duty = schedule.duty
    tolerances = [t for point in duty.due.at_hours for t in (point.early, point.late)]
    if duty.window.hours is not None:
        tolerances += [duty.window.hours.early, duty.window.hours.late]
    of_interval = schedule.conventions.percent_window == "of_interval"
    return of_interval or all(t is None or t.share is None for t in tolerances)


def edges_from(schedule: Schedule, first: DuePoint, begin: int, up_to: int) -> Edges:
    """Return the edges, in machine hours, of a point's window and of those after it as long as none is answered.

    ``begin`` is where the schedule begins; windows that open above ``up_to`` are left out, the first of them apart.
    """
    edges: list[int] = []
    point: DuePoint | None = first
    while point is not None and point.low_hours is not None and point.high_hours is not None:
        edges += [point.low_hours + begin, point.high_hours + begin + 1]
        if point.low_hours + begin > up_to:
            break
        following = schedule.next_from(point, point.hours, None)
        if following is None:
            break
        # A window as early as its whole due value opens no later from point to point: past the hours it is enough.
        stands = following.low_hours is None or following.low_hours <= point.low_hours
        if stands and point.hours is not None and point.hours + begin > up_to:
            break
        point = following
    return tuple(edges)
