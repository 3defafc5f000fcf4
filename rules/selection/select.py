"""Which policy versions can decide a line: selected by date, applying to machine, owner and component."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from rules.measures.groups import failed_position, fitted_component, later_fitting, own_parts
from rules.measures.starts import day_that_selects, start_of_term
from rules.measures.wear import WearOnFile, wear_on_file
from rules.open_facts import OpenFact, World
from rules.plain import day_text
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.values import listed
from rules.selection.reach import names_model, refusal_in, sure_refusal
from schemas.claim import Claim, ClaimLine
from schemas.claim_file import ClaimFile
from schemas.frozen import quickly_made
from schemas.machine import FittedComponent, Position
from schemas.policy.clause import Fitting
from schemas.policy.document import CoveragePolicy


@quickly_made
@dataclass(frozen=True, slots=True)
class Subject:
    """A claim line with the component it is about, as found on the machine.

    ``wear`` is what the claim states of the component's wear; None: what the line states itself. ``named`` is false
    where the component is an open fact, and true of one world alone. ``side`` is that of the component on file, else
    as typed.
    """

    line: ClaimLine
    component: str | None
    fitted: FittedComponent | None
    wear: WearOnFile | None = None
    named: bool = True
    side: Position = "none"

    @property
    def told(self) -> str | None:
        """The component as a reader may be told it: none where it is true of one world alone."""
        return self.component if self.named else self.line.component


@dataclass(frozen=True, slots=True)
class Selected:
    """The versions that may govern this machine, in layer order, and why the others may not."""

    policies: tuple[CompiledPolicy, ...]
    refused: tuple[tuple[CompiledPolicy, str], ...]  # policy, reason code
    why: tuple[tuple[str, str], ...]  # name@version, words


LAYER_ORDER = ("campaign", "contract", "emission", "drive", "retrofit", "part", "base")


def subject_of(line: ClaimLine, claim_file: ClaimFile, component: str | None, named: bool, world: World) -> Subject:
    """Return a line with the ``component`` found for it, and what is on file of that on the machine.

    A side that is not typed is an open fact where the machine has the component on several sides.
    """
    claim = claim_file.claim
    position = typed_position(line, claim, component)
    if position == "none":
        position = failed_position(claim_file.machine, component, claim.failed_on, line.removed_serial, world)
    fitted = fitted_component(claim_file.machine, component, position, claim.failed_on, line.removed_serial)
    side = position if fitted is None or fitted.position == "none" else fitted.position
    fitted = _fitted_in(world, fitted, claim_file)
    return Subject(line, component, fitted, named=named, side=side)


def _fitted_in(world: World, fitted: FittedComponent | None, claim_file: ClaimFile) -> FittedComponent | None:
    """Return a component with the day of its fitting: before the machine was built it was not fitted."""
    built, failed = claim_file.machine.built_on, claim_file.claim.failed_on
    if fitted is None or fitted.fitted_as == "factory" or fitted.fitted_on is None or fitted.fitted_on >= built:
        return fitted
    words = (
        f"the day on which {fitted.id} was fitted: {day_text(fitted.fitted_on)} lies before the machine was built on"
        f" {day_text(built)}"
    )
    days = sorted({day.toordinal() for day in (fitted.fitted_on, built, failed) if day <= failed}, reverse=True)
    on = date.fromordinal(world.pick(OpenFact(f"fitted:{fitted.id}", "start", "person", words), tuple(days)))
    return fitted.model_copy(update={"fitted_on": on})


def with_wear(subjects: Sequence[Subject], claim: Claim) -> tuple[Subject, ...]:
    """Return the subjects with the wear that the claim's lines state of what they are about.

    That is a component in its place: one on file as fitted, or of a side. Parts whose place is not known may be several
    (two tyres), each worn in its own way; other lines of such a component are about all of them.
    """
    abouts = [_about(subject, claim) for subject in subjects]
    parts = [about for subject, about in zip(subjects, abouts, strict=True) if subject.line.item == "parts"]
    found = wear_on_file(
        (subject.line, about, about.place is None and parts.count(about) > 1)
        for subject, about in zip(subjects, abouts, strict=True)
    )
    return tuple(replace(subject, wear=found[subject.line.line]) for subject in subjects)


class _About(NamedTuple):
    """What a line is about; ``place`` None: not known where."""

    component: str | None
    place: str | None


def _about(subject: Subject, claim: Claim) -> _About:
    line, component, fitted = subject.line, subject.component, subject.fitted
    if component is None:
        return _About(None, line.line)  # without a component each line is about something of its own
    if fitted is not None:
        return _About(component, fitted.id)
    position = typed_position(line, claim, component)
    return _About(component, None if position == "none" else position)


def typed_position(line: ClaimLine, claim: Claim, component: str | None) -> Position:
    """Return the side that a line is about as typed: its own, else the claim's for the component that failed."""
    if line.position != "none":
        return line.position
    return claim.position if component == claim.component else "none"


