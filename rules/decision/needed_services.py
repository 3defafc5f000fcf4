"""Which of several services not on file a line lacks: those alone that it cannot do without, as real records would act.

That all services of a duty were done says that the line improves, but not by which: with some on file others fall due
at other hours, and cover may count again from a late one. So those that the line lacks are supposed as visits at their
due points, with what falls due beside them then, and the claim is decided with them; the earliest are left out first,
as long as the line comes to as much.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from rules.decision.merge import MergedLine
from rules.line_views import WorldResult
from rules.measures.due_points import PassedPoint, Place, Sighted, supposed_key

MOST_ROUNDS = 12  # of adding what falls due beside services that are supposed
_ENDS: tuple[Place, ...] = ("early", "late")
_BY_TURNS: tuple[tuple[Place, Place], ...] = (
    ("early", "early"),
    ("late", "late"),
    ("early", "late"),
    ("late", "early"),
)

Keys = tuple[str, ...]


class Decided(Protocol):
    """A claim decided under assumed facts, as far as it matters here."""

    @property
    def lines(self) -> Sequence[MergedLine]: ...


C = TypeVar("C", bound=Decided)


@dataclass(frozen=True, slots=True)
class Needed(Generic[C]):
    """The services that a line needs: the facts that suppose them, what the claim then comes to, and their words."""

    facts: Keys
    claim: C
    words: str


@dataclass(frozen=True, slots=True)
class NeededServices(Generic[C]):
    """Finds the services of one question, ``key``, that line ``index`` needs beside the facts ``others``.

    ``decided`` decides the claim under assumed facts, ``improves`` says whether that is a remedy of the line.
    """

    key: str
    others: Keys
    index: int
    decided: Callable[[Keys], C]
    improves: Callable[[C], bool]

    def find(self) -> Needed[C] | None:
        """Return the services that are needed, None where no services at their due points make the line better."""
        lacking = self._passed(self.decided(self.others))
        if not lacking:
            return None
        hoped = self.decided((*self.others, self.key)).lines[self.index].maker
        spare = any(map(_may_be_spare, lacking))
        points = self._latest(lacking, hoped) if spare else ()
        enough = hoped
        if not points:
            points, claim = self._completed(lacking, hoped)
            if not self.improves(claim):
                return None
            enough = claim.lines[self.index].maker
        if spare or len(points) > len(lacking):
            points = self._fewest(points, enough)
        facts = self._facts(points)
        return Needed(facts, self.decided(facts), self._words(points, enough))

    def _passed(self, claim: C) -> tuple[PassedPoint, ...]:
        """Return the points that the line's world passed without a record."""
        details = claim.lines[self.index].world.details.get(self.key, ())
        by_words = {each.words(): each for each in details if isinstance(each, PassedPoint)}
        return tuple(by_words.values())

    def _latest(self, points: tuple[PassedPoint, ...], hoped: int) -> tuple[PassedPoint, ...]:
        """Return the fewest of the latest points that bring what is hoped for; none where they do not."""
        suffixes = (points[first:] for first in range(len(points) - 1, -1, -1))
        return next((some for some in suffixes if self._holds(some, hoped)), ())

    def _completed(self, points: tuple[PassedPoint, ...], hoped: int) -> tuple[tuple[PassedPoint, ...], C]:
        """Return the points with those that fall due beside them once they count as visits, and the claim then."""
        claim = self.decided(self._facts(points))
        for _ in range(MOST_ROUNDS):
            if claim.lines[self.index].maker >= hoped and self.improves(claim):
                break
            known = {each.words() for each in points}
            more = tuple(each for each in self._passed(claim) if each.words() not in known)
            if not more:
                break
            points = tuple(sorted((*points, *more), key=lambda each: each.supposed(*self._seen())))
            claim = self.decided(self._facts(points))
        return points, claim

    def _fewest(self, points: tuple[PassedPoint, ...], enough: int) -> tuple[PassedPoint, ...]:
        """Leave out the points that the line does without, the earliest first."""
        for each in points:
            rest = tuple(other for other in points if other is not each)
            if rest and self._holds(rest, enough):
                points = rest
        return points

    def _holds(self, points: Sequence[PassedPoint], enough: int, places: Sequence[Place] = ()) -> bool:
        claim = self.decided(self._facts(points, places))
        return self.improves(claim) and claim.lines[self.index].maker >= enough

    def _facts(self, points: Sequence[PassedPoint], places: Sequence[Place] = ()) -> Keys:
        """Return the facts that suppose a service at every point, where it was due or at ``places`` in the windows."""
        sighted, failed = self._seen()
        at = places or ["due"] * len(points)
        services = [each.supposed(sighted, failed, place) for each, place in zip(points, at, strict=True)]
        return (*self.others, *dict.fromkeys(supposed_key(self.key, service) for service in services))

    def _seen(self) -> tuple[list[Sighted], int]:
        return sighted_of(self.decided(self.others).lines[self.index].world, self.key)

    def _words(self, points: Sequence[PassedPoint], enough: int) -> str:
        """Return the points with their windows; without the part in which a service would not be enough."""
        ends: list[set[Place]] = [{"early", "late"} for _ in points]
        if any(_moves(each) for each in points) and not self._hold_within(points, ends, enough):
            for number, own in enumerate(ends):
                own -= {end for end in _ENDS if not self._holds(points, enough, _only(number, end, len(points)))}
            if not self._hold_within(points, ends, enough):
                ends = [set() for _ in points]
        told = [each.words(early="early" in own, late="late" in own) for each, own in zip(points, ends, strict=True)]
        return "; ".join(dict.fromkeys(told))

    def _hold_within(self, points: Sequence[PassedPoint], ends: Sequence[set[Place]], enough: int) -> bool:
        """Return whether services at these ends of their windows are enough: all early, all late, and by turns."""
        every = {tuple(_end_of(own, by_turns[n % 2]) for n, own in enumerate(ends)) for by_turns in _BY_TURNS}
        return all(self._holds(points, enough, places) for places in sorted(every))


