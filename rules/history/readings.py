"""Meter readings as they were noted: whose meter showed them, and which of them contradict one another.

Everything here is about one meter at a time and about what it showed; machine hours are made of it in ``timeline``.
Two readings of one meter agree when the later one is no lower, and no higher than the days from the one to the other
allow (both days counted whole).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

from rules.calendar import add_span
from schemas.claim_file import ClaimFile
from schemas.conventions import MeterConventions
from schemas.frozen import quickly_made
from schemas.machine import MeterChange, Storage
from schemas.quantities import centihours

CLAIM_READING: Final = "claim:reading"
REPAIR_READING: Final = "claim:repair_reading"


@quickly_made
@dataclass(frozen=True, slots=True)
class Observed:
    """What a meter showed on a day (hundredths), with the record it came from.

    An anchor is no reading: ``age`` is the new machine (0 h on the day it was built), ``change`` what the record of a
    meter change says about the meter that came off or went on.
    """

    day: date
    reading: int
    record: str
    shows_work: bool = False  # a service, a repair or a fuel log: the machine was in use
    anchor: Literal["none", "age", "change"] = "none"


def readings_by_meter(
    claim_file: ClaimFile, changes: Sequence[MeterChange], per_day: int
) -> tuple[list[list[Observed]], tuple[Observed, Observed] | None]:
    """Return the observations of each meter in order, and the claim's own two readings where they contradict."""
    meters: list[list[Observed]] = [[Observed(claim_file.machine.built_on, 0, "", anchor="age")]]
    for change in changes:
        if change.old_reading is not None:
            meters[-1].append(Observed(change.on, centihours(change.old_reading), change.id, anchor="change"))
        meters.append([Observed(change.on, centihours(change.new_reading), change.id, anchor="change")])
    rows = _rows(claim_file)
    placed = [(_meter_of(row, changes, rows, per_day) if changes else 0, row) for row in rows]
    own = {row.record: (meter, row) for meter, row in placed if row.record in (CLAIM_READING, REPAIR_READING)}
    contradiction = None
    if len(own) == 2:
        (meter, failure), (later_meter, repair) = own[CLAIM_READING], own[REPAIR_READING]
        if meter == later_meter and not follows(failure, repair, per_day):
            contradiction = (failure, repair)
    for meter, row in placed:
        if contradiction is None or row not in contradiction:
            meters[meter].append(row)
    return [_in_order(meter) for meter in meters], contradiction


def _rows(claim_file: ClaimFile) -> list[Observed]:
    machine, claim, decided_on = claim_file.machine, claim_file.claim, claim_file.decided_on
    # What was noted after the day of the decision was not known on it.
    rows = [
        Observed(r.on, centihours(r.hours), r.id, r.source == "fuel_log")
        for r in machine.readings
        if r.on <= decided_on
    ]
    rows += [
        Observed(s.on, centihours(s.reading), s.record, shows_work=True)
        for s in claim_file.services
        if s.reading is not None and s.on <= decided_on
    ]
    if claim.reading is not None:
        rows.append(Observed(claim.failed_on, centihours(claim.reading), CLAIM_READING))
    if claim.repair_reading is not None:
        began = claim.repair_began_on or claim.repair_ended_on or claim.submitted_on or claim_file.decided_on
        rows.append(Observed(max(began, claim.failed_on), centihours(claim.repair_reading), REPAIR_READING))
    return rows


def _in_order(meter: list[Observed]) -> list[Observed]:
    """Readings of a day rise; the repair comes after the failure, the meter's change before or after all."""
    first, *rest = meter
    off = [o for o in rest if o.anchor == "change"]
    noted = [o for o in rest if o.anchor == "none"]
    return [first, *sorted(noted, key=lambda o: (o.day, o.record == REPAIR_READING, o.reading, o.record)), *off]


def _meter_of(row: Observed, changes: Sequence[MeterChange], rows: Iterable[Observed], per_day: int) -> int:
    """Return the number of the meter that showed a reading; on the day of a change the one that it fits."""
    meter = 0
    for change in changes:
        if change.on > row.day:
            break
        if change.on == row.day and not _fits_new_meter(row, change, rows, per_day):
            break
        meter += 1
    return meter


