"""Policy directories: which documents are policies and conventions, the book they make, and what is published of it.

Policies and conventions are found by what they say, not by their file names. Case tables, reference tables and records
may lie beside them. The two ready-made sets of conventions need not be copied into a directory to be pinned.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Set
from contextlib import suppress
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from rules.cases.run import PolicySource
from rules.policy_book.book import BookRefused, PolicyBook, build_book
from rules.policy_book.values import listed
from schemas.conventions import Conventions
from schemas.documents import Fault, ParsedDocument, Tree, TreePath
from schemas.policy.document import CoveragePolicy
from schemas.quantities import parse_version_ref
from service.document_kinds import expect
from service.lock_file import (
    LOCK_NAME,
    Published,
    changed_since_publication,
    conventions_changed,
    conventions_ref,
    next_free,
    read_lock,
)
from service.shipped import READY_MADE_CONVENTIONS
from service.text_files import InputRefused, checked, document_files, read_document, refused, shown_path

_OTHER_DOCUMENTS = ("cases", "claims", "table", "claim", "serial", "record", "dealer", "$schema")
_VERSION = re.compile(r"[a-z][a-z0-9-]{0,79}@[1-9]\d{0,5}")
_NO_VERSION = re.compile(r'"([^"]*)" is not a version')
_PATH_PART = re.compile(r'\.?([A-Za-z_][\w-]*)|\[(\d+)\]|\[("(?:[^"\\]|\\.)*")\]')


@dataclass(frozen=True, slots=True)
class PolicyDirectory:
    """A book with the documents it was made of, by name@version, and the files that say something else.

    ``repeats``: documents that say what another one says, each with the version and the document that said it first.
    """

    book: PolicyBook
    documents: Mapping[str, ParsedDocument]
    passed_over: tuple[Path, ...]
    drafts: frozenset[str] = frozenset()  # versions that no lock file holds
    repeats: tuple[tuple[str, str, str], ...] = ()
    changed: tuple[Fault, ...] = ()  # published versions that changed, where they are shown all the same

    def fault(self, policy: str, path: TreePath | str, message: str, way_out: str = "") -> Fault:
        """Return a fault or warning about a policy, at its place in the file and with its clause."""
        steps = path_steps(path) if isinstance(path, str) else path
        return with_clause(self.documents[policy].fault(steps, message, way_out), self.documents[policy])


@dataclass(frozen=True, slots=True)
class _Found:
    policies: Mapping[str, tuple[CoveragePolicy, ParsedDocument]]
    conventions: Mapping[str, Conventions]
    passed_over: tuple[Path, ...]
    repeats: tuple[tuple[str, str, str], ...]


def load_policies(*places: Path, only: Set[str] | None = None, to_read: bool = False) -> PolicyDirectory:
    """Return the book of the policies in these files and directories, or of some of them, by name@version.

    Raises InputRefused with every fault: of the documents, of the book, and of versions that are published and changed;
    where the terms are only to be read, by a person, those are returned with it instead.
    """
    found = _find(places, only)
    if not found.policies:
        where = ", ".join(str(place) for place in places)
        raise refused(Path(where), "no policy is found here.", "A policy begins with `policy: name` and `version: 1`.")
    documents = {name: document for name, (_, document) in found.policies.items()}
    # Files named one by one may be a part: those that an old decision looked at, without what they superseded.
    whole = only is None and any(place.is_dir() for place in places)
    try:
        book = build_book([policy for policy, _ in found.policies.values()], found.conventions.values(), whole=whole)
    except BookRefused as error:
        raise InputRefused(_book_faults(error, found)) from error
    directory = PolicyDirectory(book, documents, found.passed_over, repeats=found.repeats)
    locks = lock_files(*places)
    faults = [fault for lock in locks for fault in _published_faults(directory, lock, places if only is None else ())]
    if faults and not to_read:
        raise InputRefused(faults)
    published = {name for lock in locks for name in read_lock(lock).policies}
    return replace(directory, drafts=frozenset(book.by_name) - published, changed=tuple(faults))


def lock_files(*places: Path) -> tuple[Path, ...]:
    """Return the lock files that speak about these places: inside them, beside them and in the directories above."""
    found: dict[Path, Path] = {}
    for place in places:
        below = sorted(place.rglob(LOCK_NAME)) if place.is_dir() else []
        above = [directory / LOCK_NAME for directory in place.resolve().parents]
        for lock in (*below, *(file for file in above if file.is_file())):
            found.setdefault(lock.resolve(), lock)
    return tuple(found.values())


def read_policy_source(*places: Path) -> PolicySource:
    """Return the policies and conventions found there, ready-made conventions included, as plain trees by name@version.

    The documents are not checked against their models here: the runner of cases changes them first.
    """
    policies: dict[str, dict[str, Any]] = {}
    conventions: dict[str, dict[str, Any]] = {}
    for file in document_files(*places, *conventions_beside(places)):
        tree = read_document(file).tree
        if not isinstance(tree, dict) or "version" not in tree:
            continue
        if "policy" in tree:
            policies.setdefault(f"{tree['policy']}@{tree['version']}", tree)
        elif "conventions" in tree:
            conventions.setdefault(f"{tree['conventions']}@{tree['version']}", tree)
    return PolicySource(policies, conventions)


def _find(places: Iterable[Path], only: Set[str] | None) -> _Found:
    policies: dict[str, tuple[CoveragePolicy, ParsedDocument]] = {}
    conventions: dict[str, tuple[Conventions, ParsedDocument]] = {}
    faults: list[Fault] = []
    passed_over = []
    repeats = []
    for file in document_files(*places):
        try:
            document = read_document(file)
        except InputRefused as error:
            faults += error.faults
            continue
        kind = _kind(document.tree)
        if kind == "policy" and only is not None and _name_of(document.tree) not in only:
            continue
        try:
            if kind == "policy":
                policy = checked(CoveragePolicy, document)
                faults += _twice(str(policy.ref), policies, document)
                if str(policy.ref) in policies:
                    repeats.append((document.name, str(policy.ref), policies[str(policy.ref)][1].name))
                policies.setdefault(str(policy.ref), (policy, document))
            elif kind == "conventions":
                own = checked(Conventions, document)
                name = f"{own.conventions}@{own.version}"
                faults += _twice(name, conventions, document)
                conventions.setdefault(name, (own, document))
            elif kind == "unknown":
                passed_over.append(file)
        except InputRefused as error:
            faults += [with_clause(fault, document) for fault in error.faults]
    if faults:
        raise InputRefused(list(_with_versions_meant(faults, tuple(places))))
    pinned = {name: one for name, (one, _) in conventions.items()}
    return _Found(
        policies, {**_pinned_elsewhere(places, policies, pinned), **pinned}, tuple(passed_over), tuple(repeats)
    )


def _with_versions_meant(faults: Iterable[Fault], places: Iterable[Path]) -> Iterator[Fault]:
    """Yield the faults; one about a version written without its number names the versions that may be meant."""
    for fault in faults:
        written = _NO_VERSION.match(fault.message)
        known: Iterable[str] = ()
        with suppress(InputRefused):  # a document beside it that cannot be read has a fault of its own
            source = read_policy_source(*places) if written is not None else PolicySource({}, {})
            known = source.conventions if fault.path.startswith("conventions") else source.policies
        near = [] if written is None else [name for name in known if name.rpartition("@")[0] == written[1]]
        near = near or ([] if written is None else get_close_matches(written[1], known, 1))
        if written is None or not near:
            yield fault
        else:
            message = f'"{written[1]}" is not a version, which is written name@version.'
            yield replace(fault, message=message, way_out=f"Did you mean {listed(sorted(near), 'or')}?")


def _name_of(tree: Tree) -> str:
    return f"{tree.get('policy')}@{tree.get('version')}" if isinstance(tree, dict) else ""


def _kind(tree: Tree) -> str:
    """Return what a document is: policy, conventions, another kind we know, or unknown."""
    if not isinstance(tree, dict):
        return "other"
    if "cases" in tree:
        return "other"
    if "policy" in tree or _looks_like(CoveragePolicy, tree):
        return "policy"
    if "conventions" in tree or _looks_like(Conventions, tree):
        return "conventions"
    return "other" if any(key in tree for key in _OTHER_DOCUMENTS) else "unknown"


def _looks_like(model: type[CoveragePolicy] | type[Conventions], tree: dict[str, Tree]) -> bool:
    """A document whose name is misspelt must not vanish: with half its keys it is what it looks like."""
    required = [field.alias or name for name, field in model.model_fields.items() if field.is_required()]
    return 2 * sum(key in tree for key in required) >= len(required)


def _twice(name: str, known: Mapping[str, tuple[Any, ParsedDocument]], document: ParsedDocument) -> list[Fault]:
    if name not in known or known[name][1].tree == document.tree:
        return []
    message = f"{name} stands in {known[name][1].name} too, and says something else there."
    return [document.fault(("version",), message, "Give one of the two another version, or remove it.")]


def _pinned_elsewhere(
    places: Iterable[Path], policies: Mapping[str, tuple[CoveragePolicy, ParsedDocument]], own: Iterable[str]
) -> dict[str, Any]:
    wanted = {str(policy.conventions) for policy, _ in policies.values()} - set(own)
    found: dict[str, Conventions] = {}
    for directory in conventions_beside(places) if wanted else ():
        for file in document_files(directory):
            document = read_document(file)
            if _kind(document.tree) == "conventions":
                one = checked(Conventions, document)
                found.setdefault(f"{one.conventions}@{one.version}", one)
    if not wanted <= set(found):
        return dict(found)  # the book is refused, and says which there are
    return {name: one for name, one in found.items() if name in wanted}


def conventions_beside(places: Iterable[Path]) -> Iterator[Path]:
    """Yield where pinned conventions may lie outside a place: in a folder conventions beside it, or ready-made."""
    for place in places:
        directory = place.resolve() if place.is_dir() else place.resolve().parent
        for beside in (directory / "conventions", directory.parent / "conventions"):
            if beside.is_dir():
                yield beside
    yield READY_MADE_CONVENTIONS


def _book_faults(error: BookRefused, found: _Found) -> Iterator[Fault]:
    for one in error.faults:
        if str(one.policy) in found.policies:
            document = found.policies[str(one.policy)][1]
            message = f"{one.policy}: {one.message}"
            yield with_clause(document.fault(tuple(one.path), message, one.way_out), document)
        else:  # about conventions
            yield Fault(str(one.policy), 1, None, "", one.message, one.way_out)


def _published_faults(directory: PolicyDirectory, lock: Path, places: Iterable[Path]) -> Iterator[Fault]:
    published: Published = read_lock(lock)
    yield from _changed_faults(directory, published, shown_path(lock))
    whole = any(place.is_dir() and lock.resolve().is_relative_to(place.resolve()) for place in places)
    for name in sorted(set(published.policies) - set(directory.book.by_name)) if whole else ():
        line = next(n for n, text in enumerate(lock.read_text(encoding="utf-8").splitlines(), 1) if f" {name} " in text)
        message = f"{name} is published, but its file is no longer here."
        way_out = "Put it back: decisions were made under it, and are made again in a replay."
        yield Fault(str(shown_path(lock)), line, None, "", message, way_out)


def _named_in(places: Iterable[Path]) -> set[str]:
    """Return the policy versions in these places by name@version; what cannot be read names none."""
    found = set()
    for file in document_files(*sorted(places)):
        with suppress(InputRefused):
            tree = read_document(file).tree
            if _kind(tree) == "policy" and _VERSION.fullmatch(_name_of(tree)):
                found.add(_name_of(tree))
    return found


def _changed_faults(directory: PolicyDirectory, published: Published, lock: Path) -> Iterator[Fault]:
    """Yield a fault for each changed version, and one for changed conventions, however many versions pin them."""
    book = directory.book
    by_conventions: dict[str, list[str]] = {}
    changed = changed_since_publication(book, published)
    # The numbers of versions that lie beside these are taken, though nobody looks at them now.
    beside = _named_in({Path(directory.documents[name].name).resolve().parent for name in changed})
    for name, message in changed.items():
        policy = book.by_name[name]
        if conventions_changed(policy, published):
            by_conventions.setdefault(conventions_ref(policy), []).append(name)
            continue
        free = next_free(policy.ref.name, {*book.by_name, *published.policies, *beside})
        way_out = (
            f"Put back the file as it was published (from a backup or version control; {lock} holds its digest), or"
            f" publish the change as {free}."
        )
        yield directory.fault(name, ("version",), message, way_out)
    for conventions, names in by_conventions.items():
        known = {conventions_ref(policy) for policy in book.by_name.values()}
        free = next_free(parse_version_ref(conventions).name, {*known, *published.conventions})
        pinned = f"{names[0]} is" if len(names) == 1 else f"{listed(names)} are"
        yield directory.fault(
            names[0],
            ("conventions",),
            f"{pinned} published, and the conventions {conventions} have changed since.",
            f"Put back the conventions as they were published (from a backup or version control; {lock} holds their"
            f" digest), or write the change as {free}, and pin it in a new version of the policies that need it.",
        )


def load_with_fall_backs(file: Path) -> tuple[PolicyDirectory, str]:
    """Return the book of one policy file with the versions it falls back to or replaces, found beside it, and its name.

    They are to be read by a person: published versions that changed are in it, and named as changed. Raises
    InputRefused with the faults of these alone: other policies in the directory play no part.
    """
    document, policy = read_policy(file)
    name = str(policy.ref)
    beside = read_policy_source(file.resolve().parent).policies
    wanted, waiting = {name}, [name]
    while waiting:
        tree = beside.get(waiting.pop(), document.tree)
        for target in (*_fall_backs_in(tree), *_superseded_in(tree)):
            if target not in wanted:
                wanted.add(target)
                waiting.append(target)
    return load_policies(file, file.parent, only=wanted, to_read=True), name


def read_policy(file: Path) -> tuple[ParsedDocument, CoveragePolicy]:
    """Return a file and the policy in it; raises InputRefused with every fault and its clause."""
    document = read_document(file)
    if _kind(document.tree) != "policy":
        expect("coverage terms", document)
        raise refused(file, "this is no policy.", "A policy begins with `policy: name` and `version: 1`.")
    try:
        return document, checked(CoveragePolicy, document)
    except InputRefused as error:
        faults = [with_clause(fault, document) for fault in error.faults]
        raise InputRefused(list(_with_versions_meant(faults, [file.resolve().parent]))) from error


def _fall_backs_in(tree: Any) -> Iterator[str]:
    if isinstance(tree, Mapping):
        for key, value in tree.items():
            if key == "fall_back_to":
                yield str(value)
            yield from _fall_backs_in(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from _fall_backs_in(value)


def _superseded_in(tree: Any) -> Iterator[str]:
    replaced = tree.get("supersedes") if isinstance(tree, Mapping) else None
    for number in replaced if isinstance(replaced, list) else ():
        yield f"{tree.get('policy')}@{number}"


def path_steps(path: str) -> TreePath:
    """Return a path as written, such as ``services.drive_oil`` or ``caps[0]``, in steps through a tree."""
    steps: list[str | int] = []
    for name, place, quoted in _PATH_PART.findall(path):
        steps.append(name or (int(place) if place else json.loads(quoted)))
    return tuple(steps)


def with_clause(fault: Fault, document: ParsedDocument) -> Fault:
    """Return the fault with the maker's number of the clause it stands in, where there is one."""
    node: Any = document.tree
    number = None
    for step in (*path_steps(fault.path), ""):
        if isinstance(node, dict) and isinstance(node.get("clause"), str):
            number = node["clause"]
        places: Any = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
        if step not in places:
            break
        node = node[step]
    return fault if number is None else replace(fault, path=f"{fault.path} (clause {number})")
