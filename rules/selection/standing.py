"""Denials that stand whatever day the failure was: no version that may decide the line could pay it on any day.

They rest on the machine, the component, the kind of item, the cause or an alteration. The term, the services, the owner
on the day and what was fitted on it are judged by days and refuse nothing here.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from rules.history.machine_dates import has_days_in_doubt
from rules.measures.groups import own_parts
from rules.measures.starts import earliest_start
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.selection.components import possible_components
from rules.selection.reach import names_model, sure_refusal
from rules.selection.select import (
    Selected,
    Subject,
    component_refusal,
    typed_position,
)
from rules.settlement.tables import index_tables
from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.machine import Alteration
from schemas.policy.exclusions import Alterations, Consumables, ExcludedCauses, Exclusion, WearItems
from schemas.policy.pays import NotPaid

# Reason codes that no day plays a part in.
FREE_OF_DAYS = frozenset(
    (
        "no_coverage_for_machine",
        "serial_out_of_range",
        "built_out_of_range",
        "use_not_covered",
        "region_not_covered",
        "component_not_named",
        "model_not_named",
        "component_never_covered",
        "excluded_cause",
        "part_altered",
        "part_of_other_make",
        "wear_item",
        "consumable",
        "item_not_paid",
    )
)


@dataclass(frozen=True, slots=True)
class Standing:
    """One claim before the versions that may come to decide it, whatever its day of failure."""

    policies: tuple[CompiledPolicy, ...]
    claim_file: ClaimFile
    book: PolicyBook

    @classmethod
    def of(cls, book: PolicyBook, claim_file: ClaimFile, selected: Selected) -> "Standing":
        """Return the versions that ``selected`` names where no day of the claim selects them, else every version."""
        possible = list(_that_may_govern(book, claim_file, selected))
        return cls(book.with_fall_backs(possible), claim_file, book)

    def denied(self, line: str, through: frozenset[str] = frozenset()) -> bool:
        """Return whether a line stays denied on every day; ``through`` are the lines it is said to be ruined by."""
        typed = next(each for each in self.claim_file.claim.lines if each.line == line)
        possible = possible_components(typed, self.claim_file, index_tables(self.claim_file), self.book)
        subjects = [Subject(typed, component, None) for component in possible]
        return all(self._refuses(policy, subject, through) for policy in self.policies for subject in subjects)

    def _refuses(self, policy: CompiledPolicy, subject: Subject, through: frozenset[str]) -> bool:
        terms = policy.terms
        if sure_refusal(terms, self.claim_file) in FREE_OF_DAYS:
            return True
        if component_refusal(terms, subject) == "component_not_named":
            return True
        carve_out = next((c for c in terms.carve_outs if subject.component in c.components), None)
        if carve_out is not None and carve_out.never:
            return True
        if isinstance(terms.pays.rule_for(subject.line.item), NotPaid):
            return True
        return any(self._excludes(exclusion, subject, through) for exclusion in terms.exclusions)

    def _excludes(self, exclusion: Exclusion, subject: Subject, through: frozenset[str]) -> bool:
        match exclusion:
            case ExcludedCauses(causes=causes):
                return self.claim_file.claim.cause in causes
            case WearItems(wear=named, unless=unless) | Consumables(consumables=named, unless=unless):
                spared = unless != "never" and self._may_be_spared(subject.line, through)
                return subject.component in named and not spared
            case Alterations():
                found = self.claim_file.machine.alterations
                return any(_reaches(exclusion, alteration, subject, self.claim_file) for alteration in found)

    def _may_be_spared(self, line: ClaimLine, through: frozenset[str]) -> bool:
        """Return whether the failure said to have ruined it may be covered on some day."""
        cause = line.caused_by
        if cause is None or cause in through:
            return False
        return not self.denied(cause, through | {line.line})


def _reaches(exclusion: Alterations, alteration: Alteration, subject: Subject, claim_file: ClaimFile) -> bool:
    """Return whether an alteration reaches a line for sure.

    One that nobody has judged may have been made after the failure, whose day is not known, or not have caused it. Of
    several parts that were on the machine one after another, that day would say which one failed.
    """
    if alteration.kind not in exclusion.alterations or not alteration.caused_failure:
        return False
    if exclusion.reach != "altered_component":
        return True
    if subject.component != alteration.component:
        return False
    side = typed_position(subject.line, claim_file.claim, subject.component)
    if "none" not in (side, alteration.position) and side != alteration.position:
        return False
    parts = [part for part in claim_file.machine.components if alteration.component in own_parts(part)]
    return all(part.fitted_on is None and part.removed_on is None for part in parts)


def _that_may_govern(book: PolicyBook, claim_file: ClaimFile, selected: Selected) -> Iterator[CompiledPolicy]:
    known = {p.name for p in selected.policies}
    known |= {policy.name for policy, code in selected.refused if code != "no_version_in_force"}
    for versions in book.governing.values():
        governing = [p for p in versions if names_model(p.terms.applies_to.models, claim_file.machine.model)]
        if all(selected_without_the_claim(p, claim_file) for p in governing):
            yield from (p for p in governing if p.name in known)
        else:
            yield from governing


def selected_without_the_claim(policy: CompiledPolicy, claim_file: ClaimFile) -> bool:
    """Return whether an event on file, and no day of the claim, says if the version is in force."""
    selected_by, machine = policy.terms.in_force.selected_by, claim_file.machine
    begins = earliest_start(policy.terms.term.starts, claim_file, policy.conventions.month_end) is not None
    if selected_by == "start_of_term":
        return begins
    happened = (selected_by == "built" or selected_by in machine.events) and not has_days_in_doubt(machine)
    return happened and (begins or policy.terms.extends_earlier is None)
