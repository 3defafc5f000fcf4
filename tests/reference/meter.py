"""Machine hours from what meters showed: one row a reading, one meter after another.

Hours are whole hundredths. A history that this reference does not resolve (readings that contradict one another in the
middle of a meter's life, a meter that stood still) is ``unclear``: then only what a decision says of itself is checked.
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Protocol

from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import FittedComponent, MeterChange
from tests.reference.clashes import Row, clash, doubted, either, stated
from tests.reference.dates import span_on
from tests.reference.unknown import Given

FAILURE, REPAIR = "failure", "repair"
OWN = ("claim:reading", REPAIR)


def hundredths(hours: Decimal) -> int:
    return int(hours * 100)


@dataclass
class Shown:
    """One reading: what the meter showed on a day; ``kind`` is age or change where it is no reading."""

    day: date
    hours: int
    record: str
    kind: str = "reading"
    work: bool = False


@dataclass
class Seen:
    """Machine hours on a day, without those of the first ``unknown`` old meters, whose last reading is missing."""

    day: date
    hours: int
    record: str
    unknown: int


@dataclass
class Bounds:
    """Where a doubtful reading leaves the hours at the failure."""

    low: int
    high: int
    unknown: int
    asks: str


@dataclass
class History:
    """What is known of the hours: sightings, unknown sums of old meters, and the doubt about the claim's reading."""

    claim_file: ClaimFile
    conventions: Conventions
    seen: list[Seen] = field(default_factory=list)
    old_meters: list[tuple[str, int]] = field(default_factory=list)  # key, most
    doubt: Bounds | None = None
    unclear: bool = False
    no_meter: bool = False
    asked_of_person: set[str] = field(default_factory=set)  # hours of which two records say different things

    @property
    def a_day(self) -> int:
        return hundredths(self.conventions.meter.most_hours_a_day)

    def most_before(self, day: date) -> int | None:
        """Return hours that the machine had at most when ``day`` began, None when nothing says."""
        if self.no_meter:
            return None
        most = [(s.day, s.hours + sum(m for _, m in self.old_meters[: s.unknown])) for s in self.seen]
        later = [hours for on, hours in most if on >= day] or [self.range_of(FAILURE, dict(self.old_meters))[1]]
        run = [hours + self.a_day * ((day - on).days + 1) for on, hours in most if on < day]
        return min(later + run)

    def day_of(self, name: str) -> date | None:
        claim_file = self.claim_file
        if name.startswith("start_hours:"):
            return date.fromisoformat(name.removeprefix("start_hours:"))
        days: dict[str, date | None] = {s.record: s.on for s in claim_file.services}
        days |= {f"fitting:{f.id}": f.fitted_on for f in claim_file.machine.components}
        return claim_file.claim.failed_on if name == FAILURE else days.get(name)

    def range_of(self, name: str, old: dict[str, int]) -> tuple[int, int]:
        """Return the bounds of ``name`` (the failure, a record, a fitting), given the hours of the old meters."""
        claim = "claim:reading" if name == FAILURE else name
        exact = next((s for s in self.seen if s.record == claim), None)
        if exact is not None:
            hours = exact.hours + self._old(exact.unknown, old)
            return hours, hours
        if name == FAILURE and self.doubt is not None:
            moved = self._old(self.doubt.unknown, old)
            return self.doubt.low + moved, self.doubt.high + moved
        day = self.day_of(name)
        assert day is not None
        fitted = next((f for f in self.claim_file.machine.components if name == f"fitting:{f.id}"), None)
        if fitted is not None and fitted.fitted_at is not None:
            self.asked_of_person.add(name)
            return either(fitted, self._rows(old, old), self.range_of(FAILURE, old)[1], self.a_day)
        return self._at_start(day, old) if name.startswith("start_hours:") else self._between(day, name == FAILURE, old)

    def _old(self, unknown: int, old: dict[str, int]) -> int:
        return sum(old[key] for key, _ in self.old_meters[:unknown])

    def _between(self, day: date, failure: bool, old: dict[str, int]) -> tuple[int, int]:
        hours = [(s, s.hours + self._old(s.unknown, old)) for s in self.seen]
        same = [h for s, h in hours if s.day == day and s.record and not (failure and s.record == REPAIR)]
        lows = [h for s, h in hours if s.day < day or not s.record]
        highs = [h + self.a_day * ((day - s.day).days + 1) for s, h in hours if s.day < day or not s.record]
        highs += [h for s, h in hours if s.day > day or (failure and s.day == day and s.record == REPAIR)]
        if same:
            lows.append(min(same))
            highs.append(max(same))
        if not failure:
            highs.append(self.range_of(FAILURE, old)[1])
        return max(lows), max(min(highs), max(lows))

    def fittings_to_ask(self) -> list[str]:
        """Return the later fittings whose hours nobody noted, or whose record clashes with what else is on file."""
        failed = self.claim_file.claim.failed_on
        later = [f for f in self.claim_file.machine.components if f.fitted_on is not None and f.fitted_on <= failed]
        return [f.id for f in later if not self.no_meter and (f.fitted_at is None or self._clashing(f))]

    def _rows(self, least: dict[str, int], most: dict[str, int]) -> list[Row]:
        return [
            (s.day, s.hours + self._old(s.unknown, least), s.hours + self._old(s.unknown, most), s.record)
            for s in self.seen
        ]

    def _clashing(self, fitted: FittedComponent) -> bool:
        nothing, all_of_it = dict.fromkeys(dict(self.old_meters), 0), dict(self.old_meters)
        failed = self.claim_file.claim.failed_on
        ends = self.range_of(FAILURE, nothing)[0], self.range_of(FAILURE, all_of_it)[1]
        rows = [*self._rows(nothing, all_of_it), (failed, *ends, FAILURE)]
        return any(clash(*stated(fitted), row, self.a_day) for row in rows)

    def _at_start(self, day: date, old: dict[str, int]) -> tuple[int, int]:
        """Return the bounds of the hours at a start of term: none were on a machine that nobody saw at work before."""
        rows = [(s.day, s.hours + self._old(s.unknown, old), s.record) for s in self.seen]
        everything = [*rows, *((d.on, hundredths(d.hours), "shown") for d in self.claim_file.machine.demonstrations)]
        doubts = doubted([(on, hours, hours, who) for on, hours, who in everything], len(rows), self.a_day)
        found = []
        for wrong in [list(doubts), *doubts.values()]:
            found.append(self._round_start([r for m, r in enumerate(everything) if m not in wrong], day, old))
        if doubts:
            self.asked_of_person.add(f"start_hours:{day.isoformat()}")
        return min(low for low, _ in found), max(high for _, high in found)

    def _round_start(self, rows: list[tuple[date, int, str]], day: date, old: dict[str, int]) -> tuple[int, int]:
        earlier = [(on, hours) for on, hours, record in rows if record not in OWN and on < day]
        on_day = [hours for on, hours, record in rows if record and record not in OWN and on == day]
        if not on_day and not any(record and record not in OWN and on < day for on, _, record in rows):
            return 0, 0
        if len(on_day) == 1:
            return on_day[0], on_day[0]
        lows = [hours for _, hours in earlier] + ([min(on_day)] if on_day else [])
        highs = [hours + self.a_day * ((day - on).days + 1) for on, hours in earlier]
        highs += [hours for on, hours, record in rows if on > day or (on == day and record in OWN)]
        highs += [max(on_day)] if on_day else []
        if day <= self.claim_file.claim.failed_on:
            highs.append(self.range_of(FAILURE, old)[1])
        return max(lows), max(min(highs), max(lows))

    def asks_about(self, name: str) -> str:
        if name in self.asked_of_person:
            return "person" if self.conventions.facts.contradicts_other_record == "refer" else "dealer"
        return self.doubt.asks if name == FAILURE and self.doubt is not None else "dealer"


