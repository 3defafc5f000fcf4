"""A policy version made ready: clauses by path, hour thresholds, the ruleset, and the digest that pins it all."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Literal, get_args

from pydantic import BaseModel

from rules.policy_book.values import Told
from rules.policy_book.wording import cited_sentences, reason_sentences
from rules.rule_base.compiler import compile_ruleset
from schemas.canonical import Canonical, digest
from schemas.conventions import Conventions
from schemas.policy.clause import Clause, Limits
from schemas.policy.document import CoveragePolicy
from schemas.policy.prorating import Curve, Decline, Item, OwnerPrices, Points, Steps
from schemas.policy.services import FallBack
from schemas.quantities import Tolerance, VersionRef, centihours

Change = Literal["just_past", "from_there_on", "bends"]


@dataclass(frozen=True, slots=True)
class CitedClause:
    """A clause as a reason cites it: in the maker's own words, else in sentences of the program's own."""

    path: str
    number: str
    text: str | None  # the maker's own words
    sentences: tuple[Told, ...]

    @property
    def quoted(self) -> bool:
        """Whether its words are the maker's own."""
        return self.text is not None

    def words(self, code: str) -> str:
        """Return the maker's own words, or what the clause says and a reason of ``code`` rests on."""
        return self.text if self.text is not None else reason_sentences(code, self.sentences)


@dataclass(frozen=True, slots=True, eq=False)
class CompiledPolicy:
    """One policy version with its pinned conventions; immutable, and equal when the digest is."""

    ref: VersionRef
    name: str  # name@version
    terms: CoveragePolicy
    conventions: Conventions
    digest: str
    clauses: Mapping[str, CitedClause]  # by path, such as term or services.drive_oil
    rules_of_items: Mapping[str, tuple[str, Any]]  # path and rule of each kind of item
    ruleset: Mapping[str, Any]
    hour_thresholds: tuple[int, ...]  # hundredths of an hour at which something changes, schedules apart
    counts_component_hours: bool
    counts_wear: bool  # a term or share depends on wear, so that each line has its own
    falls_back_to: tuple[VersionRef, ...]

    def __eq__(self, other: object) -> bool:
        return self is other or (isinstance(other, CompiledPolicy) and self.digest == other.digest)

    def __hash__(self) -> int:
        return hash(self.digest)


def compile_policy(terms: CoveragePolicy, conventions: Conventions, pinned: Mapping[VersionRef, str]) -> CompiledPolicy:
    """Return the compiled version; ``pinned`` gives the digests of the versions it falls back to."""
    clauses = {
        path: CitedClause(path, clause.clause, clause.text or None, cited_sentences(path, clause, terms))
        for path, clause in each_clause(terms)
    }
    falls_back = fall_backs(terms)
    pins = {str(ref): pinned[ref] for ref in falls_back}
    return CompiledPolicy(
        ref=terms.ref,
        name=str(terms.ref),
        terms=terms,
        conventions=conventions,
        digest=version_digest(terms, conventions, pins),
        clauses=MappingProxyType(clauses),
        rules_of_items=MappingProxyType({item: _rule_of(terms, item) for item in get_args(Item)}),
        ruleset=MappingProxyType(compile_ruleset(terms, conventions)),
        hour_thresholds=_hour_thresholds(terms),
        counts_component_hours=_counts_component_hours(terms),
        counts_wear=bool(wear_edges(terms)),
        falls_back_to=falls_back,
    )


def _rule_of(terms: CoveragePolicy, item: Item) -> tuple[str, Any]:
    """Return the clause path and the rule by which an item is paid."""
    path = f"pays.{item}" if getattr(terms.pays, item) is not None else "pays.anything_else"
    return path, terms.pays.rule_for(item)


def version_digest(terms: CoveragePolicy, conventions: Conventions, pins: Mapping[str, str]) -> str:
    """Return the digest of a version over its canonical form, its conventions and its fall-backs."""
    return digest(
        {
            "policy": _canonical(terms),
            "conventions": _canonical(conventions),
            "fall_backs": dict(pins),
        }
    )


def _canonical(value: Any) -> Canonical:
    """Return a document with every value in one form, so that 2000 and 2000.0 give the same digest.

    The format plays no part: it says how the terms are written down, not what they are.
    """
    match value:
        case BaseModel():
            fields = {info.alias or name: getattr(value, name) for name, info in type(value).model_fields.items()}
            return {key: _canonical(inner) for key, inner in fields.items() if not _says_nothing(key, inner)}
        case None | bool() | int() | str():
            return value
        case Mapping():
            return {key: _canonical(inner) for key, inner in value.items()}
        case tuple() | list():
            return [_canonical(inner) for inner in value]
        case Decimal():
            return _digits(value)
        case Tolerance(amount=Decimal() as amount):
            return _digits(amount)
        case _:  # dates, fractions, spans and names of versions have one text each
            return str(value)


def _says_nothing(key: str, inner: Any) -> bool:
    """Return whether a field plays no part: closed versions keep their digest when a key joins the language."""
    return inner is None or key == "format" or (key == "only_as_fall_back" and not inner)


