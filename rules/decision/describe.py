"""A reason in full: the clause in its own words, the facts with their records, the comparison in numbers."""

from collections.abc import Callable, Sequence
from datetime import date

from rules.decision.catalogue import KINDS
from rules.decision.describe_absence import absence_facts
from rules.decision.describe_limits import (
    BREACH_OF,
    SUPPOSED_WEAR,
    Facts,
    at_the_least,
    group_behind,
    hour_words,
    limit_facts,
    supposed,
    sure_points,
    wear_facts,
)
from rules.history.sightings import HoursBounds
from rules.line_views import LineResult, PolicyReason, WorldResult, clause_bearer
from rules.measures.due_points import PassedPoint, passed
from rules.measures.duties import DutyState, nearest_visit, rejected_for
from rules.measures.prorating import number_text
from rules.measures.schedule import DuePoint
from rules.measures.starts import CLAIM_DATES, earliest_start, event_on
from rules.measures.visits_on_file import Rejected
from rules.plain import day_text, hours_plain, hours_range, hours_text
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.service_words import counts_words
from rules.selection.owners import owner_words
from rules.settlement.allowance import Cut
from schemas.claim_file import ClaimFile
from schemas.decision import Comparison, Reason
from schemas.quantities import centihours

NOT_ON_FILE = "not on file"
Describe = Callable[[PolicyReason, LineResult, ClaimFile], tuple[Facts, list[str], Comparison | None]]


def describe(reason: PolicyReason, line: LineResult, claim_file: ClaimFile, world: WorldResult) -> Reason:
    """Return the reason as the decision shows it; ``world`` is the one that the line is shown by."""
    kind = KINDS[reason.code]
    facts, records, comparison = _facts_of(reason, line, claim_file, world)
    if comparison is not None and comparison.unit == "h":
        facts, comparison = at_the_least(reason, facts, comparison, world)
    facts = supposed(reason, line, facts, comparison, world)
    words = " ".join(part for part in (kind.text, reason.words, hour_words(facts, comparison)) if part)
    bearer = None if kind.effect in ("note", "refer", "ask") else clause_bearer(reason.policy, reason.code, reason.path)
    return _under_clause(reason.policy, reason.code, reason.path, words, facts, records, comparison, bearer)


def describe_cut(cut: Cut, policy: CompiledPolicy) -> Reason:
    """Return the reason for what was cut off a line; the steps of its arithmetic hold the numbers."""
    words = f"{KINDS[cut.code].text} {cut.words}."
    return _under_clause(policy, cut.code, cut.path, words, (), cut.records, None, cut.bearer)


def _under_clause(
    policy: CompiledPolicy,
    code: str,
    path: str,
    words: str,
    facts: Sequence[tuple[str, str]],
    records: Sequence[str],
    comparison: Comparison | None,
    bearer: str | None,
) -> Reason:
    clause = policy.clauses.get(path)
    return Reason(
        code=code,
        policy=policy.name,
        clause=clause.number if clause is not None else None,
        clause_text=clause.words(code) if clause is not None else None,
        clause_quoted=clause is not None and clause.quoted,
        words=words,
        facts=tuple(facts),
        records=tuple(records),
        comparison=comparison,
        bearer=bearer,  # type: ignore[arg-type]
    )


def _facts_of(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile, world: WorldResult
) -> tuple[Facts, list[str], Comparison | None]:
    if reason.code in ("hour_limit_passed", "term_elapsed", "outer_limit_passed", "worn_out", "every_limit_passed"):
        return limit_facts(reason, line, claim_file)
    if reason.code in BREACH_OF:
        return _service_facts(reason, line, claim_file, world)
    special = SPECIAL.get(reason.code)
    if special is not None:
        return special(reason, line, claim_file)
    return [("item", line.subject.line.item), ("component", line.subject.told or "not stated")], [], None


