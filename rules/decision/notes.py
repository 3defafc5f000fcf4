"""Notes beside the reasons: windows still open, late services that count again, readings set aside.

They decide nothing. What an open fact leaves in doubt is no note: those of a duty stand where every world has them.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from rules.decision.catalogue import KINDS
from rules.decision.merge import MergedLine
from rules.line_views import PolicyReason, WorldResult
from rules.measures.due_points import passed, point_words
from rules.measures.duties import Breach, DutyState, rejected_for, services_key
from rules.measures.groups import Group
from rules.measures.measure import Measures
from rules.measures.service_proof import unlisted
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.values import listed
from schemas.claim_file import ClaimFile
from schemas.decision import Reason
from schemas.policy.services import ServiceDuty

BEST_GRADE = "A"
NOTED: Mapping[Breach, str] = {  # not_activated is missing: a cover that never began is no matter for a note
    "missed": "Missing",
    "late": "Late",
    "wrong_fluid": "No fluid of the list on record",
    "wrong_hands": "Done by someone the coverage does not accept",
}


@dataclass(frozen=True, slots=True)
class Notebook:
    """The notes of one world; those of a duty are written once, however many lines they stand beside.

    ``others`` are all worlds of the claim; None: there are too many to say what holds in every one.
    """

    world: WorldResult
    claim_file: ClaimFile
    others: Sequence[WorldResult] | None = ()
    _of_duty: dict[tuple[int, str, int, str], tuple[Reason, ...]] = field(default_factory=dict)

    def notes_of(self, merged: MergedLine) -> list[Reason]:
        """Return the notes of a line, in no particular order."""
        line = merged.shown
        if line.view is None:
            return []
        timeline = self.world.hours[line.view.payer.name].timeline if line.view.payer.name in self.world.hours else None
        found = [_note(note.code, note.words, note.records) for note in (timeline.notes if timeline else ())]
        found += [
            _note(code, words)
            for code, words in line.view.allowance.notes
            if code != "typed_unchecked" or line.state != "deny"  # nothing was taken of a line that is denied
        ]
        if line.state == "deny" and not any(_is_of_services(reason) for reason in line.reasons):
            return found  # what the services did is beside the point of this denial
        named = (line.view.candidate.name, line.view.payer.name)
        return found + self._sure(merged, named, self._notes_in(self.world, merged, named))

    def _sure(self, merged: MergedLine, named: tuple[str, str], notes: list[Reason]) -> list[Reason]:
        """Return the notes that hold whatever the open facts are; that records are open is one of those facts."""
        if self.others is not None and len(self.others) == 1:
            return notes
        doubtful = {note for note in notes if note.code != "records_open"}
        sure = set[Reason]() if self.others is None else set(doubtful)
        for world in self.others or ():
            if not sure:
                break
            if world is not self.world:
                sure &= set(self._notes_in(world, merged, named))
        return [note for note in notes if note in sure or note not in doubtful]

    def _notes_in(self, world: WorldResult, merged: MergedLine, named: tuple[str, str]) -> list[Reason]:
        found, line = list[Reason](), merged.shown
        for measures in world.measures:
            group = measures.group_of_line.get(line.subject.line.line)
            if measures.policy.name not in named or group is None:
                continue
            for duty in measures.duties:
                links = measures.policy.terms.services[duty.duty].links
                if duty.group == group.number and (not links or line.subject.component in links):
                    notes = self._duty_notes(world, measures, duty)
                    may_change = (merged.facts or not merged.complete) and _may_change(
                        merged, measures.policy, duty.duty, group
                    )
                    found += [note for note in notes if note.code != "records_open"] if may_change else notes
        return found

    def _duty_notes(self, world: WorldResult, measures: Measures, duty: DutyState) -> tuple[Reason, ...]:
        key = (id(world), measures.policy.name, duty.group, duty.duty)
        if key not in self._of_duty:
            clause = measures.policy.clauses[f"services.{duty.duty}"]
            self._of_duty[key] = tuple(
                _note(code, words, records, measures.policy.name, clause.number)
                for code, words, records in self._written(measures, duty)
            )
        return self._of_duty[key]

    def _written(self, measures: Measures, duty: DutyState) -> Iterator[tuple[str, str, tuple[str, ...]]]:
        schedule = duty.schedule
        at, day = measures.hours_at_failure, self.claim_file.claim.failed_on.toordinal()
        relative = None if at is None else at - schedule.start_hours
        codes = {"early": "service_early", "booked": "service_booked", "assumed": "records_open"}
        for point in duty.points:
            records = (point.record,) if point.record is not None else ()
            if point.state == "open" and point.opened_at(day, relative):
                yield "window_open", f"Due at {point_words(point, schedule)}.", ()
            elif point.state in codes:
                yield codes[point.state], f"Due at {point_words(point, schedule)}.", records
        for point in duty.cured:
            records = (point.record,) if point.record is not None else ()
            told = passed(point, schedule, duty.visits, day, relative).words()
            yield "service_cured", f"Due at {told}.", records
        for rejected in duty.recover_from:
            code = "dealer_fault_in_service" if rejected.is_told else "dealer_work_not_told"
            yield code, f"{rejected.words}.", (rejected.visit.record,)
        for late in duty.late_papers:
            yield "papers_came_later", "", (late,)
        terms = measures.policy.terms.services[duty.duty]
        yield from _only_noted(terms, duty, day, relative)
        yield from self._evidence_notes(terms, duty)

    def _evidence_notes(self, terms: ServiceDuty, duty: DutyState) -> Iterator[tuple[str, str, tuple[str, ...]]]:
        records = {service.record: service for service in self.claim_file.services}
        for point in duty.points:
            service = records.get(point.record or "")
            if service is None:
                continue
            proven = [proof for proof in terms.proof if set(proof.all) <= set(service.evidence)]
            best = min(proven, key=lambda proof: (proof.grade, proof.all), default=None)
            if best is not None and best.grade != BEST_GRADE:
                words = ", ".join(evidence.replace("_", " ") for evidence in best.all)
                yield "grade_of_evidence", f"{words}, grade {best.grade}.", (service.record,)
            if self.claim_file.machine.has_meter and service.reading is None and point.state in ("met", "early"):
                yield "reading_inferred", "", (service.record,)
            fluids = unlisted(terms, service, self.claim_file)
            if fluids:
                words = f"{listed(fluids)} ({service.record}) was held against no list: none of fluids is on file."
                yield "typed_unchecked", words, (service.record,)


def _only_noted(
    terms: ServiceDuty, duty: DutyState, failed: int, hours: int | None
) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield what became of services whose consequence is a note, each with the records that do not count for it."""
    for breach, point in duty.breaches:
        if breach in NOTED and terms.consequence(of_wrong_fluid=breach == "wrong_fluid") == "note_only":
            refused = rejected_for(duty, point, terms)
            told = "".join(f"; {each.words}" for each in refused)
            done = () if breach == "missed" or point.record is None else (point.record,)
            records = tuple(sorted({*done, *(each.visit.record for each in refused)}))
            due = passed(point, duty.schedule, duty.visits, failed, hours).words()
            yield "service_noted", f"{NOTED[breach]}: due at {due}{told}.", records


def _may_change(line: MergedLine, policy: CompiledPolicy, duty: str, group: Group) -> bool:
    """Return whether records of a duty may change the line: they are asked for, or not every world was looked at."""
    key = services_key(policy, duty, group)
    return not line.complete or any(fact.key == key for fact in line.facts)


def _is_of_services(reason: PolicyReason) -> bool:
    """Return whether a reason of a denied line is about a service; what would hold the line says nothing of it."""
    return reason.path.startswith("services.") and reason.effect not in ("refer", "note")


def _note(
    code: str,
    words: str,
    records: tuple[str, ...] = (),
    policy: str | None = None,
    clause: str | None = None,
) -> Reason:
    return Reason(code, policy, clause, None, False, f"{KINDS[code].text} {words}".strip(), (), records, None, None)
