"""Words of a claim, its machine and its services that no policy at hand knows: mostly slips, and never refused.

Visits carry other work too, and policies name only the causes that they exclude: a task or a cause is told only where
it is almost a word that a policy names, and tasks also where no record carries one that is asked for. A component, a
use or a region that no policy names is told unless a policy covers them all; then, too, where it is almost one that is
named. So is a model, but one that a policy takes in by its beginning ("QF*") only where it is a named one written
otherwise (QF6O): its neighbours are models of their own.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from rules.policy_book.book import PolicyBook
from rules.selection.reach import is_part, names_model, region_in
from schemas.claim_file import ClaimFile
from schemas.reference_tables import PartComponentTable
from service.alike import meant, written_otherwise
from service.rendering.remarks import Remark

COMPONENT_KEYS = frozenset(("component", "components", "except_components", "links", "wear", "consumables"))


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words that the policies at hand know."""

    tasks: frozenset[str]
    components: frozenset[str]
    causes: frozenset[str]
    covers_whole_machines: bool
    models: frozenset[str]  # as the policies write them, those that end with * among them
    uses: frozenset[str]
    covers_every_use: bool
    regions: frozenset[str]
    covers_every_region: bool


def vocabulary_of(book: PolicyBook) -> Vocabulary:
    """Return the words that the policies of a book name."""
    tasks: set[str] = set()
    components: set[str] = set()
    causes: set[str] = set()
    for policy in book.by_name.values():
        document = policy.terms.model_dump(mode="json", by_alias=True)
        tasks |= set(_words(document, frozenset(("tasks",))))
        components |= set(_words(document, COMPONENT_KEYS))
        causes |= set(_words(document, frozenset(("causes",))))
    reaches = [policy.terms.applies_to for policy in book.by_name.values()]
    return Vocabulary(
        frozenset(tasks),
        frozenset(components),
        frozenset(causes),
        any(reach.components == "whole_machine" for reach in reaches),
        models=frozenset(model for reach in reaches for model in reach.models),
        uses=frozenset(use for reach in reaches for use in reach.use or ()),
        covers_every_use=any(reach.use is None for reach in reaches),
        regions=frozenset(region for reach in reaches for region in reach.regions or ()),
        covers_every_region=any(reach.regions is None for reach in reaches),
    )


def unknown_words(claim_file: ClaimFile, known: Vocabulary) -> list[Remark]:
    """Return a remark for each word that looks like a mistake, with the word that may be meant.

    What the policies ask for is listed for the desk alone: to the dealer it would be a recipe.
    """
    told = (_tasks, _components, _cause, _machine)
    return list(dict.fromkeys(remark for words in told for remark in words(claim_file, known)))


def _tasks(claim_file: ClaimFile, known: Vocabulary) -> Iterator[Remark]:
    carried = {task for record in claim_file.services for task in record.tasks}
    for record in claim_file.services:
        for task in sorted(set(record.tasks) - known.tasks):
            like = _meant(task, known.tasks)
            if like:
                words = f'service record {record.record}: no policy here asks for the task "{task}".{like}'
                yield Remark(words, for_dealer=True)
    if carried and known.tasks and not carried & known.tasks:
        asked = ", ".join(sorted(known.tasks))
        yield Remark(f"no service record carries a task that a policy here asks for; they ask for {asked}.")


def _components(claim_file: ClaimFile, known: Vocabulary) -> Iterator[Remark]:
    claim = claim_file.claim
    components = known.components | {
        row.component for table in claim_file.tables if isinstance(table, PartComponentTable) for row in table.rows
    }
    places = [(f"claim {claim.claim}", claim.component)]
    places += [(f"claim {claim.claim}, line {line.line}", line.component) for line in claim.lines]
    for place, component in places:
        if component is None or component in components:
            continue
        like = _meant(component, components)
        if like or not known.covers_whole_machines:
            yield Remark(f'{place}: no policy here names the component "{component}".{like}', for_dealer=True)


def _cause(claim_file: ClaimFile, known: Vocabulary) -> Iterator[Remark]:
    claim = claim_file.claim
    if claim.cause is not None and claim.cause not in known.causes:
        like = _meant(claim.cause, known.causes)
        if like:
            words = f'claim {claim.claim}: no policy here names the cause "{claim.cause}".{like}'
            yield Remark(words, for_dealer=True)


def _machine(claim_file: ClaimFile, known: Vocabulary) -> Iterator[Remark]:
    """Yield what the machine's own record says and no policy knows; the desk keeps that record, not the dealer."""
    machine = claim_file.machine
    place = f"machine {machine.serial}: no policy here names the"
    named = [model for model in known.models if not model.endswith("*")]
    if not names_model(tuple(known.models), machine.model):
        yield Remark(f'{place} model "{machine.model}".{_meant(machine.model, named)}')
    elif machine.model not in named and (other := written_otherwise(machine.model, named)) is not None:
        yield Remark(f'{place} model "{machine.model}" itself. Did you mean "{other}"?')
    if machine.use is not None and machine.use not in known.uses:
        like = _meant(machine.use, known.uses)
        if like or not known.covers_every_use:
            yield Remark(f'{place} use "{machine.use}".{like}')
    if machine.region is not None and not any(
        region_in(machine.region, one) or is_part(one, machine.region) for one in known.regions
    ):
        like = _meant(machine.region, known.regions)
        if like or not known.covers_every_region:
            yield Remark(f'{place} region "{machine.region}".{like}')


def _meant(word: str, known: Iterable[str]) -> str:
    other = meant(word, known)
    return f' Did you mean "{other}"?' if other is not None else ""


def _words(tree: Any, keys: frozenset[str]) -> Iterator[str]:
    """Yield the words that stand under these keys, wherever they are in a document."""
    if isinstance(tree, Mapping):
        for key, value in tree.items():
            if key in keys:
                yield from [value] if isinstance(value, str) else (v for v in value or () if isinstance(v, str))
            yield from _words(value, keys)
    elif isinstance(tree, list):
        for value in tree:
            yield from _words(value, keys)