def _service_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile, world: WorldResult
) -> tuple[Facts, list[str], Comparison | None]:
    assert reason.measures is not None
    name = reason.path.removeprefix("services.")
    duty = reason.policy.terms.services[name]
    group = group_behind(reason, line)
    state = next(d for d in reason.measures.duties if d.duty == name and d.group == group.number)
    schedule = state.schedule
    breach = BREACH_OF[reason.code]
    at = reason.measures.hours_at_failure
    relative = None if at is None else at - schedule.start_hours
    failed = claim_file.claim.failed_on
    points = sure_points([p for b, p in state.breaches if b == breach], schedule, failed, world)
    told = [passed(p, schedule, state.visits, failed.toordinal(), relative) for p in points]
    if schedule.begins_open is not None:  # those that had fallen due wherever the schedule began
        told = [each for each in told if _after_window(each, relative, claim_file) is not None] or told
    points = [each.point for each in told]
    point = points[0]
    facts: Facts = [("due", "; ".join(each.words() for each in told))]
    refused = rejected_for(state, point, duty)
    inside = "; ".join(_dated(r) for r in refused if point.holds(r.visit))
    facts.append(("records in its window", inside or "none"))
    early = "; ".join(_dated(r) for r in refused if not point.holds(r.visit))
    if early:
        facts.append(("records before its window", early))
    nearest = _nearest(state, point, claim_file)
    if nearest:
        facts.append(("nearest", nearest))
    facts += absence_facts(state, points, claim_file)
    facts.append(("counts when", counts_words(duty)))
    if schedule.begins_open is not None:
        facts.append(("machine hours at the fitting", _open_hours(schedule.begins_open)))
    # Of a service that is missing, the visit that came after its window is not what the reason is about.
    done = set() if breach in ("missed", "not_activated") else {p.record for p in points if p.record is not None}
    records = sorted(done | {r.visit.record for r in refused})
    return facts, records, _after_window(told[0], relative, claim_file)


def _after_window(told: PassedPoint, hours: int | None, claim_file: ClaimFile) -> Comparison | None:
    """Return that the failure came after the window of a due point, by the limb whose window had closed first.

    Of a schedule whose beginning is open the window is told as it would close at the latest.
    """
    point, base = told.point, told.schedule.start_hours
    latest, quantity = base, "hours at failure after the window"
    if told.schedule.begins_open is not None:
        latest, quantity = told.schedule.begins_open.high, f"{quantity}, at the latest"
    by_hours = point.hours_closed_at(told.hours) or not point.days_closed_at(told.day)
    if by_hours and point.high_hours is not None and hours is not None and hours + base > point.high_hours + latest:
        return Comparison(quantity, hours_plain(hours + base), ">", hours_plain(point.high_hours + latest), "h")
    if point.high_day is None:
        return None
    failed, last = claim_file.claim.failed_on, date.fromordinal(point.high_day)
    return Comparison("day of failure after the window", failed.isoformat(), ">", last.isoformat(), "day")


def _open_hours(bounds: HoursBounds) -> str:
    """Return hours that are open with what they may be, and why: the records that contradict one another."""
    why = "" if bounds.fact is None else bounds.fact.words.partition(": ")[2]
    return f"{hours_range(bounds.low, bounds.high)}{f', for {why}' if why else ''}"


def _dated(refused: Rejected) -> str:
    return f"{refused.words} ({day_text(date.fromordinal(refused.visit.day))})"


def _nearest(state: DutyState, point: DuePoint, claim_file: ClaimFile) -> str:
    visit = nearest_visit(state, point)
    found = next((s for s in claim_file.services if visit is not None and s.record == visit.record), None)
    if found is None:
        return ""
    reading = "without a reading" if found.reading is None else f"at {hours_text(centihours(found.reading))}"
    return f"{found.record} {reading}, {day_text(found.on)}"


def _share_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del claim_file
    assert reason.measures is not None
    proration = reason.measures.prorations[line.subject.line.line]
    is_supposed = not wear_facts(reason, line) and any(axis.by == "wear" for axis in proration.axes)
    facts: Facts = [
        (SUPPOSED_WEAR, "none was measured")
        if is_supposed and axis.by == "wear"
        else (axis.by.replace("_", " "), f"{number_text(axis.at)}: {axis.words} = {axis.share}")
        for axis in proration.axes
    ]
    if proration.combine is not None:
        facts.append(("combined", proration.combine.replace("_", " ")))
    # Of supposed wear it is open what share it comes to.
    return facts, [], None if is_supposed else Comparison("paid share", str(proration.share), "<", "1", "share")


def _serial_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del claim_file
    assert reason.measures is not None
    removed, fitted, record = reason.measures.differing_serials[line.subject.line.line]
    return (
        [("removed", removed), ("on file as fitted", fitted)],
        [record],
        Comparison("serial", removed, "!=", fitted, "text"),
    )


