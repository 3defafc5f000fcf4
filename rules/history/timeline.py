"""Machine hours from meter readings: offsets of replaced meters, spikes, stuck meters, impossible last readings.

What is certain becomes a number; what is not becomes bounds and an open fact. Nothing here knows a policy.
"""

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from rules.open_facts import OpenFact
from schemas.claim_file import ClaimFile
from schemas.conventions import FactHandling, MeterConventions
from schemas.machine import MeterChange
from schemas.quantities import centihours


@dataclass(frozen=True, slots=True)
class Sighting:
    """A meter reading turned into machine hours (hundredths), with the record it came from."""

    day: date
    hours: int
    record: str
    shows_work: bool  # a service, a repair or a fuel log: the machine was in use
    epoch: int  # meters before it, 0 for the first


@dataclass(frozen=True, slots=True)
class HoursBounds:
    """Machine hours (hundredths) between ``low`` and ``high``; ``fact`` is None when both are the same."""

    low: int
    high: int
    records: tuple[str, ...]
    fact: OpenFact | None = None


@dataclass(frozen=True, slots=True)
class HistoryNote:
    code: str
    words: str
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Accepted sightings in order, hours at the failure, hours of each record, and what was set aside."""

    sightings: tuple[Sighting, ...]
    at_failure: HoursBounds | None  # None: the machine has no hour meter
    of_records: dict[str, HoursBounds]
    offset: HoursBounds | None  # the unknown offset of a meter replaced unread
    notes: tuple[HistoryNote, ...]

    def most_on(self, day: date) -> int | None:
        """Return an upper bound of the machine hours at the beginning of ``day``, None when there is none."""
        later = [s.hours for s in self.sightings if s.day >= day]
        if later:
            return min(later)
        return self.at_failure.high if self.at_failure is not None else None


def hours_text(hundredths: int) -> str:
    """Return hundredths of an hour as a reader writes them: 1,500.0 h."""
    text = f"{hundredths // 100:,}.{hundredths % 100:02d}"
    return f"{text[:-1] if text.endswith('0') else text} h"


CLAIM_READING = "claim:reading"
REPAIR_READING = "claim:repair_reading"


def build_timeline(claim_file: ClaimFile, meter: MeterConventions, facts: FactHandling) -> Timeline:
    """Return the machine's timeline under a maker's meter conventions."""
    machine, claim = claim_file.machine, claim_file.claim
    if not machine.has_meter:
        return Timeline((), None, {}, None, ())
    changes = tuple(sorted(machine.meter_changes, key=lambda c: (c.on, c.id)))
    raw = _raw_sightings(claim_file, changes)
    offsets, unread = _offsets(raw, changes, meter)
    resolved = [Sighting(s.day, s.hours + offsets[s.epoch], s.record, s.shows_work, s.epoch) for s in raw]
    accepted, notes, doubtful = _without_spikes(resolved, meter)
    per_day = centihours(meter.most_hours_a_day)
    at_failure = _hours_at_failure(claim_file, accepted, doubtful, meter, facts)
    if unread is not None and any(s.epoch for s in raw) and at_failure.fact is None:
        at_failure = HoursBounds(
            at_failure.low, at_failure.high + unread.high - unread.low, at_failure.records, unread.fact
        )
    of_records: dict[str, HoursBounds] = {}
    seen = {s.record: s for s in accepted}
    for record in claim_file.services:
        if record.on > claim.failed_on:
            continue
        sighting = seen.get(record.record)
        if sighting is not None:
            slack = unread.high - unread.low if unread is not None and sighting.epoch else 0
            fact = unread.fact if slack and unread is not None else None
            of_records[record.record] = HoursBounds(sighting.hours, sighting.hours + slack, (record.record,), fact)
        else:
            of_records[record.record] = _bounds_on(record.on, accepted, per_day, at_failure, record.record, facts)
    if changes:
        last = changes[-1]
        notes.append(
            HistoryNote(
                "meter_changed", f"meter {last.kind} on {last.on:%d %B %Y}; hours of both meters are added", (last.id,)
            )
        )
    return Timeline(tuple(accepted), at_failure, of_records, unread, tuple(notes))


def _raw_sightings(claim_file: ClaimFile, changes: tuple[MeterChange, ...]) -> list[Sighting]:
    machine, claim = claim_file.machine, claim_file.claim
    rows: list[tuple[date, int, str, bool]] = [
        (r.on, centihours(r.hours), r.id, r.source == "fuel_log") for r in machine.readings if r.on <= claim.failed_on
    ]
    rows += [
        (s.on, centihours(s.reading), s.record, True)
        for s in claim_file.services
        if s.reading is not None and s.on <= claim.failed_on
    ]
    if claim.reading is not None:
        rows.append((claim.failed_on, centihours(claim.reading), CLAIM_READING, False))
    rows.sort(key=lambda row: (row[0], row[2] == CLAIM_READING, row[1], row[2]))
    return [Sighting(day, hours, record, work, _epoch(day, hours, changes)) for day, hours, record, work in rows]


def _epoch(day: date, hours: int, changes: tuple[MeterChange, ...]) -> int:
    epoch = 0
    for change in changes:
        old = None if change.old_reading is None else centihours(change.old_reading)
        new = centihours(change.new_reading)
        same_day_on_old_meter = change.on == day and (
            hours == old or (old is not None and abs(hours - old) < abs(hours - new))
        )
        if change.on < day or (change.on == day and not same_day_on_old_meter):
            epoch += 1
    return epoch


def _offsets(
    raw: list[Sighting], changes: tuple[MeterChange, ...], meter: MeterConventions
) -> tuple[list[int], HoursBounds | None]:
    """Return the offset of each meter (lower bound where one was replaced unread) and the bounds of that unknown."""
    offsets, unread = [0], None
    for index, change in enumerate(changes):
        if change.old_reading is not None:
            old = centihours(change.old_reading)
        else:
            before = [s for s in raw if s.epoch == index]
            old = max((s.hours for s in before), default=0)
            since = before[-1].day if before else change.on
            most = old + centihours(meter.most_hours_a_day) * max((change.on - since).days, 1)
            fact = OpenFact(
                f"meter_change:{change.id}",
                "reading",
                "dealer",
                f"what the old meter showed when it was replaced on {change.on:%d %B %Y} (record {change.id})",
            )
            low, high = (unread.low, unread.high) if unread is not None else (0, 0)
            unread = HoursBounds(low, high + most - old, (change.id,), fact)
        offsets.append(offsets[-1] + old - centihours(change.new_reading))
    return offsets, unread


def _follows(earlier: Sighting, later: Sighting, per_day: int) -> bool:
    """Return whether ``later`` can follow: no lower, and no more hours than the days between allow."""
    days = (later.day - earlier.day).days
    return earlier.hours <= later.hours <= earlier.hours + per_day * (days + 1)


def _without_spikes(
    sightings: list[Sighting], meter: MeterConventions
) -> tuple[list[Sighting], list[HistoryNote], Sighting | None]:
    """Drop single readings that the ones before and after contradict; return the doubtful rest, if any."""
    per_day = centihours(meter.most_hours_a_day)
    accepted: list[Sighting] = []
    notes: list[HistoryNote] = []
    index = 0
    while index < len(sightings):
        current = sightings[index]
        if not accepted or _follows(accepted[-1], current, per_day):
            accepted.append(current)
            index += 1
            continue
        before = accepted[-2] if len(accepted) > 1 else None
        following = sightings[index + 1] if index + 1 < len(sightings) else None
        if (
            accepted[-1].hours > current.hours
            and (before is None or _follows(before, current, per_day))
            and (following is None or _follows(current, following, per_day))
            and not (before is None and following is None)
        ):
            dropped = accepted.pop()
        elif following is not None and _follows(accepted[-1], following, per_day):
            dropped = current
            index += 1
        else:
            return accepted, notes, current
        if meter.single_spike == "refer":
            return accepted, notes, dropped
        notes.append(
            HistoryNote(
                "reading_set_aside",
                f"reading {hours_text(dropped.hours)} on {dropped.day:%d %B %Y} is set aside: the readings before and after"
                " it contradict it",
                (dropped.record,),
            )
        )
    return accepted, notes, None


def _hours_at_failure(
    claim_file: ClaimFile,
    accepted: list[Sighting],
    doubtful: Sighting | None,
    meter: MeterConventions,
    facts: FactHandling,
) -> HoursBounds:
    claim = claim_file.claim
    per_day = centihours(meter.most_hours_a_day)
    stuck = _stuck_since(accepted, meter)
    if stuck is not None:
        first, last = stuck
        fact = OpenFact(
            "reading:stuck",
            "reading",
            "person",
            f"the machine hours at the failure: the meter stood at {hours_text(last.hours)} from"
            f" {first.day:%d %B %Y} to {last.day:%d %B %Y} while the machine was at work",
        )
        most = last.hours + per_day * (claim.failed_on - first.day).days
        return HoursBounds(last.hours, most, (first.record, last.record), fact)
    last_good = accepted[-1] if accepted else None
    if doubtful is None and last_good is not None and last_good.record == CLAIM_READING:
        return HoursBounds(last_good.hours, last_good.hours, (CLAIM_READING,))
    known = [s for s in accepted if s.record != CLAIM_READING]
    low = known[-1].hours if known else 0
    since = known[-1].day if known else claim_file.machine.built_on
    high = low + per_day * ((claim.failed_on - since).days + 1)
    if claim.reading is None:
        if claim.repair_reading is not None and claim_file.machine.meter_changes == ():
            high = min(high, max(centihours(claim.repair_reading), low))
        fact = OpenFact("reading:failure", "reading", "dealer", "the meter reading at the failure")
        if low == high:
            return HoursBounds(low, high, (known[-1].record,) if known else ())
        return HoursBounds(low, high, tuple(s.record for s in known[-1:]), fact)
    assert doubtful is not None
    own_slip = doubtful.record == CLAIM_READING and doubtful.hours > low
    handling = facts.contradicts_itself if own_slip else facts.contradicts_other_record
    asks = "dealer" if handling == "need_info" else "person"
    words = _doubt_words(doubtful, known, per_day)
    if not own_slip:
        low, high = min(low, doubtful.hours), max(high, doubtful.hours)
    fact = OpenFact("reading:failure", "reading", "dealer" if asks == "dealer" else "person", words)
    return HoursBounds(low, high, (doubtful.record, *(s.record for s in known[-1:])), fact)


def _doubt_words(doubtful: Sighting, known: list[Sighting], per_day: int) -> str:
    if not known:
        return f"the meter reading at the failure: {hours_text(doubtful.hours)} is more than the machine's age allows"
    last = known[-1]
    if doubtful.hours < last.hours:
        return (
            f"the meter reading of {hours_text(doubtful.hours)} on {doubtful.day:%d %B %Y} ({doubtful.record}), which is"
            f" below {hours_text(last.hours)} on {last.day:%d %B %Y} ({last.record})"
        )
    days = max((doubtful.day - last.day).days, 1)
    rate = (doubtful.hours - last.hours) // (100 * days)
    slip = doubtful.hours // 10
    meant = f"; was {hours_text(slip)} meant?" if last.hours <= slip <= last.hours + per_day * days else ""
    return (
        f"the meter reading of {hours_text(doubtful.hours)} on {doubtful.day:%d %B %Y}: {rate} h a day since"
        f" {hours_text(last.hours)} on {last.day:%d %B %Y} ({last.record}) is not possible{meant}"
    )


def _stuck_since(accepted: list[Sighting], meter: MeterConventions) -> tuple[Sighting, Sighting] | None:
    """Return the first and last sighting of an unchanged reading while the machine was at work."""
    if len(accepted) < 2:
        return None
    last = accepted[-1]
    same = [s for s in accepted if s.hours == last.hours]
    at_work = sum(s.shows_work for s in same)
    days = meter.stuck_after.days or meter.stuck_after.months * 30
    if at_work >= 2 and (last.day - same[0].day).days >= days:
        return same[0], last
    return None


def _bounds_on(
    day: date, accepted: list[Sighting], per_day: int, at_failure: HoursBounds, record: str, facts: FactHandling
) -> HoursBounds:
    """Return the hours on a day without a usable reading, between the sightings round it."""
    del facts
    before = [s for s in accepted if s.day <= day and s.record != record]
    after = [s for s in accepted if s.day >= day and s.record != record]
    low = before[-1].hours if before else 0
    most = low + per_day * ((day - before[-1].day).days + 1) if before else at_failure.high
    high = min(after[0].hours if after else at_failure.high, most)
    high = max(high, low)
    records = tuple(s.record for s in (*before[-1:], *after[:1]))
    if low == high:
        return HoursBounds(low, high, records)
    fact = OpenFact(
        f"reading:{record}",
        "reading",
        "dealer",
        f"the meter reading of service {record} on {day:%d %B %Y} (between {hours_text(low)} and {hours_text(high)})",
    )
    return HoursBounds(low, high, records, fact)


def is_ordered(sightings: tuple[Sighting, ...]) -> bool:
    """Return whether accepted sightings never fall: the property that the tests hold against this module."""
    return all(a.hours <= b.hours for a, b in pairwise(sightings))
