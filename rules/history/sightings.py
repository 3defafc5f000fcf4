"""Machine hours known on a day, and hours that another record states held against them.

Two records agree when the later one shows no less, and no more than the days from the one to the other allow (both
counted whole); of one day either may be the later.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from rules.history.readings import CLAIM_READING, REPAIR_READING
from rules.open_facts import OpenFact
from rules.plain import day_text, hours_text
from schemas.frozen import quickly_made

Bound = tuple[int, int]  # hundredths, and how many shifts lie before them


@quickly_made
@dataclass(frozen=True, slots=True)
class HoursBounds:
    """Machine hours (hundredths) between ``low`` and ``high``, both inside.

    ``fact`` is what to ask where they differ. ``low_shifts`` and ``high_shifts`` say how many of the timeline's shifts
    lie before each bound: ``low`` counts them as 0, ``high`` as their most. Where only the shifts are open, ``fact`` is
    None. ``right_from``: ``high`` is what a record shows, and is right where the hours at the failure are no lower.
    """

    low: int
    high: int
    records: tuple[str, ...]
    fact: OpenFact | None = None
    low_shifts: int = 0
    high_shifts: int = 0
    right_from: int | None = None

    @property
    def certain(self) -> bool:
        return self.low == self.high


@quickly_made
@dataclass(frozen=True, slots=True)
class Sighting:
    """Machine hours known on a day, with the record they come from ("" for the new machine)."""

    day: date
    hours: HoursBounds
    record: str


def contradicting(day: date, hours: int, sightings: Iterable[Sighting], per_day: int) -> list[Sighting]:
    """Return the sightings that contradict ``hours`` on a day, the nearest first."""
    found = [s for s in sightings if not _agrees(day, hours, s, per_day)]
    return sorted(found, key=lambda s: (abs((s.day - day).days), s.day, s.record))


def _agrees(day: date, hours: int, sighting: Sighting, per_day: int) -> bool:
    days = (sighting.day - day).days
    room = per_day * (abs(days) + 1)
    low, high = sighting.hours.low, sighting.hours.high
    return (low - room if days >= 0 else low) <= hours <= (high + room if days <= 0 else high)


def either_right(
    day: date, stated: int, sightings: Sequence[Sighting], at_failure: Sighting, per_day: int, fact: OpenFact
) -> HoursBounds | None:
    """Return the bounds of hours stated for a day that sightings contradict, None where they agree.

    Nothing says which record is right: the bounds hold what is stated, as far as the failure allows, and all that the
    sightings of other days leave.
    """
    every = (*sightings, at_failure)
    against = contradicting(day, stated, every, per_day)
    if not against:
        return None
    lows = [(s.hours.low, s.hours.low_shifts) for s in every if s.day < day or not s.record]
    highs = [(s.hours.high, s.hours.high_shifts) for s in every if s.day > day]
    highs += [
        (s.hours.high + per_day * ((day - s.day).days + 1), s.hours.high_shifts)
        for s in every
        if s.day < day or not s.record
    ]
    failure = (at_failure.hours.high, at_failure.hours.high_shifts)
    possible = min((stated, 0), failure)
    low, high = hull(max(lows, default=(0, 0)), min([*highs, failure]), possible, possible)
    words = f"{fact.words}: its record says {hours_text(stated)}, but {told(against[0])}"
    return HoursBounds(low[0], high[0], (), replace(fact, words=words), low[1], high[1])


def hull(low: Bound, high: Bound, other_low: Bound, other_high: Bound) -> tuple[Bound, Bound]:
    """Return the bounds that hold two pairs of bounds."""
    return min(low, other_low), max(low, high, other_high)


def told(sighting: Sighting) -> str:
    """Return what a sighting says, with its day and record."""
    low, high = hours_text(sighting.hours.low), hours_text(sighting.hours.high)
    if not sighting.record:
        return f"the machine was built on {day_text(sighting.day)}"
    shown = low if sighting.hours.certain else f"between {low} and {high}"
    own = sighting.record in (CLAIM_READING, REPAIR_READING)
    return f"{'the claim' if own else sighting.record} shows {shown} on {day_text(sighting.day)}"
