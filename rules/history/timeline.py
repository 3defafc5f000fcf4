"""Machine hours from meter readings: offsets of replaced meters, spikes, stuck meters, impossible readings.

What is certain becomes a number; what is not becomes bounds that hold the true value, and an open fact. Nothing here
knows a policy. A reading stands for its whole day: a record of that day without one of its own takes it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from rules.history.reading_words import doubt_words, left_out_words, read_words, shown_words
from rules.history.readings import (
    CLAIM_READING,
    REPAIR_READING,
    LeftOut,
    Observed,
    agreeing_runs,
    follows,
    is_claims_own,
    readings_by_meter,
    stuck_groups,
)
from rules.history.sightings import HoursBounds, Sighting, either_right
from rules.open_facts import Asks, OpenFact, asked_where
from rules.plain import day_text, hours_text
from schemas.claim_file import ClaimFile
from schemas.conventions import FactHandling, MeterConventions
from schemas.machine import MeterChange
from schemas.quantities import centihours

__all__ = ["CLAIM_READING", "REPAIR_READING", "HoursBounds", "Sighting", "Timeline", "build_timeline", "hours_text"]


@dataclass(frozen=True, slots=True)
class Shift:
    """Hours that no meter showed, 0 to ``most`` (hundredths), added alike to everything after them."""

    fact: OpenFact
    most: int


@dataclass(frozen=True, slots=True)
class HistoryNote:
    code: str
    words: str
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Sightings in order, hours at the failure, at each record and fitting, and what was set aside."""

    sightings: tuple[Sighting, ...]
    at_failure: HoursBounds | None  # None: the machine has no hour meter
    of_records: dict[str, HoursBounds]  # by service record, and by fitting_key of a component
    shifts: tuple[Shift, ...]
    notes: tuple[HistoryNote, ...]
    at_repair: HoursBounds | None = None
    per_day: int = 0  # the most hours (hundredths) that a machine runs in a day
    who_is_right: Asks = "person"  # who is asked where records contradict one another

    def most_on(self, day: date) -> int | None:
        """Return an upper bound of the machine hours at the beginning of ``day``, None without an hour meter.

        Hours never fall, so that what a later reading shows is one; what an earlier one shows is, with as many more as
        the days from it allow (both counted whole).
        """
        if self.at_failure is None:
            return None
        later = [s.hours.high for s in self.sightings if s.day >= day]
        earlier = [s.hours.high + self.per_day * ((day - s.day).days + 1) for s in self.sightings if s.day < day]
        return min([*(later or [self.at_failure.high]), *earlier])


def fitting_key(component_record: str) -> str:
    """Return the key under which a timeline keeps the machine hours at the fitting of a component."""
    return f"fitting:{component_record}"


def build_timeline(claim_file: ClaimFile, meter: MeterConventions, facts: FactHandling) -> Timeline:
    """Return the machine's timeline under a maker's meter conventions."""
    machine, claim = claim_file.machine, claim_file.claim
    if not machine.has_meter:
        return Timeline((), None, {}, (), ())
    known = (change for change in machine.meter_changes if change.on <= claim_file.decided_on)
    changes = tuple(sorted(known, key=lambda c: (c.on, c.id)))
    walk = _Walk(claim_file, meter, facts, changes)
    walk.run()
    at_failure = walk.hours_at_failure()
    sighted = {s.record: s.hours for s in reversed(walk.sightings)}
    of_records: dict[str, HoursBounds] = {}
    for record in claim_file.services:
        if record.record in sighted and record.on <= claim.failed_on:
            of_records[record.record] = sighted[record.record]
        elif record.on <= claim.failed_on:
            words = f"the meter reading of service {record.record} on {day_text(record.on)}"
            of_records[record.record] = walk.hours_of(record.on, f"reading:{record.record}", words)
    for fitted in machine.components:
        if fitted.fitted_on is None or fitted.fitted_on > claim.failed_on:
            continue
        words = f"the machine hours when {fitted.id} was fitted on {day_text(fitted.fitted_on)}"
        key = fitting_key(fitted.id)
        if fitted.fitted_at is None:
            of_records[key] = walk.hours_of(fitted.fitted_on, key, words)
            continue
        failure = Sighting(claim.failed_on, at_failure, CLAIM_READING)
        fact, stated = OpenFact(key, "reading", walk.who_is_right, words), centihours(fitted.fitted_at)
        doubtful = either_right(fitted.fitted_on, stated, walk.sightings, failure, walk.per_day, fact)
        if doubtful is not None:
            of_records[key] = doubtful
    notes = walk.notes
    done = [c for c in changes if c.on <= claim.failed_on]
    if done:
        words = f"meter {done[-1].kind} on {day_text(done[-1].on)}; hours of both meters are added"
        notes.append(HistoryNote("meter_changed", words, (done[-1].id,)))
    shifts, at_repair = tuple(walk.shifts), sighted.get(REPAIR_READING)
    return Timeline(
        tuple(walk.sightings), at_failure, of_records, shifts, tuple(notes), at_repair, walk.per_day, walk.who_is_right
    )


