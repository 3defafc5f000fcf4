"""Days of a claim that contradict one another, and the claim file that is left when they are set aside.

A day that lies before one it must follow is a typing slip in one of the two, and nothing says in which. Every day of
such a pair is in doubt: one that a claim may leave out counts as not on file, so that it is asked for only where it
changes a line; the day of the failure is behind every line. The same day twice is no contradiction. A day after that of
the decision is the claim's slip, for the desk knows which day it is.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from rules.plain import day_text
from schemas.claim_file import ClaimFile

FAILURE: Final = "failed_on"
SYMPTOM: Final = "symptom"
DECISION: Final = "decided_on"

# What the days of a claim are called, in the order in which they come as far as they have an order.
DAY_NAMES = {
    SYMPTOM: "the first sign of the trouble",
    FAILURE: "the failure",
    "reported_on": "the report of the failure",
    "part_received_on": "the arrival of the failed part",
    "repair_began_on": "the beginning of the repair",
    "repair_ended_on": "the end of the repair",
    "submitted_on": "the submission of the claim",
    DECISION: "this decision",
}
LEFT_OUT_MAYBE = ("reported_on", "part_received_on", "repair_began_on", "repair_ended_on", "submitted_on")
# The first of two lies on or before the second. A part may arrive, and a report be made, while the repair goes on; a
# part may still be on its way when the claim is submitted.
PAIRS: tuple[tuple[str, str], ...] = (
    (SYMPTOM, FAILURE),
    (FAILURE, "reported_on"),
    (FAILURE, "part_received_on"),
    (FAILURE, "repair_began_on"),
    (FAILURE, "repair_ended_on"),
    (FAILURE, "submitted_on"),
    ("reported_on", "submitted_on"),
    ("repair_began_on", "repair_ended_on"),
    ("repair_began_on", "submitted_on"),
    ("repair_ended_on", "submitted_on"),
    (FAILURE, DECISION),
    ("reported_on", DECISION),
    ("part_received_on", DECISION),
    ("repair_began_on", DECISION),
    ("repair_ended_on", DECISION),
    ("submitted_on", DECISION),
)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Days of one claim that hang together by pairs in the wrong order.

    ``fields`` are the claim's fields in doubt, ``days`` all the days with their names (that of the decision included
    where one lies after it), ``suspects`` the fields of which one alone explains every pair, all of them where none
    does.
    """

    fields: tuple[str, ...]
    days: tuple[tuple[str, date], ...]
    pairs: tuple[str, ...]  # each pair in words
    suspects: tuple[str, ...]

    @property
    def key(self) -> str:
        return f"dates:{'+'.join(self.fields)}"

    @property
    def words(self) -> str:
        """The days that contradict one another, and which to correct, without saying to what."""
        return f"{'; '.join(self.pairs)}; correct the day of {_either(DAY_NAMES[field] for field in self.suspects)}"


def contradictions(claim_file: ClaimFile) -> tuple[Contradiction, ...]:
    """Return the contradictions of a claim, days that hang together in one; none where all days stand in order."""
    if _all_in_order(claim_file):
        return ()
    stated = _stated(claim_file)
    wrong = [(a, b) for a, b in PAIRS if a in stated and b in stated and stated[a] > stated[b]]
    return tuple(_contradiction(pairs, stated) for pairs in _hanging_together(wrong))


def without_days_in_doubt(claim_file: ClaimFile, found: Iterable[Contradiction]) -> ClaimFile:
    """Return the claim file with every day in doubt left out; the day of the failure stays as it was stated."""
    doubtful = {field for contradiction in found for field in contradiction.fields} - {FAILURE}
    if not doubtful:
        return claim_file
    claim = claim_file.claim.model_copy(update=dict.fromkeys(doubtful))
    # Built anew, for a copy would keep the digest of what it was copied from.
    fields: dict[str, Any] = {name: getattr(claim_file, name) for name in ClaimFile.model_fields}
    return ClaimFile.model_construct(**{**fields, "claim": claim})


def _all_in_order(claim_file: ClaimFile) -> bool:
    """Return whether no pair is wrong, as almost always; a day that is left out stands where the one before it does."""
    claim = claim_file.claim
    failed, symptom = claim.failed_on, claim.symptom
    began = claim.repair_began_on or failed
    ended = claim.repair_ended_on or began
    reported, received = claim.reported_on or failed, claim.part_received_on or failed
    submitted = claim.submitted_on or max(ended, reported)
    decided = claim_file.decided_on
    return (
        failed <= began <= ended <= submitted <= decided
        and failed <= reported <= submitted
        and failed <= received <= decided
        and (symptom is None or symptom.on <= failed)
    )


def _stated(claim_file: ClaimFile) -> dict[str, date]:
    claim = claim_file.claim
    stated = {name: day for name in LEFT_OUT_MAYBE if (day := getattr(claim, name)) is not None}
    stated[FAILURE], stated[DECISION] = claim.failed_on, claim_file.decided_on
    if claim.symptom is not None:
        stated[SYMPTOM] = claim.symptom.on
    return stated


def _hanging_together(pairs: Iterable[tuple[str, str]]) -> Iterator[list[tuple[str, str]]]:
    """Yield pairs that share a day of the claim; the day of the decision joins none, for it is in no doubt."""
    groups: list[list[tuple[str, str]]] = []
    for pair in pairs:
        joined = [g for g in groups if any(set(pair) & set(other) - {DECISION} for other in g)]
        groups = [*(g for g in groups if g not in joined), [*(p for g in joined for p in g), pair]]
    yield from sorted(groups, key=lambda group: min(PAIRS.index(pair) for pair in group))


def _contradiction(pairs: list[tuple[str, str]], stated: dict[str, date]) -> Contradiction:
    pairs = sorted(pairs, key=PAIRS.index)
    there = [name for name in DAY_NAMES if any(name in pair for pair in pairs)]
    fields = tuple(name for name in there if name != DECISION)
    behind_all = tuple(name for name in fields if all(name in pair for pair in pairs))
    return Contradiction(
        fields,
        tuple((DAY_NAMES[name], stated[name]) for name in there),
        tuple(_in_words(earlier, later, stated) for earlier, later in pairs),
        behind_all or fields,
    )


def _in_words(earlier: str, later: str, stated: dict[str, date]) -> str:
    first, second = (f"{DAY_NAMES[name]} on {day_text(stated[name])}" for name in (earlier, later))
    return f"{first} lies after {second}" if later == DECISION else f"{second} lies before {first}"


def _either(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', of '.join(most)} or of {last}" if most else last