def _symptom_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    assert reason.measures is not None
    symptom = claim_file.claim.symptom
    assert symptom is not None
    group, name = group_behind(reason, line), reason.path.removeprefix("services.")
    state = next(d for d in reason.measures.duties if d.duty == name and d.group == group.number)
    point = state.symptom_first
    assert point is not None
    record = next((s for s in claim_file.services if s.record == point.record), None)
    noted = day_text(symptom.on) + ("" if symptom.reading is None else f" at {hours_text(centihours(symptom.reading))}")
    done = "" if record is None else day_text(record.on)
    if record is not None and record.reading is not None:
        done += f" at {hours_text(centihours(record.reading))}"
    facts: Facts = [
        ("trouble noted", noted),
        ("overdue service", done),
        ("failure", day_text(claim_file.claim.failed_on)),
    ]
    return facts, [point.record] if point.record is not None else [], None


def _cause_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del line, claim_file
    assert reason.measures is not None
    return [("cause", (reason.measures.cause or "not stated").replace("_", " "))], [], None


def _before_term_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del claim_file
    group = group_behind(reason, line)
    return (
        [("start of term", f"{day_text(group.start)} ({group.start_words})")],
        [],
        Comparison("day", group.tested_day.isoformat(), "<", group.start.isoformat(), "day"),
    )


def _machine_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del line
    machine = claim_file.machine
    values = {
        "no_coverage_for_machine": ("model", machine.model),
        "model_not_named": ("model", machine.model),
        "serial_out_of_range": ("serial", machine.serial),
        "built_out_of_range": ("built on", day_text(machine.built_on)),
        "use_not_covered": ("use", machine.use or NOT_ON_FILE),
        "region_not_covered": ("region", machine.region or NOT_ON_FILE),
        "later_owner": ("owner", owner_words(machine, claim_file.claim.failed_on)),
    }
    return [("machine", machine.serial), values[reason.code]], [], None


def _in_force_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del line
    terms, by = reason.policy.terms, reason.policy.terms.in_force.selected_by
    told = NOT_ON_FILE
    if by == "start_of_term":
        begun = earliest_start(terms.term.starts, claim_file, reason.policy.conventions.month_end)
        told = told if begun is None else f"{day_text(begun[0])} ({begun[1]})"
    else:
        day = getattr(claim_file.claim, by) if by in CLAIM_DATES else event_on(by, claim_file.machine)  # type: ignore[arg-type]
        told = told if day is None else day_text(day)
    until = f" to {day_text(terms.in_force.until)}" if terms.in_force.until is not None else ""
    facts: Facts = [
        ("machine", claim_file.machine.serial),
        (by.removesuffix("_on").replace("_", " "), told),
        (f"{reason.policy.name} in force", f"from {day_text(terms.in_force.from_)}{until}"),
    ]
    return facts, [], None


def _alteration_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del claim_file
    assert reason.measures is not None
    found = [a for a in reason.measures.altered if a.line == line.subject.line.line]
    return (
        [("found", "; ".join(f"{a.record}: {a.kind.replace('_', ' ')}" for a in found))],
        [a.record for a in found],
        None,
    )


def _caused_facts(
    reason: PolicyReason, line: LineResult, claim_file: ClaimFile
) -> tuple[Facts, list[str], Comparison | None]:
    del reason, claim_file
    return [("ruined by", f"line {line.subject.line.caused_by}")], [], None


# What a reason shows beside its clause, by code.
SPECIAL: dict[str, Describe] = {
    "prorated": _share_facts,
    "prorated_to_nothing": _share_facts,
    "serial_differs": _serial_facts,
    "symptom_first": _symptom_facts,
    "excluded_cause": _cause_facts,
    "before_term": _before_term_facts,
    "no_version_in_force": _in_force_facts,
    "no_coverage_for_machine": _machine_facts,
    "model_not_named": _machine_facts,
    "serial_out_of_range": _machine_facts,
    "built_out_of_range": _machine_facts,
    "use_not_covered": _machine_facts,
    "region_not_covered": _machine_facts,
    "later_owner": _machine_facts,
    "part_altered": _alteration_facts,
    "part_of_other_make": _alteration_facts,
    "caused_by_covered_failure": _caused_facts,
}