def read_history(claim_file: ClaimFile, conventions: Conventions) -> History:
    """Return the history of the machine's hours."""
    history = History(claim_file, conventions)
    machine, claim = claim_file.machine, claim_file.claim
    if not machine.has_meter:
        history.no_meter = True
        return history
    changes = _changes(claim_file)
    meters = _meters(claim_file, history.a_day)
    own = [(n, r) for n, meter in enumerate(meters) for r in meter if r.record in OWN]
    contradiction = None
    if len(own) == 2 and own[0][0] == own[1][0]:
        first, second = sorted((r for _, r in own), key=lambda r: r.record)  # claim:reading stands before repair
        if not _agree(first, second, history.a_day):
            contradiction = (first.hours, second.hours)
            for meter in meters:
                meter[:] = [r for r in meter if r is not first and r is not second]
    base = 0
    for number, meter in enumerate(meters):
        last = all(len(m) == 1 for m in meters[number + 1 :])
        _read_meter(history, meter, base, last)
        if number < len(changes):
            base += _change(history, changes[number], meter)
    if contradiction is not None and not history.unclear:
        old = dict(history.old_meters)
        low = history._between(claim.failed_on, True, dict.fromkeys(old, 0))[0]
        high = history._between(claim.failed_on, True, old)[1]
        most = sum(old.values())
        high = max(high, base + max(contradiction) + most)
        handling = conventions.facts.contradicts_itself
        history.doubt = Bounds(low, high - most, len(old), "person" if handling == "refer" else "dealer")
        history.unclear = bool(old)
    return history


def _changes(claim_file: ClaimFile) -> list[MeterChange]:
    """Return the meter changes known on the day of the decision, in order."""
    known = [c for c in claim_file.machine.meter_changes if c.on <= claim_file.decided_on]
    return sorted(known, key=lambda c: (c.on, c.id))


