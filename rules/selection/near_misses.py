"""Which coverages a line that none applies to has missed by the least: they are named in its refusal, each with why."""

from collections.abc import Iterator, Sequence
from functools import lru_cache

from rules.measures.starts import earliest_start
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.selection.reach import names_model
from rules.selection.select import LAYER_ORDER, Subject
from schemas.claim_file import ClaimFile

Refusal = tuple[CompiledPolicy, str]  # policy, reason code
FARTHEST = ("component_not_named", "no_coverage_for_machine")


def nearest_refusals(refused: Sequence[Refusal]) -> tuple[Refusal, ...]:
    """Return the refusals worth telling: every near miss, each under its own coverage.

    That a coverage does not name the component, or none names the machine, is told of one: where no coverage is near,
    of the one that reaches farthest. That one for other models names the component is told beside it.
    """
    near = tuple(refusal for refusal in refused if refusal[1] not in FARTHEST)
    if all(code == "model_not_named" for _, code in near):
        for code in FARTHEST:
            far = [policy for policy, why in refused if why == code]
            if far:
                return (*near, (min(far, key=_reach), code))
    return near


def _reach(policy: CompiledPolicy) -> tuple[int, int, str]:
    """Order coverages by how much they are for: the whole machine before named components, the base before the rest."""
    applies = policy.terms.applies_to
    return int(applies.components != "whole_machine"), -LAYER_ORDER.index(policy.terms.layer), policy.name


def of_other_models(
    book: PolicyBook, claim_file: ClaimFile, subject: Subject, refused: Sequence[Refusal]
) -> Iterator[Refusal]:
    """Yield the coverages that name the line's component by itself, and only for other models than the machine's.

    They are near where every coverage of the machine's own model leaves the component out. Those for whole machines
    name every component there is, and say nothing of this one.
    """
    if subject.component is not None and all(code == "component_not_named" for _, code in refused):
        for versions in _naming(book, claim_file.machine.model, subject.component):
            yield min(versions, key=lambda policy: _out_of_force(policy, claim_file)), "model_not_named"


@lru_cache(maxsize=1024)
def _naming(book: PolicyBook, model: str, component: str) -> tuple[tuple[CompiledPolicy, ...], ...]:
    found = []
    for versions in book.governing.values():
        if not any(names_model(policy.terms.applies_to.models, model) for policy in versions):
            found.append(tuple(policy for policy in versions if component in _named(policy)))
    return tuple(naming for naming in found if naming)


def _named(policy: CompiledPolicy) -> Sequence[str]:
    applies = policy.terms.applies_to
    return () if applies.components == "whole_machine" else applies.components


def _out_of_force(policy: CompiledPolicy, claim_file: ClaimFile) -> tuple[int, int]:
    """Order versions by how far the start of term lies from their time in force; where that is not on file the last."""
    begun = earliest_start(policy.terms.term.starts, claim_file, policy.conventions.month_end)
    return policy.terms.in_force.days_from(begun[0]) if begun is not None else 0, -policy.ref.version
