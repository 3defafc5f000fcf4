"""The policy book: every version of every policy, pinned by digest, without cycles or overlaps."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from rules.policy_book.book_checks import BookFault, book_faults
from rules.policy_book.compiled import CompiledPolicy, compile_policy, fall_backs
from rules.policy_book.version_days import that_may_govern
from rules.rule_base.ruleset_check import check_ruleset
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.quantities import VersionRef

__all__ = ["BookFault", "BookRefused", "PolicyBook", "build_book"]

_CLAUSE_PATH = re.compile(r" (term|carve_outs|services|exclusions|pays|prorating)(?:[\[.]([a-z0-9_]+))?")


class BookRefused(ValueError):
    """The policies do not make a book; ``faults`` lists everything that is wrong."""

    def __init__(self, faults: tuple[BookFault, ...]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = faults


@dataclass(frozen=True, slots=True, eq=False)
class PolicyBook:
    """Immutable; ``versions`` holds each policy's versions, oldest first.

    ``governing`` holds those that may govern by themselves: all but the ones that are in force only as a fall-back and
    those that another version supersedes. A book is equal to itself alone.
    """

    versions: Mapping[str, tuple[CompiledPolicy, ...]]
    governing: Mapping[str, tuple[CompiledPolicy, ...]]
    by_name: Mapping[str, CompiledPolicy]

    def policy(self, name: str) -> CompiledPolicy:
        """Return a version by name@version."""
        return self.by_name[name]

    def with_fall_backs(self, policies: Iterable[CompiledPolicy]) -> tuple[CompiledPolicy, ...]:
        """Return the policies and every version they can fall back to, each once."""
        found: dict[str, CompiledPolicy] = {}
        waiting = list(policies)
        while waiting:
            policy = waiting.pop()
            if policy.name not in found:
                found[policy.name] = policy
                waiting += [self.by_name[str(ref)] for ref in policy.falls_back_to]
        return tuple(found[name] for name in sorted(found))


def build_book(
    policies: Iterable[CoveragePolicy], conventions: Iterable[Conventions], *, whole: bool = True
) -> PolicyBook:
    """Return the book of these documents; raises BookRefused with every fault found.

    ``whole`` false: some versions of more, as for one old decision or one table of cases. What a version supersedes,
    and the versions that have the other days of a superseded one, may then lie elsewhere.
    """
    given = tuple(policies)
    documents = {p.ref: p for p in given}
    counted = tuple(conventions)
    if found := book_faults(given, documents, counted, whole=whole):
        raise BookRefused(found)
    pinned = {VersionRef(c.conventions, c.version): c for c in counted}
    faults: list[BookFault] = []
    compiled: dict[VersionRef, CompiledPolicy] = {}
    for ref in _fall_backs_first(documents):
        document = documents[ref]
        digests = {r: p.digest for r, p in compiled.items()}
        compiled[ref] = compile_policy(document, pinned[document.conventions], digests)
        unsafe = check_ruleset(str(ref), compiled[ref].ruleset)
        faults += [
            BookFault(
                ref,
                _path_of(fault.rule),
                f"its rules would not be safe to run: {fault.what}; {fault.limit}.",
                _way_out_of(fault.what),
            )
            for fault in unsafe
        ]
    if faults:
        raise BookRefused(tuple(faults))
    may_govern = {terms.ref for terms in that_may_govern(documents)}
    names = sorted({ref.name for ref in compiled})
    versions = {name: tuple(compiled[ref] for ref in sorted(compiled) if ref.name == name) for name in names}
    governing = {
        name: governing
        for name, each in versions.items()
        if (governing := tuple(p for p in each if p.ref in may_govern))
    }
    by_name = {str(ref): compiled[ref] for ref in sorted(compiled)}
    return PolicyBook(MappingProxyType(versions), MappingProxyType(governing), MappingProxyType(by_name))


def _path_of(rule: str) -> tuple[str | int, ...]:
    """Return the clause that a rule was made of, from the rule's name: code, clause path, and a mark."""
    found = _CLAUSE_PATH.search(rule)
    if found is None:
        return ()
    return (found[1],) if found[2] is None else (found[1], int(found[2]) if found[2].isdigit() else found[2])


def _way_out_of(what: str) -> str:
    """Return what an author can do about a fault of the compiled rules; of properties, only services name their own."""
    if "same hash" in what:
        return "Give one of the two services (to_…) another name."
    return "Split the policy into several, each with fewer clauses."


def _fall_backs_first(documents: Mapping[VersionRef, CoveragePolicy]) -> list[VersionRef]:
    order: list[VersionRef] = []

    def place(ref: VersionRef) -> None:
        if ref in order:
            return
        for target in fall_backs(documents[ref]):
            place(target)
        order.append(ref)

    for ref in sorted(documents):
        place(ref)
    return order
