"""The derived quantities that a decision rests on, for --explain and for comparing derivations.

A quantity that is open is not told as the world has it that a line is shown by: hours and shares are told with their
range, all else as "open" with what it may be.
"""

from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import lru_cache

from rules.history.meter_sum import meter_sum
from rules.line_views import WorldResult
from rules.measures.duties import DutyState
from rules.measures.groups import LimitState
from rules.measures.measure import Measures
from rules.plain import WHICHEVER_FIRST, day_text, hours_range, hours_text
from schemas.claim_file import ClaimFile
from schemas.decision import Measure
from schemas.frozen import quickly_made

MOST_NAMED = 3  # values of an open quantity that are told one by one
_GROUND_WORDS = {  # why a due point without a record is missed; that the records are complete is a fact of its reason
    "dealer_declared_complete": "not on file, and the dealer declared the services on file complete",
    "answer_overdue": "not on file, and the time to answer is over",
    "not_done": "not on file, which the terms take for not done",
}
NOT_CLOSED = "not closed"  # of an open due point: its window had not closed, or it was not yet due


@quickly_made
@dataclass(frozen=True, slots=True)
class _Found:
    """A measure in one world; of hours, a share or a due point also what tells it where the worlds differ."""

    measure: Measure
    low: int | None = None
    high: int | None = None
    after: str = ""  # words behind hours
    share: Fraction | None = None
    state: str | None = None
    window: str = ""


def measures_of(
    shown: WorldResult, worlds: Sequence[WorldResult], claim_file: ClaimFile, *, complete: bool = True
) -> tuple[Measure, ...]:
    """Return the measures of the world that a line is shown by, as far as all worlds agree on them.

    ``complete``: all worlds were looked at, and not only the first ones.
    """
    if len(worlds) == 1 and complete:
        return tuple([_ranged(found, found.low, found.high) for _, found in _found_in(shown, claim_file)])
    own = dict(_found_in(shown, claim_file))
    others = [own if world is shown else dict(_found_in(world, claim_file)) for world in worlds]
    return tuple(
        _told(found, [o[place] for o in others if place in o], len(others), complete) for place, found in own.items()
    )


def _told(found: _Found, everywhere: Sequence[_Found], worlds: int, complete: bool) -> Measure:
    measure = found.measure
    if found.low is not None:
        low = min(f.low for f in everywhere if f.low is not None)
        high = max(f.high for f in everywhere if f.high is not None)
        return _ranged(found, low, high)
    if not complete and (found.share is not None or found.state is not None):
        return Measure(measure.policy, measure.name, "open")
    if found.share is not None:
        least, most = min(f.share or 0 for f in everywhere), max(f.share or 0 for f in everywhere)
        return _with(measure, str(least) if least == most else f"{least} to {most}")
    values = list(dict.fromkeys(f.measure.value for f in everywhere))
    if len(values) == 1 and (len(everywhere) == worlds or found.state in (None, "open")):
        return measure  # a version that only some worlds come to measures there what it measures here
    if found.state is not None:
        return _point(found, everywhere, worlds)
    return _with(measure, f"open: {' or '.join(values)}" if len(values) <= MOST_NAMED else "open")


def _point(found: _Found, everywhere: Sequence[_Found], worlds: int) -> Measure:
    """Return a due point on which the worlds differ; one that waits for an answer says so already."""
    states = dict.fromkeys(f.state or "" for f in everywhere)
    if "unanswered" in states:
        return next(f.measure for f in everywhere if f.state == "unanswered")
    if len(everywhere) < worlds:
        states["open"] = None
    named = sorted(NOT_CLOSED if state == "open" else state for state in states)
    windows = {f.window for f in everywhere}
    window = f" {found.window}" if len(windows) == 1 else ""
    records = {f.measure.records for f in everywhere}
    return Measure(
        found.measure.policy,
        found.measure.name,
        f"open: {' or '.join(named)}{window}" if named != [NOT_CLOSED] else "open",
        found.measure.records if len(records) == 1 else (),
    )


def _with(measure: Measure, value: str) -> Measure:
    return Measure(measure.policy, measure.name, value, measure.records)


def _ranged(found: _Found, low: int | None, high: int | None) -> Measure:
    """Return a measure, hours with the range that they lie in."""
    if low is None or high is None or low == high:
        return found.measure
    return _with(found.measure, f"{hours_range(low, high)}{found.after}")


