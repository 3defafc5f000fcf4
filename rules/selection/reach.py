"""Which machines a coverage reaches: model, serial, build range, use, region and owner.

A condition that what is on file does not settle is neither met nor failed: each value that may hold is tried where it
can change a line, and somebody is asked.
"""

from collections.abc import Iterator
from functools import lru_cache

from rules.history.machine_dates import built_span, doubt_words
from rules.measures.starts import DAYS_OF_MACHINE
from rules.open_facts import OpenFact, World, asked_where
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.selection.owners import first_owner_fact, first_owner_has
from schemas.claim_file import ClaimFile
from schemas.machine import Machine
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import AppliesTo, prefix_and_number

Values = tuple[str | None, ...]  # None: one that no coverage names


@lru_cache(maxsize=4096)
def names_model(models: tuple[str, ...], model: str) -> bool:
    """Return whether a model code of a policy fits the machine's; a trailing * stands for any ending."""
    return any(m == model or (m.endswith("*") and model.startswith(m[:-1])) for m in models)


def sure_refusal(terms: CoveragePolicy, claim_file: ClaimFile) -> str | None:
    """Return the code of the first machine condition that is not met, whatever is right of all that is in doubt."""
    machine, applies = claim_file.machine, terms.applies_to
    if not names_model(applies.models, machine.model):
        return "no_coverage_for_machine"
    if applies.serials and not any(serial_in(machine.serial, r.from_, r.until) for r in applies.serials):
        return "serial_out_of_range"
    if _built_in_range(applies, machine) is False:
        return "built_out_of_range"
    if _use_reached(applies, machine) is False:
        return "use_not_covered"
    if _region_reached(applies, machine) is False:
        return "region_not_covered"
    if _owner_reached(applies, claim_file) is False:
        return "later_owner"
    return None


def refusal_in(world: World, policy: CompiledPolicy, claim_file: ClaimFile, book: PolicyBook) -> str | None:
    """Return why a policy does not reach the machine in a world, None where it does.

    What is sure refuses it first: then nothing needs to be asked.
    """
    refused = sure_refusal(policy.terms, claim_file)
    applies = policy.terms.applies_to
    if refused is not None or (
        applies.built is None and applies.use is None and applies.regions is None and applies.owner == "any"
    ):
        return refused
    return next(_doubts_that_refuse(world, policy, claim_file, book), None)


def _doubts_that_refuse(world: World, policy: CompiledPolicy, claim_file: ClaimFile, book: PolicyBook) -> Iterator[str]:
    """Yield the conditions in doubt that are not met in a world."""
    machine, applies, failed_on = claim_file.machine, policy.terms.applies_to, claim_file.claim.failed_on
    if_contradicted = asked_where(policy.conventions.facts.contradicts_other_record)
    if _built_in_range(applies, machine) is None:
        words = f"the day on which the machine was built: {doubt_words(machine)}"
        key = f"built_in_range:{policy.name}"
        if not world.pick(OpenFact(key, "start", if_contradicted, words, DAYS_OF_MACHINE), (1, 0)):
            yield "built_out_of_range"
    if _use_reached(applies, machine) is None:
        uses = uses_told_apart(book, machine.model)
        words = "the use class of the machine at its sale"
        use = uses[world.pick(OpenFact("use", "use", "dealer", words), tuple(range(len(uses))))]
        if applies.use is not None and use not in applies.use:
            yield "use_not_covered"
    if _region_reached(applies, machine) is None:
        regions = regions_told_apart(book, machine.model, machine.region)
        within = "" if machine.region is None else f" within {machine.region}"
        fact = OpenFact("region", "region", "dealer", f"the region{within} in which the machine is used")
        region = regions[world.pick(fact, tuple(range(len(regions))))]
        if not any(region_in(region, named) for named in applies.regions or ()):
            yield "region_not_covered"
    if _owner_reached(applies, claim_file) is None and not world.pick(
        first_owner_fact(machine, failed_on, if_contradicted), (1, 0)
    ):
        yield "later_owner"


def _built_in_range(applies: AppliesTo, machine: Machine) -> bool | None:
    """Return whether the machine was built in the range terms name; None: it may have been built on either side."""
    built = applies.built
    if built is None:
        return True
    first, last = built_span(machine)
    days = {first, last} | {day for day in (built.from_, built.until) if day is not None and first < day < last}
    inside = {built.holds(day) for day in days}
    return None if len(inside) > 1 else inside.pop()


def _use_reached(applies: AppliesTo, machine: Machine) -> bool | None:
    if applies.use is None:
        return True
    return None if machine.use is None else machine.use in applies.use


def _region_reached(applies: AppliesTo, machine: Machine) -> bool | None:
    """Return whether the machine's region lies in those terms name; None: one that they name is a part of it."""
    if applies.regions is None or any(region_in(machine.region, named) for named in applies.regions):
        return True
    return None if any(is_part(named, machine.region) for named in applies.regions) else False


def _owner_reached(applies: AppliesTo, claim_file: ClaimFile) -> bool | None:
    return True if applies.owner == "any" else first_owner_has(claim_file.machine, claim_file.claim.failed_on)


def region_in(region: str | None, named: str) -> bool:
    """Return whether a region is the one named or a part of it, such as US-CA of US."""
    return region is not None and (region == named or region.startswith(f"{named}-"))


def is_part(named: str, region: str | None) -> bool:
    """Return whether a named region is a true part of one that is on file; None: of the whole world."""
    return region is None or named.startswith(f"{region}-")


@lru_cache(maxsize=256)
def uses_told_apart(book: PolicyBook, model: str) -> Values:
    """Return one use class of each kind that the coverages of a model tell apart, and one that none names."""
    every = _conditions(book, model)
    named = sorted({use for applies in every for use in applies.use or ()})
    kinds: dict[tuple[bool, ...], str | None] = {}
    for use in (*named, None):
        kinds.setdefault(tuple(applies.use is None or use in applies.use for applies in every), use)
    return tuple(kinds.values())


@lru_cache(maxsize=1024)
def regions_told_apart(book: PolicyBook, model: str, region: str | None) -> Values:
    """Return one region of each kind that the coverages of a model tell apart within one on file, and that itself."""
    every = _conditions(book, model)
    named = sorted({part for applies in every for part in applies.regions or () if is_part(part, region)})
    kinds: dict[tuple[bool, ...], str | None] = {}
    for part in (*named, region):
        reached = (applies.regions is None or any(region_in(part, r) for r in applies.regions) for applies in every)
        kinds.setdefault(tuple(reached), part)
    return tuple(kinds.values())


def _conditions(book: PolicyBook, model: str) -> tuple[AppliesTo, ...]:
    every = (policy.terms.applies_to for policy in book.by_name.values())
    return tuple(applies for applies in every if names_model(applies.models, model))


def serial_in(serial: str, low: str, high: str) -> bool:
    """Return whether a serial lies in a range, compared as prefix and number.

    >>> serial_in("QF60-99", "QF60-1", "QF60-100"), serial_in("QF40-50", "QF60-1", "QF60-100")
    (True, False)
    """
    parts = [prefix_and_number(text) for text in (serial, low, high)]
    (prefix, number), (low_prefix, low_number), (high_prefix, high_number) = parts
    return prefix == low_prefix == high_prefix and low_number <= number <= high_number
