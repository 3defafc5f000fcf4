"""Random claim files over real policies: for the benchmark, the differential tests and the properties.

A claim file is drawn so that it lies near the edges of a policy (ends of term, caps, service windows, table dates), in
which mistakes live. ``mess`` is the chance of each kind of untidiness. 0 leaves nothing out, but readings, fluids and
wear may still leave a fact open or contradict one another, as the oracles want it; files in which every fact is known
come from ``generated_known``.
"""

import random
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from schemas.claim_file import ClaimFile
from schemas.policy.clause import Limits
from schemas.policy.document import CoveragePolicy
from tests.generated_claims import drawn_claim, drawn_payments, drawn_tables, hours
from tests.generated_machines import drawn_machine, drawn_readings, drawn_services
from tests.generated_mess import spoil, spoil_record

EXPONENTS = {"EUR": 2, "USD": 2, "GBP": 2, "JPY": 0, "KWD": 3, "CHF": 2, "NOK": 2}


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
        machine = drawn_machine(rng, policy, self.number)
        start = min(date.fromisoformat(d) for d in machine["events"].values())
        failed_on = start + timedelta(days=self._day(policy))
        at_failure = self._hours(policy, max((failed_on - start).days, 0), most_a_day=1500)
        records = drawn_services(rng, policy, (start, failed_on, at_failure), self.number, services)
        for record in records:
            record["serial"] = machine["serial"]
        claim = drawn_claim(rng, policy, machine, (failed_on, at_failure), self.number, lines)
        machine["readings"] += drawn_readings(rng, start, failed_on, at_failure)
        if not machine["has_meter"]:
            _without_meter(machine, claim, records)
        if not self.mess:
            _tidy(machine, records, at_failure)
        if self.mess:
            for record in records:
                if self.untidy():
                    spoil_record(rng, record)
            if self.untidy():
                spoil(rng, policy, machine, claim, failed_on)
        return self._file(policy, machine, records, claim, failed_on)

    def _file(
        self,
        policy: CoveragePolicy,
        machine: dict[str, Any],
        records: list[dict[str, Any]],
        claim: dict[str, Any],
        failed_on: date,
    ) -> dict[str, Any]:
        rng = self.rng
        return {
            "machine": machine,
            "services": records,
            "claim": claim,
            "dealer": {
                "dealer": claim["dealer"],
                "region": machine.get("region"),
                "currency": rng.choice((claim["currency"], policy.currency)),
            },
            "tables": drawn_tables(rng, policy, claim, failed_on),
            "earlier_payments": drawn_payments(rng, policy, claim, failed_on),
            "currency_exponents": EXPONENTS,
            "decided_on": (failed_on + timedelta(days=rng.randint(20, 60))).isoformat(),
        }

    def _day(self, policy: CoveragePolicy) -> int:
        """Return how many days after the start the failure comes: mostly inside the term, often on its last days."""
        rng, term = self.rng, _term_days(policy)
        if rng.random() < 0.2:
            return max(term + rng.choice((-2, -1, 0, 1, 2, 3, 40)), 0)
        return rng.randint(0, term) if rng.random() < 0.85 else rng.randint(0, int(term * 1.3) + 20)

    def _hours(self, policy: CoveragePolicy, days: int, most_a_day: int) -> int:
        """Return hundredths of an hour that a machine ran in so many days, often near a cap of the policy."""
        rate = self.rng.choice((80, 250, 400, 600, 900, 1500))  # hours a year
        return min(self._near(_caps(policy), days * rate * 100 // 365), max(days, 1) * most_a_day)

    def _near(self, edges: Sequence[int], otherwise: int) -> int:
        if edges and self.rng.random() < 0.3:
            return max(self.rng.choice(edges) + self.rng.choice((-100, -1, 0, 1, 100)), 0)
        return max(otherwise, 0)


def _without_meter(machine: dict[str, Any], claim: dict[str, Any], records: list[dict[str, Any]]) -> None:
    machine["readings"] = []
    for reading in ("reading", "repair_reading"):
        claim.pop(reading, None)
    for record in records:
        record.pop("reading", None)


def _limits(policy: CoveragePolicy) -> list[Limits]:
    found = [policy.term.ends, *(c.ends for c in policy.carve_outs)]
    return [limits for limits in found if isinstance(limits, Limits)]


def _term_days(policy: CoveragePolicy) -> int:
    days = [limit.days or (limit.months or 0) * 365 // 12 for limits in _limits(policy) for limit in limits.all]
    return max([d for d in days if d] or [1500])


def _caps(policy: CoveragePolicy) -> list[int]:
    found = []
    for limits in _limits(policy):
        for limit in limits.all:
            cap = limit.machine_hours if limit.machine_hours is not None else limit.component_hours
            if cap is not None:
                found.append(int(cap * 100))
    return found


def _tidy(machine: dict[str, Any], records: list[dict[str, Any]], at_failure: int) -> None:
    """Leave no fact open: events on file, fluids named, records complete, readings that never fall."""
    built = machine["built_on"]
    machine["records_complete_from"] = built
    delivered = machine["events"].get("retail_delivery", built)
    for event in ("shipped", "dealer_invoice", "retail_invoice", "first_use", "registered", "started_up", "installed"):
        machine["events"].setdefault(event, delivered)
    reached = 0
    for seen in sorted([*records, *machine["readings"]], key=lambda r: r["on"]):
        key = "reading" if "record" in seen else "hours"
        if key == "reading":
            seen.setdefault("fluids", [{"fluid": "oil_a", "litres": "30"}])
        if seen.get(key) is not None:
            reached = min(max(reached, int(Decimal(seen[key]) * 100)), at_failure)
            seen[key] = hours(reached)
