"""Work that overlaps in one visit, and the side of the machine that a line is about."""

from decimal import Decimal
from fractions import Fraction

from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.policy.pays import LabourPaid
from schemas.reference_tables import FlatTimeTable
from tests.reference.allowed import tenths
from tests.reference.tables import Counter
from tests.reference.unknown import Given
from tests.reference.views import Subject

SIDES = ["none", "left", "right", "front", "rear"]


def side_of(subject: Subject, claim_file: ClaimFile) -> str:
    """Return the side a line is about, of what is on file as fitted or as typed."""
    if subject.fitted is not None and subject.fitted.position != "none":
        return subject.fitted.position
    claim = claim_file.claim
    typed = subject.line.position
    return claim.position if typed == "none" and subject.component == claim.component else typed


def side_among(name: str, side: str, others: set[str], given: Given) -> str:
    """Return a line's side; one that states none is of a side that others of its component state."""
    possible = sorted(others - {"none"})
    if side != "none" or not possible:
        return side
    return SIDES[given.ask(f"position:line:{name}", [SIDES.index(s) for s in possible])]


def with_codes(claim_file: ClaimFile, counter: Counter) -> dict[str, ClaimLine]:
    """Return the lines of labour; one without a code is of one that goes together with another line's, or of none."""
    work = {line.line: line for line in claim_file.claim.lines if line.item == "labour"}
    codes = {line.operation for line in work.values()} - {None}
    nameless = [name for name in sorted(work) if work[name].operation is None]
    rule = counter.policy.pays.rule_for("labour")
    if not codes or not isinstance(rule, LabourPaid) or rule.hours == "actual":
        return work
    rows = [set(r.operations) for t in claim_file.tables if isinstance(t, FlatTimeTable) for r in t.rows]
    others = [row - codes for row in rows if row & codes and 0 < len(row - codes) <= len(nameless)]
    possible = sorted(set().union(*others)) if others else []
    for name in nameless:
        chosen = counter.given.ask(f"operation:{name}", list(range(len(possible) + 1)))
        if chosen:
            work[name] = work[name].model_copy(update={"operation": possible[chosen - 1]})
    return work


def overlapping(subjects: list[Subject], work: dict[str, ClaimLine], counter: Counter) -> dict[str, Fraction]:
    """Return the hours of lines whose work takes less together: combined operations, and one claimed twice.

    One operation on one side of a component is one work. A visit holds one work of each operation; where an operation
    was done on several sides, the others are looked at as visits of their own, side by side.
    """
    rule = counter.policy.pays.rule_for("labour")
    if not isinstance(rule, LabourPaid) or rule.hours == "actual" or not counter.has(FlatTimeTable):
        return {}
    works = _works(subjects, work, counter)
    rows = [frozenset(r.operations) for t in counter.claim_file.tables if isinstance(t, FlatTimeTable) for r in t.rows]
    combined = sorted({row for row in rows if len(row) > 1}, key=sorted)
    result: dict[str, Fraction] = {}
    for visit in range(max((len(found) for found in works.values()), default=0)):
        done = {operation: found[visit] for operation, found in works.items() if visit < len(found)}
        if len(done) < 2 and all(len(lines) == 1 for lines in done.values()):
            continue
        result |= _of_visit(done, combined, rule, counter)
    return result


def _works(subjects: list[Subject], work: dict[str, ClaimLine], counter: Counter) -> dict[str, list[list[ClaimLine]]]:
    """Return the lines of each work, by operation; lines that the policy does not reach stand for themselves."""
    claim_file = counter.claim_file
    lines = [x for x in work.values() if x.operation is not None]
    reached = {s.line.line: s for s in subjects}
    places: dict[str, dict[tuple[int, str, str, str], list[ClaimLine]]] = {}
    for line in sorted(lines, key=lambda each: each.line):
        subject = reached.get(line.line)
        place = (1, "", "", line.line)
        if subject is not None:
            side = side_of(subject, claim_file)
            if sum(x.operation == line.operation for x in lines) > 1:
                of_component = {side_of(s, claim_file) for s in subjects if s.component == subject.component}
                side = side_among(line.line, side, of_component, counter.given)
            place = (0, side, subject.component or "", "")
        places.setdefault(str(line.operation), {}).setdefault(place, []).append(line)
    return {operation: [found[place] for place in sorted(found)] for operation, found in places.items()}


