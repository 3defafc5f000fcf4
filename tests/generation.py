"""Random claim files over real policies: for the benchmark, the differential tests and the properties.

A claim file is drawn so that it lies near the edges of a policy (ends of term, caps, service windows, table dates), in
which mistakes live. ``mess`` is the chance of each kind of untidiness; 0 gives files in which every fact is known.
"""

import random
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from schemas.claim_file import ClaimFile
from schemas.policy.clause import Limits
from schemas.policy.document import CoveragePolicy
from schemas.policy.exclusions import Alterations, Consumables, ExcludedCauses, WearItems
from schemas.policy.services import ServiceDuty

EXPONENTS = {"EUR": 2, "USD": 2, "GBP": 2, "JPY": 0, "KWD": 3, "CHF": 2, "NOK": 2}
FIRST_DAY = date(2019, 1, 1)
ITEMS = (
    "parts",
    "parts",
    "parts",
    "labour",
    "labour",
    "travel",
    "freight",
    "diagnosis",
    "fluids",
    "supplies",
    "sublet",
)


def money(rng: random.Random, low: int, high: int) -> str:
    return f"{rng.randint(low * 100, high * 100) / 100:.2f}"


def hours(hundredths: int) -> str:
    return str(Decimal(max(hundredths, 0)).scaleb(-2))


