"""Two policy versions side by side, clause by clause: what changed, in the words in which the terms are shown.

A change of one key is told by the sentences that it alters. Clauses of a list (carve-outs, exclusions, caps) are the
same clause when they carry the same number, or say the same under another number; items go by name, and services by
name, else by number or words like the clauses of a list: a service may be called by another name.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from rules.plain import day_text
from rules.policy_book.compiled import each_clause
from rules.policy_book.convention_words import convention_sentences
from rules.policy_book.show import LAYERS
from rules.policy_book.term_words import applies_to_sentences, in_force_words
from rules.policy_book.values import Told, listed, plain
from rules.policy_book.wording import told_of
from schemas.conventions import Conventions
from schemas.policy.clause import Clause
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import AppliesTo, CarveOut

NOTHING = "nothing"
HEAD = {  # keys that stand under no clause, in the order of the document, and how they are called
    "policy": "name of the policy",
    "version": "number of the version",
    "title": "title",
    "layer": "kind of coverage",
    "conventions": "conventions it is counted by",
    "currency": "currency",
    "in_force": "days in force",
    "supersedes": "versions it replaces",
    "extends_earlier": "machines of earlier versions",
    "source": "the maker's document",
    "owner_class": "owners",
}
PARTS = {
    "applies_to": "which machines and parts",
    "term": "term",
    "carve_outs": "period of its own",
    "prorating": "share paid",
    "exclusions": "exclusion",
    "deductible": "deductible",
    "caps": "cap",
}
LISTS = ("carve_outs", "exclusions", "caps")


@dataclass(frozen=True, slots=True)
class ClauseChange:
    """One difference: the clause's number on either side (None: it has none), the keys, and both in words."""

    clause_before: str | None
    clause_after: str | None
    path: str
    before: str
    after: str


class Comparable(Protocol):
    """A version with its conventions; what it falls back to plays no part."""

    @property
    def name(self) -> str: ...
    @property
    def terms(self) -> CoveragePolicy: ...
    @property
    def conventions(self) -> Conventions: ...


def diff_policies(before: Comparable, after: Comparable) -> tuple[ClauseChange, ...]:
    """Return every difference between two versions, of one policy or of two, their conventions included.

    Empty exactly when terms and conventions are the same.
    """
    changes = [*_head(before.terms, after.terms), *_clauses(before.terms, after.terms)]
    return (*changes, *_conventions(before.conventions, after.conventions))


def diff_text(before: Comparable, after: Comparable) -> str:
    """Return the differences as text: where, in words and by key, and what either version says."""
    changes = diff_policies(before, after)
    lines = [f"{before.name} and {after.name}: {_counted(len(changes))}"]
    for change in changes:
        numbers = [n for n in (change.clause_before, change.clause_after) if n is not None]
        each = list(dict.fromkeys(numbers))
        clause = f"clause{'s' if len(each) > 1 else ''} {listed(each)}, " if each else ""
        place = _place_words(change.path)
        key = "" if place == change.path else f" ({change.path})"
        lines += ["", f"{clause}{place}{key}", f"  before: {change.before}", f"  after:  {change.after}"]
    return "\n".join([*lines, ""])


def _place_words(path: str) -> str:
    """Return the paths of a difference in words: drive oil service, window."""
    first, *others = path.split(" and ")
    keys = [_key_words(other.rpartition(".")[2]) for other in others]
    return listed([_one_place(first), *keys])


def _one_place(path: str) -> str:
    part, *names = path.split(".")
    name = part.partition("[")[0]
    if path in HEAD:
        return HEAD[path]
    if path in LISTS:
        return f"order of {path.replace('_', '-')}"
    if part in ("services", "pays"):
        called = plain(names.pop(0))
        words = f"{called} service" if part == "services" and called != "service" else called
    else:
        words = PARTS.get(name, name)
    return ", ".join([words, *map(_key_words, names)])


def _key_words(key: str) -> str:
    return {"clause": "number", "text": "the maker's words"}.get(key, plain(key))


def _counted(number: int) -> str:
    return "no difference" if number == 0 else "1 difference" if number == 1 else f"{number} differences"


def _head(before: CoveragePolicy, after: CoveragePolicy) -> Iterator[ClauseChange]:
    for name in HEAD:
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            yield ClauseChange(None, None, name, _head_words(name, old), _head_words(name, new))


def _head_words(name: str, value: Any) -> str:
    if value is None or value == ():
        return NOTHING
    match name:
        case "in_force":
            return in_force_words(value)
        case "supersedes":
            return listed(f"version {number}" for number in value)
        case "extends_earlier":
            return f"machines whose term started on or after {day_text(value.started_from)} get the better version"
        case "source":
            return f"{value.document}, edition {value.edition}"
        case "layer":
            return LAYERS[value]
        case "conventions":
            return f"{value.name}, version {value.version}"
        case "owner_class":
            return f"the promise is made to {value} owners"
        case _:
            return str(value)


Paired = tuple[str, str, Any, Any]  # paths and clauses before and after; one of the two clauses may be None


def _clauses(before: CoveragePolicy, after: CoveragePolicy) -> Iterator[ClauseChange]:
    pairs = _pairs(_models(before), _models(after))
    for path, path_after, old, new in pairs:
        if path.startswith("services.") and path != path_after:  # of lists, the place alone is told as their order
            yield ClauseChange(old.clause, new.clause, path, *(_called(each) for each in (path, path_after)))
        if old == new and before.currency == after.currency:
            continue
        if old is None or new is None or type(old) is not type(new) or isinstance(old, CarveOut):
            yield from _whole(path, old, new, before, after)
        else:
            yield from _fields(path, old, new, before, after)
    for name in LISTS:
        kept = [(old, new) for path, _, old, new in pairs if path.startswith(f"{name}[") and old and new]
        new_order = [new for clause in getattr(after, name) for _, new in kept if new is clause]
        if [new for _, new in kept] != new_order:
            orders = ([old.clause for old, _ in kept], [new.clause for new in new_order])
            yield ClauseChange(None, None, name, *(f"in the order {listed(order)}" for order in orders))


