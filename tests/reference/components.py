"""What each line is about, worked again: typed, by its part number, or the component that failed first.

Where nothing tells it, every component that some document names is tried, and one that none names.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.reference_tables import PartComponentTable
from tests.reference.tables import component_of_part
from tests.reference.unknown import Given

NAMING = {"component", "components", "except_components", "links", "wear", "consumables", "kit_parts"}
Book = Mapping[str, tuple[CoveragePolicy, Conventions]]


def named_anywhere(book: Book, claim_file: ClaimFile) -> list[str | None]:
    """Return every component that a policy, the machine, an earlier payment or a line names, and one that none does."""
    trees: list[Any] = [policy.model_dump(mode="json") for policy, _ in book.values()]
    trees += [claim_file.machine.model_dump(mode="json"), claim_file.claim.model_dump(mode="json")]
    trees += [payment.model_dump(mode="json") for payment in claim_file.earlier_payments]
    by_part = {component_of_part(claim_file, line.part_number) for line in claim_file.claim.lines} - {None}
    return [*sorted({*_words(trees, False), *map(str, by_part)} - {"whole_machine", "all"}), None]


def _words(tree: Any, naming: bool) -> Iterator[str]:
    if isinstance(tree, str) and naming:
        yield tree
    elif isinstance(tree, dict):
        for key, value in tree.items():
            yield from _words(value, key in NAMING)
    elif isinstance(tree, list):
        for value in tree:
            yield from _words(value, naming)


def named_by_lines(claim_file: ClaimFile) -> list[str]:
    """Return what the lines name by themselves, of those that were ruined by no other where there are any."""
    lines = claim_file.claim.lines
    for wanted in ([line for line in lines if line.caused_by is None], lines):
        named = [(line.component, component_of_part(claim_file, line.part_number)) for line in wanted]
        found = {component for pair in named for component in pair if component is not None}
        if found:
            return sorted(found)
    return []


def unlisted(line: ClaimLine, claim_file: ClaimFile) -> bool:
    """Return whether the part table does not list a part that nobody typed a component of."""
    if not any(isinstance(table, PartComponentTable) for table in claim_file.tables):
        return False
    part = line.item == "parts" and line.part_number is not None and line.component is None
    return part and component_of_part(claim_file, line.part_number) is None


def components_in(book: Book, claim_file: ClaimFile, given: Given) -> tuple[ClaimFile, dict[str, str | None]]:
    """Return the claim file with the component that failed first, and the component of each line."""
    claim = claim_file.claim
    named = [] if claim.component is not None else named_by_lines(claim_file)
    told = claim.component is not None or bool(named)
    found: dict[str, str | None] = {}
    for line in claim.lines:
        by_part = component_of_part(claim_file, line.part_number)
        if line.component is not None and by_part not in (None, line.component):
            both = [line.component, by_part]
            found[line.line] = both[given.ask(f"component:{line.part_number}:{line.component}", [0, 1], "person")]
        elif line.component is not None or by_part is not None:
            found[line.line] = line.component or by_part
        elif told and unlisted(line, claim_file):
            every = named_anywhere(book, claim_file)
            found[line.line] = every[given.ask(f"component:{line.part_number}", list(range(len(every))))]
    failed = claim.component
    if failed is None and (len(named) == 1 or len(found) < len(claim.lines)):
        possible = named or named_anywhere(book, claim_file)
        failed = possible[given.ask("component", list(range(len(possible))))]
    claim = claim.model_copy(update={"component": failed})
    every_line = {line.line: found.get(line.line, failed) for line in claim.lines}
    return claim_file.model_copy(update={"claim": claim}), every_line
