"""Which policy versions can decide a line: selected by date, applying to machine, owner and component."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from rules.measures.groups import earliest_start, fitted_component, start_of_term
from rules.open_facts import World
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.machine import FittedComponent, Machine
from schemas.policy.term import AppliesTo


@dataclass(frozen=True, slots=True)
class Subject:
    """A claim line with the component it is about, as found on the machine."""

    line: ClaimLine
    component: str | None
    fitted: FittedComponent | None


@dataclass(frozen=True, slots=True)
class Selected:
    """The versions that may govern this machine, in layer order, and why the others may not."""

    policies: tuple[CompiledPolicy, ...]
    refused: tuple[tuple[CompiledPolicy, str], ...]  # policy, reason code
    why: tuple[tuple[str, str], ...]  # name@version, words


LAYER_ORDER = ("campaign", "contract", "emission", "drive", "retrofit", "part", "base")


def subject_of(line: ClaimLine, claim_file: ClaimFile, component: str | None) -> Subject:
    """Return a line with its component: the typed one, else the part's, else the claim's causal one."""
    claim = claim_file.claim
    found = line.component or component or claim.component
    position = line.position if line.position != "none" else (claim.position if found == claim.component else "none")
    return Subject(line, found, fitted_component(claim_file.machine, found, position, claim.failed_on))


def select(versions: Mapping[str, tuple[CompiledPolicy, ...]], claim_file: ClaimFile, world: World) -> Selected:
    """Return the governing versions; ``versions`` holds all versions of each policy by name, oldest first."""
    policies: list[CompiledPolicy] = []
    refused: list[tuple[CompiledPolicy, str]] = []
    why: list[tuple[str, str]] = []
    for name in sorted(versions):
        of_name = [p for p in versions[name] if _names_model(p.terms.applies_to, claim_file.machine)]
        if not of_name:
            continue
        in_force = [(p, words) for p in of_name if (words := _in_force_words(p, claim_file, world))]
        if not in_force:
            refused.append((of_name[-1], "no_version_in_force"))
            continue
        governing, words = in_force[-1]
        for newer in versions[name]:
            if governing.ref.version in newer.terms.supersedes:
                words = f"it replaces {governing.name} for new decisions; {words}"
                governing = newer
        chosen = [(governing, words)]
        for newer in versions[name]:
            extends = newer.terms.extends_earlier
            if newer.ref.version <= governing.ref.version or extends is None or newer in (p for p, _ in chosen):
                continue
            start = start_of_term(newer, newer.terms.term.starts, claim_file, world)[0]
            if start >= extends.started_from:
                chosen.append((newer, f"it extends machines started from {extends.started_from:%d %B %Y}"))
        for policy, reason in chosen:
            code = machine_refusal(policy.terms.applies_to, claim_file)
            if code is None:
                policies.append(policy)
                why.append((policy.name, reason))
            else:
                refused.append((policy, code))
    policies.sort(key=lambda p: (LAYER_ORDER.index(p.terms.layer), p.ref))
    return Selected(tuple(policies), tuple(refused), tuple(why))


def _in_force_words(policy: CompiledPolicy, claim_file: ClaimFile, world: World) -> str:
    """Return why the version is in force on the date that selects it, empty when it is not."""
    in_force = policy.terms.in_force
    selected_by = in_force.selected_by
    if selected_by in ("failed_on", "repair_ended_on", "submitted_on"):
        day = getattr(claim_file.claim, selected_by) or claim_file.claim.failed_on
        words = f"{selected_by.replace('_', ' ')} {day:%d %B %Y}"
    elif selected_by == "start_of_term":
        day, event = start_of_term(policy, policy.terms.term.starts, claim_file, world)
        words = f"start of term {day:%d %B %Y} ({event})"
    elif selected_by == "built":
        day, words = claim_file.machine.built_on, f"built {claim_file.machine.built_on:%d %B %Y}"
    else:
        event_day = claim_file.machine.events.get(selected_by)
        if event_day is None:
            found = earliest_start(policy.terms.term.starts, claim_file, policy.conventions.month_end)
            event_day = found[0] if found is not None else None
        if event_day is None:
            day, event = start_of_term(policy, policy.terms.term.starts, claim_file, world)
        else:
            day, event = event_day, selected_by.replace("_", " ")
        words = f"{event} {day:%d %B %Y}"
    if not in_force.holds(day):
        return ""
    until = f" to {in_force.until:%d %B %Y}" if in_force.until is not None else ""
    return f"{words} lies in its time in force, from {in_force.from_:%d %B %Y}{until}"


def _names_model(applies: AppliesTo, machine: Machine) -> bool:
    model = machine.model
    return any(m == model or (m.endswith("*") and model.startswith(m[:-1])) for m in applies.models)


def machine_refusal(applies: AppliesTo, claim_file: ClaimFile) -> str | None:
    """Return the code of the first machine condition that is not met, None when the policy reaches the machine."""
    machine = claim_file.machine
    if applies.serials and not any(serial_in(machine.serial, r.from_, r.until) for r in applies.serials):
        return "serial_out_of_range"
    if applies.built is not None and not applies.built.holds(machine.built_on):
        return "built_out_of_range"
    if applies.use is not None and machine.use not in applies.use:
        return "use_not_covered"
    if applies.regions is not None and not any(
        machine.region == region or machine.region.startswith(f"{region}-") for region in applies.regions
    ):
        return "region_not_covered"
    if applies.owner == "first" and owner_order(machine, claim_file.claim.failed_on) > 1:
        return "later_owner"
    return None


def component_refusal(applies: AppliesTo, subject: Subject) -> str | None:
    """Return the code of the first component condition that is not met."""
    if subject.component in applies.except_components:
        return "component_not_named"
    if applies.components != "whole_machine" and subject.component not in applies.components:
        return "component_not_named"
    fitting = subject.fitted.fitted_as if subject.fitted is not None else "factory"
    return None if fitting in applies.fitted else "fitting_not_covered"


def owner_order(machine: Machine, on: date) -> int:
    """Return the order of the owner on a day, 1 where no owners are on file."""
    return max((owner.order for owner in machine.owners if owner.since <= on), default=1)


def serial_in(serial: str, low: str, high: str) -> bool:
    """Return whether a serial lies in a range, compared as prefix and number.

    >>> serial_in("QF60-99", "QF60-1", "QF60-100"), serial_in("QF40-50", "QF60-1", "QF60-100")
    (True, False)
    """
    parts = [_prefix_and_number(text) for text in (serial, low, high)]
    (prefix, number), (low_prefix, low_number), (high_prefix, high_number) = parts
    return prefix == low_prefix == high_prefix and low_number <= number <= high_number


def _prefix_and_number(serial: str) -> tuple[str, int]:
    match = re.search(r"(\d{1,18})$", serial)
    return (serial, 0) if match is None else (serial[: match.start()], int(match[1]))