def select(book: PolicyBook, claim_file: ClaimFile, world: World) -> Selected:
    """Return the governing versions.

    A version that is in force only as a fall-back, or superseded, neither governs by itself nor counts as refused.
    """
    policies: list[CompiledPolicy] = []
    refused: list[tuple[CompiledPolicy, str]] = []
    why: list[tuple[str, str]] = []
    of_model = _that_name(book, claim_file.machine.model)
    every = [p for _, of_name in of_model for p in of_name]
    for name, of_name in of_model:
        in_force = [(p, day) for p in of_name if (day := _in_force_on(p, of_name, every, claim_file, world))]
        if not in_force:
            refused.append((_nearest_in_time(of_name, every, claim_file, world), "no_version_in_force"))
            continue
        newest, day = in_force[-1]
        words = _in_force_words(newest, *day)
        for policy, reason in _governing(newest, words, book.governing[name], every, claim_file, world):
            code = refusal_in(world, policy, claim_file, book)
            if code is None:
                policies.append(policy)
                why.append((policy.name, reason))
            else:
                refused.append((policy, code))
    if not every:
        refused = [(versions[-1], "no_coverage_for_machine") for versions in (book.governing or book.versions).values()]
    policies.sort(key=lambda p: (LAYER_ORDER.index(p.terms.layer), p.ref))
    return Selected(tuple(policies), tuple(refused), tuple(why))


@lru_cache(maxsize=256)
def _that_name(book: PolicyBook, model: str) -> tuple[tuple[str, tuple[CompiledPolicy, ...]], ...]:
    """Return the versions of each policy that may govern and name the model."""
    found = (
        (name, tuple(p for p in versions if names_model(p.terms.applies_to.models, model)))
        for name, versions in book.governing.items()
    )
    return tuple((name, named) for name, named in found if named)


def _governing(
    policy: CompiledPolicy,
    words: str,
    versions: Sequence[CompiledPolicy],
    every: Sequence[CompiledPolicy],
    claim_file: ClaimFile,
    world: World,
) -> list[tuple[CompiledPolicy, str]]:
    """Return the version in force, and every later one that extends earlier machines."""
    chosen = [(policy, words)]
    for newer in versions:
        extends = newer.terms.extends_earlier
        if extends is None or newer.ref.version <= policy.ref.version:
            continue
        start = start_of_term(newer, newer.terms.term.starts, claim_file, world, every)[0]
        if start >= extends.started_from:
            chosen.append((newer, f"it extends machines started from {day_text(extends.started_from)}"))
    return chosen


def _in_force_on(
    policy: CompiledPolicy,
    versions: Sequence[CompiledPolicy],
    every: Sequence[CompiledPolicy],
    claim_file: ClaimFile,
    world: World,
) -> tuple[date, str] | None:
    """Return the date that selects the version and its event, None when it is not in force on it."""
    day, event = _selecting(policy, versions, every, claim_file, world)
    return (day, event) if policy.terms.in_force.holds(day) else None


def _selecting(
    policy: CompiledPolicy,
    versions: Sequence[CompiledPolicy],
    every: Sequence[CompiledPolicy],
    claim_file: ClaimFile,
    world: World,
) -> tuple[date, str]:
    selected_by = policy.terms.in_force.selected_by
    if selected_by == "start_of_term":
        return start_of_term(policy, policy.terms.term.starts, claim_file, world, every)
    return day_that_selects(selected_by, versions, claim_file, world), ""


def _nearest_in_time(
    versions: Sequence[CompiledPolicy], every: Sequence[CompiledPolicy], claim_file: ClaimFile, world: World
) -> CompiledPolicy:
    """Return, of versions that are not in force, the one whose time lies nearest to the date that selects it."""

    def days_away(policy: CompiledPolicy) -> int:
        return policy.terms.in_force.days_from(_selecting(policy, versions, every, claim_file, world)[0])

    return min(versions, key=lambda policy: (days_away(policy), -policy.ref.version))


def _in_force_words(policy: CompiledPolicy, day: date, event: str) -> str:
    """Return why the version is in force on the date that selects it."""
    in_force = policy.terms.in_force
    if in_force.selected_by == "start_of_term":
        words = f"start of term {day_text(day)} ({event})"
    else:
        words = f"{in_force.selected_by.replace('_', ' ')} {day_text(day)}"
    until = f" to {day_text(in_force.until)}" if in_force.until is not None else ""
    replaced = [f"version {number}" for number in sorted(policy.terms.supersedes)]
    beside = f"; it replaces {listed(replaced)} for new decisions" if replaced else ""
    return f"{words} lies in its time in force, from {day_text(in_force.from_)}{until}{beside}"


def component_refusal(terms: CoveragePolicy, subject: Subject) -> str | None:
    """Return the code of the first component condition that is not met."""
    applies = terms.applies_to
    if subject.component in applies.except_components:
        return "component_not_named"
    if applies.components != "whole_machine" and subject.component not in applies.components:
        return "component_not_named"
    return "fitting_not_covered" if set(applies.fitted).isdisjoint(_ways_fitted(terms, subject)) else None


def named_by_none(policies: Iterable[CompiledPolicy], claim_file: ClaimFile, subject: Subject) -> bool:
    """Return whether no version of a book reaches a line's component, whatever is open about the claim."""
    reaching = (p.terms for p in policies if sure_refusal(p.terms, claim_file) is None)
    return all(component_refusal(terms, subject) == "component_not_named" for terms in reaching)


def _ways_fitted(terms: CoveragePolicy, subject: Subject) -> tuple[Fitting, ...]:
    """Return how the component came; one that a kit was added to is the factory's, and the kit's where terms say so."""
    fitted = subject.fitted
    if fitted is None:
        return ("factory",)
    if fitted.fitted_as != "retrofit_kit" or subject.component in own_parts(fitted):
        return (fitted.fitted_as,)
    upgraded = later_fitting(terms, subject.component, fitted) is not None
    return ("factory", "retrofit_kit") if upgraded else ("factory",)
