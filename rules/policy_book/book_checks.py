"""Faults of policies that only show beside one another: pins that lead nowhere, cycles, overlaps, unequal versions."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date

from rules.plain import day_text
from rules.policy_book.compiled import fall_backs
from rules.policy_book.values import listed, plain
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import AppliesTo, InForce
from schemas.quantities import VersionRef

Documents = Mapping[VersionRef, CoveragePolicy]


@dataclass(frozen=True, slots=True)
class BookFault:
    """A fault of a policy that only shows beside others: which version, which key, what, and the way out."""

    policy: VersionRef
    path: tuple[str | int, ...]
    message: str
    way_out: str = ""

    def __str__(self) -> str:
        at = ".".join(map(str, self.path))
        return f"{self.policy}:{f' {at}:' if at else ''} {self.message} {self.way_out}".rstrip()


def book_faults(
    policies: Sequence[CoveragePolicy], documents: Documents, conventions: Sequence[Conventions]
) -> tuple[BookFault, ...]:
    """Return every fault of these documents as a whole; ``documents`` holds each of ``policies`` by its version."""
    pinned = [VersionRef(c.conventions, c.version) for c in conventions]
    faults = [*_doubled([p.ref for p in policies]), *_doubled(pinned), *_missing(documents, set(pinned))]
    faults += _cycles(documents)
    faults += [*_unequal(documents), *_overlaps(documents), *_superseded(documents), *_out_of_reach(documents)]
    return tuple(faults)


def _doubled(refs: Sequence[VersionRef]) -> Iterator[BookFault]:
    for ref, times in sorted(Counter(refs).items()):
        if times > 1:
            yield BookFault(
                ref,
                ("version",),
                f"{times} documents say that they are this version.",
                "A published version is one document: give the newer one the next version number, or leave it out.",
            )


def _missing(documents: Documents, pinned: Set[VersionRef]) -> Iterator[BookFault]:
    for ref, policy in documents.items():
        if policy.conventions not in pinned:
            known = ", ".join(str(r) for r in sorted(pinned)) or "none"
            yield BookFault(
                ref,
                ("conventions",),
                f"the conventions {policy.conventions} are not in this book.",
                f"Add them, or pin others. Known: {known}.",
            )
        for path, target in fall_back_paths(policy):
            if target not in documents:
                yield BookFault(
                    ref,
                    path,
                    f"it falls back to {target}, which is not in this book.",
                    "Add that version, or fall back to one that is here.",
                )


def fall_back_paths(policy: CoveragePolicy) -> Iterator[tuple[tuple[str, ...], VersionRef]]:
    """Yield each fall-back of a policy with the path of the key that states it."""
    for name, duty in policy.services.items():
        for key in ("missed", "wrong_fluid"):
            target = getattr(getattr(duty, key), "fall_back_to", None)
            if target is not None:
                yield ("services", name, key, "fall_back_to"), target


def _cycles(documents: Documents) -> Iterator[BookFault]:
    for ref in sorted(documents):
        way = _way_back(ref, documents)
        if way:
            path = next(path for path, target in fall_back_paths(documents[ref]) if target == way[0])
            yield BookFault(
                ref,
                path,
                f"it falls back to itself: {' to '.join(str(step) for step in (ref, *way))}.",
                "A fall-back must end at a version that falls back no further.",
            )


def _way_back(ref: VersionRef, documents: Documents) -> tuple[VersionRef, ...]:
    """Return the shortest way of fall-backs from a version to itself, empty when there is none."""
    ways: list[tuple[VersionRef, ...]] = [(target,) for target in fall_backs(documents[ref])]
    seen: set[VersionRef] = set()
    for way in ways:
        if way[-1] == ref:
            return way
        if way[-1] in documents and way[-1] not in seen:
            seen.add(way[-1])
            ways += [(*way, target) for target in fall_backs(documents[way[-1]])]
    return ()


def _pairs(documents: Documents) -> Iterator[tuple[CoveragePolicy, CoveragePolicy]]:
    """Yield each two versions of one policy, the newer first."""
    for ref in sorted(documents):
        for other in sorted(documents):
            if other.name == ref.name and other.version < ref.version:
                yield documents[ref], documents[other]


def _unequal(documents: Documents) -> Iterator[BookFault]:
    for newer, older in _pairs(documents):
        if newer.currency != older.currency:
            yield BookFault(
                newer.ref,
                ("currency",),
                f"its amounts are in {newer.currency}, those of version {older.version} in {older.currency}.",
                "The versions of a policy share one currency: publish the other as a policy of another name.",
            )
        if newer.layer != older.layer:
            yield BookFault(
                newer.ref,
                ("layer",),
                f"its layer is {newer.layer}, that of version {older.version} is {older.layer}.",
                "The versions of a policy share one layer: publish the other as a policy of another name.",
            )
        both_govern = not (newer.in_force.only_as_fall_back or older.in_force.only_as_fall_back)
        apart_by_date = newer.in_force.selected_by != older.in_force.selected_by
        if both_govern and apart_by_date and older.version not in newer.supersedes:
            yield BookFault(
                newer.ref,
                ("in_force", "selected_by"),
                f"it is selected by {plain(newer.in_force.selected_by)}, version {older.version} by"
                f" {plain(older.in_force.selected_by)}: a machine could be held to both, or to neither.",
                f"Select all versions by one date, or let {newer.version} say that it supersedes {older.version}.",
            )
    for ref, policy in documents.items():
        for path, target in fall_back_paths(policy):
            if target in documents and documents[target].currency != policy.currency:
                yield BookFault(
                    ref,
                    path,
                    f"its amounts are in {policy.currency}, those of {target}, which it falls back to, in"
                    f" {documents[target].currency}.",
                    "Fall back to a version in the same currency.",
                )


def _overlaps(documents: Documents) -> Iterator[BookFault]:
    for newer, older in _pairs(documents):
        if older.version in newer.supersedes or newer.in_force.selected_by != older.in_force.selected_by:
            continue
        both_from = both_in_force_from(newer.in_force, older.in_force)
        if both_from is None or newer.in_force.only_as_fall_back or older.in_force.only_as_fall_back:
            continue
        spans = "; ".join(f"{p.version} {_span(p.in_force.from_, p.in_force.until)}" for p in (older, newer))
        first, second = (older, newer) if older.in_force.from_ <= newer.in_force.from_ else (newer, older)
        end = f"end version {first.version} before {day_text(second.in_force.from_)}"
        if first.in_force.from_ == second.in_force.from_:
            end = f"let version {newer.version} begin later and end version {older.version} before that day"
        yield BookFault(
            newer.ref,
            ("in_force",),
            f'versions {older.version} and {newer.version} of "{newer.policy}" are both in force on'
            f" {day_text(both_from)} ({spans}).",
            f"Each {plain(newer.in_force.selected_by)} must select one: {end} (a published version is closed: set"
            f" its end before publishing), or write in version {newer.version}: supersedes:"
            f" [{', '.join(map(str, sorted({*newer.supersedes, older.version})))}], by which it replaces version"
            f" {older.version} for every new decision, earlier machines included.",
        )


def both_in_force_from(one: InForce, other: InForce) -> date | None:
    """Return the first day on which both are in force, None where there is none."""
    first = max(one.from_, other.from_)
    ends = [day for day in (one.until, other.until) if day is not None]
    return None if ends and min(ends) < first else first


def _span(first: date, last: date | None) -> str:
    return f"from {day_text(first)}, no end" if last is None else f"from {day_text(first)} until {day_text(last)}"


def _superseded(documents: Documents) -> Iterator[BookFault]:
    for ref, policy in sorted(documents.items()):
        for version in policy.supersedes:
            if VersionRef(ref.name, version) not in documents:
                yield BookFault(
                    ref,
                    ("supersedes",),
                    f"it supersedes version {version}, which is not in this book.",
                    f"Add version {version}, so that its decisions can be replayed, or take it off the list.",
                )
    for newer, older in _pairs(documents):
        if (
            older.version in newer.supersedes
            and newer.in_force.only_as_fall_back
            and not older.in_force.only_as_fall_back
        ):
            yield BookFault(
                newer.ref,
                ("supersedes",),
                f"it supersedes version {older.version}, which governs machines, and is itself only a fall-back:"
                " nothing would govern them.",
                f"Take only_as_fall_back off, or take {older.version} off the list.",
            )
        both = sorted(set(newer.supersedes) & set(older.supersedes))
        if both and older.version not in newer.supersedes:
            numbers = listed(map(str, both))
            yield BookFault(
                newer.ref,
                ("supersedes",),
                f"it supersedes version {numbers}, and so does version {older.version}: two would replace one.",
                f"Let {newer.version} supersede {older.version} too, or take {numbers} off one of the two lists.",
            )


def _out_of_reach(documents: Documents) -> Iterator[BookFault]:
    for ref, policy in documents.items():
        for path, target in fall_back_paths(policy):
            if target in documents:
                why = apart(policy.applies_to, documents[target].applies_to)
                if why:
                    yield BookFault(
                        ref,
                        path,
                        f"it falls back to {target}, which never applies where this version does: {why}.",
                        "Fall back to a version whose applies_to reaches these machines and components.",
                    )


def apart(one: AppliesTo, other: AppliesTo) -> str:
    """Return why no line can be reached by both, empty when some line can."""
    if not any(_models_meet(a, b) for a in one.models for b in other.models):
        return f"it is about models {listed(other.models)}, not {listed(one.models)}"
    named = [a.components for a in (one, other)]
    if "whole_machine" not in named and not set(named[0]) & set(named[1]) - {*other.except_components}:
        return f"it is about the {listed(map(plain, named[1]))}, not the {listed(map(plain, named[0]))}"
    if not set(one.fitted) & set(other.fitted):
        return f"it is about components {listed(map(plain, other.fitted))}, not {listed(map(plain, one.fitted))}"
    for key, words in (("use", "use"), ("regions", "regions")):
        ours, theirs = getattr(one, key), getattr(other, key)
        if ours is not None and theirs is not None and not any(_within(a, b) for a in ours for b in theirs):
            return f"its {words} are {listed(theirs)}, not {listed(ours)}"
    return ""


def _models_meet(one: str, other: str) -> bool:
    if one.endswith("*") and other.endswith("*"):
        return one[:-1].startswith(other[:-1]) or other[:-1].startswith(one[:-1])
    if one.endswith("*"):
        return other.startswith(one[:-1])
    return one.startswith(other[:-1]) if other.endswith("*") else one == other


def _within(one: str, other: str) -> bool:
    """Return whether a machine can meet both: the same word, or a region inside the other (DE-BY in DE)."""
    return one == other or one.startswith(f"{other}-") or other.startswith(f"{one}-")