class ClaimFiles:
    """Draws claim files for the given policies; the same seed draws the same files."""

    def __init__(self, policies: Sequence[CoveragePolicy], seed: int, mess: float = 0.0) -> None:
        self.policies = policies
        self.rng = random.Random(seed)
        self.mess = mess
        self.number = 0

    def untidy(self) -> bool:
        return self.rng.random() < self.mess

    def draw(self, lines: int | None = None, services: int | None = None) -> ClaimFile:
        """Return the next claim file; ``lines`` and ``services`` fix their number."""
        return ClaimFile.model_validate(self.draw_tree(lines, services))

    def draw_tree(self, lines: int | None = None, services: int | None = None) -> dict[str, Any]:
        """Return the next claim file as a plain tree."""
        rng, policy = self.rng, self.rng.choice(self.policies)
        self.number += 1
        machine = self._machine(policy)
        start = min(
            (date.fromisoformat(d) for d in machine["events"].values()), default=date.fromisoformat(machine["built_on"])
        )
        failed_on = start + timedelta(days=rng.randint(0, int(_term_days(policy) * 1.25) + 20))
        rate = rng.choice((80, 250, 400, 600, 900, 1500))
        at_failure = self._near(_caps(policy), int((failed_on - start).days * rate * 100 / 365), 0.3)
        days = max((failed_on - start).days, 0)
        at_failure = min(at_failure, days * 2000)
        records = self._services(policy, start, failed_on, at_failure, services)
        claim = self._claim(policy, machine, failed_on, at_failure, lines)
        self._readings(machine, start, failed_on, at_failure, records)
        if self.untidy():
            self._spoil(machine, claim, records, failed_on)
        tables = self._tables(policy, claim, failed_on)
        return {
            "machine": machine,
            "services": records,
            "claim": claim,
            "dealer": {
                "dealer": claim["dealer"],
                "region": machine["region"],
                "currency": rng.choice((claim["currency"], policy.currency)),
            },
            "tables": tables,
            "currency_exponents": EXPONENTS,
            "decided_on": (failed_on + timedelta(days=rng.randint(20, 60))).isoformat(),
        }

    def _near(self, edges: Sequence[int], otherwise: int, chance: float) -> int:
        if edges and self.rng.random() < chance:
            return max(self.rng.choice(edges) + self.rng.choice((-100, -1, 0, 1, 100)), 0)
        return max(otherwise, 0)

    def _machine(self, policy: CoveragePolicy) -> dict[str, Any]:
        rng, applies = self.rng, policy.applies_to
        model = rng.choice(applies.models)
        model = model.replace("*", rng.choice(("10", "20X"))) if "*" in model else model
        low = max(policy.in_force.from_, FIRST_DAY)
        high = min(policy.in_force.until or date(2026, 6, 30), date(2026, 6, 30))
        delivered = low + timedelta(days=rng.randint(-20, max((high - low).days, 1)))
        built = delivered - timedelta(days=rng.randint(0, 400))
        if applies.built is not None and rng.random() < 0.9:
            built = max(built, applies.built.from_ or built)
        serial = f"S{self.number}"
        if applies.serials and rng.random() < 0.9:
            chosen = rng.choice(applies.serials)
            serial = rng.choice((chosen.from_, chosen.until))
        events = {"retail_delivery": delivered.isoformat()}
        if rng.random() < 0.1:
            events["first_rental"] = (delivered - timedelta(days=rng.randint(1, 60))).isoformat()
        if rng.random() < 0.3:
            events["dealer_invoice"] = (delivered - timedelta(days=rng.randint(0, 300))).isoformat()
        owners = [{"order": 1, "since": delivered.isoformat()}]
        if rng.random() < 0.1:
            owners.append({"order": 2, "since": (delivered + timedelta(days=rng.randint(100, 600))).isoformat()})
        machine: dict[str, Any] = {
            "serial": serial, "model": model, "built_on": built.isoformat(), "events": events,
            "use": rng.choice(applies.use) if applies.use and rng.random() < 0.9 else rng.choice(("commercial", "residential")),
            "region": rng.choice(applies.regions) if applies.regions and rng.random() < 0.9 else "DE",
            "price": money(rng, 9000, 60000), "currency": policy.currency, "owners": owners, "readings": [],
            "records_complete_from": events["retail_delivery"], "components": [],
        }  # fmt: skip
        self._fittings(machine, policy, delivered)
        return machine

    def _fittings(self, machine: dict[str, Any], policy: CoveragePolicy, delivered: date) -> None:
        rng = self.rng
        later = [f for f in policy.applies_to.fitted if f != "factory"]
        components = policy.applies_to.components
        if later and components != "whole_machine" and rng.random() < 0.5:
            day = delivered + timedelta(days=rng.randint(30, 700))
            machine["components"].append(
                {"id": "F-1", "component": rng.choice(components), "serial": "K-1", "fitted_on": day.isoformat(),
                 "fitted_at": hours(rng.randint(10000, 90000)), "fitted_as": rng.choice(later)}
            )  # fmt: skip

    def _services(
        self, policy: CoveragePolicy, start: date, failed_on: date, at_failure: int, wanted: int | None
    ) -> list[dict[str, Any]]:
        rng, records = self.rng, []
        span = max((failed_on - start).days, 1)
        for duty in policy.services.values():
            for due in _due_hours(duty, at_failure):
                if rng.random() < 0.12:
                    continue
                at = due + rng.choice((0, 0, 0, -500, 500, -1000, 1000, -2500, 2500, 4000, 6000, -4000))
                if 0 <= at <= at_failure:
                    records.append((at, list(duty.tasks), duty))
        records.sort(key=lambda r: r[0])
        if wanted is not None:
            tasks: list[str] = sorted({t for d in policy.services.values() for t in d.tasks}) or ["inspection"]
            while len(records) < wanted:
                records.append((rng.randint(0, max(at_failure, 1)), [rng.choice(tasks)], None))
            records = sorted(records[:wanted], key=lambda r: r[0])
        return [self._record(i, r, start, span, at_failure) for i, r in enumerate(records)]

    def _record(self, index: int, planned: Any, start: date, span: int, at_failure: int) -> dict[str, Any]:
        at, tasks, duty = planned
        day = start + timedelta(days=int(span * at / max(at_failure, 1)))
        record: dict[str, Any] = {
            "record": f"S-{self.number}-{index}", "serial": "", "on": day.isoformat(), "reading": hours(at), "tasks": tasks,
            "by": "authorised_dealer" if duty is None else self.rng.choice(duty.performed_by), "dealer": "D-1",
            "evidence": ["dealer_invoice"] if duty is None else list(self.rng.choice(duty.proof).all),
        }  # fmt: skip
        if duty is not None and duty.fluid is not None:
            record["fluids"] = [{"fluid": self.rng.choice(("oil_a", "oil_a", "oil_a", "oil_b"))}]
        if self.rng.random() < 0.05:
            record["is_repair"] = True
        if self.untidy():
            spoilt = self.rng.choice(("reading", "by", "evidence", "other_hands"))
            if spoilt == "other_hands":
                record["by"] = self.rng.choice(("owner", "independent"))
            else:
                record.pop(spoilt)
        return record

    def _readings(
        self, machine: dict[str, Any], start: date, failed_on: date, at_failure: int, records: list[Any]
    ) -> None:
        for record in records:
            record["serial"] = machine["serial"]
        for index in range(self.rng.randint(0, 3)):
            part = self.rng.random()
            day = start + timedelta(days=int((failed_on - start).days * part))
            machine["readings"].append(
                {"id": f"R-{index}", "on": day.isoformat(), "hours": hours(int(at_failure * int((failed_on - start).days * part) / max((failed_on - start).days, 1))),
                 "source": self.rng.choice(("dealer", "owner", "telematics", "fuel_log"))}
            )  # fmt: skip

    def _claim(
        self, policy: CoveragePolicy, machine: dict[str, Any], failed_on: date, at_failure: int, lines: int | None
    ) -> dict[str, Any]:
        rng = self.rng
        causes = ["material_defect", *(c for e in policy.exclusions if isinstance(e, ExcludedCauses) for c in e.causes)]
        began = failed_on + timedelta(days=rng.randint(0, 5))
        ended = began + timedelta(days=rng.randint(0, 10))
        currency = policy.currency if rng.random() < 0.85 else rng.choice(("EUR", "USD", "JPY", "KWD"))
        count = lines if lines is not None else rng.randint(1, 5)
        claim: dict[str, Any] = {
            "claim": f"C-{self.number}", "serial": machine["serial"], "dealer": "D-1", "currency": currency,
            "failed_on": failed_on.isoformat(), "reading": hours(at_failure), "reported_on": began.isoformat(),
            "part_received_on": ended.isoformat(), "repair_began_on": began.isoformat(), "repair_reading": hours(at_failure),
            "repair_ended_on": ended.isoformat(), "submitted_on": (ended + timedelta(days=rng.randint(0, 20))).isoformat(),
            "cause": rng.choice(causes) if rng.random() < 0.3 else "material_defect",
            "lines": [self._line(policy, f"l{i}", i) for i in range(count)],
        }  # fmt: skip
        return claim

    def _line(self, policy: CoveragePolicy, name: str, index: int) -> dict[str, Any]:
        rng = self.rng
        item = rng.choice(ITEMS)
        line: dict[str, Any] = {"line": name, "item": item, "component": rng.choice(_components(policy))}
        match item:
            case "parts":
                number = rng.randint(1, 6)
                line |= {
                    "part_number": f"P-{number}",
                    "quantity": rng.choice((1, 1, 2, "1.5")),
                    "net": money(rng, 5, 900),
                }
                line |= (
                    {"list_price": money(rng, 900, 1300), "price_paid": money(rng, 400, 900)}
                    if rng.random() < 0.7
                    else {}
                )
                if policy.prorating is not None and policy.prorating.wear_floor is not None:
                    line["wear"] = {"new": "46", "left": str(rng.randint(2, 46))}
            case "labour":
                line |= {"operation": f"O-{rng.randint(1, 4)}", "hours": hours(rng.randint(30, 900))}
                line |= {"rate": money(rng, 70, 130)} if rng.random() < 0.4 else {}
            case "travel":
                line |= rng.choice(({"hours": "2.5"}, {"units": "120"}, {"amount": "95.00"}))
            case "diagnosis":
                line |= rng.choice(({"hours": "1.5"}, {"amount": "80.00"}))
            case "fluids":
                line |= {"part_number": f"P-{rng.randint(1, 6)}", "net": money(rng, 5, 20), "quantity": "8.5"}
            case _:
                line |= {"amount": money(rng, 10, 300)}
                line |= {"invoice": "INV-1"} if rng.random() < 0.9 else {}
        if index and rng.random() < 0.3:
            line["caused_by"] = f"l{rng.randint(0, index - 1)}"
        if rng.random() < 0.05:
            line["removed_serial"] = rng.choice(("K-1", "K-2"))
        return line

    def _spoil(self, machine: dict[str, Any], claim: dict[str, Any], records: list[Any], failed_on: date) -> None:
        rng = self.rng
        for spoilt in rng.sample(
            ("reading", "cause", "complete", "delivery", "meter", "spike", "dates", "alteration", "symptom", "slip"), 2
        ):
            match spoilt:
                case "reading" | "cause":
                    claim.pop(spoilt, None)
                case "complete":
                    machine["records_complete_from"] = rng.choice((None, (failed_on - timedelta(days=200)).isoformat()))
                case "delivery":
                    machine["events"].pop("retail_delivery", None)
                case "meter":
                    day = failed_on - timedelta(days=rng.randint(1, 200))
                    machine["meter_changes"] = [
                        {
                            "id": "MC-1",
                            "on": day.isoformat(),
                            "old_reading": rng.choice((None, "500.0")),
                            "new_reading": 0,
                        }
                    ]
                case "spike":
                    day = failed_on - timedelta(days=rng.randint(1, 300))
                    machine["readings"].append({"id": "R-S", "on": day.isoformat(), "hours": "9000.0"})
                case "dates":
                    claim.pop(rng.choice(("repair_ended_on", "submitted_on", "reported_on")), None)
                case "alteration":
                    kind = rng.choice(("altered", "other_make"))
                    machine["alterations"] = [
                        {
                            "id": "A-1",
                            "component": rng.choice(("pump", "wheel_drive")),
                            "kind": kind,
                            "found_on": failed_on.isoformat(),
                            "caused_failure": rng.choice((True, False, None)),
                        }
                    ]
                case "symptom":
                    claim["symptom"] = {"on": (failed_on - timedelta(days=rng.randint(0, 60))).isoformat()}
                case _:
                    if "reading" in claim:
                        claim["reading"] = str(Decimal(claim["reading"]) * 10)
        del records

    def _tables(self, policy: CoveragePolicy, claim: dict[str, Any], failed_on: date) -> list[dict[str, Any]]:
        rng = self.rng
        early, late = (
            (failed_on - timedelta(days=400)).isoformat(),
            (failed_on + timedelta(days=rng.randint(-3, 12))).isoformat(),
        )
        parts = sorted({line["part_number"] for line in claim["lines"] if "part_number" in line})
        operations = sorted({line["operation"] for line in claim["lines"] if "operation" in line})
        tables: list[dict[str, Any]] = []
        if parts:
            rows = [
                {"part": p, "from": day, "net": money(rng, 5, 900), "list_price": money(rng, 900, 1300)}
                for p in parts
                if rng.random() < 0.95
                for day in (early, late)
            ]
            tables.append(
                {"table": "prices", "version": 1, "kind": "prices", "currency": policy.currency, "rows": rows}
            )
        if operations:
            flat = [{"operations": [o], "from": early, "hours": hours(rng.randint(5, 60) * 10)} for o in operations]
            if len(operations) > 1:
                flat.append({"operations": operations[:2], "from": early, "hours": hours(rng.randint(5, 80) * 10)})
            tables.append({"table": "times", "version": 1, "kind": "flat_times", "rows": flat})
        tables.append({"table": "rates", "version": 1, "kind": "labour_rates", "currency": claim["currency"],
                       "rows": [{"dealer": "D-1", "from": day, "rate": money(rng, 60, 120)} for day in (early, late)]})  # fmt: skip
        if claim["currency"] != policy.currency:
            tables.append({"table": "fx", "version": 1, "kind": "exchange_rates", "rows": [
                {"one": claim["currency"], "in": policy.currency, "from": day, "is_worth": str(Decimal(rng.randint(5000, 19999)).scaleb(-4))} for day in (early, late)]})  # fmt: skip
        lists = sorted({d.fluid.fluids for d in policy.services.values() if d.fluid is not None})
        if lists:
            rows = [{"fluid": "oil_a", "on_list": name, "from": "2010-01-01"} for name in lists]
            tables.append({"table": "fluids", "version": 1, "kind": "fluids", "rows": rows})
        return tables


