"""The operation code of labour that states none, where it may share a flat-rate time with work on other lines."""

from collections.abc import Mapping, Sequence

from rules.open_facts import OpenFact
from rules.settlement.desk import Desk
from schemas.claim import ClaimLine
from schemas.policy.pays import LabourPaid


def operations_told(desk: Desk) -> Mapping[str, str]:
    """Return by line the operations that lines without a code are of in this world; none where it changes nothing.

    One that is not among the operations that go together with another line's is left out: it has no part in their time.
    """
    work = [line for line in desk.claim_file.claim.lines if line.item == "labour"]
    unstated = [line for line in work if line.operation is None]
    rule = desk.policy.rules_of_items["labour"][1]
    if not unstated or len(unstated) == len(work) or not isinstance(rule, LabourPaid) or rule.hours == "actual":
        return {}
    possible = desk.world.once("operations", lambda: _possible(work, len(unstated), desk))
    told: dict[str, str] = {}
    for line in unstated if possible else ():
        words = f"the operation code of line {line.line}"
        fact = OpenFact(f"operation:{line.line}", "operation", "dealer", words)
        picked = desk.world.pick(fact, tuple(range(len(possible) + 1)))
        if picked:
            told[line.line] = possible[picked - 1]
    return told


def with_operation(line: ClaimLine, told: Mapping[str, str]) -> ClaimLine:
    """Return a line with the operation that it is of in this world."""
    operation = told.get(line.line)
    return line if operation is None else line.model_copy(update={"operation": operation})


def _possible(work: Sequence[ClaimLine], unstated: int, desk: Desk) -> tuple[str, ...]:
    """Return the operations that have a combined time with claimed ones, whatever the day on which rows hold."""
    claimed = {line.operation for line in work if line.operation is not None}
    found: set[str] = set()
    for together in desk.tables.flat_times:
        others = together - claimed
        if others != together and len(others) <= unstated:
            found |= others
    return tuple(sorted(found))
