"""Drawn machines with their events, owners, fittings, storage, bookings, readings and services."""

import random
from datetime import date, timedelta
from typing import Any

from schemas.policy.clause import DemoHours, StartAfter
from schemas.policy.document import CoveragePolicy
from schemas.policy.services import ServiceDuty
from tests.generated_claims import components_of, hours, money

FIRST_DAY, LAST_DAY = date(2019, 1, 1), date(2026, 6, 30)
Life = tuple[date, date, int]  # start, failure, hundredths at the failure


def iso(day: date) -> str:
    return day.isoformat()


def drawn_machine(rng: random.Random, policy: CoveragePolicy, number: int) -> dict[str, Any]:
    """Return a machine that the policy mostly reaches, delivered while the version is mostly in force."""
    applies = policy.applies_to
    model = rng.choice(applies.models)
    model = model.replace("*", rng.choice(("10", "20X"))) if "*" in model else model
    low, high = max(policy.in_force.from_, FIRST_DAY), min(policy.in_force.until or LAST_DAY, LAST_DAY)
    delivered = low + timedelta(days=rng.randint(0 if rng.random() < 0.9 else -20, max((high - low).days, 1)))
    built = delivered - timedelta(days=rng.randint(0, 400))
    if applies.built is not None and rng.random() < 0.9:
        built = min(max(built, applies.built.from_ or built), delivered)
    serial = f"S{number}"
    if applies.serials and rng.random() < 0.9:
        chosen = rng.choice(applies.serials)
        serial = rng.choice((chosen.from_, chosen.until))
    owners = [{"order": 1, "since": iso(delivered)}]
    if rng.random() < 0.1:
        owners.append({"order": 2, "since": iso(delivered + timedelta(days=rng.randint(100, 600)))})
    uses = applies.use if applies.use and rng.random() < 0.9 else ("commercial", "residential")
    machine: dict[str, Any] = {
        "serial": serial, "model": model, "built_on": iso(built), "events": _events(rng, policy, delivered),
        "use": rng.choice(uses),
        "region": rng.choice(applies.regions) if applies.regions and rng.random() < 0.9 else "DE",
        "price": money(rng, 9000, 60000), "currency": policy.currency, "owners": owners, "readings": [],
        "records_complete_from": iso(delivered), "components": [], "has_meter": rng.random() > 0.04,
    }  # fmt: skip
    if rng.random() < 0.1:
        machine["demonstrations"] = [{"on": iso(delivered - timedelta(days=5)), "hours": rng.choice(("20", "55"))}]
    machine["components"] = _fittings(rng, policy, delivered)
    if rng.random() < 0.15:
        since = delivered + timedelta(days=rng.randint(30, 500))
        machine["storage"] = [
            {"id": "ST-1", "since": iso(since), "until": iso(since + timedelta(days=rng.randint(5, 120)))}
        ]
    return machine


def _events(rng: random.Random, policy: CoveragePolicy, delivered: date) -> dict[str, str]:
    """Return the delivery and, mostly, every other event that the policy counts from."""
    starts = [policy.term.starts, *(c.starts for c in policy.carve_outs if c.starts is not None)]
    points = [p for s in starts for p in (*s.earliest_of, *s.otherwise)]
    named = {p.event if isinstance(p, StartAfter) else p for p in points if not isinstance(p, DemoHours)}
    ends = [policy.term.ends, *(c.ends for c in policy.carve_outs)]
    named |= {limit.from_ for e in ends if e is not None and e != "lifetime" for limit in e.all}
    named.add(policy.in_force.selected_by)
    events = {"retail_delivery": iso(delivered)}
    for event in sorted(str(n) for n in named if n is not None):
        if event in ("built", "retail_delivery", "start_of_term", "failed_on", "repair_ended_on", "submitted_on"):
            continue
        if event == "first_rental" and rng.random() < 0.8:
            continue
        events[event] = iso(delivered - timedelta(days=rng.choice((0, 0, rng.randint(1, 60), rng.randint(1, 300)))))
    return events


