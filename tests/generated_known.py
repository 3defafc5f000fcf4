"""Random claim files in which every fact is known, for the benchmark: plain claims, each decided in one world.

The machines differ all the same: claims inside and outside the term, services in time, late, left out, by other hands
or with a wrong fluid, other causes, alterations, replaced meters. What the history holds is drawn by itself, so that
two generators of one seed give the same claims with histories of different lengths.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fnmatch import fnmatchcase
from types import SimpleNamespace
from typing import Any, get_args

from rules.measures.starts import earliest_start
from schemas.machine import Machine
from schemas.policy.clause import DemoHours, Event, Limits, StartAfter
from schemas.policy.document import CoveragePolicy
from schemas.policy.pays import NotPaid
from schemas.policy.services import PERFORMERS, ServiceDuty
from tests.generated_claims import ITEMS, components_of, drawn_claim, hours
from tests.generated_machines import drawn_machine
from tests.generation import ClaimFiles

MOST_A_DAY = 1000  # hundredths of an hour on the average day: below what any maker's conventions allow
TESTED = 50  # hundredths that a new machine ran in the factory
LEAST_A_DAY = 10  # so that no meter seems to stand still
OTHER_WORK = ("wash_down", "greasing", "tyre_check", "winter_check", "software_update")
SOURCES = ("dealer", "owner", "telematics", "fuel_log")


@dataclass(frozen=True)
class Life:
    """A machine in use: its hours (hundredths) rise evenly from the first day to the failure."""

    start: date
    failed_on: date
    first: int
    last: int

    @property
    def days(self) -> int:
        return (self.failed_on - self.start).days

    def hours_on(self, day: date) -> int:
        """Return the hours at the beginning of a day; at the failure they are all there."""
        if day >= self.failed_on:
            return self.last
        return self.first + (self.last - self.first) * max((day - self.start).days, 0) // max(self.days, 1)

    def day_of(self, at: int) -> date:
        return self.start + timedelta(days=self.days * (at - self.first) // max(self.last - self.first, 1))


class KnownClaimFiles(ClaimFiles):
    """Draws claim files without an open fact; the same seed draws the same claims, whatever their ``services``.

    ``readings`` are drawn beside the services' own: 0 to 3 where left out.
    """

    def __init__(self, policies: Sequence[CoveragePolicy], seed: int, readings: int | None = None) -> None:
        super().__init__(policies, seed)
        self.seed = seed
        self.readings = readings

    def draw_tree(self, lines: int | None = None, services: int | None = None) -> dict[str, Any]:
        rng, policy = self.rng, self.rng.choice(self.policies)
        self.number += 1
        machine = drawn_machine(rng, policy, self.number)
        reaching = [p for p in self.policies if any(fnmatchcase(machine["model"], m) for m in p.applies_to.models)]
        life = self._life(policy, machine, reaching)
        paid = [item for item in ITEMS if not isinstance(policy.pays.rule_for(item), NotPaid)]
        claim = drawn_claim(
            rng, policy, machine, (life.failed_on, life.last), self.number, lines, (*ITEMS, *(paid * 8))
        )
        tree = self._file(policy, machine, [], claim, life.failed_on)
        _state_all(rng, tree, reaching)
        history = random.Random(f"{self.seed}/{self.number}")
        tree["services"] = list(_services(history, machine["serial"], reaching, life, services))
        if machine["has_meter"]:
            machine["readings"] = [
                *_readings(history, life, self.readings),
                *_shown_at_starts(tree, reaching, life),
            ]
            if history.random() < 0.04:
                _replace_meter(history, tree, life)
        else:
            for record in (claim, *tree["services"]):
                record.pop("reading", None)
            claim.pop("repair_reading", None)
        return tree

    def _day(self, policy: CoveragePolicy) -> int:
        """Return how many days after the start the failure comes: oftener early in the term than for the oracles."""
        return self.rng.randint(0, 700) if self.rng.random() < 0.6 else super()._day(policy)

    def _life(self, policy: CoveragePolicy, machine: dict[str, Any], reaching: Sequence[CoveragePolicy]) -> Life:
        """Give the machine its events, in order, and return the use it was put to."""
        built = date.fromisoformat(machine["built_on"])
        sold = built + timedelta(days=10)
        machine["records_complete_from"] = machine["built_on"]
        events, demos = machine["events"], machine.get("demonstrations", [])
        for event in get_args(Event):
            if event != "built" and (event != "first_rental" or "first_rental" in set(_asked_events(reaching))):
                events.setdefault(event, events["retail_delivery"])
        for event, day in events.items():
            events[event] = max(date.fromisoformat(day), sold).isoformat()
        for demo in demos:
            demo["on"] = max(date.fromisoformat(demo["on"]), sold).isoformat()
        start = min(date.fromisoformat(day) for day in [*events.values(), *(demo["on"] for demo in demos)])
        first = max([int(Decimal(demo["hours"]) * 100) for demo in demos] or [TESTED])
        failed_on = start + timedelta(days=self._day(policy))
        days = (failed_on - start).days
        last = max(self._hours(policy, days, MOST_A_DAY), first + max(days, 1) * LEAST_A_DAY)
        life = Life(start, failed_on, first, last)
        for fitted in machine["components"]:
            if "fitted_on" in fitted:
                fitted["fitted_at"] = hours(life.hours_on(date.fromisoformat(fitted["fitted_on"])))
        return life


def _asked_events(policies: Sequence[CoveragePolicy]) -> Iterator[str | None]:
    """Yield the events that must be on file: those that select a version, or that a limit counts from."""
    for policy in policies:
        yield policy.in_force.selected_by
        starts = [policy.term.starts, *(c.starts for c in policy.carve_outs if c.starts is not None)]
        for ways in starts:
            points = (*ways.earliest_of, *ways.otherwise)
            if len(points) == 1 and not isinstance(points[0], DemoHours):
                yield points[0].event if isinstance(points[0], StartAfter) else points[0]
        for ends in (policy.term.ends, *(c.ends for c in policy.carve_outs)):
            if isinstance(ends, Limits):
                yield from (limit.from_ for limit in ends.all)


def _state_all(rng: random.Random, tree: dict[str, Any], policies: Sequence[CoveragePolicy]) -> None:
    """State what a claim may leave out: wear, prices, what alterations caused, fluid lists; services were asked for."""
    machine, claim = tree["machine"], tree["claim"]
    failed_on = date.fromisoformat(claim["failed_on"])
    by_wear = any(p.prorating is not None and p.prorating.wear_floor is not None for p in policies)
    rows = [row for table in tree["tables"] if table["kind"] == "part_components" for row in table["rows"]]
    on_list = {row["part"]: row["component"] for row in sorted(rows, key=lambda row: row["from"])
               if row["from"] <= claim["failed_on"]}  # fmt: skip
    for line in claim["lines"]:
        told = line.get("component") or claim.get("component") or components_of(rng.choice(policies))[0]
        line["component"] = on_list.get(line.get("part_number"), told)
        if by_wear:
            line["wear"] = {"new": "46", "left": str(rng.randint(10, 46))}
        if line["item"] == "parts":
            line.setdefault("list_price", line["net"])
            line.setdefault("price_paid", line["net"])
    if any(cap.over == "component_lifetime" for policy in policies for cap in policy.caps):
        for row in (*claim["lines"], *tree["earlier_payments"]):
            row.setdefault("position", rng.choice(("left", "right")))
    if rng.random() < 0.03:
        altered = {"id": "A-1", "component": rng.choice(components_of(rng.choice(policies))),
                   "found_on": claim["failed_on"], "kind": rng.choice(("altered", "other_make"))}  # fmt: skip
        # Of several parts of a kind, only one that caused the failure is known to be the one that failed.
        several = machine["components"] or any("position" in row for row in (claim, *claim["lines"]))
        machine["alterations"] = [{**altered, "caused_failure": rng.random() < 0.5 or bool(several)}]
    lists = sorted({d.fluid.fluids for p in policies for d in p.services.values() if d.fluid is not None})
    tree["tables"] = [table for table in tree["tables"] if table["kind"] != "fluids"]
    if lists:
        rows = [{"fluid": "oil_a", "on_list": name, "from": "2010-01-01"} for name in lists]
        until = (failed_on - timedelta(days=rng.randint(0, 300))).isoformat()
        rows += [{"fluid": "oil_b", "on_list": name, "from": "2010-01-01", "until": until} for name in lists]
        tree["tables"].append({"table": "fluids", "version": 1, "kind": "fluids", "rows": rows})
    claim["services_declared_complete"] = True
    tree["decided_on"] = max(tree["decided_on"], claim["submitted_on"])
    if any(duty.activates for policy in policies for duty in policy.services.values()):
        # Where proof activates the coverage, its absence is open until the dealer has been asked and did not answer.
        claim["questions"] = [{"about": "services", "asked_on": claim["submitted_on"], "answered": False}]
        tree["decided_on"] = (date.fromisoformat(claim["submitted_on"]) + timedelta(days=100)).isoformat()


def _services(
    rng: random.Random, serial: str, policies: Sequence[CoveragePolicy], life: Life, wanted: int | None
) -> Iterator[dict[str, Any]]:
    """Yield ``wanted`` services: those that fall due as this owner keeps them, and other visits beside."""
    every = [duty for policy in policies for duty in policy.services.values()]
    skipped, late = rng.choice(((0, 0), (0, 0), (0, 0), (0, 0.05), (0.05, 0.05), (0.3, 0.2)))
    visits: dict[int, set[str]] = {}
    for duty in {duty.tasks: duty for duty in every}.values():
        for due in _due_hours(duty, life):
            if rng.random() >= skipped:
                near = next((at for at in (due, due - 2500, due + 2500) if at in visits), due)
                visits.setdefault(near, set()).update(duty.tasks)
    planned = []
    for due, tasks in sorted(visits.items()):
        off = rng.randint(3000, 15000) if rng.random() < late else rng.randint(-900, 900)
        if life.first <= due + off <= life.last:
            planned.append((due + off, sorted(tasks)))
    if wanted is not None:
        planned = sorted(rng.sample(planned, min(len(planned), wanted)))
        own = [[*duty.tasks] for duty in every] or [["inspection"]]
        while len(planned) < wanted:
            tasks = rng.choice(own) if rng.random() < 0.25 else [rng.choice(OTHER_WORK)]
            planned.append((rng.randint(life.first, life.last), sorted(tasks)))
    for index, (at, tasks) in enumerate(planned):
        met = [duty for duty in every if set(duty.tasks) <= set(tasks)]
        yield _record(rng, f"V-{index}", serial, life, at, tasks, met)


def _due_hours(duty: ServiceDuty, life: Life) -> Iterator[int]:
    """Yield the machine hours at which a duty's services fall due on its grid, whichever limb comes round first."""
    due = duty.due
    one_offs = list(due.one_off_hundredths)
    yield from one_offs
    steps = [due.every_hundredths] if due.every_hundredths is not None else []
    if due.calendar is not None:
        every = due.calendar.every.days + due.calendar.every.months * 365 // 12
        steps.append(max((life.last - life.first) * every // max(life.days, 1), 1))
    if steps:
        begin = one_offs[-1] if one_offs else life.first
        yield from range(begin + min(steps), life.last + 1, min(steps))


def _record(
    rng: random.Random, name: str, serial: str, life: Life, at: int, tasks: list[str], met: Sequence[ServiceDuty]
) -> dict[str, Any]:
    """Return one record that leaves nothing to ask under any duty that its tasks meet."""
    accepted = set(PERFORMERS).intersection(*(duty.performed_by for duty in met)) or {"authorised_dealer"}
    refused = set(PERFORMERS) - accepted - {"selling_dealer"}
    by = rng.choice(sorted(refused if refused and rng.random() < 0.02 else accepted))
    evidence = {each for duty in met for each in rng.choice(duty.proof).all}
    record: dict[str, Any] = {
        "record": name, "serial": serial, "on": life.day_of(at).isoformat(), "reading": hours(at), "tasks": tasks,
        "by": by, "dealer": "D-1", "evidence": sorted(evidence) or ["dealer_invoice"],
        "inspected": rng.random() < 0.8, "is_repair": rng.random() < 0.05,
    }  # fmt: skip
    if any(duty.fluid is not None for duty in met):
        record["fluids"] = [{"fluid": "oil_b" if rng.random() < 0.05 else "oil_a", "litres": "100"}]
    if rng.random() < 0.03:
        record["provided_on"] = (life.day_of(at) + timedelta(days=30)).isoformat()
    return record


def _readings(rng: random.Random, life: Life, wanted: int | None) -> Iterator[dict[str, Any]]:
    for index in range(rng.randint(0, 3) if wanted is None else wanted):
        day = life.start + timedelta(days=rng.randint(0, life.days))
        yield {"id": f"R-{index}", "on": day.isoformat(), "hours": hours(life.hours_on(day)),
               "source": rng.choice(SOURCES)}  # fmt: skip


def _shown_at_starts(tree: dict[str, Any], policies: Sequence[CoveragePolicy], life: Life) -> Iterator[dict[str, Any]]:
    """Yield a reading of each day from which a term counts hours, whatever the conventions say of month ends."""
    stand_in = SimpleNamespace(machine=Machine.model_validate({**tree["machine"], "readings": []}))
    days = set()
    for policy in policies:
        if policy.term.hours_count_from == "start_of_term":
            for starts in (policy.term.starts, *(c.starts for c in policy.carve_outs if c.starts is not None)):
                for month_end in ("clamp_from_start", "roll_to_next_month"):
                    found = earliest_start(starts, stand_in, month_end)  # type: ignore[arg-type]
                    days |= {found[0]} if found is not None else set()
    for index, on in enumerate(sorted(days)):
        serviced = [service for service in tree["services"] if service["on"] == on.isoformat()]
        for service in serviced[1:]:
            service["reading"] = serviced[0]["reading"]  # or the day of start would lie between two readings
        if life.start <= on <= life.failed_on and not serviced:
            shown = hours(life.hours_on(on))
            yield {"id": f"R-start-{index}", "on": on.isoformat(), "hours": shown, "source": "dealer"}


def _replace_meter(rng: random.Random, tree: dict[str, Any], life: Life) -> None:
    """Put a new meter on the machine on a day without a record; what the old one showed is on file."""
    machine, claim = tree["machine"], tree["claim"]
    read = [(row, key) for rows, key in ((machine["readings"], "hours"), (tree["services"], "reading")) for row in rows]
    taken = {row["on"] for row, _ in read}
    day = life.start + timedelta(days=rng.randint(0, life.days))
    if day.isoformat() in taken or not life.start < day < life.failed_on:
        return
    shown = life.hours_on(day)
    machine["meter_changes"] = [{"id": "MC-1", "on": day.isoformat(), "old_reading": hours(shown), "new_reading": 0}]
    later = [(row, key) for row, key in read if row["on"] > day.isoformat()]
    for row, key in (*later, (claim, "reading"), (claim, "repair_reading")):
        row[key] = hours(int(Decimal(row[key]) * 100) - shown)
