"""Clauses that nothing can reach: components outside the policy, carve-outs in a shadow, fall-backs for others."""

from collections.abc import Iterator

from rules.policy_book.book import PolicyBook
from rules.policy_book.book_checks import fall_back_paths
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.values import listed, number_words, plain
from rules.policy_book.version_days import both_in_force_from
from rules.policy_book.warning import PolicyWarning, bound, hours_of, months_of
from schemas.policy.clause import Limits
from schemas.policy.document import CoveragePolicy
from schemas.policy.exclusions import Alterations, Consumables, ExcludedCauses, Exclusion, WearItems
from schemas.policy.pays import NotPaid
from schemas.policy.term import AppliesTo

ALWAYS = "always"


def reach_warnings(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    yield from _components(policy)
    yield from _shadowed(policy)
    yield from _shadowed_exclusions(policy)
    yield from _fall_backs(policy, book)
    yield from _superseded(policy, book)
    yield from _never_reached(policy, book)


def _named(terms: CoveragePolicy) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield every place that names components, carve-outs apart."""
    for index, exclusion in enumerate(terms.exclusions):
        if isinstance(exclusion, WearItems):
            yield f"exclusions[{index}].wear", exclusion.wear
        if isinstance(exclusion, Consumables):
            yield f"exclusions[{index}].consumables", exclusion.consumables
    for name, duty in terms.services.items():
        yield f"services.{name}.links", duty.links
    for index, cap in enumerate(terms.caps):
        if cap.components != "all":
            yield f"caps[{index}].components", cap.components


def _components(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    terms = policy.terms
    carved = [(f"carve_outs[{i}].components", carve_out.components) for i, carve_out in enumerate(terms.carve_outs)]
    never = {component for carve_out in terms.carve_outs if carve_out.never for component in carve_out.components}
    for path, components in (*carved, *_named(terms)):
        outside = [c for c in components if not reaches(terms.applies_to, c)]
        if outside:
            yield PolicyWarning(
                policy.name,
                path,
                "component_out_of_reach",
                f"the {listed(map(plain, outside))} {_is(outside)} named here, but applies_to does not reach"
                f" {'it' if len(outside) == 1 else 'them'}.",
                "Correct the name, or take it off.",
            )
    for path, components in _named(terms):
        uncovered = [c for c in components if c in never]
        if uncovered:
            yield PolicyWarning(
                policy.name,
                path,
                "component_never_covered",
                f"the {listed(map(plain, uncovered))} {_is(uncovered)} never covered by a carve-out, so that this"
                " changes"
                " nothing.",
                "Take it off here, or off the carve-out.",
            )


def _is(words: list[str]) -> str:
    return "is" if len(words) == 1 else "are"


def reaches(applies: AppliesTo, component: str) -> bool:
    named = applies.components == "whole_machine" or component in applies.components
    return named and component not in applies.except_components


def _shadowed(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    seen: dict[str, int] = {}
    for index, carve_out in enumerate(policy.terms.carve_outs):
        for component in carve_out.components:
            if component in seen:
                yield PolicyWarning(
                    policy.name,
                    f"carve_outs[{index}].components",
                    "carve_out_in_shadow",
                    f"the {plain(component)} stands in carve_outs[{seen[component]}] already, and the first one holds.",
                    "Name it once.",
                )
            seen.setdefault(component, index)


def _shadowed_exclusions(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    """What an earlier exclusion of the same kind takes in every such case is borne as the earlier one says."""
    seen: dict[tuple[str, str, str], int] = {}
    for index, exclusion in enumerate(policy.terms.exclusions):
        kind, words, when = _excluded(exclusion)
        for word in words:
            earlier = [seen[key] for key in ((kind, word, ALWAYS), (kind, word, when)) if key in seen]
            if earlier:
                yield PolicyWarning(
                    policy.name,
                    f"exclusions[{index}].{kind}",
                    "exclusion_in_shadow",
                    f"{plain(word)} stands in exclusions[{min(earlier)}] already, which says who bears it.",
                    "Name it once.",
                )
            seen.setdefault((kind, word, when), index)


def _excluded(exclusion: Exclusion) -> tuple[str, tuple[str, ...], str]:
    """Return the key of an exclusion, what it names, and in which case it holds."""
    match exclusion:
        case WearItems(wear=words, unless=unless):
            return "wear", words, ALWAYS if unless == "never" else unless
        case Consumables(consumables=words, unless=unless):
            return "consumables", words, ALWAYS if unless == "never" else unless
        case ExcludedCauses(causes=words):
            return "causes", words, ALWAYS
        case Alterations(alterations=words, reach=reach):
            return "alterations", words, ALWAYS if reach == "everything" else reach


def _fall_backs(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    for path, target in fall_back_paths(policy.terms):
        older = book.by_name[str(target)].terms
        at = ".".join(path)
        lost = list(_lost(policy.terms.applies_to, older.applies_to))
        if lost:
            yield PolicyWarning(
                policy.name,
                at,
                "fall_back_leaves_out",
                f"{target} does not reach all that this version does ({'; '.join(lost)}): what it leaves out is"
                " refused, not"
                " paid less.",
                "Fall back to a version that reaches at least as much.",
            )
        more = list(_pays_more(policy, book.by_name[str(target)]))
        if more:
            yield PolicyWarning(
                policy.name,
                at,
                "fall_back_pays_more",
                f"a machine that falls back keeps {target} whole, which is wider than this version: {'; '.join(more)}."
                " There, a neglected machine is paid what a well-kept one is refused.",
                f"Leave it if that promise must stay whole; else fall back to a version of {target.name} with the"
                " same bounds.",
            )
        yield from _sooner(policy, book.by_name[str(target)], at)
        replaced = [p for p in book.versions[target.name] if target.version in p.terms.supersedes]
        if replaced:
            yield PolicyWarning(
                policy.name,
                at,
                "fall_back_is_superseded",
                f"{target} is replaced: {replaced[-1].name} supersedes it for new decisions.",
                f"Fall back to {replaced[-1].name}.",
            )

        if _governs_too(policy, book.by_name[str(target)], book):
            yield PolicyWarning(
                policy.name,
                at,
                "fall_back_governs_too",
                f"{target} is in force beside this version, for the same machines: every line is decided under both"
                " and the better result is paid, so that what this version excludes may be paid all the same.",
                f"Let {target} say in_force: {{only_as_fall_back: true}}, unless owners are meant to have both.",
            )


def _sooner(policy: CompiledPolicy, other: CompiledPolicy, at: str) -> Iterator[PolicyWarning]:
    """Warn of a fall-back whose term is the shorter one: what it would pay less of is then refused."""
    sooner = list(_ends_sooner(policy.terms.term.ends, other.terms.term.ends))
    if sooner:
        yield PolicyWarning(
            policy.name,
            at,
            "fall_back_ends_sooner",
            f"{other.name} ends sooner than this version ({'; '.join(sooner)}): after that, a machine that falls back"
            " is refused, not paid less.",
            f"Fall back to a version of {other.ref.name} with the same term, unless the promise without the services"
            " is meant to end there.",
        )


def _superseded(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    """What a version reached that this one supersedes: nothing decides it any more where this one does not reach it."""
    if policy.terms.in_force.only_as_fall_back:
        return
    for older in book.versions[policy.ref.name]:
        if older.ref.version not in policy.terms.supersedes or older.terms.in_force.only_as_fall_back:
            continue
        lost = list(_lost(older.terms.applies_to, policy.terms.applies_to))
        if lost:
            yield PolicyWarning(
                policy.name,
                "supersedes",
                "supersedes_leaves_out",
                f"version {older.ref.version}, which it supersedes, reaches what this version does not"
                f" ({'; '.join(lost)}): there, no version decides any more, and claims are denied.",
                "Let this version reach as much, unless the promise was never meant to.",
            )


def _pays_more(ours: CompiledPolicy, theirs: CompiledPolicy) -> Iterator[str]:
    """Yield what ``ours`` refuses, or ends, and ``theirs`` does not: services apart, with which the fall-back deals."""
    newer, older = ours.terms, theirs.terms
    excluded = {(kind, word, when) for kind, words, when in map(_excluded, older.exclusions) for word in words}
    lacking = [
        f"{kind} {plain(word)}"
        for kind, words, when in map(_excluded, newer.exclusions)
        for word in words
        if not {(kind, word, when), (kind, word, ALWAYS)} & excluded
    ]
    if lacking:
        yield f"it does not exclude {listed(lacking)}"
    covered = [c for c in _never(newer) if c not in _never(older) and reaches(older.applies_to, c)]
    if covered:
        yield f"it covers the {listed(map(plain, covered))}"
    items = [
        item
        for item, (_, rule) in ours.rules_of_items.items()
        if isinstance(rule, NotPaid) and not isinstance(theirs.rules_of_items[item][1], NotPaid)
    ]
    if items:
        yield f"it pays {listed(map(plain, items))}"
    for unit, value in (("months", months_of), ("hours", hours_of)):
        end, later = bound(newer.term.ends, value), bound(older.term.ends, value)
        if end is not None and (later is None or later > end):
            runs = f"for {number_words(later)} {unit}" if later is not None else f"without an end by {unit}"
            yield f"its term may run {runs}, not {number_words(end)} {unit}"


def _ends_sooner(ours: Limits | str, theirs: Limits | str) -> Iterator[str]:
    """Yield each unit in which the term of a fall-back is the shorter one, with both terms."""
    for unit, value in (("months", months_of), ("hours", hours_of)):
        end, sooner = bound(ours, value), bound(theirs, value)
        if sooner is not None and (end is None or sooner < end):
            here = f"no end by {unit}" if end is None else f"{number_words(end)}"
            yield f"{number_words(sooner)} {unit} there, {here} here"


def _never(terms: CoveragePolicy) -> list[str]:
    return [component for carve_out in terms.carve_outs if carve_out.never for component in carve_out.components]


def _governs_too(policy: CompiledPolicy, target: CompiledPolicy, book: PolicyBook) -> bool:
    """Return whether a fall-back of another name can govern, by itself, a machine that the version governs.

    Two versions of one name never govern together, save by extends_earlier, which says so. Where two dates select, such
    as the start of term here and the failure there, a machine may have each in the time of another version.
    """
    if target.ref.name == policy.ref.name or not (_governs(policy, book) and _governs(target, book)):
        return False
    ours, theirs = policy.terms.in_force, target.terms.in_force
    return ours.selected_by != theirs.selected_by or both_in_force_from(ours, theirs) is not None


def _governs(policy: CompiledPolicy, book: PolicyBook) -> bool:
    """Return whether new decisions can come under the version without a fall-back to it."""
    return policy in book.governing.get(policy.ref.name, ())


def _never_reached(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    if not policy.terms.in_force.only_as_fall_back:
        return
    ref = policy.terms.ref
    if not any(target == ref for other in book.by_name.values() for _, target in fall_back_paths(other.terms)):
        yield PolicyWarning(
            policy.name,
            "in_force.only_as_fall_back",
            "fall_back_of_nothing",
            "it holds only where another version falls back to it, and none in this book does: it decides nothing.",
            "Let a version fall back to it, or take only_as_fall_back off.",
        )


def _lost(ours: AppliesTo, theirs: AppliesTo) -> Iterator[str]:
    """Yield what ``ours`` reaches and ``theirs`` does not."""
    models = [m for m in ours.models if not any(_model_within(m, other) for other in theirs.models)]
    if models:
        yield f"models {listed(models)}"
    if theirs.owner == "first" and ours.owner == "any":
        yield "later owners"
    for key in ("use", "regions"):
        allowed, wanted = getattr(theirs, key), getattr(ours, key)
        if allowed is not None and (wanted is None or not set(wanted) <= set(allowed)):
            yield f"{key} outside {listed(allowed, 'or')}"
    if theirs.serials and theirs.serials != ours.serials:
        yield "serial numbers outside its ranges"
    if theirs.built is not None and theirs.built != ours.built:
        yield "machines built outside its days"
    if theirs.components != "whole_machine":
        wanted = () if ours.components == "whole_machine" else ours.components
        if ours.components == "whole_machine" or not set(wanted) <= set(theirs.components):
            yield f"components other than the {listed(map(plain, theirs.components))}"
    left_out = [c for c in theirs.except_components if reaches(ours, c)]
    if left_out:
        yield f"the {listed(map(plain, left_out))}"
    fitted = [f for f in ours.fitted if f not in theirs.fitted]
    if fitted:
        yield f"components fitted as {listed(map(plain, fitted), 'or')}"


def _model_within(model: str, other: str) -> bool:
    return model == other or (other.endswith("*") and model.removesuffix("*").startswith(other[:-1]))
