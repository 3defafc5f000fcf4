"""Faults of policies that only show beside one another: pins that lead nowhere, cycles, overlaps, unequal versions."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass
from datetime import timedelta
from difflib import get_close_matches

from rules.plain import day_text
from rules.policy_book.compiled import fall_backs
from rules.policy_book.values import listed, plain
from rules.policy_book.version_days import Documents, both_in_force_from, days_left_out, span_in_force, that_may_govern
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import AppliesTo
from schemas.quantities import VersionRef


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
    policies: Sequence[CoveragePolicy], documents: Documents, conventions: Sequence[Conventions], *, whole: bool
) -> tuple[BookFault, ...]:
    """Return every fault of these documents beside one another; ``documents`` holds each of ``policies`` by version.

    ``whole``: every version that belongs with these is here.
    """
    pinned = [VersionRef(c.conventions, c.version) for c in conventions]
    faults = [*_doubled([p.ref for p in policies]), *_doubled(pinned), *_missing(documents, set(pinned))]
    faults += _cycles(documents)
    faults += [*_unequal(documents), *_overlaps(documents), *_superseded(documents)]
    if whole:
        faults += [*_superseded_elsewhere(documents), *_days_left_out(documents)]
    faults += _out_of_reach(documents)
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
                    f"Add that version, or fall back to one that is here.{_meant(target, documents)}",
                )


def _meant(target: VersionRef, known: Iterable[VersionRef]) -> str:
    """Return the versions of that name, else the nearest, as a question behind a way out; empty where none is near."""
    of_name = sorted(ref for ref in known if ref.name == target.name)
    near = [str(ref) for ref in of_name] or get_close_matches(str(target), sorted(map(str, known)), 1)
    return f" Did you mean {listed(near, 'or')}?" if near else ""


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
    governing = {terms.ref for terms in that_may_govern(documents)}
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
        apart_by_date = newer.in_force.selected_by != older.in_force.selected_by
        if apart_by_date and {newer.ref, older.ref} <= governing:
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
    governing = {terms.ref for terms in that_may_govern(documents)}
    for newer, older in _pairs(documents):
        if not {newer.ref, older.ref} <= governing or newer.in_force.selected_by != older.in_force.selected_by:
            continue
        both_from = both_in_force_from(newer.in_force, older.in_force)
        if both_from is None:
            continue
        spans = "; ".join(f"{p.version} {span_in_force(p.in_force.from_, p.in_force.until)}" for p in (older, newer))
        yield BookFault(
            newer.ref,
            ("in_force",),
            f'versions {older.version} and {newer.version} of "{newer.policy}" are both in force on'
            f" {day_text(both_from)} ({spans}).",
            f"Each {plain(newer.in_force.selected_by)} must select one. {_one_after_the_other(newer, older)}",
        )


def _one_after_the_other(newer: CoveragePolicy, older: CoveragePolicy) -> str:
    """Return the ways out for two versions in force at once: one for each kind of change, and for a closed version."""
    first, second = (older, newer) if older.in_force.from_ <= newer.in_force.from_ else (newer, older)
    if first.in_force.from_ == second.in_force.from_:
        end = f"let version {newer.version} begin later and end version {older.version} before that day"
        closed = f"a copy of version {older.version} with that end"
    else:
        last = second.in_force.from_ - timedelta(days=1)
        end = f"end version {first.version} before {day_text(second.in_force.from_)} (until: {last.isoformat()})"
        closed = f"a copy of version {first.version} with that end"
    numbers = ", ".join(map(str, sorted({*newer.supersedes, older.version})))
    begin = min(newer.in_force.from_, older.in_force.from_).isoformat()
    return (
        f"Where earlier machines keep version {older.version}: {end}; if it is published, and so closed, publish"
        f" {closed} as a version of its own that supersedes it. Where version {newer.version} is for them too: write in"
        f" it supersedes: [{numbers}] and in_force: {{from: {begin}, …}}, and it replaces version {older.version} for"
        " every new decision."
    )


def _superseded(documents: Documents) -> Iterator[BookFault]:
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


def _superseded_elsewhere(documents: Documents) -> Iterator[BookFault]:
    for ref, policy in sorted(documents.items()):
        for version in policy.supersedes:
            if VersionRef(ref.name, version) not in documents:
                yield BookFault(
                    ref,
                    ("supersedes",),
                    f"it supersedes version {version}, which is not in this book.",
                    f"Add version {version}, so that its decisions can be replayed, or take it off the list.",
                )


def _days_left_out(documents: Documents) -> Iterator[BookFault]:
    """Yield the versions that supersede one and begin so late that days of it are left to no version at all."""
    governing = {terms.ref for terms in that_may_govern(documents)}
    for newer, older in _pairs(documents):
        if older.version not in newer.supersedes or newer.ref not in governing or older.in_force.only_as_fall_back:
            continue
        for first, last in days_left_out(older, documents):
            if last is None or last >= newer.in_force.from_:
                continue  # after the end that the newer one states, which is warned of
            yield BookFault(
                newer.ref,
                ("supersedes",),
                f"it supersedes version {older.version}, which was in force {span_in_force(first, last)}, and no other"
                f" version is in force then: a machine or claim whose {plain(newer.in_force.selected_by)} lies there"
                " would lose its cover.",
                f"Let version {newer.version} begin on {first.isoformat()}, if it is for them too; else take"
                f" {older.version} off the list.",
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
