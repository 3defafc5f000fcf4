"""The facts and the comparison of a passed limit: of days, of hours, of wear; hours that are not known as a range."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Literal

from rules.history.meter_sum import meter_sum
from rules.history.sightings import HoursBounds
from rules.history.timeline import CLAIM_READING
from rules.line_views import LineResult, PolicyReason, WorldResult
from rules.measures.groups import Group, LimitState
from rules.measures.schedule import DuePoint, Schedule
from rules.measures.wear import cannot_be
from rules.plain import day_text, hours_plain, hours_range, hours_text
from schemas.claim_file import ClaimFile
from schemas.decision import Comparison
from schemas.quantities import centihours

Facts = list[tuple[str, str]]

BREACH_OF = {
    "service_missed": "missed",
    "service_late": "late",
    "service_fluid_not_approved": "wrong_fluid",
    "service_by_other_hands": "wrong_hands",
    "coverage_not_activated": "not_activated",
}
AT_THE_LEAST = ", at the least"
SUPPOSED = "as if the machine had run"  # the fact that a reason rests on hours of the world that the line is shown by
SUPPOSED_WEAR = "supposed wear"  # the fact that a reason rests on wear of the world that the line is shown by
RANGED = ("machine hours", "hours counted")  # facts that tell hours of the failure


def group_behind(reason: PolicyReason, line: LineResult) -> Group:
    assert reason.measures is not None
    return reason.measures.group_of_line[line.subject.line.line]


def limit_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    group = group_behind(reason, line)
    facts: Facts = [("start of term", f"{day_text(group.start)} ({group.start_words})")]
    if not group.limits:
        return facts, [], None
    state = next((s for s in group.limits if s.path.endswith(f".ends[{reason.limit}]")), group.limits[0])
    if state.last_day is not None:
        facts.append(("last covered day", day_text(state.last_day)))
        tested = reason.policy.terms.term.tested_on.replace("_on", "").replace("_", " ")
        facts.append((f"{tested} on", day_text(group.tested_day)))
        return facts, [], Comparison("day", group.tested_day.isoformat(), ">", state.last_day.isoformat(), "day")
    limit = state.limit
    if limit.wear is not None:
        measured = wear_facts(reason, line)
        if not measured:
            return [*facts, (SUPPOSED_WEAR, f"beyond {limit.wear}, for none was measured")], [], None
        facts += measured
        return facts, [], Comparison("worn share", str(state.worn), ">", str(limit.wear), "share")
    cap = limit.hours
    assert cap is not None
    operator: Literal[">", ">="] = ">" if reason.policy.conventions.hours_at_cap == "covered" else ">="
    facts += [(name, hours_text(hours)) for name, hours in _hours_counted(group, state)]
    summed = None if reason.measures is None else meter_sum(claim_file, reason.measures.hours_at_failure)
    if summed is not None:
        facts.append(("hours over all meters", summed))
    records = _hour_records(claim_file)
    return (
        facts,
        records,
        Comparison(
            "hours",
            hours_plain(state.value),
            operator,
            hours_plain(centihours(cap)),
            "h",
        ),
    )


def _hours_counted(group: Group, state: LimitState) -> list[tuple[str, int]]:
    """Return the hours that count against a limit; where they do not begin at 0, with those they are the rest of."""
    counted = ("hours counted", state.value)
    begun = 0 if group.hours_tested is None else group.hours_tested - state.value
    if not begun:
        return [counted]
    begin = group.hours_begin if state.limit.machine_hours is not None else "the fitting"
    return [("machine hours", state.value + begun), (f"machine hours at {begin}", begun), counted]


def hour_words(facts: Facts, comparison: Comparison | None) -> str:
    """Return how hours that do not begin at 0 were counted, in a sentence; empty for other reasons."""
    told = [(name, hours) for name, hours in facts if name.startswith(("machine hours", "hours counted"))]
    if len(told) < 2 or comparison is None:
        return ""
    (_, whole), (begin, begun), (_, counted) = told
    limit = hours_text(centihours(Decimal(comparison.right)))
    return f"{whole} on the machine, {begun} {begin.removeprefix('machine hours ')}: {counted} counted; limit {limit}."


def wear_facts(reason: PolicyReason, line: LineResult) -> Facts:
    """Return what was measured on the part, and the floor that its worn share is taken to; none where it is assumed."""
    subject, prorating = line.subject, reason.policy.terms.prorating
    wear = subject.line.wear if subject.wear is None else subject.wear.stated
    if wear is None or prorating is None or prorating.wear_floor is None or cannot_be(wear, prorating.wear_floor):
        return []
    return [("new", str(wear.new)), ("left", str(wear.left)), ("used up at", str(prorating.wear_floor))]


def _hour_records(claim_file: ClaimFile) -> list[str]:
    changes = [c.id for c in claim_file.machine.meter_changes]
    return [CLAIM_READING, *sorted(changes)]


def at_the_least(
    reason: PolicyReason, facts: Facts, comparison: Comparison, world: WorldResult
) -> tuple[Facts, Comparison]:
    """Tell hours that are not known with their range, where the least of them are past the limit all the same."""
    tested = reason.code in BREACH_OF or reason.policy.terms.term.tested_on == "failed_on"
    unknown = _hours_not_known(reason, world)
    if unknown is None or not tested:
        return facts, comparison
    at, bounds = unknown
    shown, limit = (centihours(Decimal(text)) for text in (comparison.left, comparison.right))
    least, most = shown + bounds.low - at, shown + bounds.high - at
    if least < limit or (least == limit and comparison.operator == ">"):
        return facts, comparison  # not decided by these hours, and told as only taken for now
    ranged = [(name, _ranged(value, least - shown, most - shown) if name in RANGED else value) for name, value in facts]
    least_words = f"{comparison.quantity}{AT_THE_LEAST}"
    return ranged, replace(comparison, quantity=least_words, left=hours_plain(least))


def _hours_not_known(reason: PolicyReason, world: WorldResult) -> tuple[int, HoursBounds] | None:
    """Return the hours at the failure that a reason rests on, and what they may be; None where they are known."""
    hours = world.hours.get(reason.policy.name)
    bounds = None if hours is None else hours.timeline.at_failure
    at = None if reason.measures is None else reason.measures.hours_at_failure
    return None if bounds is None or bounds.certain or at is None else (at, bounds)


def supposed(
    reason: PolicyReason, line: LineResult, facts: Facts, comparison: Comparison | None, world: WorldResult
) -> Facts:
    """Return the facts, before them the hours that nobody stated and a reason rests on all the same.

    A comparison that the least hours decide has been told by these already.
    """
    unknown = _hours_not_known(reason, world)
    if unknown is None:
        return facts
    by_hours = comparison is not None and comparison.unit == "h" and not comparison.quantity.endswith(AT_THE_LEAST)
    if reason.code.startswith("prorated"):
        assert reason.measures is not None
        axes = reason.measures.prorations[line.subject.line.line].axes
        by_hours = any(axis.by == "machine_hours" for axis in axes)
    return [(SUPPOSED, hours_text(unknown[0])), *facts] if by_hours else facts


def sure_points(points: Sequence[DuePoint], schedule: Schedule, failed: date, world: WorldResult) -> list[DuePoint]:
    """Return the points whose window had closed by the least hours that the machine may have run; else all.

    Those after them are due only in the world that the line is shown by.
    """
    hours = next((h for h in world.hours.values() if h.timeline.at_failure is not None), None)
    bounds = None if hours is None else hours.timeline.at_failure
    if bounds is None or bounds.certain:
        return list(points)
    low = bounds.low - schedule.start_hours
    return [p for p in points if p.record is not None or p.closed_at(failed.toordinal(), low)] or list(points)


def _ranged(hours: str, below: int, above: int) -> str:
    """Return hours of one world as the range they lie in: 1,200.0 to 1,240.0 h."""
    shown = centihours(Decimal(hours.removesuffix(" h").replace(",", "")))
    return hours_range(shown + below, shown + above)
