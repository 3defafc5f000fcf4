"""The component of each line: typed, by its part number, or that which failed first; asked for where nothing tells.

What was typed is compared with the part table. A component that is not known is an open fact whose values are the ones
that the clauses and the machine tell apart, and ``None``: another one, which nothing names.
"""

from collections.abc import Hashable, Iterable, Iterator
from datetime import date
from functools import lru_cache

from rules.open_facts import OpenFact, World
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.values import plain
from rules.selection.reach import names_model
from rules.selection.select import Subject, subject_of
from rules.settlement.tables import Tables
from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.policy.exclusions import Consumables, WearItems

Components = tuple[str | None, ...]


def with_component_told(claim_file: ClaimFile, tables: Tables) -> ClaimFile:
    """Return the claim file with the component that failed first, where only the lines name it, and one alone."""
    told = _told(claim_file, tables) if claim_file.claim.component is None else ()
    return _with_component(claim_file, told[0]) if len(told) == 1 else claim_file


def subjects_in(
    claim_file: ClaimFile, tables: Tables, book: PolicyBook, world: World
) -> tuple[ClaimFile, tuple[Subject, ...]]:
    """Return the lines with their components in this world, and the claim file with the one that failed first."""
    stated, claim = claim_file, claim_file.claim
    told = _told(stated, tables) if claim.component is None else ()
    if claim.component is None and any(_rests_on_it(line, tables, stated) for line in claim.lines):
        failed = _failed_first(told, stated, tables, book, world)
        claim_file = world.once(("component", failed), lambda: _with_component(stated, failed))
    sure = claim.component is not None
    subjects: list[Subject] = []
    for line in claim.lines:
        component, named = _known(line, tables, claim.failed_on, world)
        if (sure or told) and _is_unlisted(line, tables, stated):
            component, named = _of_unlisted(line, stated, tables, book, world), False
        elif component is None:
            component, named = claim_file.claim.component, sure
        subjects.append(subject_of(line, claim_file, component, named, world))
    return claim_file, tuple(subjects)


def possible_components(line: ClaimLine, claim_file: ClaimFile, tables: Tables, book: PolicyBook) -> Components:
    """Return all that a line may be about, whatever the day of the failure."""
    of_part = [dated.value for dated in tables.components.get(line.part_number or "", ())]
    if line.component is not None or of_part:
        typed = [] if line.component is None else [line.component]
        return tuple(sorted({*typed, *of_part}))
    claim = claim_file.claim
    if _is_unlisted(line, tables, claim_file):
        return _told_apart(claim_file, tables, book)
    if claim.component is not None:
        return (claim.component,)
    return _told(claim_file, tables) or _told_apart(claim_file, tables, book)


def _known(line: ClaimLine, tables: Tables, failed_on: date, world: World) -> tuple[str | None, bool]:
    """Return the component that a line or the part table names, and whether they name no two."""
    part, typed = line.part_number, line.component
    row = tables.component_of(part, failed_on)
    if row is None or typed in (None, row.value):
        return (typed if row is None else row.value), True
    words = (
        f"which component part {part} is of: the {plain(str(typed))}, as line {line.line} of the claim says, or the"
        f" {plain(row.value)}, as the part table {row.row} says"
    )
    fact = OpenFact(f"component:{part}/{typed}", "component", "person", words)
    return (typed, row.value)[world.pick(fact, (0, 1))], False


def _of_unlisted(line: ClaimLine, claim_file: ClaimFile, tables: Tables, book: PolicyBook, world: World) -> str | None:
    words = f"which component part {line.part_number} is of, which the part table does not list"
    fact = OpenFact(f"component:{line.part_number}", "component", "dealer", words)
    possible = world.once("components", lambda: _told_apart(claim_file, tables, book))
    return possible[world.pick(fact, tuple(range(len(possible))))]


def _failed_first(
    told: Components, claim_file: ClaimFile, tables: Tables, book: PolicyBook, world: World
) -> str | None:
    """Return the component that failed first where the claim does not say it: one that its lines name, or any.

    ``told`` is empty, or two and more.
    """
    possible = told or world.once("components", lambda: _told_apart(claim_file, tables, book))
    words = "which component failed first"
    if told:
        words += f": the {' or the '.join(plain(str(component)) for component in told)}"
    fact = OpenFact("component", "component", "dealer", words)
    return possible[world.pick(fact, tuple(range(len(possible))))]


