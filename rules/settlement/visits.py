"""Work that overlaps in one visit: operations with a combined flat-rate time, and one operation claimed more than once.

The same operation on the same side of the same component is one piece of work, however many lines claim it: they share
its flat-rate time. On the other side, or on another component, it is work of its own. Without a flat-rate time nothing
says how long the work takes, and every line stands for itself.

An operation counts in one combined time. Where several share an operation, those are taken with which the whole visit
takes the least time, whatever their names; of two ways to the same time the one whose names come first. Of more than
``MOST_TRIED`` operations that hang together in this way, the combined time that saves most is taken first.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from rules.measures.prorating import number_text
from rules.plain import hours_text
from rules.selection.select import Subject
from rules.settlement.desk import Desk
from rules.settlement.exact import Factor, times
from rules.settlement.labour import AN_HUNDREDTH, Time, counted_hours
from rules.settlement.least_time import MOST_TRIED, most_saved
from rules.settlement.operations import with_operation
from rules.settlement.sides import side_among, sides_of
from rules.settlement.tables import Dated
from schemas.claim import ClaimLine
from schemas.policy.pays import LabourPaid
from schemas.quantities import centihours

THIS_LINES = "this line's"
MOST_FIRST = f", taken by the most saved first, for more than {MOST_TRIED} operations hang together"

Place = tuple[bool, str, str, str]  # whether another policy's, side, component, the line that stands for itself


@dataclass(frozen=True, slots=True)
class _Work:
    """An operation on one side of one component with the lines that claim it, and what each is allowed by itself."""

    operation: str
    lines: tuple[ClaimLine, ...]
    flat: Dated[Decimal] | None
    own: tuple[int, ...]  # hundredths; none where the operation has no flat-rate time

    @property
    def alone(self) -> int:
        """The hundredths that its lines are allowed together, with no other operation beside them."""
        assert self.flat is not None
        return min(sum(self.own), centihours(self.flat.value))


def overlapping_times(desk: Desk, subjects: Sequence[Subject], told: Mapping[str, str]) -> dict[str, Time]:
    """Return the hours of lines that overlap others of the visit, by line; ``subjects`` are those the policy may pay.

    ``told`` are the operations, by line, that lines without a code are of in this world.

    A combined time is split in proportion to what each work, and then each of its lines, would be allowed by itself;
    where that comes to no more (little time was taken), each keeps its own.
    """
    work = (with_operation(line, told) for line in desk.claim_file.claim.lines if line.item == "labour")
    lines = [line for line in work if line.operation is not None]
    if len(lines) < 2:
        return {}
    (_, rule), tables = desk.policy.rules_of_items["labour"], desk.tables
    if not isinstance(rule, LabourPaid) or rule.hours == "actual" or not tables.has_flat_times:
        return {}
    operations = {str(line.operation) for line in lines}
    repeated = len(operations) < len(lines)
    if not repeated and all(len(found) == 1 for found in tables.flat_times):
        return {}
    on = desk.on(rule.rate_on)
    waiting = _works(lines, subjects, rule, on, desk)
    found: dict[str, Time] = {}
    while waiting:
        visit = {operation: works[0] for operation, works in waiting.items()}
        waiting = {operation: works[1:] for operation, works in waiting.items() if len(works) > 1}
        found |= dict(_times(visit, on, desk))
    return found


def _works(
    lines: Sequence[ClaimLine], subjects: Sequence[Subject], rule: LabourPaid, on: date, desk: Desk
) -> dict[str, list[_Work]]:
    """Return the works of each operation, in the order of their sides and components."""
    of_line = {subject.line.line: subject for subject in subjects}
    counts: dict[str, int] = {}
    for line in lines:
        counts[str(line.operation)] = counts.get(str(line.operation), 0) + 1
    sides = sides_of(subjects, desk)
    places: dict[str, dict[Place, list[ClaimLine]]] = {}
    for line in sorted(lines, key=lambda line: line.line):
        operation, subject = str(line.operation), of_line.get(line.line)
        if subject is None or counts[operation] == 1:
            place = (subject is None, "", "", line.line)
        else:
            component = subject.component or ""
            place = (False, side_among(subject, sides[component], desk), component, "")
        places.setdefault(operation, {}).setdefault(place, []).append(line)
    return {
        operation: [_work(operation, found[place], rule, on, desk) for place in sorted(found)]
        for operation, found in sorted(places.items())
    }


def _work(operation: str, lines: Sequence[ClaimLine], rule: LabourPaid, on: date, desk: Desk) -> _Work:
    flat = desk.tables.flat_time(frozenset((operation,)), on)
    if flat is None:
        return _Work(operation, tuple(lines), None, ())
    most = centihours(flat.value)
    own = (most if rule.hours == "flat_rate" else min(counted_hours(line, rule), most) for line in lines)
    return _Work(operation, tuple(lines), flat, tuple(own))


def _times(visit: Mapping[str, _Work], on: date, desk: Desk) -> Iterator[tuple[str, Time]]:
    """Yield the times of lines that overlap, of one work of each operation."""
    combined: set[str] = set()
    for together, found, how in _least_time(visit, on, desk):
        works = [visit[operation] for operation in sorted(together)]
        total, hundredths = sum(work.alone for work in works), centihours(found.value)
        combined |= together
        taken = f"{' and '.join(sorted(together))} together take {found.value} h ({found.row}){how}"
        for work in works:
            whose = THIS_LINES if len(work.lines) == 1 else f"that of {work.operation}"
            words = f"{taken}; {_part_words(hundredths, work.alone, total, whose)}"
            yield from _shared(work, _part(hundredths, work.alone, total), words)
    for operation, work in visit.items():
        if operation not in combined and work.flat is not None and sum(work.own) > work.alone:
            words = f"{operation} takes {work.flat.value} h ({work.flat.row})"
            yield from _shared(work, work.alone, words)


def _least_time(
    visit: Mapping[str, _Work], on: date, desk: Desk
) -> Iterator[tuple[frozenset[str], Dated[Decimal], str]]:
    """Yield the combined times that the visit takes, none sharing an operation, and how they were chosen of many."""
    saving: list[tuple[int, frozenset[str], Dated[Decimal]]] = []
    for together in desk.tables.combined(frozenset(visit), on):
        found, works = desk.tables.flat_time(together, on), [visit[operation] for operation in together]
        if found is not None and all(work.flat is not None for work in works):
            saved = sum(work.alone for work in works) - centihours(found.value)
            if saved > 0:
                saving.append((saved, together, found))
    for place, tried in most_saved([(saved, together) for saved, together, _ in saving]):
        _, together, found = saving[place]
        yield together, found, "" if tried else MOST_FIRST


def _shared(work: _Work, hundredths: Factor, words: str) -> Iterator[tuple[str, Time]]:
    """Yield the time of each line of a work that is allowed so many hundredths of an hour in all."""
    if len(work.lines) == 1:
        yield work.lines[0].line, Time(hundredths, "operations_overlap", words)
        return
    total = sum(work.own)
    if not total:
        return
    once = f"{words}, once for lines {' and '.join(line.line for line in work.lines)}"
    for line, own in zip(work.lines, work.own, strict=True):
        split = f"{once}; {_part_words(hundredths, own, total, THIS_LINES)}"
        yield line.line, Time(_part(hundredths, own, total), "operations_overlap", split)


def _part(hundredths: Factor, own: int, total: int) -> Factor:
    return times(hundredths, Fraction(own, total))


def _part_words(hundredths: Factor, own: int, total: int, whose: str) -> str:
    share, whole = Fraction(own, total), number_text(Fraction(hundredths, 100))
    return (
        f"of them {hours_text(own)} ÷ {hours_text(total)} is {whose}:"
        f" {whole} h × {number_text(share)} = {number_text(_part(hundredths, own, total) * AN_HUNDREDTH)} h"
    )
