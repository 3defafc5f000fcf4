"""Whether a policy reaches a machine, worked again; where records leave it open, what it hangs on is asked for."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta

from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import Machine
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import AppliesTo, prefix_and_number
from tests.reference.machine_days import possible_days, whom
from tests.reference.unknown import Given

Book = dict[str, tuple[CoveragePolicy, Conventions]]
Turned = Callable[[str], bool]  # whether a condition that is open turned out to be met, by the code of its refusal


def machine_reached(policy: CoveragePolicy, claim_file: ClaimFile, turned: Turned | None = None) -> str:
    """Return the code of the first condition on machine or owner that is not met, empty where all are.

    Without ``turned`` an open condition counts as met.
    """
    machine, applies = claim_file.machine, policy.applies_to
    if not any(m == machine.model or (m[-1] == "*" and machine.model.startswith(m[:-1])) for m in applies.models):
        return "no_coverage_for_machine"
    for code, met in _conditions(applies, claim_file):
        if met is False or (met is None and turned is not None and not turned(code)):
            return code
    return ""


def _conditions(applies: AppliesTo, claim_file: ClaimFile) -> Iterator[tuple[str, bool | None]]:
    """Yield by the code of its refusal whether each condition is met; None: what is on file leaves it open."""
    machine = claim_file.machine
    prefix, number = prefix_and_number(machine.serial)
    ranges = [(prefix_and_number(r.from_), prefix_and_number(r.until)) for r in applies.serials]
    inside = [prefix == low[0] and low[1] <= number <= high[1] for low, high in ranges]
    yield "serial_out_of_range", any(inside) or not ranges
    if applies.built is not None:
        first, last = possible_days("built", claim_file) or (machine.built_on, machine.built_on)
        days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        held = [applies.built.holds(day) for day in days]
        yield "built_out_of_range", all(held) or (None if any(held) else False)
    if applies.use is not None:
        yield "use_not_covered", None if machine.use is None else machine.use in applies.use
    if applies.regions is not None:
        lies = any(_within(machine.region, named) for named in applies.regions)
        may = any(machine.region is None or _within(named, machine.region) for named in applies.regions)
        yield "region_not_covered", True if lies else (None if may else False)
    if applies.owner == "first":
        yield "later_owner", first_owner(machine, claim_file.claim.failed_on)


def _within(region: str | None, wider: str) -> bool:
    return region is not None and f"{region}-".startswith(f"{wider}-")


def first_owner(machine: Machine, day: date) -> bool | None:
    """Return whether the first owner has the machine; None where nobody has it on file, or two have, or none could."""
    first, later, odd = _owners(machine, day)
    if later == odd != []:
        return None
    ends = [o.until for o in first]
    if later:
        return None if any(end is not None and end >= day for end in ends) else False
    return None if ends and all(end is not None and end < day for end in ends) else True


def _owners(machine: Machine, day: date) -> tuple[list, list, list]:  # type: ignore[type-arg]
    """Return the records of the first owner, of later ones, and those of the latter that cannot be."""
    begun = [o for o in machine.owners if o.since <= day]
    later = [o for o in begun if o.order > 1]
    odd = [
        o
        for o in later
        if o.since < machine.built_on or any(p.order < o.order and p.since > o.since for p in machine.owners)
    ]
    return [o for o in begun if o.order == 1], later, odd


def turned_out(book: Book, name: str, claim_file: ClaimFile, given: Given) -> Turned:
    """Return what says how the open conditions of a policy turned out in this world."""
    policy, conventions = book[name]
    applies, machine = policy.applies_to, claim_file.machine

    def turned(code: str) -> bool:
        if code == "built_out_of_range":
            return given.yes(f"built in range:{policy.ref}", whom(conventions))
        if code == "use_not_covered":
            every_use = [p.applies_to.use or () for p, _ in book.values()]
            named = sorted({use for found in every_use for use in found})
            alike = {tuple(use in found for found in every_use): use for use in [*named, ""]}
            uses = list(alike.values())
            return uses[given.ask("use", list(range(len(uses))))] in (applies.use or ())
        if code == "region_not_covered":
            every = sorted({r for p, _ in book.values() for r in p.applies_to.regions or ()})
            parts = [r for r in every if machine.region is None or _within(r, machine.region)]
            regions = [*parts, machine.region]
            region = regions[given.ask("region", list(range(len(regions))))]
            return any(_within(region, r) for r in applies.regions or ())
        return given.yes("first owner", _asked_of(machine, claim_file.claim.failed_on, conventions))

    return turned


def _asked_of(machine: Machine, day: date, conventions: Conventions) -> str:
    """Return who is asked for the owner: of two who both had it for days, or of days that cannot be, whoever judges."""
    first, later, odd = _owners(machine, day)
    ends = [o.until for o in first if o.until is not None]
    both = any(o.since < max(ends) for o in later) if ends else False
    return whom(conventions) if both or later == odd != [] else "dealer"