def _limits(policy: CoveragePolicy) -> list[Limits]:
    found = [policy.term.ends, *(c.ends for c in policy.carve_outs)]
    return [limits for limits in found if isinstance(limits, Limits)]


def _term_days(policy: CoveragePolicy) -> int:
    days = [limit.days or (limit.months or 0) * 30.44 for limits in _limits(policy) for limit in limits.all]
    return int(max([d for d in days if d] or [1500]))


def _caps(policy: CoveragePolicy) -> list[int]:
    found = []
    for limits in _limits(policy):
        for limit in limits.all:
            cap = limit.machine_hours if limit.machine_hours is not None else limit.component_hours
            if cap is not None:
                found.append(int(cap * 100))
    return found


def _due_hours(duty: ServiceDuty, up_to: int) -> list[int]:
    points = [int(p.at * 100) for p in duty.due.at_hours]
    if duty.due.then_every is not None:
        step = int(duty.due.then_every * 100)
        last = points[-1] if points else 0
        points += range(last + step, up_to + step, step)
    elif duty.due.calendar is not None and not points:
        points = [int(up_to * n / 4) for n in range(1, 4)]
    return [p for p in points if p <= up_to][:40]


def _components(policy: CoveragePolicy) -> list[str]:
    applies = policy.applies_to
    found = ["pump", "wheel_drive"] if applies.components == "whole_machine" else list(applies.components) * 2
    found += [c for duty in policy.services.values() for c in duty.links]
    found += [c for carve_out in policy.carve_outs for c in carve_out.components]
    for exclusion in policy.exclusions:
        match exclusion:
            case WearItems(wear=components) | Consumables(consumables=components):
                found += components
            case Alterations() | ExcludedCauses():
                pass
    return found