def _end_of(own: set[Place], end: Place) -> Place:
    return end if end in own else "due"


def _only(number: int, end: Place, points: int) -> tuple[Place, ...]:
    """Return the places of services of which one alone lies at an end of its window."""
    return tuple(end if n == number else "due" for n in range(points))


def sighted_of(world: WorldResult, key: str) -> tuple[list[Sighted], int]:
    """Return what was seen of the machine, day by day as hours rise, and the day of the failure.

    ``key`` tells the policy by whose conventions meters are read.
    """
    policy = key.split(":")[1]
    hours = next((found for name, found in world.hours.items() if name.rpartition("@")[0] == policy), None)
    hours = hours or next(iter(world.hours.values()))
    failed = hours.claim_file.claim.failed_on.toordinal()
    seen = sorted((s.day.toordinal(), s.hours.low) for s in hours.timeline.sightings)
    seen = [(day, at) for day, at in seen if day < failed]
    if hours.at_failure is not None:
        seen.append((failed, hours.at_failure))
    rising: list[Sighted] = []
    for day, at in reversed(seen):
        if not rising or at <= rising[-1][1]:
            rising.append((day, at))
    return rising[::-1], failed


def _may_be_spare(passed: PassedPoint) -> bool:
    """Return whether a line may do without one of its services: where one cures, counts early, or moves what is due."""
    duty = passed.schedule.duty
    if not passed.schedule.on_grid:
        return True
    return duty.late != "never_cures" or duty.judged == "last_closed_window" or duty.early == "counts"


def _moves(passed: PassedPoint) -> bool:
    """Return whether it may matter where in its window a service was done, by what then falls due."""
    return not passed.schedule.on_grid or (passed.point.hours is not None and passed.point.day is not None)