def _fittings(rng: random.Random, policy: CoveragePolicy, delivered: date) -> list[dict[str, Any]]:
    """Return components as fitted: kits and replacements where the policy knows them, on one side or on none."""
    later = [f for f in policy.applies_to.fitted if f != "factory"]
    named = components_of(policy)
    if not later or rng.random() < (0.4 if "factory" in policy.applies_to.fitted else 0.05):
        return []
    fitted, day = rng.choice(named), delivered + timedelta(days=rng.choice((rng.randint(1, 60), rng.randint(30, 700))))
    how, side = rng.choice(later), rng.choice(("none", "none", "left", "right"))
    component: dict[str, Any] = {
        "id": "F-1", "component": fitted, "serial": "K-1", "fitted_on": iso(day),
        "fitted_at": hours(rng.randint(10000, 90000)), "fitted_as": how, "position": side,
    }  # fmt: skip
    if how == "retrofit_kit" and rng.random() < 0.3:
        component["kit_parts"] = [rng.choice(named)]
    found = [component]
    if rng.random() < 0.2:
        found.append({"id": "F-0", "component": fitted, "serial": "K-0", "position": side})
    return found


def drawn_services(
    rng: random.Random, policy: CoveragePolicy, life: Life, number: int, wanted: int | None
) -> list[dict[str, Any]]:
    """Return services near the due points, some left out; ``wanted`` fixes their number."""
    start, failed_on, at_failure = life
    planned: list[tuple[int, list[str], ServiceDuty | None]] = []
    skipping = rng.choice((0.0, 0.05, 0.2))
    for duty in policy.services.values():
        off = rng.choice((0, 0, 0, 500, 2500))
        for due in _due_hours(duty, life):
            if rng.random() < skipping:
                continue
            at = due + rng.choice((0, 0, 0, -500, 500, -1000, 1000, -2500, 2500, 4000, 6000, -4000)) + off
            if 0 <= at <= at_failure:
                planned.append((at, list(duty.tasks), duty))
    planned.sort(key=lambda p: (p[0], p[1]))
    if wanted is not None:
        tasks: list[str] = sorted({t for d in policy.services.values() for t in d.tasks}) or ["inspection"]
        while len(planned) < wanted:
            planned.append((rng.randint(0, max(at_failure, 1)), [rng.choice(tasks)], None))
        planned = sorted(planned[:wanted], key=lambda p: (p[0], p[1]))
    return [
        _record(rng, f"S-{number}-{i}", p, start, (failed_on - start).days, at_failure) for i, p in enumerate(planned)
    ]


def _record(
    rng: random.Random,
    name: str,
    planned: tuple[int, list[str], ServiceDuty | None],
    start: date,
    days: int,
    at_failure: int,
) -> dict[str, Any]:
    at, tasks, duty = planned
    day = start + timedelta(days=max(days, 0) * at // max(at_failure, 1))
    record: dict[str, Any] = {
        "record": name, "serial": "", "on": iso(day), "reading": hours(at), "tasks": tasks,
        "by": "authorised_dealer" if duty is None else rng.choice(duty.performed_by), "dealer": "D-1",
        "evidence": ["dealer_invoice"] if duty is None else list(rng.choice(duty.proof).all),
    }  # fmt: skip
    if duty is not None and duty.fluid is not None:
        litres = "100" if rng.random() < 0.95 else "0.1"
        record["fluids"] = [{"fluid": rng.choice(("oil_a", "oil_a", "oil_a", "oil_a", "oil_b")), "litres": litres}]
    if rng.random() < 0.05:
        record["is_repair"] = True
    if rng.random() < 0.1:
        record["position"] = rng.choice(("left", "right"))
    if rng.random() < 0.5 or (duty is not None and duty.late == "cures_if_inspected"):
        record["inspected"] = rng.random() < 0.7
    if rng.random() < 0.05:
        record["provided_on"] = iso(day + timedelta(days=400))
    return record


def _due_hours(duty: ServiceDuty, life: Life) -> list[int]:
    start, failed_on, up_to = life
    points = [int(p.at * 100) for p in duty.due.at_hours]
    if duty.due.then_every is not None:
        step = int(duty.due.then_every * 100)
        last = points[-1] if points else 0
        points += range(last + step, up_to + step, step)
    elif duty.due.calendar is not None:
        every = duty.due.calendar.every.days or duty.due.calendar.every.months * 30
        days = max((failed_on - start).days, 1)
        points += [up_to * day // days for day in range(every, days, every)]
    return [p for p in points if p <= up_to][:40]


def drawn_readings(rng: random.Random, start: date, failed_on: date, at_failure: int) -> list[dict[str, Any]]:
    """Return readings on the straight line from the start to the failure."""
    days, found = max((failed_on - start).days, 0), []
    for index in range(rng.randint(0, 3)):
        after = rng.randint(0, days)
        found.append(
            {"id": f"R-{index}", "on": iso(start + timedelta(days=after)),
             "hours": hours(at_failure * after // max(days, 1)),
             "source": rng.choice(("dealer", "owner", "telematics", "fuel_log"))}
        )  # fmt: skip
    return found
