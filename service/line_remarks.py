"""What is told of a claim's lines as typed: a side that the machine does not have, and a line that states no sum."""

from collections.abc import Iterator

from rules.policy_book.values import listed
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from service.rendering.remarks import Remark

_HELD = ("need_info", "refer")  # what is open there says itself what it waits for


def stray_sides(claim_file: ClaimFile) -> Iterator[Remark]:
    """Yield a remark for a line about a side on which the machine has no such component, but others on file."""
    claim, machine = claim_file.claim, claim_file.machine
    for line in claim.lines:
        component = line.component or claim.component
        sides: list[str] = sorted({found.position for found in machine.components if found.component == component})
        if line.position == "none" or not sides or "none" in sides or line.position in sides:
            continue
        words = (
            f"claim {claim.claim}, line {line.line}: the {line.position} {component} is claimed, and machine"
            f" {machine.serial} has the {listed(sides)} one on file."
        )
        yield Remark(words.replace("_", " "), for_dealer=True)


def without_sums(claim_file: ClaimFile, decision: Decision) -> Iterator[Remark]:
    """Yield a remark for a line that is decided with nothing claimed because it states only a distance or a time."""
    claim = claim_file.claim
    outcomes = {line.line: line for line in decision.lines}
    for line in claim.lines:
        decided = outcomes[line.line]
        if line.amount is not None or line.net is not None or decided.claimed or decided.outcome in _HELD:
            continue
        stated = [f"{line.units} {line.unit}"] if line.units else []
        stated += [f"{line.hours} h"] if line.hours and line.rate is None else []
        if stated:
            words = (
                f"claim {claim.claim}, line {line.line}: it states {listed(stated)} and no amount, and no coverage pays"
                " it by a rate of its own, so that nothing is shown as claimed."
            )
            yield Remark(words, for_dealer=True)