def _found_in(world: WorldResult, claim_file: ClaimFile) -> Iterator[tuple[Hashable, _Found]]:
    """Yield the measures of one world with what they measure."""
    for name, words in world.selected.why:
        yield ("why", name), _Found(Measure(name, "governs because", words))
    seen = Counter[str]()
    for measures in world.measures:
        name = measures.policy.name
        seen[name] += 1
        number = name, seen[name]  # a version that several lines fall back to is measured for each
        at, bounds = measures.hours_at_failure, world.hours[name].timeline.at_failure
        moved = (0, 0)
        if at is not None and bounds is not None:
            summed = meter_sum(claim_file, at) if bounds.certain else None
            measure = Measure(name, "machine hours at the failure", summed or hours_text(at), bounds.records)
            yield (number, "hours"), _Found(measure) if summed else _Found(measure, bounds.low, bounds.high)
            if measures.policy.terms.term.tested_on == "failed_on":
                moved = (bounds.low - at, bounds.high - at)
        for group in measures.groups:
            start = f"{group.start.isoformat()} ({group.start_words})"
            yield (number, group.key), _Found(Measure(name, f"{group.key}: start of term", start))
            for state in group.limits:
                yield (number, group.key, state.path), _limit(name, group.key, state, moved)
        for duty in measures.duties:
            for place, point in _points(measures, duty):
                yield (number, *place), point
        for line, proration in sorted(measures.prorations.items()):
            measure = Measure(name, f"{line}: paid share", str(proration.share))
            yield (number, "share", line), _Found(measure, share=proration.share)


def _limit(name: str, key: str, state: LimitState, moved: tuple[int, int]) -> _Found:
    what = f"{key}: {state.path}"
    if state.last_day is not None:
        return _Found(Measure(name, what, f"ends {state.last_day.isoformat()}; {_beside_last(state.value)}"))
    if state.limit.wear is not None:
        return _Found(Measure(name, what, f"{state.worn} worn, {'past it' if state.value > 0 else 'not past it'}"))
    measure = Measure(name, what, f"{hours_text(state.value)} used")
    return _Found(measure, state.value + moved[0], state.value + moved[1], " used")


def _beside_last(days_past: int) -> str:
    if days_past == 0:
        return "the day tested is its last"
    count = "1 day" if abs(days_past) == 1 else f"{abs(days_past):,} days"
    return f"the day tested lies {count} {'after' if days_past > 0 else 'before'} it"


def _points(measures: Measures, duty: DutyState) -> Iterator[tuple[tuple[Hashable, ...], _Found]]:
    """Yield the due points of a duty, in machine hours, and where a schedule of its own begins."""
    name, schedule = measures.policy.name, duty.schedule
    group = next(g for g in measures.groups if g.number == duty.group)
    several = sum(d.duty == duty.duty for d in measures.duties) > 1
    whose = f"{group.key}: {duty.duty}" if several else duty.duty
    begins = schedule.start_hours
    if begins or schedule.start != group.start:
        value = f"{schedule.start.isoformat()}, at {hours_text(begins)}"
        yield (duty.group, duty.duty), _Found(Measure(name, f"{whose}: schedule starts", value))
    grounds = dict(duty.grounds)
    for point in duty.points:
        records = (point.record,) if point.record is not None else ()
        window = _window_words(point.low_hours, point.high_hours, point.low_day, point.high_day, begins)
        state = "unanswered" if point.state == "missed" and point.number in duty.unanswered else point.state
        value = f"{state} {window}"
        if state == "missed" and grounds.get(point.number) in _GROUND_WORDS:
            value += f": {_GROUND_WORDS[grounds[point.number]]}"
        measure = Measure(name, f"{whose} point {point.number + 1}", value, records)
        yield (duty.group, duty.duty, point.number), _Found(measure, state=state, window=window)


@lru_cache(maxsize=8192)
def _window_words(low: int | None, high: int | None, low_day: int | None, high_day: int | None, begins: int) -> str:
    """Return a due point's window with its units: window 72.0 to 88.0 h."""
    sides = []
    if low is not None and high is not None:
        sides.append(hours_range(low + begins, high + begins))
    if low_day is not None and high_day is not None:
        sides.append(f"{day_text(date.fromordinal(low_day))} to {day_text(date.fromordinal(high_day))}")
    return f"window {' or '.join(sides)}{WHICHEVER_FIRST if len(sides) > 1 else ''}"