def _with_component(claim_file: ClaimFile, component: str | None) -> ClaimFile:
    claim = claim_file.claim.model_copy(update={"component": component})
    return claim_file.model_copy(update={"claim": claim})


def _rests_on_it(line: ClaimLine, tables: Tables, claim_file: ClaimFile) -> bool:
    """Return whether only the component that failed first says what a line is about."""
    return line.component is None and tables.component_of(line.part_number, claim_file.claim.failed_on) is None


def _is_unlisted(line: ClaimLine, tables: Tables, claim_file: ClaimFile) -> bool:
    """Return whether a line is a part that a part table on file does not list: it may be of another component."""
    if line.item != "parts" or line.part_number is None or line.component is not None or not tables.has_components:
        return False
    return tables.component_of(line.part_number, claim_file.claim.failed_on) is None


def _told(claim_file: ClaimFile, tables: Tables) -> Components:
    """Return the components that the lines name by themselves: of those that no other line ruined, where there are."""
    found: dict[bool, set[str]] = {True: set(), False: set()}
    for line in claim_file.claim.lines:
        row = tables.component_of(line.part_number, claim_file.claim.failed_on)
        named = {line.component, None if row is None else row.value} - {None}
        found[line.caused_by is None] |= {str(component) for component in named}
    return tuple(sorted(found[True] or found[False]))


def _told_apart(claim_file: ClaimFile, tables: Tables, book: PolicyBook) -> Components:
    """Return one component of each kind that the clauses of the book and the records of the machine tell apart."""
    model, on_file = claim_file.machine.model, _on_file(claim_file, tables)
    policies = tuple(p for p in book.by_name.values() if names_model(p.terms.applies_to.models, model))
    every = on_file.union(*(_clauses_of(policy) for policy in policies))
    kinds: dict[Hashable, str | None] = {}
    for component in (*sorted(every), None):
        clauses = tuple(_clauses_of(policy).get(component or "", frozenset()) for policy in policies)
        kinds.setdefault((clauses, component if component in on_file else None), component)
    return tuple(kinds.values())


def _on_file(claim_file: ClaimFile, tables: Tables) -> set[str]:
    """Return the components that records of the machine or lines of the claim name: each is one of its own."""
    machine = claim_file.machine
    found = {c for fitted in machine.components for c in (fitted.component, *fitted.kit_parts)}
    found |= {alteration.component for alteration in machine.alterations}
    found |= {payment.component for payment in claim_file.earlier_payments if payment.component is not None}
    found |= {row.value for line in claim_file.claim.lines for row in tables.components.get(line.part_number or "", ())}
    claim = claim_file.claim
    return found | {c for c in (claim.component, *(line.component for line in claim.lines)) if c is not None}


@lru_cache(maxsize=1024)
def _clauses_of(policy: CompiledPolicy) -> dict[str, frozenset[str]]:
    """Return the clauses of a policy that name each component."""
    found: dict[str, set[str]] = {}
    for path, components in _naming(policy):
        for component in components:
            found.setdefault(component, set()).add(path)
    return {component: frozenset(paths) for component, paths in found.items()}


def _naming(policy: CompiledPolicy) -> Iterator[tuple[str, Iterable[str]]]:
    terms = policy.terms
    if terms.applies_to.components != "whole_machine":
        yield "applies_to.components", terms.applies_to.components
    yield "applies_to.except_components", terms.applies_to.except_components
    for index, carve_out in enumerate(terms.carve_outs):
        yield f"carve_outs[{index}]", carve_out.components
    for name, duty in terms.services.items():
        yield f"services.{name}", duty.links
    for index, exclusion in enumerate(terms.exclusions):
        match exclusion:
            case WearItems(wear=components) | Consumables(consumables=components):
                yield f"exclusions[{index}]", components
    for index, cap in enumerate(terms.caps):
        if cap.components != "all":
            yield f"caps[{index}]", cap.components
