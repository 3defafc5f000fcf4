"""Words of a claim and its service records that no policy at hand knows: mostly typing mistakes, and never refused.

Visits carry other work too, and policies name only the causes that they exclude: a task or a cause is told only where
it is almost a word that a policy names, and tasks also where no record carries one that is asked for. A component that
no policy names is told unless a policy covers the whole machine.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from rules.policy_book.book import PolicyBook
from schemas.claim_file import ClaimFile
from schemas.reference_tables import PartComponentTable
from service.rendering.remarks import Remark

COMPONENT_KEYS = frozenset(("component", "components", "except_components", "links", "wear", "consumables"))
CLOSE = 0.75  # how alike two words are before one is taken for the other mistyped, from 0 to 1


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words that the policies at hand know."""

    tasks: frozenset[str]
    components: frozenset[str]
    causes: frozenset[str]
    covers_whole_machines: bool


def vocabulary_of(book: PolicyBook) -> Vocabulary:
    """Return the tasks, components and causes that the policies of a book name."""
    tasks: set[str] = set()
    components: set[str] = set()
    causes: set[str] = set()
    for policy in book.by_name.values():
        document = policy.terms.model_dump(mode="json", by_alias=True)
        tasks |= set(_words(document, frozenset(("tasks",))))
        components |= set(_words(document, COMPONENT_KEYS))
        causes |= set(_words(document, frozenset(("causes",))))
    whole = any(policy.terms.applies_to.components == "whole_machine" for policy in book.by_name.values())
    return Vocabulary(frozenset(tasks), frozenset(components), frozenset(causes), whole)


def unknown_words(claim_file: ClaimFile, known: Vocabulary) -> list[Remark]:
    """Return a remark for each word that looks like a mistake, with the word that may be meant.

    What the policies ask for is listed for the desk alone: to the dealer it would be a recipe.
    """
    return list(
        dict.fromkeys((*_tasks(claim_file, known), *_components(claim_file, known), *_cause(claim_file, known)))
    )


def _tasks(claim_file: ClaimFile, known: Vocabulary) -> Iterator[Remark]:
    carried = {task for record in claim_file.services for task in record.tasks}
    for record in claim_file.services:
        for task in sorted(set(record.tasks) - known.tasks):
            meant = _meant(task, known.tasks)
            if meant:
                words = f'service record {record.record}: no policy here asks for the task "{task}".{meant}'
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
        meant = _meant(component, components)
        if meant or not known.covers_whole_machines:
            yield Remark(f'{place}: no policy here names the component "{component}".{meant}', for_dealer=True)


def _cause(claim_file: ClaimFile, known: Vocabulary) -> Iterator[Remark]:
    claim = claim_file.claim
    if claim.cause is not None and claim.cause not in known.causes:
        meant = _meant(claim.cause, known.causes)
        if meant:
            words = f'claim {claim.claim}: no policy here names the cause "{claim.cause}".{meant}'
            yield Remark(words, for_dealer=True)


def _meant(word: str, known: Iterable[str]) -> str:
    close = get_close_matches(word, sorted(known), n=1, cutoff=CLOSE)
    return f' Did you mean "{close[0]}"?' if close else ""


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