class _Walk:
    """Walks over the meters in order and turns what they showed into machine hours; private to one timeline."""

    def __init__(
        self, claim_file: ClaimFile, meter: MeterConventions, facts: FactHandling, changes: Sequence[MeterChange]
    ) -> None:
        self.claim_file = claim_file
        self.claim = claim_file.claim
        self.meter = meter
        self.facts = facts
        self.changes = changes
        self.per_day = centihours(meter.most_hours_a_day)
        self.who_is_right = asked_where(facts.contradicts_other_record)
        self.base = 0  # machine hours = base + reading + shifts so far
        self.shifts: list[Shift] = []
        self.sightings: list[Sighting] = []
        self.notes: list[HistoryNote] = []
        self.at_failure: HoursBounds | None = None

    def run(self) -> None:
        meters, contradiction = readings_by_meter(self.claim_file, self.changes, self.per_day)
        for number, meter in enumerate(meters):
            runs, left_out = agreeing_runs(
                meter, self.per_day, set_aside_spikes=self.meter.single_spike == "drop_with_note"
            )
            left_out.sort(key=lambda out: (out.reading.day, out.reading.record))
            began = self.base
            self._meter(runs, last=all(len(m) == 1 for m in meters[number + 1 :]))
            for out in left_out:
                self._leave_out(out, began)
            if number < len(self.changes):
                self._change(self.changes[number], runs[-1][-1])
        if contradiction is not None:
            self._own_contradiction(*contradiction)

    def _meter(self, runs: list[list[Observed]], *, last: bool) -> None:
        least = self.base + runs[0][0].reading, len(self.shifts)  # the hours that no doubt goes below, and shifts
        for number, run in enumerate(runs):
            earlier = runs[number - 1][-1] if number else None
            if earlier is not None and last and number == len(runs) - 1 and is_claims_own(run):
                self._doubtful_claim(earlier, run[0])
                return
            if earlier is not None:
                self._cut(earlier, run[0])
            later = runs[number + 1] if number + 1 < len(runs) else None
            if later is None or (last and is_claims_own(later) and later[0].reading > run[-1].reading):
                self._run(run)
            else:
                least = self._contradicted(run, [o for after in runs[number + 1 :] for o in after], *least)

    def _contradicted(self, run: list[Observed], later: list[Observed], least: int, shifts: int) -> tuple[int, int]:
        """Take readings that later ones contradict: those that take part in it are in doubt, and no others.

        Either they are wrong or the later ones are: if they, the hours were no more than the first of those.
        """
        for observed in run:
            against = next((o for o in later if not follows(observed, o, self.per_day)), None)
            if against is None:
                self._certain(observed)
                least, shifts = self.base + observed.reading, len(self.shifts)
                continue
            words = f"{read_words(observed)}, which {shown_words(against)} contradicts"
            fact = self._fact(observed, self.facts.contradicts_other_record, words)
            high = self.base + max(observed.reading, later[0].reading)
            # The claim's own word against a record: were the claim wrong, the record would be right.
            right_from = high if is_claims_own(later) and not self.shifts else None
            self._doubt(observed, HoursBounds(min(least, high), high, (), fact, right_from=right_from), shifts)
        return least, shifts

    def _leave_out(self, out: LeftOut, began: int) -> None:
        """Note a reading that the others go on without; one that may be right all the same is in doubt.

        ``began``: the base of its meter before any reading contradicted another.
        """
        reading, own = out.reading, out.reading.record in (CLAIM_READING, REPAIR_READING)
        if out.spike or not own:
            self.notes.append(HistoryNote("reading_set_aside", left_out_words(out), (reading.record,)))
        if out.spike:
            return
        words = f"{read_words(reading)}, which {shown_words(out.against)} contradicts"
        fact = self._fact(reading, self.facts.contradicts_other_record, words)
        round_it = self._between(reading.day, fact, failure=reading.record == CLAIM_READING)
        low = min(round_it.low, began + reading.reading)
        high = max(round_it.high, self.base + reading.reading + sum(s.most for s in self.shifts))
        shifts = 0 if low < round_it.low else round_it.low_shifts
        bounds = HoursBounds(low, high, _records(reading), fact, shifts, len(self.shifts))
        self.sightings.append(Sighting(reading.day, bounds, reading.record))

    def _run(self, run: list[Observed]) -> None:
        """Take readings that agree; hours lost while the meter was stuck are a shift for everything after."""
        stuck = stuck_groups(run, self.meter, self.claim_file.machine.storage)
        if not stuck:
            for observed in run:
                self._certain(observed)
            return
        stopped: Observed | None = None
        for observed in run:
            group = next((g for g in stuck if g[0].reading == observed.reading and g[0] is not observed), None)
            if group is not None and observed.reading == group[0].reading:
                stopped = group[0]
                lost = self.per_day * ((observed.day - stopped.day).days + 1)
                hours = self.base + observed.reading
                fact = self._stood(observed, *group)
                self._doubt(observed, HoursBounds(hours, hours + lost, (), fact), len(self.shifts))
                continue
            if stopped is not None:
                self._lost(stopped, observed.day, observed.reading - stopped.reading)
                stopped = None
            self._certain(observed)
        if stopped is not None:
            self._lost(stopped, run[-1].day, 0)

    def _lost(self, stopped: Observed, until: date, shown: int) -> None:
        words = f"the machine hours while the meter stood at {hours_text(stopped.reading)} from {day_text(stopped.day)}"
        most = self.per_day * ((until - stopped.day).days + 1) - shown
        self.shifts.append(Shift(OpenFact(f"stuck:{stopped.record}", "reading", "person", words), max(most, 0)))

    def _certain(self, observed: Observed) -> None:
        low, shifts = self.base + observed.reading, len(self.shifts)
        high = low + sum(s.most for s in self.shifts) if shifts else low
        records = (observed.record,) if observed.record else ()
        bounds = HoursBounds(low, high, records, None, shifts, shifts)
        self.sightings.append(Sighting(observed.day, bounds, observed.record))

    def _doubt(self, observed: Observed, bounds: HoursBounds, shifts: int) -> None:
        if observed.anchor == "age":
            self._certain(observed)
            return
        high = bounds.high + sum(s.most for s in self.shifts)
        hours = replace(bounds, high=high, records=_records(observed), low_shifts=shifts, high_shifts=len(self.shifts))
        self.sightings.append(Sighting(observed.day, hours, observed.record))

    def _stood(self, observed: Observed, first: Observed, last: Observed) -> OpenFact:
        words = (
            f"the machine hours on {day_text(observed.day)}: the meter stood at {hours_text(observed.reading)} from"
            f" {day_text(first.day)} to {day_text(last.day)} while the machine was at work"
        )
        key = "reading:stuck" if observed.record == CLAIM_READING else f"reading:{observed.record}"
        return OpenFact(key, "reading", "person", words)

    def _fact(self, observed: Observed, handling: Literal["need_info", "refer"], words: str) -> OpenFact:
        key = "reading:failure" if observed.record == CLAIM_READING else f"reading:{observed.record}"
        return OpenFact(key, "reading", "dealer" if handling == "need_info" else "person", words)

    def _cut(self, earlier: Observed, later: Observed) -> None:
        """Readings contradict: an unrecorded change of the meter, or one side wrong. Everything after is shifted."""
        days = (later.day - earlier.day).days + 1
        if earlier.anchor == "age":
            least, most = -later.reading, 0
        else:
            least = min(0, earlier.reading - later.reading)
            most = max(0, earlier.reading + self.per_day * days - later.reading)
        fact = self._fact(later, self.facts.contradicts_other_record, doubt_words(later, earlier, self.per_day))
        self.base += least
        self.shifts.append(Shift(replace(fact, key=f"contradiction:{later.record}"), most - least))

    def _change(self, change: MeterChange, last: Observed) -> None:
        old = last.reading
        if change.old_reading is not None:
            old = centihours(change.old_reading)
        else:
            words = f"what the old meter showed when it was {change.kind} on {day_text(change.on)} (record {change.id})"
            most = self.per_day * (max((change.on - last.day).days, 0) + 1)
            self.shifts.append(Shift(OpenFact(f"meter_change:{change.id}", "reading", "dealer", words), most))
        self.base += old - centihours(change.new_reading)

    def _doubtful_claim(self, earlier: Observed, claimed: Observed) -> None:
        """The claim's reading is the last one and contradicts the one before: its own slip when it is too high."""
        own_slip = claimed.reading > earlier.reading
        handling = self.facts.contradicts_itself if own_slip else self.facts.contradicts_other_record
        fact = self._fact(claimed, handling, doubt_words(claimed, earlier, self.per_day))
        fact = replace(fact, key="reading:failure")
        possible = earlier.reading + self.per_day * ((self.claim.failed_on - earlier.day).days + 1)
        low = self.base + min(earlier.reading, claimed.reading)
        high = self.base + max(possible, claimed.reading) + sum(s.most for s in self.shifts)
        shifts = len(self.shifts)
        self.at_failure = HoursBounds(low, high, _records(claimed, earlier), fact, shifts, shifts)

    def _own_contradiction(self, failure: Observed, repair: Observed) -> None:
        words = (
            f"the meter reading at the failure: {hours_text(failure.reading)} at the failure on {day_text(failure.day)}"
            f" and {hours_text(repair.reading)} at the repair on {day_text(repair.day)} contradict one another"
        )
        fact = self._fact(failure, self.facts.contradicts_itself, words)
        bounds = self._between(failure.day, fact, failure=True)
        high = self.base + max(failure.reading, repair.reading) + sum(s.most for s in self.shifts)
        self.at_failure = HoursBounds(
            bounds.low, max(bounds.high, high), (CLAIM_READING,), fact, bounds.low_shifts, len(self.shifts)
        )

    def hours_at_failure(self) -> HoursBounds:
        """Return the hours at the failure: the claim's reading, or between the sightings round it."""
        if self.at_failure is None:
            self.at_failure = next((s.hours for s in self.sightings if s.record == CLAIM_READING), None)
        if self.at_failure is None:
            fact = OpenFact("reading:failure", "reading", "dealer", "the meter reading at the failure")
            self.at_failure = self._between(self.claim.failed_on, fact, failure=True)
        return self.at_failure

    def hours_of(self, day: date, key: str, words: str) -> HoursBounds:
        """Return the hours of a service record or a fitting without a sighting: between the sightings round its day."""
        bounds = self._between(day, OpenFact(key, "reading", "dealer", ""), failure=False)
        if bounds.fact is None:
            return bounds
        between = f"{words} (between {hours_text(bounds.low)} and {hours_text(bounds.high)})"
        return replace(bounds, fact=replace(bounds.fact, words=between))

    def _between(self, day: date, fact: OpenFact, *, failure: bool) -> HoursBounds:
        """Return the tightest bounds that the sightings give for a day; ``failure``: the repair's reading is later."""
        same = [s for s in self.sightings if s.day == day and s.record and not (failure and s.record == REPAIR_READING)]
        lows = [(s.hours.low, s.hours.low_shifts, s.record) for s in self.sightings if s.day < day or s.record == ""]
        highs = [
            (s.hours.high, s.hours.high_shifts, s.record)
            for s in self.sightings
            if s.day > day or (failure and s.day == day and s.record == REPAIR_READING)
        ]
        highs += [
            (s.hours.high + self.per_day * ((day - s.day).days + 1), s.hours.high_shifts, "")
            for s in self.sightings
            if s.day < day or s.record == ""
        ]
        if not failure and self.at_failure is not None:
            highs.append((self.at_failure.high, self.at_failure.high_shifts, ""))
        if same:
            lowest = min(same, key=lambda s: s.hours.low)
            highest = max(same, key=lambda s: s.hours.high)
            lows.append((lowest.hours.low, lowest.hours.low_shifts, lowest.record))
            highs.append((highest.hours.high, highest.hours.high_shifts, highest.record))
        low, high = max(lows), min(highs)
        records = tuple(dict.fromkeys(r for r in (low[2], high[2]) if r))
        if low[1] == high[1] and high[0] - low[0] == sum(s.most for s in self.shifts[: low[1]]):
            return HoursBounds(low[0], high[0], records, None, low[1], high[1])
        return HoursBounds(low[0], max(high[0], low[0]), records, fact, low[1], high[1])


def _records(*observed: Observed) -> tuple[str, ...]:
    return tuple(o.record for o in observed if o.record)
