"""Whether an alteration on file takes a line out of cover, worked again."""

from schemas.claim_file import ClaimFile
from schemas.machine import Alteration, FittedComponent
from schemas.policy.exclusions import Alterations
from tests.reference.terms import brought, fitted_on_machine
from tests.reference.unknown import Given
from tests.reference.views import Subject

GONE = "gone"  # a part that is not on file, since another one was fitted in its place later


def altered(
    exclusion: Alterations, found: Alteration, subject: Subject, side: str, claim_file: ClaimFile, given: Given
) -> bool:
    """Return whether the exclusion reaches a line about a component on ``side`` by this alteration."""
    claim = claim_file.claim
    if found.kind not in exclusion.alterations:
        return False
    if exclusion.reach == "altered_component" and subject.component != found.component:
        return False
    if exclusion.reach == "only_if_it_caused_the_failure":
        return bool(found.caused_failure) or (
            found.caused_failure is None and not given.yes(f"alteration:{found.id}", "person")
        )
    if exclusion.reach == "everything":
        still = {_came_off(name, claim_file) for name in _altered_parts(found, claim_file)}
        if still == {True} and not found.caused_failure:
            return False
        doubtful = len(still) == 2 and not found.caused_failure
        if doubtful and given.yes(f"altered part had come off:{found.id}", "person"):
            return False
    else:
        same = _same_part(found, subject, side, claim_file)
        if same is False:
            return False
        if same is None and not found.caused_failure and given.yes(f"other part altered:{found.id}:{side}", "person"):
            return False
    if found.caused_failure:
        return True
    # What is found by the end of the repair was found on the machine as it had failed; later, nobody knows.
    repair = [day for day in (claim.repair_began_on, claim.repair_ended_on) if day is not None]
    if any(found.found_on <= day for day in (claim.failed_on, *repair)):
        return True
    return not given.yes(f"alteration made later:{found.id}", "person")


def _same_part(found: Alteration, subject: Subject, side: str, claim_file: ClaimFile) -> bool | None:
    """Return whether the part that failed is the altered one; None: nobody knows."""
    if found.position != "none" and side not in ("none", found.position):
        return False
    failed = _itself(subject, side, claim_file)
    parts = _altered_parts(found, claim_file)
    if failed is not None:
        return None if failed in parts and len(parts) > 1 else failed in parts
    if not parts:
        return True if side == found.position else None
    return False if all(_came_off(name, claim_file) for name in parts) else None


def _itself(subject: Subject, side: str, claim_file: ClaimFile) -> str | None:
    """Return the record of the component that failed, kits that were only added to it left aside."""
    machine = claim_file.machine
    own = tuple(f for f in machine.components if subject.component in brought(f))
    alone = claim_file.model_copy(update={"machine": machine.model_copy(update={"components": own})})
    fitted = fitted_on_machine(alone, subject.component, side, subject.line.removed_serial)
    return None if fitted is None else fitted.id


def _came_off(name: str, claim_file: ClaimFile) -> bool:
    ends = {f.id: f.removed_on for f in claim_file.machine.components}
    end = ends.get(name)
    return name == GONE or (end is not None and end < claim_file.claim.failed_on)


def _altered_parts(found: Alteration, claim_file: ClaimFile) -> set[str]:
    """Return the records of all parts that may be the altered one, place by place."""
    seen = min(found.found_on, claim_file.claim.failed_on)
    places: dict[str, list[FittedComponent]] = {}
    for f in claim_file.machine.components:
        if found.component in brought(f) and (found.position == "none" or f.position in ("none", found.position)):
            places.setdefault(f.position, []).append(f)
    possible: set[str] = set()
    for place, parts in places.items():
        there = [
            f for f in parts if not (f.fitted_on and f.fitted_on > seen) and not (f.removed_on and f.removed_on < seen)
        ]
        new = [f for f in there if f.fitted_on == seen]
        old = [f for f in there if f.fitted_on != seen]
        if place != "none":
            old = [f for f in old if not any((o.fitted_on or seen) < seen and _later(o, f) for o in old)]
        possible |= {f.id for f in old}
        if not old or seen < claim_file.claim.failed_on:
            possible |= {f.id for f in new}
        if all(f.fitted_on is not None and f.fitted_on > seen for f in parts):
            possible.add(GONE)
    return possible


def _later(one: FittedComponent, other: FittedComponent) -> bool:
    """Return whether ``one`` was fitted later than ``other``."""
    return one.fitted_on is not None and (other.fitted_on is None or other.fitted_on < one.fitted_on)
