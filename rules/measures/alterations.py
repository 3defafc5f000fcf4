"""Alterations on file, and the lines that an exclusion takes out of cover for them.

An alteration is of a part. Where the exclusion reaches the altered component, a line is reached when the part that
failed is the one the alteration was made on: not the other side's, and none that came onto the machine after it was
found. Where the records leave open which part that was, a person is asked, unless a person already judged that the
alteration caused the failure.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from rules.measures.groups import component_itself, own_parts
from rules.open_facts import OpenFact, World
from rules.plain import day_text
from rules.policy_book.compiled import CompiledPolicy
from rules.selection.select import Subject
from schemas.claim import Claim
from schemas.claim_file import ClaimFile
from schemas.machine import Alteration, FittedComponent, Machine
from schemas.policy.exclusions import Alterations

Certainty = Literal["yes", "no", "unknown"]


@dataclass(frozen=True, slots=True)
class AlteredLine:
    """An alteration on file that reaches a line by exclusion ``exclusion``."""

    line: str
    kind: str
    exclusion: int
    record: str


def altered_lines(
    policy: CompiledPolicy, subjects: Sequence[Subject], claim_file: ClaimFile, world: World
) -> tuple[AlteredLine, ...]:
    """Return the lines that an exclusion reaches by an alteration in this world."""
    if not claim_file.machine.alterations:
        return ()
    found: list[AlteredLine] = []
    for index, exclusion in enumerate(policy.terms.exclusions):
        if not isinstance(exclusion, Alterations):
            continue
        for alteration in claim_file.machine.alterations:
            if alteration.kind in exclusion.alterations:
                reached = _reached(exclusion, alteration, subjects, claim_file, world)
                found += [AlteredLine(s.line.line, alteration.kind, index, alteration.id) for s in reached]
    return tuple(found)


def _reached(
    exclusion: Alterations, alteration: Alteration, subjects: Sequence[Subject], claim_file: ClaimFile, world: World
) -> list[Subject]:
    machine, claim = claim_file.machine, claim_file.claim
    if exclusion.reach == "only_if_it_caused_the_failure":
        return list(subjects) if _caused(alteration.id, alteration.caused_failure, world) else []
    if exclusion.reach == "altered_component":
        of_component = [s for s in subjects if s.component == alteration.component]
        reached = [s for s in of_component if _is_on_failed_part(alteration, s, machine, claim, world)]
    else:
        reached = list(subjects) if _part_was_still_there(alteration, machine, claim, world) else []
    return reached if reached and _was_there(alteration, claim, world) else []


def _caused(record: str, caused: bool | None, world: World) -> bool:
    if caused is not None:
        return caused
    fact = OpenFact(
        f"alteration:{record}", "alteration", "person", f"whether the alteration {record} caused the failure"
    )
    return not world.pick(fact, (1, 0))


def _was_there(alteration: Alteration, claim: Claim, world: World) -> bool:
    """Return whether an alteration was on the machine when it failed.

    It was where it is said to have caused the failure, and where it was found before the failure or at the repair: then
    the machine was looked at as it had failed. What was found later may have been done since: a person judges.
    """
    days = (claim.failed_on, claim.repair_began_on, claim.repair_ended_on)
    if alteration.caused_failure or alteration.found_on <= max(day for day in days if day is not None):
        return True
    words = (
        f"whether the alteration {alteration.id}, found on {day_text(alteration.found_on)}, was on the machine when it"
        f" failed on {day_text(claim.failed_on)}"
    )
    return not world.pick(OpenFact(f"altered_then:{alteration.id}", "alteration", "person", words), (1, 0))


def _is_on_failed_part(alteration: Alteration, subject: Subject, machine: Machine, claim: Claim, world: World) -> bool:
    """Return whether the part that a line is about is the one the alteration was made on."""
    failed = component_itself(machine, subject.component, subject.side, claim.failed_on, subject.line.removed_serial)
    certain = _of_failed_part(alteration, subject, failed, _may_be_of(alteration, machine, claim), claim)
    if certain == "unknown" and not alteration.caused_failure:
        side = "" if subject.side == "none" else f"{subject.side} "
        words = (
            f"whether the alteration {alteration.id}, found on {day_text(alteration.found_on)}, was made on the"
            f" {side}{alteration.component.replace('_', ' ')} that failed"
        )
        about = subject.side if failed is None else failed.id
        return not world.pick(OpenFact(f"altered_part:{alteration.id}:{about}", "alteration", "person", words), (1, 0))
    return certain != "no"


def _of_failed_part(
    alteration: Alteration,
    subject: Subject,
    failed: FittedComponent | None,
    possible: Sequence[FittedComponent | None],
    claim: Claim,
) -> Certainty:
    if "none" not in (alteration.position, subject.side) and alteration.position != subject.side:
        return "no"
    if failed is not None:
        if failed not in possible:
            return "no"
        return "yes" if len(possible) == 1 else "unknown"
    if possible:
        return "no" if all(_is_gone(part, claim.failed_on) for part in possible) else "unknown"
    return "yes" if alteration.position == subject.side else "unknown"


def _part_was_still_there(alteration: Alteration, machine: Machine, claim: Claim, world: World) -> bool:
    """Return whether the altered part, whichever it was, had not come off the machine before the failure."""
    gone = [_is_gone(part, claim.failed_on) for part in _may_be_of(alteration, machine, claim)]
    if alteration.caused_failure or True not in gone:
        return True
    if all(gone):
        return False
    words = (
        f"whether the alteration {alteration.id}, found on {day_text(alteration.found_on)}, was made on a part that"
        f" was still on the machine when it failed on {day_text(claim.failed_on)}"
    )
    return not world.pick(OpenFact(f"altered_part:{alteration.id}", "alteration", "person", words), (1, 0))


def _is_gone(part: FittedComponent | None, failed_on: date) -> bool:
    return part is None or (part.removed_on is not None and part.removed_on < failed_on)


def _may_be_of(alteration: Alteration, machine: Machine, claim: Claim) -> list[FittedComponent | None]:
    """Return the parts on file that an alteration may have been made on; empty where none of the component is on file.

    Those that were on the machine when it was found, on both sides where no side is noted; found at the repair or
    later, those on the machine as it failed. None stands for one that came off and is not on file itself: the part
    before a later fitting. On the day of a fitting the old and the new part were both there; on that of the failure the
    new one came for the one that failed.
    """
    on = min(alteration.found_on, claim.failed_on)
    of_side = [
        part
        for part in machine.components
        if alteration.component in own_parts(part)
        and ("none" in (alteration.position, part.position) or part.position == alteration.position)
    ]
    possible: list[FittedComponent | None] = []
    for side in dict.fromkeys(part.position for part in of_side):
        parts = [part for part in of_side if part.position == side]
        there = [part for part in parts if _was_on(part, on)]
        before = [part for part in there if part.fitted_on != on]
        if side != "none":  # one part at a time: what a later one replaced had come off, whether noted or not
            last = max((part.fitted_on or date.min for part in before), default=date.min)
            before = [part for part in before if (part.fitted_on or date.min) == last]
        possible += before
        if not before or on < claim.failed_on:
            possible += [part for part in there if part.fitted_on == on]
        if all(part.fitted_on is not None and part.fitted_on > on for part in parts):
            possible.append(None)
    return possible


def _was_on(part: FittedComponent, day: date) -> bool:
    return (part.fitted_on or day) <= day <= (part.removed_on or day)
