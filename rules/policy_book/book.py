"""The policy book: every version of every policy, pinned by digest, without cycles or overlaps."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rules.policy_book.compiled import CompiledPolicy, compile_policy, fall_backs
from rules.rule_base.ruleset_check import check_ruleset
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.quantities import VersionRef


@dataclass(frozen=True, slots=True)
class BookFault:
    """A fault of a policy that only shows beside others: which version, which key, what, and the way out."""

    policy: VersionRef
    path: tuple[str | int, ...]
    message: str


class BookRefused(ValueError):
    """The policies do not make a book; ``faults`` lists everything that is wrong."""

    def __init__(self, faults: tuple[BookFault, ...]) -> None:
        super().__init__("\n".join(f"{f.policy}: {f.message}" for f in faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class PolicyBook:
    """Immutable; ``versions`` holds each policy's versions, oldest first."""

    versions: Mapping[str, tuple[CompiledPolicy, ...]]
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


def build_book(policies: Iterable[CoveragePolicy], conventions: Iterable[Conventions]) -> PolicyBook:
    """Return the book of these documents; raises BookRefused with every fault found."""
    documents = {p.ref: p for p in policies}
    pinned = {VersionRef(c.conventions, c.version): c for c in conventions}
    faults = [*_missing(documents, pinned), *_cycles(documents), *_overlaps(documents), *_superseded(documents)]
    if faults:
        raise BookRefused(tuple(faults))
    compiled: dict[VersionRef, CompiledPolicy] = {}
    for ref in _fall_backs_first(documents):
        document = documents[ref]
        digests = {r: p.digest for r, p in compiled.items()}
        compiled[ref] = compile_policy(document, pinned[document.conventions], digests)
        unsafe = check_ruleset(str(ref), compiled[ref].ruleset)
        faults += [BookFault(ref, (), f"its rules would not be safe to run: {fault}") for fault in unsafe]
    if faults:
        raise BookRefused(tuple(faults))
    names = sorted({ref.name for ref in compiled})
    versions = {name: tuple(compiled[ref] for ref in sorted(compiled) if ref.name == name) for name in names}
    return PolicyBook(versions, {str(ref): compiled[ref] for ref in sorted(compiled)})


def _missing(
    documents: Mapping[VersionRef, CoveragePolicy], pinned: Mapping[VersionRef, Conventions]
) -> list[BookFault]:
    faults = []
    for ref, policy in documents.items():
        if policy.conventions not in pinned:
            known = ", ".join(str(r) for r in sorted(pinned)) or "none"
            faults.append(
                BookFault(
                    ref, ("conventions",), f"conventions {policy.conventions} are not in this book. Known: {known}."
                )
            )
        faults += [
            BookFault(
                ref,
                ("services", *_service_of(policy, target)),
                f"it falls back to {target}, which is not in this book. Add that version, or fall back to one that is here.",
            )
            for target in fall_backs(policy)
            if target not in documents
        ]
    return faults


def _service_of(policy: CoveragePolicy, target: VersionRef) -> tuple[str, ...]:
    return next(
        (name,)
        for name, duty in policy.services.items()
        for c in (duty.missed, duty.wrong_fluid)
        if getattr(c, "fall_back_to", None) == target
    )


def _cycles(documents: Mapping[VersionRef, CoveragePolicy]) -> list[BookFault]:
    faults = []
    for ref in sorted(documents):
        path, waiting = [ref], list(fall_backs(documents[ref]))
        seen: set[VersionRef] = set()
        while waiting:
            target = waiting.pop()
            if target == ref:
                faults.append(
                    BookFault(
                        ref,
                        ("services",),
                        "it falls back to itself, directly or over other versions. A fall-back must end at a version that falls back no further.",
                    )
                )
                break
            if target in documents and target not in seen:
                seen.add(target)
                waiting += fall_backs(documents[target])
        del path
    return faults


def _overlaps(documents: Mapping[VersionRef, CoveragePolicy]) -> list[BookFault]:
    faults = []
    for ref in sorted(documents):
        for other in sorted(documents):
            if other.name != ref.name or other.version >= ref.version:
                continue
            newer, older = documents[ref], documents[other]
            if older.version in newer.supersedes or newer.in_force.selected_by != older.in_force.selected_by:
                continue
            later_start = max(newer.in_force.from_, older.in_force.from_)
            ends = [d for d in (newer.in_force.until, older.in_force.until) if d is not None]
            if ends and min(ends) < later_start:
                continue
            faults.append(
                BookFault(
                    ref,
                    ("in_force",),
                    f'versions {other.version} and {ref.version} of "{ref.name}" are both in force on {later_start}. Each'
                    f" {newer.in_force.selected_by.replace('_', ' ')} must select one: end version {other.version} before"
                    f" {later_start}, or let {ref.version} say that it supersedes {other.version}.",
                )
            )
    return faults


def _superseded(documents: Mapping[VersionRef, CoveragePolicy]) -> list[BookFault]:
    return [
        BookFault(ref, ("supersedes",), f"it supersedes version {version}, which is not in this book.")
        for ref, policy in documents.items()
        for version in policy.supersedes
        if VersionRef(ref.name, version) not in documents
    ]


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