def _meters(claim_file: ClaimFile, a_day: int) -> list[list[Shown]]:
    machine, claim = claim_file.machine, claim_file.claim
    rows = [Shown(r.on, hundredths(r.hours), r.id, work=r.source == "fuel_log") for r in machine.readings]
    rows += [
        Shown(s.on, hundredths(s.reading), s.record, work=True) for s in claim_file.services if s.reading is not None
    ]
    rows = [row for row in rows if row.day <= claim_file.decided_on]
    if claim.reading is not None:
        rows.append(Shown(claim.failed_on, hundredths(claim.reading), "claim:reading"))
    if claim.repair_reading is not None:
        on = claim.repair_began_on or claim.repair_ended_on or claim.submitted_on or claim_file.decided_on
        rows.append(Shown(max(on, claim.failed_on), hundredths(claim.repair_reading), REPAIR))
    changes = _changes(claim_file)
    meters: list[list[Shown]] = [[] for _ in range(len(changes) + 1)]
    for row in rows:
        number = 0
        for change in changes:
            fits = change.on < row.day or (change.on == row.day and _on_new_meter(row, change, rows, a_day))
            if not fits:
                break
            number += 1
        meters[number].append(row)
    for meter in meters:
        meter.sort(key=lambda r: (r.day, r.record == REPAIR, r.hours, r.record))
    meters[0].insert(0, Shown(machine.built_on, 0, "", "age"))
    for number, change in enumerate(changes):
        meters[number + 1].insert(0, Shown(change.on, hundredths(change.new_reading), change.id, "change"))
        if change.old_reading is not None:
            meters[number].append(Shown(change.on, hundredths(change.old_reading), change.id, "change"))
    return meters


def _on_new_meter(row: Shown, change: MeterChange, rows: list[Shown], a_day: int) -> bool:
    new = hundredths(change.new_reading)
    if row.hours < new or row.hours > new + a_day:
        return False
    if change.old_reading is not None:
        return row.hours != hundredths(change.old_reading)
    before = max([r.hours for r in rows if r.day < change.on], default=0)
    return before == 0 or row.hours < before


def _agree(one: Shown, other: Shown, a_day: int) -> bool:
    return one.hours <= other.hours <= one.hours + a_day * ((other.day - one.day).days + 1)


def _read_meter(history: History, meter: list[Shown], base: int, last: bool) -> None:
    """Write down what one meter showed, up to where its readings begin to contradict one another."""
    doubtful: list[Shown] = []
    if history.conventions.meter.single_spike == "drop_with_note":
        doubtful = _drop_spikes(meter, history.a_day)
    _mark_stuck(history, meter)
    broken = [n for n in range(1, len(meter)) if not _agree(meter[n - 1], meter[n], history.a_day)]
    end = len(meter)
    if broken:
        end = broken[0]
        later = meter[end:]
        if len(broken) == 1 and last and all(r.record in OWN for r in later):
            _doubt_claim(history, meter[end - 1], meter[end], base)
        elif len(broken) == 1 and last and _against_claim_alone(history, meter[:end], later):
            end -= 1
            highest = base + max(meter[end].hours, later[0].hours)
            history.doubt = Bounds(base + meter[end - 1].hours, highest, 0, _asks_of_records(history))
        else:
            history.unclear = True
            return
    for row in meter[:end]:
        history.seen.append(Seen(row.day, base + row.hours, row.record, len(history.old_meters)))
    del meter[end:]
    for row in doubtful:
        _doubt_left_out(history, row, base)


def _asks_of_records(history: History) -> str:
    return "person" if history.conventions.facts.contradicts_other_record == "refer" else "dealer"


def _against_claim_alone(history: History, before: list[Shown], later: list[Shown]) -> bool:
    """Return whether records after the failure contradict the claim's reading and none of those before it."""
    claim_file = history.claim_file
    if before[-1].record != "claim:reading" or history.old_meters or any(r.kind != "reading" for r in later):
        return False
    if any(s.reading is None for s in claim_file.services) or any(r.day <= claim_file.claim.failed_on for r in later):
        return False
    return all(_agree(row, other, history.a_day) for row in before[:-1] for other in later)


def _doubt_left_out(history: History, row: Shown, base: int) -> None:
    """Hold what a reading that others contradict leaves open: of the claim's own the hours at the failure."""
    claim_file = history.claim_file
    if row.record == "claim:reading" and not history.old_meters:
        low, high = history._between(claim_file.claim.failed_on, True, {})
        own = base + row.hours
        history.doubt = Bounds(min(low, own), max(high, own), 0, _asks_of_records(history))
    elif row.record in OWN or row.record in {s.record for s in claim_file.services}:
        history.unclear = True