def _models(terms: CoveragePolicy) -> dict[str, Clause | AppliesTo]:
    """Return every clause by its path; applies_to as the model it is."""
    return {path: terms.applies_to if path == "applies_to" else clause for path, clause in each_clause(terms)}


def _pairs(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Paired]:
    """Return the clauses that belong together, in the order of the document."""
    pairs: list[Paired] = []
    for path in (*before, *(path for path in after if path not in before)):
        other_name = path.startswith("services.") and not (path in before and path in after)
        if path.partition("[")[0] not in LISTS and not other_name:
            pairs.append((path, path, before.get(path), after.get(path)))
    for name in ("services.", *(f"{name}[" for name in LISTS)):
        named = {pair[0] for pair in pairs}
        old = {p: c for p, c in before.items() if p.startswith(name) and p not in named}
        new = {p: c for p, c in after.items() if p.startswith(name) and p not in named}
        for alike in (_same_number, _same_words):
            for path in list(old):
                match = next((p for p in new if alike(old[path], new[p])), None)
                if match is not None:
                    pairs.append((path, match, old.pop(path), new.pop(match)))
        pairs.sort(key=lambda pair: list(before).index(pair[0]) if pair[0] in before else len(before))
        pairs += [(path, path, clause, None) for path, clause in old.items()]
        pairs += [(path, path, None, clause) for path, clause in new.items()]
    return pairs


def _called(path: str) -> str:
    return f"called {path.removeprefix('services.')}"


def _same_number(one: Clause, other: Clause) -> bool:
    return one.clause == other.clause


def _same_words(one: Clause, other: Clause) -> bool:
    return one.model_copy(update={"clause": other.clause}) == other


def _whole(path: str, old: Any, new: Any, before: CoveragePolicy, after: CoveragePolicy) -> Iterator[ClauseChange]:
    if old == new:
        return
    numbers = (None if old is None else old.clause, None if new is None else new.clause)
    words = [
        NOTHING
        if clause is None
        else " ".join([*(words for _, words in _sentences(path, clause, terms)), *_quoted(clause)])
        for clause, terms in ((old, before), (new, after))
    ]
    if words[0] == words[1]:  # the number alone changed
        words = [f"clause {numbers[0]}", f"clause {numbers[1]}"]
    yield ClauseChange(*numbers, path, *words)


def _fields(path: str, old: Any, new: Any, before: CoveragePolicy, after: CoveragePolicy) -> Iterator[ClauseChange]:
    """Tell two clauses of one kind apart key by key; keys that alter the same sentences are one difference."""
    found: dict[tuple[str, str], list[str]] = {}
    for name, info in type(old).model_fields.items():
        value = getattr(new, name)
        if value == getattr(old, name):
            continue
        if name == "clause":
            words = (f"clause {old.clause}", f"clause {new.clause}")
        elif name == "text":
            words = (" ".join(_quoted(old)) or NOTHING, " ".join(_quoted(new)) or NOTHING)
        else:
            words = _of_key(path, old, new, name, (before, after))
        found.setdefault(words, []).append(f"{path}.{info.alias or name}")
    for words, paths in found.items():
        yield ClauseChange(old.clause, new.clause, " and ".join(paths), *words)


def _of_key(path: str, old: Any, new: Any, name: str, terms: tuple[CoveragePolicy, CoveragePolicy]) -> tuple[str, str]:
    """Return what either version says where one key makes a difference: sentences of the two, never of a mixture."""
    said, says = (_sentences(path, one, of) for one, of in zip((old, new), terms, strict=True))
    alone = _sentences(path, old.model_copy(update={name: getattr(new, name)}), terms[0])
    about = {what for what, _ in set(said) ^ set(alone)}
    words = _told([s for what, s in said if what in about], [s for what, s in says if what in about])
    # Two keys that only speak together, or that make up for one another.
    return words if words != (NOTHING, NOTHING) else _told([s for _, s in said], [s for _, s in says])


def _sentences(path: str, clause: Any, terms: CoveragePolicy) -> list[Told]:
    return list(applies_to_sentences(clause) if isinstance(clause, AppliesTo) else told_of(path, clause, terms))


def _quoted(clause: Any) -> list[str]:
    text = getattr(clause, "text", None)
    return [] if text is None else [f'"{text}"']


def _told(before: Sequence[str], after: Sequence[str]) -> tuple[str, str]:
    """Return the sentences that stand on one side only."""
    old = " ".join(words for words in before if words not in after)
    new = " ".join(words for words in after if words not in before)
    return old or NOTHING, new or NOTHING


def _conventions(old: Conventions, new: Conventions) -> Iterator[ClauseChange]:
    said = list(convention_sentences(old))
    for name in type(old).model_fields:
        value = getattr(new, name)
        if value == getattr(old, name):
            continue
        if name in ("conventions", "version", "title"):
            words = (str(getattr(old, name)), str(value))
        else:
            changed = old.model_copy(update={name: value})
            words = _told(said, list(convention_sentences(changed)))
        yield ClauseChange(None, None, f"conventions.{name}", *words)