def _fits_new_meter(row: Observed, change: MeterChange, rows: Iterable[Observed], per_day: int) -> bool:
    new = centihours(change.new_reading)
    if not new <= row.reading <= new + per_day:
        return False
    if change.old_reading is not None:
        return row.reading != centihours(change.old_reading)
    before = max((r.reading for r in rows if r.day < change.on), default=0)
    return row.reading < before or before == 0


def follows(earlier: Observed, later: Observed, per_day: int) -> bool:
    """Return whether ``later`` agrees with ``earlier``: no lower, and no more hours than the days allow."""
    return earlier.reading <= later.reading <= earlier.reading + per_day * ((later.day - earlier.day).days + 1)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A reading that the others go on without: a spike, or one that ``against`` contradicts and that may be right.

    ``alone``: without it, and only without it, the others agree.
    """

    reading: Observed
    against: Observed
    spike: bool = False
    alone: bool = False


def agreeing_runs(
    meter: Sequence[Observed], per_day: int, *, set_aside_spikes: bool
) -> tuple[list[list[Observed]], list[LeftOut]]:
    """Return the runs of one meter's readings that agree among themselves, and what they leave out.

    A spike is a reading that both the one before it and the one after it contradict while those two agree. Where only
    one side contradicts a reading it is no spike: of two that contradict one another, each is left out in doubt without
    which the others agree, as far as a record comes after them; the claim's own readings do not outweigh one. More than
    one run means that the readings contradict one another and nothing says which of them is right.
    """
    sequence, left_out, runs = list(meter), list[LeftOut](), list[list[Observed]]()
    index = 0
    while index + 1 < len(sequence):
        if follows(sequence[index], sequence[index + 1], per_day):
            index += 1
            continue
        found = _left_out(sequence, index, per_day) if set_aside_spikes else ()
        if found:
            left_out += found
            sequence = [o for o in sequence if all(o is not out.reading for out in found)]
            index = max(index - 1, 0)
        else:
            runs.append(sequence[: index + 1])
            sequence, index = sequence[index + 1 :], 0
    return [*runs, sequence], left_out


def _left_out(sequence: Sequence[Observed], index: int, per_day: int) -> tuple[LeftOut, ...]:
    """Return what is left out where the reading after number ``index`` contradicts it."""
    earlier, later = sequence[index], sequence[index + 1]
    if index + 2 == len(sequence) or is_claims_own(sequence[index + 1 :]):
        return ()
    before, after = sequence[index - 1] if index else None, sequence[index + 2]
    without_later = later.anchor == "none" and follows(earlier, after, per_day)
    if without_later and earlier.anchor != "age" and not follows(later, after, per_day):
        return (LeftOut(later, earlier, spike=True),)
    without_earlier = (
        before is not None
        and earlier.anchor == "none"
        and before.anchor != "age"  # nothing shown before it speaks for the later one
        and earlier.reading > later.reading  # a rise that is too fast speaks against the later reading alone
        and follows(before, later, per_day)
    )
    found = [LeftOut(earlier, later, alone=not without_later)] if without_earlier else []
    if without_later and earlier.reading > later.reading:
        found.append(LeftOut(later, earlier, alone=not without_earlier))
    return tuple(found)


def is_claims_own(readings: Sequence[Observed]) -> bool:
    """Return whether the claim alone shows these readings."""
    return all(o.record in (CLAIM_READING, REPAIR_READING) for o in readings)


def stuck_groups(
    run: Sequence[Observed], meter: MeterConventions, storage: Sequence[Storage]
) -> list[tuple[Observed, Observed]]:
    """Return the first and last observation of each unchanged reading over which the machine was at work.

    At least two records of work, and as long as the conventions say from the first of them on: before it the machine
    may have stood, on a dealer's ground or in a shed. Days in recorded storage do not count.
    """
    groups: list[list[Observed]] = []
    for observed in run:
        if groups and groups[-1][0].reading == observed.reading:
            groups[-1].append(observed)
        else:
            groups.append([observed])
    found = []
    for group in groups:
        last, work = group[-1], [o.day for o in group if o.shows_work]
        if len(work) < 2:
            continue
        stored = len({day for period in storage for day in _days_stored(work[0], last.day, period)})
        least = add_span(work[0], meter.stuck_after, "clamp_from_start") + timedelta(days=stored)
        if last.day >= least:
            found.append((group[0], last))
    return found


def _days_stored(since: date, until: date, period: Storage) -> range:
    return range(max(since, period.since).toordinal(), min(until, period.until).toordinal())