def _of_visit(
    done: dict[str, list[ClaimLine]], combined: list[frozenset[str]], rule: LabourPaid, counter: Counter
) -> dict[str, Fraction]:
    day = counter.day(rule.rate_on)
    flat = {operation: counter.flat_time({operation}, day) for operation in done}
    own: dict[str, Fraction] = {}
    alone: dict[str, Fraction] = {}
    for operation, time in flat.items():
        if time is None:
            continue
        most = Fraction(time)
        for line in done[operation]:
            own[line.line] = most if rule.hours == "flat_rate" else min(tenths(line.hours or Decimal(0), rule), most)
        alone[operation] = min(sum((own[x.line] for x in done[operation]), Fraction(0)), most)
    granted = dict(alone)
    shortened: set[str] = set()
    for together, both in _shortest(combined, alone, {row: counter.flat_time(set(row), day) for row in combined}):
        whole = sum(alone[o] for o in together)
        granted |= {o: both * alone[o] / whole for o in together}
        shortened |= together
    result: dict[str, Fraction] = {}
    for operation, hours in granted.items():
        lines = done[operation]
        whole = sum((own[x.line] for x in lines), Fraction(0))
        if len(lines) == 1 and operation in shortened:
            result[lines[0].line] = hours
        elif whole and (operation in shortened or whole > hours):
            result |= {x.line: hours * own[x.line] / whole for x in lines}
    return result


def _shortest(
    rows: list[frozenset[str]], alone: dict[str, Fraction], times: dict[frozenset[str], Decimal | None]
) -> list[tuple[frozenset[str], Fraction]]:
    """Return the rows with which the visit is shortest, as far as all ways to take them are tried."""
    usable = [
        (row, Fraction(time))
        for row in rows
        if (time := times[row]) is not None and row <= set(alone) and sum(alone[o] for o in row) > time
    ]
    chosen: list[tuple[frozenset[str], Fraction]] = []
    for linked in _linked(usable):
        operations = frozenset().union(*(row for row, _ in linked))
        chosen += _one_after_another(linked, alone) if len(operations) > 12 else _best(linked, alone)
    return chosen


def _linked(rows: list[tuple[frozenset[str], Fraction]]) -> list[list[tuple[frozenset[str], Fraction]]]:
    """Return the rows in heaps, those that share an operation in one, directly or through others."""
    heaps: list[list[tuple[frozenset[str], Fraction]]] = []
    for row in rows:
        touched = [heap for heap in heaps if any(row[0] & other for other, _ in heap)]
        heaps = [heap for heap in heaps if heap not in touched]
        heaps.append([row, *(other for heap in touched for other in heap)])
    return [sorted(heap, key=lambda each: sorted(each[0])) for heap in heaps]


def _one_after_another(
    rows: list[tuple[frozenset[str], Fraction]], alone: dict[str, Fraction]
) -> list[tuple[frozenset[str], Fraction]]:
    """Of too many operations: the row that saves most, then the next of those that share nothing with it."""
    if not rows:
        return []
    saved = [sum((alone[o] for o in row), -time) for row, time in rows]
    best = rows[saved.index(max(saved))]
    return [best, *_one_after_another([row for row in rows if not row[0] & best[0]], alone)]


def _best(
    usable: list[tuple[frozenset[str], Fraction]], alone: dict[str, Fraction]
) -> list[tuple[frozenset[str], Fraction]]:
    """Return the rows with which these operations are done soonest, of all ways to take rows that share none."""
    ways: list[list[tuple[frozenset[str], Fraction]]] = [[]]
    for row, time in usable:
        ways += [[*way, (row, time)] for way in ways if all(not row & other for other, _ in way)]

    def length(way: list[tuple[frozenset[str], Fraction]]) -> tuple[Fraction, list[list[str]]]:
        inside = set().union(*(row for row, _ in way))
        hours = sum((alone[o] for o in alone if o not in inside), sum((time for _, time in way), Fraction(0)))
        return hours, [sorted(row) for row, _ in way]

    return min(ways, key=length)
