"""Notes beside the reasons: windows still open, late services that count again, readings set aside. They decide nothing."""

from collections.abc import Iterator

from rules.coverage import LineResult, WorldResult
from rules.decision.catalogue import KINDS
from rules.measures.duties import DutyState, point_words, schedule_for
from schemas.claim_file import ClaimFile
from schemas.decision import Reason


def notes_of(line: LineResult, world: WorldResult, claim_file: ClaimFile) -> tuple[Reason, ...]:
    """Return the notes of a line, in the published order."""
    found = [*_duty_notes(line, world, claim_file), *_history_notes(world), *_conversion_notes(line)]
    order = list(KINDS)
    return tuple(sorted(found, key=lambda n: (order.index(n.code), n.clause or "", n.words, n.records)))


def _note(
    code: str,
    words: str,
    records: tuple[str, ...] = (),
    policy: str | None = None,
    clause: str | None = None,
    text: str | None = None,
) -> Reason:
    return Reason(code, policy, clause, text, f"{KINDS[code].text} {words}".strip(), (), records, None, None)


def _duty_notes(line: LineResult, world: WorldResult, claim_file: ClaimFile) -> Iterator[Reason]:
    if line.view is None:
        return
    named = {line.view.candidate.name, line.view.payer.name}
    for measures in world.measures:
        if measures.policy.name not in named or line.subject.line.line not in measures.group_of_line:
            continue
        group = measures.group_of_line[line.subject.line.line]
        for duty in measures.duties:
            terms = measures.policy.terms.services[duty.duty]
            if duty.group != group.number or (terms.links and line.subject.component not in terms.links):
                continue
            clause = measures.policy.clauses[f"services.{duty.duty}"]
            schedule = schedule_for(terms, group, measures.policy, claim_file)
            for code, words, records in _point_notes(
                duty, lambda p, s=schedule: point_words(p, s), line, claim_file, schedule.start_hours
            ):  # type: ignore[misc]
                yield _note(code, words, records, measures.policy.name, clause.number, clause.words)


def _point_notes(
    duty: DutyState, words_of, line: LineResult, claim_file: ClaimFile, start_hours: int
) -> Iterator[tuple[str, str, tuple[str, ...]]]:  # type: ignore[no-untyped-def]
    assert line.view is not None
    at = line.view.measures.hours_at_failure
    day = claim_file.claim.failed_on.toordinal()
    for point in duty.points:
        if point.state == "open" and point.opened_at(day, None if at is None else at - start_hours):
            yield "window_open", f"Due at {words_of(point)}.", ()
        elif point.state == "early":
            yield "service_early", f"Due at {words_of(point)}.", (point.record,) if point.record else ()
        elif point.state == "booked":
            yield "service_booked", f"Due at {words_of(point)}.", ()
        elif point.state == "assumed":
            yield "records_open", f"Due at {words_of(point)}.", ()
    for point in duty.cured:
        yield "service_cured", f"Due at {words_of(point)}.", (point.record,) if point.record else ()
    for rejected in duty.recover_from:
        yield "dealer_fault_in_service", rejected.words, (rejected.visit.record,)
    for record in duty.late_papers:
        yield "papers_came_later", "", (record,)
    proofs = {s.record: s for s in claim_file.services}
    for point in duty.points:
        record = proofs.get(point.record or "")
        if record is not None and record.evidence and not {"dealer_invoice", "garage_invoice"} & set(record.evidence):
            yield "grade_of_evidence", ", ".join(e.replace("_", " ") for e in record.evidence), (record.record,)
        if record is not None and record.reading is None and point.state in ("met", "early"):
            yield "reading_inferred", "", (record.record,)


def _history_notes(world: WorldResult) -> Iterator[Reason]:
    for note in world.hours.timeline.notes:
        yield _note(note.code, note.words, note.records)


def _conversion_notes(line: LineResult) -> Iterator[Reason]:
    if line.view is None:
        return
    for code, words in line.view.allowance.notes:
        yield _note(code, words)