def _digits(number: Decimal) -> str:
    return format(number.normalize() + 0, "f")


def each_clause(terms: CoveragePolicy) -> Iterator[tuple[str, Clause]]:
    """Yield every clause that can decide something, with its path."""
    yield "applies_to", Clause(clause=terms.applies_to.clause)
    yield "term", terms.term
    for index, carve_out in enumerate(terms.carve_outs):
        yield f"carve_outs[{index}]", carve_out
    for name, duty in terms.services.items():
        yield f"services.{name}", duty
    if terms.prorating is not None:
        yield "prorating", terms.prorating
    for item in ("parts", "labour", "travel", "freight", "sublet", "diagnosis", "fluids", "supplies", "anything_else"):
        rule = getattr(terms.pays, item)
        if rule is not None:
            yield f"pays.{item}", rule
    if terms.pays.either_or is not None:
        yield "pays.either_or", terms.pays.either_or
    for index, exclusion in enumerate(terms.exclusions):
        yield f"exclusions[{index}]", exclusion
    if terms.deductible is not None:
        yield "deductible", terms.deductible
    for index, cap in enumerate(terms.caps):
        yield f"caps[{index}]", cap


def fall_backs(terms: CoveragePolicy) -> tuple[VersionRef, ...]:
    """Return the versions that a missed service falls back to, each once, in order."""
    found = {
        consequence.fall_back_to
        for duty in terms.services.values()
        for consequence in (duty.missed, duty.wrong_fluid)
        if isinstance(consequence, FallBack)
    }
    return tuple(sorted(found))


def all_limits(terms: CoveragePolicy) -> Iterator[tuple[str, Limits]]:
    """Yield every set of limits with its path: the term, carve-outs, items, the free period of a prorating."""
    if terms.term.ends != "lifetime":
        yield "term", terms.term.ends
    for index, carve_out in enumerate(terms.carve_outs):
        if carve_out.ends is not None and carve_out.ends != "lifetime":
            yield f"carve_outs[{index}]", carve_out.ends
    for item in ("parts", "labour", "travel", "freight", "sublet", "diagnosis", "fluids", "supplies"):
        until = getattr(getattr(terms.pays, item), "until", None)
        if until is not None:
            yield f"pays.{item}", until
    if terms.prorating is not None and terms.prorating.free_while is not None:
        yield "prorating.free_while", terms.prorating.free_while


def wear_edges(terms: CoveragePolicy) -> set[tuple[Fraction, Change]]:
    """Return the worn shares at which these terms change, and how: a limit, a step or a bend of a curve."""
    limits = [limit for _, found in all_limits(terms) for limit in found.all]
    if terms.pays.either_or is not None:
        limits.append(terms.pays.either_or.after)
    edges: set[tuple[Fraction, Change]] = {
        (Fraction(limit.wear), "just_past") for limit in limits if limit.wear is not None
    }
    for axis in terms.prorating.axes if terms.prorating is not None else ():
        if axis.by == "wear":
            edges.update(_changes(axis.share))
    return edges


def _changes(curve: Curve) -> list[tuple[Fraction, Change]]:
    match curve:
        case Steps(steps=steps):
            return [(Fraction(step.at), "from_there_on") for step in steps]
        case Points(points=points):
            return [(Fraction(point.at), "bends") for point in points]
        case Decline(zero_at=zero_at, free_until=free_until):
            return [(Fraction(zero_at), "bends"), (Fraction(free_until), "from_there_on")]
        case OwnerPrices(owner_prices=prices):
            return [(Fraction(price.at), "from_there_on") for price in prices]


def _counts_component_hours(terms: CoveragePolicy) -> bool:
    prorated = terms.prorating is not None and any(a.by == "component_hours" for a in terms.prorating.axes)
    after = [terms.pays.either_or.after] if terms.pays.either_or is not None else []
    limits = (limit for _, found in all_limits(terms) for limit in found.all)
    return prorated or any(limit.component_hours is not None for limit in (*limits, *after))


def _hour_thresholds(terms: CoveragePolicy) -> tuple[int, ...]:
    found: set[int] = set()
    for _, limits in all_limits(terms):
        for limit in limits.all:
            hours = limit.hours
            if hours is not None:
                found.add(centihours(hours))
    if terms.pays.either_or is not None and terms.pays.either_or.after.hours is not None:
        found.add(centihours(terms.pays.either_or.after.hours))
    for axis in terms.prorating.axes if terms.prorating is not None else ():
        if axis.by not in ("machine_hours", "component_hours"):
            continue
        match axis.share:
            case Steps(steps=points) | Points(points=points):
                found.update(centihours(point.at) for point in points)
            case OwnerPrices(owner_prices=prices):
                found.update(centihours(point.at) for point in prices)
            case Decline(zero_at=zero_at, free_until=free_until):
                found.update((centihours(zero_at), centihours(free_until)))
    return tuple(sorted(found))
