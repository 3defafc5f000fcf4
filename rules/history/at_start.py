"""Machine hours at the start of a term: what was shown on its day, else between what was shown round it.

A machine that nobody read, serviced or showed before its term began was new: its hours count from 0. What
demonstrations came to is a fact, as a reading is.
"""

from collections.abc import Sequence
from datetime import date

from rules.history.sightings import Bound, HoursBounds, Sighting, contradicting, hull, told
from rules.history.timeline import CLAIM_READING, REPAIR_READING, Timeline
from rules.open_facts import OpenFact
from rules.plain import day_text, hours_text
from schemas.claim_file import ClaimFile
from schemas.quantities import centihours

START_HOURS = "start_hours:"
NEW_MACHINE = HoursBounds(0, 0, ())
OWN = (CLAIM_READING, REPAIR_READING)
DEMONSTRATION = "a demonstration"


def start_hours_key(day: date) -> str:
    """Return the key of the machine hours at a term that starts on ``day``."""
    return f"{START_HOURS}{day.isoformat()}"


def hours_at_start(timeline: Timeline, claim_file: ClaimFile, day: date) -> HoursBounds:
    """Return the machine hours (hundredths) on the day a term starts; where nothing shows them, bounds and what to ask.

    The claim's own readings say no more of an earlier day than that the hours were not above them. Where what
    demonstrations came to and another record contradict one another, either may be right.
    """
    shown = [
        Sighting(d.on, HoursBounds(centihours(d.hours), centihours(d.hours), ()), DEMONSTRATION)
        for d in claim_file.machine.demonstrations
    ]
    against = [(d, others) for d in shown if (others := _against(d, shown, timeline))]
    every = (*timeline.sightings, *shown)
    if not against:
        return _at_start(timeline, claim_file, day, every)
    wrong = [[d for d, _ in against], *(others for _, others in against)]  # all that are doubted, or what doubts one
    low, high = _ends(_at_start(timeline, claim_file, day, [s for s in every if s not in wrong[0]]))
    for set_aside in wrong[1:]:
        right = _at_start(timeline, claim_file, day, [s for s in every if s not in set_aside])
        low, high = hull(low, high, *_ends(right))
    doubtful, others = against[0]
    words = f"the machine hours at the start of term: {told(doubtful)}, but {told(others[0])}"
    # One question, on whichever day the term began: which of the two records is right.
    fact = OpenFact(start_hours_key(day), "reading", timeline.who_is_right, words, start_hours_key(doubtful.day))
    return HoursBounds(low[0], high[0], (), fact, low[1], high[1])


def _against(demonstration: Sighting, shown: Sequence[Sighting], timeline: Timeline) -> list[Sighting]:
    """Return the sightings, other demonstrations among them, that contradict a demonstration."""
    others = (*timeline.sightings, *(other for other in shown if other is not demonstration))
    return contradicting(demonstration.day, demonstration.hours.low, others, timeline.per_day)


def _ends(bounds: HoursBounds) -> tuple[Bound, Bound]:
    return (bounds.low, bounds.low_shifts), (bounds.high, bounds.high_shifts)


def _at_start(timeline: Timeline, claim_file: ClaimFile, day: date, sightings: Sequence[Sighting]) -> HoursBounds:
    known = [s for s in sightings if s.day <= day and s.record not in OWN]
    if not any(s.record for s in known):
        return NEW_MACHINE
    same = [s.hours for s in known if s.day == day and s.record]
    if len(same) == 1:
        return same[0]
    before = [s for s in known if s.day < day or not s.record]
    lows = [(s.hours.low, s.hours.low_shifts) for s in before]
    highs = [(s.hours.high + timeline.per_day * ((day - s.day).days + 1), s.hours.high_shifts) for s in before]
    after = [s.hours for s in sightings if s.day > day or (s.day == day and s.record in OWN)]
    if timeline.at_failure is not None and day <= claim_file.claim.failed_on:
        after.append(timeline.at_failure)
    highs += [(hours.high, hours.high_shifts) for hours in after]
    if same:
        lows.append(min((hours.low, hours.low_shifts) for hours in same))
        highs.append(max((hours.high, hours.high_shifts) for hours in same))
    low, high = max(lows), min(highs)
    if low[1] == high[1] and high[0] - low[0] == sum(s.most for s in timeline.shifts[: low[1]]):
        return HoursBounds(low[0], high[0], (), None, low[1], high[1])
    most = max(high[0], low[0])
    between = f"between {hours_text(low[0])} and {hours_text(most)}"
    words = f"the machine hours at the start of term on {day_text(day)} ({between})"
    fact = OpenFact(start_hours_key(day), "reading", "dealer", words)
    return HoursBounds(low[0], most, (), fact, low[1], high[1])