def _doubt_claim(history: History, before: Shown, own: Shown, base: int) -> None:
    claim, facts = history.claim_file.claim, history.conventions.facts
    possible = before.hours + history.a_day * ((claim.failed_on - before.day).days + 1)
    handling = facts.contradicts_itself if own.hours > before.hours else facts.contradicts_other_record
    if own.hours < before.hours:
        history.unclear = True  # either this reading is wrong or those before it are
    history.doubt = Bounds(
        base + min(before.hours, own.hours),
        base + max(possible, own.hours),
        len(history.old_meters),
        "person" if handling == "refer" else "dealer",
    )


def _drop_spikes(meter: list[Shown], a_day: int) -> list[Shown]:
    """Take away what both sides contradict, and what the others can do without of two that contradict one another.

    Returns the latter: they may be right. The claim's own readings alone do not outweigh a record.
    """
    doubtful: list[Shown] = []
    n = 1
    while n < len(meter):
        one, other = meter[n - 1], meter[n]
        if _agree(one, other, a_day):
            n += 1
            continue
        away: list[int] = []
        if n + 1 < len(meter) and not all(r.record in OWN for r in meter[n:]):
            without_other = other.kind == "reading" and _agree(one, meter[n + 1], a_day)
            if without_other and one.kind != "age" and not _agree(other, meter[n + 1], a_day):
                del meter[n]
                n = 1
                continue
            if one.hours > other.hours:
                supported = n >= 2 and meter[n - 2].kind != "age" and _agree(meter[n - 2], other, a_day)
                away += [n - 1] if supported and one.kind == "reading" else []
                away += [n] if without_other else []
        if not away:
            n += 1
            continue
        doubtful += [meter[m] for m in away]
        meter[:] = [r for m, r in enumerate(meter) if m not in away]
        n = 1
    return doubtful


def _mark_stuck(history: History, meter: list[Shown]) -> None:
    for first in meter:
        same = [r for r in meter if r.hours == first.hours]
        worked = [r.day for r in same if r.work]
        if len(worked) < 2:
            continue
        stored = sum(
            max((min(s.until, same[-1].day) - max(s.since, worked[0])).days, 0)
            for s in history.claim_file.machine.storage
        )
        long = span_on(worked[0], history.conventions.meter.stuck_after, history.conventions) + timedelta(days=stored)
        if same[-1].day >= long:
            history.unclear = True


def _change(history: History, change: MeterChange, meter: list[Shown]) -> int:
    """Return by how much the base rises where a meter was changed; a missing old reading is an unknown sum."""
    last = meter[-1] if meter else None
    if change.old_reading is not None:
        old = hundredths(change.old_reading)
    else:
        assert last is not None
        old = last.hours
        most = history.a_day * (max((change.on - last.day).days, 0) + 1)
        history.old_meters.append((f"meter_change:{change.id}", most))
    return old - hundredths(change.new_reading)


class ValuesToTry(Protocol):
    """Chooses the values to try for hours."""

    def between(self, name: str, low: int, high: int, given: Given) -> tuple[int, ...]: ...

    def of_old_meter(self, key: str, most: int, old: dict[str, int]) -> tuple[int, ...]: ...


def hours_of(name: str, history: History, given: Given, edges: ValuesToTry) -> int | None:
    """Return the hours of the failure, a record or a fitting in this world; None without an hour meter."""
    if history.no_meter:
        return None
    old: dict[str, int] = {}
    for key, most in history.old_meters:
        known = given.values.get(key)
        old[key] = given.ask(key, edges.of_old_meter(key, most, old)) if known is None else known
    low, high = history.range_of(name, old)
    own_key = name.startswith(("fitting:", "start_hours:"))
    key = "reading:failure" if name == FAILURE else (name if own_key else f"reading:{name}")
    if low == high:
        return low
    if key in given.values:
        return given.values[key]
    low, high = _never_falling(name, low, high, history, given, old)
    return given.ask(key, edges.between(name, low, high, given), history.asks_about(name))


def _never_falling(
    name: str, low: int, high: int, history: History, given: Given, old: dict[str, int]
) -> tuple[int, int]:
    """Hours never fall: a value taken for an earlier or later day bounds this one."""
    day = history.day_of(name)
    assert day is not None
    lows, highs = [low], [high]
    names = [FAILURE, *(s.record for s in history.claim_file.services if s.on <= history.claim_file.claim.failed_on)]
    for other in names:
        other_day = history.day_of(other)
        assert other_day is not None
        key = "reading:failure" if other == FAILURE else f"reading:{other}"
        first, last = history.range_of(other, old)
        value = first if first == last else given.values.get(key)
        if other == name or value is None or other_day == day:
            continue
        (lows if other_day < day else highs).append(value)
    return (max(lows), min(highs)) if max(lows) <= min(highs) else (low, high)
